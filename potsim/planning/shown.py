"""What results have in common: a picture, and how a notebook shows them."""

from __future__ import annotations

from potsim import faces


class Shown:
    """A result that can be drawn, and that a notebook shows as a small table beside its picture."""

    def plot(self, ax: faces.Axes | None = None) -> faces.Axes:
        """Draw it.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure's, which a notebook shows, when left out.

        Returns
        -------
        matplotlib.axes.Axes
            The axes drawn on; colours are those of matplotlib's style.
        """
        return faces.plot_result(self, ax)

    def figure(self) -> faces.Figure:
        """Return the whole picture, ready to be saved."""
        return faces.figure_of_result(self)

    def _repr_html_(self) -> str:
        return faces.page_part(self)


class Line(Shown):
    """A result whose picture is a line over which others can be laid."""

    def plot(
        self,
        ax: faces.Axes | None = None,
        *,
        label: str | None = None,
        color: str | tuple[float, ...] | None = None,
    ) -> faces.Axes:
        """Draw the strength of the stream over what is collected.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            Where to draw; a new figure's, which a notebook shows, when left out.
        label : str, optional
            What the line is called beside others; the plan's title when left out.
        color : str or tuple, optional
            Colour of the line, as matplotlib takes it; the next of the style when left out.

        Returns
        -------
        matplotlib.axes.Axes
            The axes drawn on. A run alone on its axes, without label and colour, is drawn with its jars as
            slices; else as a line.
        """
        return faces.plot_result(self, ax, label, color)
