"""How a botanical gives up its oil: part, piece and preparation decide, with the liquid around it.

Some of the oil lies at hand, on cut faces, in broken cells and in glands of the skin, and is washed off; the
rest has to find its way out of the piece by diffusion. What is dissolved in the liquid of the piece can move,
what the wax and fat around it hold cannot, so that strong spirit draws hydrocarbons far faster than water
does (`potsim.still.carry.ease`). The numbers are rough, a factor of two either way on each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from typing import Literal

import numpy as np

from potsim.data import read_table
from potsim.liquid import strength
from potsim.planning.botanicals import Botanical, Level, ResolvedDose, materials
from potsim.planning.ingredients import Prepared
from potsim.records import dataclass
from potsim.still.carry import Pools, Soak, Source
from potsim.still.course import Course

Shape = Literal["sphere", "slab"]

WASHED_PER_S = 0.3 / 60.0  # off what lies at hand in spirit at 83 °C; from memory, washing takes minutes
DIFFUSION_M2_PER_S = 4e-10  # in soaked plant material at 83 °C; from memory, a third of that in the liquid
MOST_AT_HAND = 0.95
LEAST_SOAK_L_PER_KG = 0.5  # liquid of a soaked piece that hardly swells, such as a resin
ROUGH = {"low": 0.5, "typical": 1.0, "high": 2.0}  # on speed and on the share at hand, together

# Fick's law in a piece whose surface is kept clean: share left = sum a_j exp(-b_j D t / L^2). First term
# exact up to its weight, the rest of the infinite series gathered in two (Crank, The Mathematics of
# Diffusion).
SERIES: Mapping[str, tuple[tuple[float, float], ...]] = {
    "sphere": tuple(zip((0.643, 0.235, 0.122), (k * math.pi**2 for k in (1.0, 8.0, 100.0)), strict=True)),
    "slab": tuple(zip((0.806, 0.103, 0.091), (k * math.pi**2 / 4.0 for k in (1.0, 9.0, 100.0)), strict=True)),
}


@dataclass(frozen=True)
class Tissue:
    """A piece of plant material as far as the release of oil goes.

    Parameters
    ----------
    shape : {'sphere', 'slab'}
        How oil finds its way out: to all sides, or to two.
    half_mm : float
        Radius of the sphere, half the thickness of the slab [mm].
    at_hand : float
        Share of the oil that only has to be washed off, 0 to 1.
    lipid_l_per_kg : float
        Fat, wax and resin [L per kg of dried material].
    """

    shape: Shape
    half_mm: float
    at_hand: float
    lipid_l_per_kg: float

    def pools(self, level: Level = "typical") -> tuple[Pools, Pools]:
        """Shares of the oil, and the rate at which each leaves [1/s of easy time]: washed, and by diffusion.

        Parameters
        ----------
        level : {'low', 'typical', 'high'}
            Which end of what is known of speed and share at hand.
        """
        speed = ROUGH[level]
        at_hand = min(self.at_hand * speed, MOST_AT_HAND)
        per_s = speed * DIFFUSION_M2_PER_S / (1e-3 * self.half_mm) ** 2
        slow = ((1.0 - at_hand) * a for a, _ in SERIES[self.shape])
        rates = (b * per_s for _, b in SERIES[self.shape])
        return ((at_hand, speed * WASHED_PER_S),), tuple(zip(slow, rates, strict=True))


@cache
def _pieces() -> Mapping[str, Tissue]:
    return {
        row["id"]: Tissue(
            "slab" if row["shape"] == "slab" else "sphere",
            float(row["half_mm"]),
            float(row["at_hand"]),
            float(row["lipid_l_per_kg"]),
        )
        for row in read_table("pieces.csv")
    }


@cache
def _preparations() -> Mapping[str, tuple[float, float, float]]:
    """Share brought to hand, factor on the half-size, and the most it can be [mm]."""
    return {
        row["prepared"]: (
            float(row["at_hand_added"]),
            float(row["size_factor"]),
            float(row["at_most_mm"] or math.inf),
        )
        for row in read_table("preparations.csv")
    }


def tissue(botanical: Botanical, prepared: Prepared) -> Tissue:
    """Return what a botanical is cut into; one without a row of its own is taken as its category."""
    return tissue_of(botanical.id if botanical.id in _pieces() else botanical.category, prepared)


def tissue_of(piece_id: str, prepared: Prepared) -> Tissue:
    """Return a row of ``pieces.csv``, a botanical or a category, in a preparation of ``preparations.csv``."""
    whole = _pieces()[piece_id]
    added, factor, most_mm = _preparations()[prepared]
    return Tissue(
        whole.shape,
        min(whole.half_mm * factor, most_mm),
        min(whole.at_hand + added, MOST_AT_HAND),
        whole.lipid_l_per_kg,
    )


def wax_of(category: str, lipid_l_per_kg: float) -> float:
    """Fat and wax of a soaked piece per volume of liquid in it [-]."""
    return lipid_l_per_kg / max(materials()[category].soak_l_per_kg, LEAST_SOAK_L_PER_KG)


def heat_up(course: Course) -> Soak:
    """Return the time from switch-on to the first drop, in the charge."""
    boil_k = float(course.at(np.array([0.0])).pot_k[0])
    return Soak(course.first_drop_s, course.charge_x, course.still.conditions.room_k, boil_k)


def soaks(dose: ResolvedDose, heats: Soak) -> tuple[Soak, ...]:
    """Return what happens to a dose before the first drop: its maceration, then `heat_up`."""
    if not dose.dose.macerated_h:
        return (heats,)
    at = dose.dose.macerated_at_abv
    x = heats.x if at is None else float(np.asarray(strength.x_from_abv(at)))
    return (Soak(3600.0 * dose.dose.macerated_h, x, heats.from_k, heats.from_k), heats)


def source(
    dose: ResolvedDose, soaks: tuple[Soak, ...] = (), level: Level = "typical", holds_back: bool = True
) -> Source:
    """Return what a dose releases, ready to be followed along a run."""
    one = tissue(dose.botanical, dose.prepared)
    in_vapour = dose.dose.where == "basket"
    washed, pools = one.pools(level)
    return Source(
        amounts=dose.oil_g,
        washed=washed,
        pools=pools,
        wax=wax_of(dose.botanical.category, one.lipid_l_per_kg),
        lipid_l=dose.dry_mass_g / 1000.0 * one.lipid_l_per_kg if holds_back else 0.0,
        soaks=() if in_vapour else soaks,
        in_vapour=in_vapour,
    )
