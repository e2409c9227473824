"""How pictures look: inks, type sizes, and labels that keep clear of each other.

Every line differs in dash and weight as well as in colour, so that a picture printed in grey or seen by a
colour-blind eye says the same. The hues are from the palette of Okabe and Ito (2008).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes

from potsim.interfaces.wording import step_of
from potsim.records import dataclass

INK = "#222222"
FAINT = "#8a8a8a"
BLUE = "#0072B2"
VERMILION = "#D55E00"
GREEN = "#00735C"
PURPLE = "#8E4B7A"
SIZE = 9.0  # points, at the width of a phone
BESIDE = 1.03  # where labels at the right begin, in widths of the axes
LEADER = [1.004, 1.022]  # from the edge to a label
MOVED = 0.2  # of the least distance of two labels: moved less, a label needs no leader


@dataclass(frozen=True)
class Pen:
    """A line of a picture."""

    colour: str  # ink
    weight: float  # width [points]
    dash: Any = "-"  # pattern, as matplotlib takes it

    @property
    def style(self) -> dict[str, Any]:
        """Keyword arguments of ``Axes.plot``."""
        return {"color": self.colour, "linewidth": self.weight, "linestyle": self.dash}


STREAM = Pen(BLUE, 2.8)
POOLED = Pen(INK, 1.6, (0, (6, 2)))
PARROT = Pen(INK, 1.0, (0, (4, 2)))
POT = Pen(VERMILION, 1.4, (0, (1, 1.5)))
OVER = Pen(GREEN, 1.4, (0, (5, 1.5, 1, 1.5)))


def plain(ax: Axes) -> None:
    """Take away what a reader does not need: top and right frame, long ticks."""
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(FAINT)
    ax.tick_params(colors=INK, labelsize=SIZE, length=3, color=FAINT)
    ax.xaxis.label.set_fontsize(SIZE)
    ax.yaxis.label.set_fontsize(SIZE)


def bare(ax: Axes) -> None:
    """Take away frame and ticks of a row under the curve."""
    ax.set_axis_off()


def beside(ax: Axes, height: float, text: str, colour: str = INK) -> None:
    """Write to the right of a row."""
    ax.annotate(
        text,
        xy=(BESIDE, height),
        xycoords=("axes fraction", "data"),
        va="center",
        fontsize=SIZE,
        color=colour,
        annotation_clip=False,
    )


def spread(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Move label positions as little as it takes to keep them apart."""
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    placed = [min(max(wanted[k], low), high) for k in order]
    for _ in range(100):
        moved = False
        for i in range(len(placed) - 1):
            short = apart - (placed[i + 1] - placed[i])
            if short > 1e-9:
                moved = True
                placed[i] -= 0.5 * short
                placed[i + 1] += 0.5 * short
        placed = [
            min(max(p, low + i * apart), high - (len(placed) - 1 - i) * apart) for i, p in enumerate(placed)
        ]
        if not moved:
            break
    out = [0.0] * len(wanted)
    for place, k in zip(placed, order, strict=True):
        out[k] = place
    return out


def end_labels(ax: Axes, labels: Sequence[tuple[float, str, str]], apart: float) -> None:
    """Write labels at the right edge, each at the height where its line ends."""
    low, high = ax.get_ylim()
    across = ax.get_yaxis_transform()
    places = spread([height for height, _, _ in labels], apart, low, high)
    for (height, text, colour), place in zip(labels, places, strict=True):
        if abs(place - height) > MOVED * apart:
            ax.plot(LEADER, [height, place], color=FAINT, linewidth=0.6, transform=across, clip_on=False)
        beside(ax, place, text, colour)


# --- Volumes in a picture: in millilitres, or in litres where millilitres would be long numbers.


@dataclass(frozen=True)
class Volumes:
    """The unit of volume of one picture."""

    unit: str  # its symbol
    per_l: float  # how many to a litre
    digits: int  # decimals worth saying

    def number(self, volume_l: float) -> str:
        """Return a volume [L] in the unit, without it."""
        return f"{self.per_l * volume_l:.{self.digits}f}"

    def words(self, volume_l: float) -> str:
        """Return a volume [L] with the unit."""
        return f"{self.number(volume_l)} {self.unit}"

    @property
    def label(self) -> str:
        """The unit as it stands on an axis, with millilitres beside where it is another."""
        each = 1000.0 / self.per_l
        return self.unit if self.unit in ("mL", "L") else f"{self.unit} ({each:.4g} mL each)"


def volumes_up_to(most_l: float) -> Volumes:
    """Return the unit for a picture that reaches to a volume."""
    step = step_of("volume_axis", most_l)
    return Volumes(step.unit, step.times, step.decimals)
