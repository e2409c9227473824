"""How pictures look: inks, type sizes, and labels that keep clear of each other.

Every line differs in dash and weight as well as in colour, so that a picture printed in grey or seen by a
colour-blind eye says the same. The hues are from the palette of Okabe and Ito (2008).
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure

from potsim.interfaces.wording import Step, number, step_of
from potsim.interfaces.wording import plain as rounded
from potsim.records import dataclass

VERMILION = "#D55E00"
SHOWN_DPI = 110
DARK_PAPER = 0.35  # lightness below which a paper counts as dark
WIDTH_IN = 5.8  # of a phone
SIZE = 9.0  # points, at the width of a phone


class Ground(NamedTuple):
    """Colours of a picture, by what they are for."""

    paper: str
    ink: str
    faint: str
    deep: str
    tint: str
    wash: str
    hatch: str


LIGHT = Ground("#F6F4EE", "#14262B", "#4A595C", "#2F4F57", "#B9C8C8", "#E1E5E1", "#7C8C8E")
DARK = Ground("#0D1618", "#F3EEE4", "#AEBAB9", "#8FB1B5", "#3B5257", "#263A3F", "#8FA0A2")


def of_style() -> Ground:
    """Colours of the style in use: paper, text and first colour as matplotlib's settings have them."""
    paper, text, deep = paper_of_style(), ink(), to_hex(rcParams["axes.prop_cycle"].by_key()["color"][0])
    mixed = {"faint": (text, 0.3), "tint": (deep, 0.68), "wash": (deep, 0.86), "hatch": (text, 0.48)}
    return Ground(
        paper=paper, ink=text, deep=deep, **{name: mix(c, paper, share) for name, (c, share) in mixed.items()}
    )


def paper_of_style() -> str:
    """Colour behind axes."""
    return to_hex(rcParams["axes.facecolor"])


def mix(colour: str, other: str, share: float) -> str:
    """A colour with so much of another in it."""
    red, green, blue = (
        (1.0 - share) * a + share * b for a, b in zip(to_rgb(colour), to_rgb(other), strict=True)
    )
    return to_hex((red, green, blue))


def is_dark() -> bool:
    """Whether the style's paper is dark."""
    return float(np.dot(to_rgb(paper_of_style()), (0.2126, 0.7152, 0.0722))) < DARK_PAPER


def ink() -> str:
    """Colour of text and of what matters."""
    return to_hex(rcParams["text.color"])


def faint() -> str:
    """Colour of what stands back."""
    return mix(ink(), paper_of_style(), 0.45)


def blue() -> str:
    """Colour of what is predicted."""
    return "#56B4E9" if is_dark() else "#0072B2"


class Picture(Figure):
    """A figure that a notebook shows, without pyplot."""

    def _repr_png_(self) -> bytes:
        return picture_of(self)


def picture_of(figure: Figure) -> bytes:
    """Return a figure as a notebook shows it."""
    made = io.BytesIO()
    figure.savefig(made, format="png", dpi=SHOWN_DPI)
    return made.getvalue()


def shown_axes(height_in: float = 4.2) -> Axes:
    """Return axes on a figure of pyplot's, the width of a phone: a notebook shows it below the cell."""
    from matplotlib import pyplot as plt  # start-up: and no window system for files

    return plt.subplots(figsize=(WIDTH_IN, height_in), layout="constrained")[1]


def plain(ax: Axes) -> None:
    """Take away what a reader does not need: top and right frame, long ticks."""
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(faint())
    ax.tick_params(colors=ink(), labelsize=SIZE, length=3, color=faint())
    ax.xaxis.label.set_fontsize(SIZE)
    ax.yaxis.label.set_fontsize(SIZE)


def strengths(ax: Axes, of: str) -> None:
    """Name a vertical axis of strengths, and number it in the unit that they are told in."""
    step = step_of("abv_column", 1.0)
    ax.set_ylabel(f"{of}, {step.unit}")
    if step.times != 1.0:
        ax.yaxis.set_major_formatter(lambda abv, _: number("abv_column", abv, step))


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


# --- Volumes in a picture: in millilitres, or in litres where millilitres would be long numbers.


@dataclass(frozen=True)
class Volumes:
    """The unit of volume of one picture."""

    step: Step  # how it is told

    @property
    def unit(self) -> str:
        """Its symbol."""
        return self.step.unit

    @property
    def per_l(self) -> float:
        """How many to a litre."""
        return self.step.times

    def number(self, volume_l: float) -> str:
        """Return a volume [L] in the unit, without it."""
        return number("volume_axis", volume_l, self.step)

    def words(self, volume_l: float) -> str:
        """Return a volume [L] with the unit."""
        return f"{self.number(volume_l)} {self.unit}"

    @property
    def label(self) -> str:
        """The unit as it stands on an axis, with millilitres beside where it is another."""
        if self.unit in ("mL", "L"):
            return self.unit
        return f"{self.unit} ({rounded(1000.0 / self.per_l, 1)} mL each)"


def volumes_up_to(most_l: float) -> Volumes:
    """Return the unit for a picture that reaches to a volume."""
    return Volumes(step_of("volume_axis", most_l))
