"""What distillers know of the cloud, beside what a whole run predicts: one-sided facts."""

from __future__ import annotations

from functools import cache

import numpy as np

import potsim
from potsim.interfaces.evidence.core import Comparison, fulfilled
from potsim.planning.cloud import Cloud
from potsim.planning.ingredients import Prepared, State
from potsim.planning.plan import BotanicalDose, Bottling, Cuts, Ingredient, Plan, StillPlan, Stop
from potsim.planning.run import Run
from potsim.records import dataclass

CHARGE_L, CHARGE_ABV, STOP_ABV, BOTTLE_ABV = 2.4, 40.0, 55.0, 42.0
TO_THE_END = 0.999  # of the alcohol
STILL = StillPlan(
    capacity_l=4.0, power_w=700.0, heat_up_power_w=1200.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0
)
POT_DISTILLED = ("pot rum", "fruit", "malt", "wine")
SOLD_AT_ABV, WELL_CLEAR_ABV, HEAVY_ABV = 38.0, 43.0, 46.0
TAILS_ABV = (25.0, 48.0)  # practice has them hazy below 38 to 45 % vol
MOST_OVER = 0.53  # of the charge, by which a botanical run may look cloudy; practice says 0.4 to 0.5


@dataclass(frozen=True)
class Recipe:
    """Botanicals of a gin in a litre of charge, dried unless it says fresh; usual doses, no source."""

    juniper_g_per_l: float
    coriander_g_per_l: float
    angelica_g_per_l: float = 0.0
    fresh_peel_g_per_l: float = 0.0
    prepared: Prepared = "cracked"
    macerated_h: float = 24.0


ORDINARY = Recipe(15.0, 7.5)
HEAVY = Recipe(24.0, 8.0, 1.5, 10.0)
MIXED = Recipe(14.0, 8.0, 2.0, 6.0)  # 30 g/L


def comparisons() -> list[Comparison]:
    """Return every comparison of clouding that needs a run."""
    return [gins(), tails(), neutral_tails(), botanical_streams()]


def gins() -> Comparison:
    """Return whether ordinary and heavy gins are foretold to haze where they may."""
    ordinary, heavy = _cloud(run(ORDINARY)), _cloud(run(HEAVY))
    whole = _cloud(run(Recipe(15.0, 7.5, prepared="whole", macerated_h=0.0)))
    told = [
        ordinary.room.abv <= WELL_CLEAR_ABV,
        _reaches(ordinary, SOLD_AT_ABV),
        whole.room.abv < ordinary.room.abv,
        _reaches(heavy, HEAVY_ABV),
    ]
    return fulfilled(
        "gins: an ordinary one clear at 43 % vol, may haze at 38; whole later; a heavy one may at 46",
        "common practice, no source",
        told,
        note=f"Ordinary: {_said(ordinary)}; whole and not macerated: {_said(whole)}; heavy: {_said(heavy)}. "
        f"Charge {CHARGE_ABV:g} % vol, no heads, kept to {STOP_ABV:g} % vol.",
    )


def tails() -> Comparison:
    """Return whether tails of pot-distilled bases are foretold hazy, without any botanical."""
    told, notes = [], []
    for kind in POT_DISTILLED:
        found = _cloud(base(kind)).stream
        ends = [] if found is None else [found.possible_abv, found.middle_abv, found.sure_abv]
        known = [abv for abv in ends if abv is not None]
        open_end = [0.0] if found is not None and found.sure_abv is None else []
        span = [*known, *open_end]
        told.append(bool(known) and max(span) >= TAILS_ABV[0] and min(span) <= TAILS_ABV[1])
        notes.append(f"{kind} {', '.join(f'{abv:.0f}' for abv in known)}")
    return fulfilled(
        "tails of pot-distilled bases come over hazy somewhere between 48 and 25 % vol",
        "common practice, no source: below 38 % vol (cane), 45 (fruit)",
        told,
        note="Strength of the stream at which a haze is possible, likely and sure, as far as each comes: "
        f"{'; '.join(notes)}. Their long esters are taken to come over in proportion to the alcohol.",
    )


def neutral_tails() -> Comparison:
    """Return whether tails of a neutral base stay clear."""
    found = base("neutral").cloud
    return fulfilled(
        "tails of a neutral base stay clear",
        "common practice, no source",
        [found is None or found.never],
    )


def botanical_streams() -> Comparison:
    """Return by when the stream of a botanical run may look cloudy, as a share of the charge."""
    told, notes = [], []
    for kind in (*POT_DISTILLED, "neutral"):
        made = mixed(kind)
        stream = _cloud(made).stream
        share = np.inf
        if stream is not None and stream.possible_l is not None:
            share = stream.possible_l / made.charge.volume_l
        if kind != "neutral":
            told.append(share <= MOST_OVER)
        notes.append(f"{kind} {share:.2f}")
    return fulfilled(
        "stream of a botanical run on a pot-distilled base may be cloudy by 53 % of the charge",
        "common practice, no source: starts to look cloudy when 40 to 50 % of the charge is over",
        told,
        note=f"30 g/L of juniper, coriander, angelica and peel: {', '.join(notes)}; neutral is only told.",
    )


def run(recipe: Recipe, kind: str = "neutral", stop: Stop | None = None) -> Run:
    """Return the run of a recipe in the still of these comparisons."""
    return potsim.distil(_plan(recipe, kind, stop or Stop(stream_abv=STOP_ABV)))


@cache
def base(kind: str) -> Run:
    """Return the run of a base spirit without botanicals, to the end of its alcohol."""
    return potsim.distil(_plan(None, kind, Stop(recovered=TO_THE_END)))


@cache
def mixed(kind: str) -> Run:
    """Return the run of a mixed bill of 30 g/L on a base spirit, to the end of its alcohol."""
    return run(MIXED, kind, Stop(recovered=TO_THE_END))


def _plan(recipe: Recipe | None, kind: str, stop: Stop) -> Plan:
    charge = (Ingredient("spirit and water", CHARGE_L, CHARGE_ABV, kind),)
    bill = () if recipe is None else _bill(recipe)
    return Plan(charge, still=STILL, botanicals=bill, cuts=Cuts(stop=stop), bottling=Bottling(abv=BOTTLE_ABV))


def _bill(recipe: Recipe) -> tuple[BotanicalDose, ...]:
    doses: tuple[tuple[str, float, State | None], ...] = (
        ("juniper", recipe.juniper_g_per_l, None),
        ("coriander seed", recipe.coriander_g_per_l, None),
        ("angelica root", recipe.angelica_g_per_l, None),
        ("sweet orange peel", recipe.fresh_peel_g_per_l, "fresh"),
    )
    return tuple(
        BotanicalDose(
            name,
            mass_g=grams * CHARGE_L,
            state=state,
            prepared=recipe.prepared,
            macerated_h=recipe.macerated_h,
        )
        for name, grams, state in doses
        if grams > 0.0
    )


def _cloud(made: Run) -> Cloud:
    found = made.cloud
    if found is None:
        raise ValueError("A run with oil predicts a cloud.")
    return found


def _reaches(found: Cloud, abv: float) -> bool:
    return any(one.low_abv <= abv <= one.high_abv for one in (found.room, found.chilled))


def _said(found: Cloud) -> str:
    parts = (
        f"{one.abv:.0f} ({one.low_abv:.0f} to {one.high_abv:.0f})" for one in (found.room, found.chilled)
    )
    return " and chilled ".join(parts) + " % vol"
