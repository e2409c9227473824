"""A recipe for another size: doses by the litre, fill, power, time, jars, and what does not scale."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any, Literal, get_args

from potsim.errors import ConvergenceError, RequestError, UnknownNameError, require
from potsim.planning.asking.letting_down import charge_of, with_strength
from potsim.planning.asking.scaling import scaled
from potsim.planning.botanicals.bill import BotanicalDose
from potsim.planning.plan import JarStock, Plan
from potsim.planning.profile import ZERO_C
from potsim.planning.run import Run, distil
from potsim.planning.still_plan import StillPlan
from potsim.planning.trials.comparing import Pair, pairs
from potsim.planning.trials.in_bottle import bottled_l
from potsim.planning.trials.rounding import CLOSE, WEIGHING_G, WRITTEN, short

Per = Literal["alcohol", "charge"]
SURFACE = 2.0 / 3.0  # power of the volume with which a surface grows
CLOSE_ENOUGH = 1e-9  # relative
SAME_ABV = 1e-9  # % vol
MARGIN = 3.0 * WRITTEN  # relative; so much more that rounding leaves no bottle short
MOST_RUNS = 40
AMOUNTS = {
    *("volume_l", "mass_g", "pieces", "heads_l", "collected_l", "from_collected_l", "spirit_l", "size_l"),
    *("capacity_l", "power_w", "heat_up_power_w", "min_level_l", "pot_mass_kg"),
    *("neck_loss_w_per_k", "pot_loss_w_per_k"),
}


@dataclass(frozen=True)
class Scaled:
    """A recipe for another size.

    Parameters
    ----------
    plan : Plan
        The recipe scaled; amounts are written to one part in ten thousand.
    before, after : Run
        What both are predicted to do.
    per : {'alcohol', 'charge'}
        Whether doses go by the litre of pure alcohol or of charge.
    charge_factor, alcohol_factor, dose_factor : float
        Times as much charge, pure alcohol and botanicals.
    weighing_g : float
        Step of the scale that is taken [g].
    unscaled : tuple of str
        What does not scale, a sentence or two each.
    """

    plan: Plan
    before: Run
    after: Run
    per: Per
    charge_factor: float
    alcohol_factor: float
    dose_factor: float
    weighing_g: float
    unscaled: tuple[str, ...]

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """Each line of the bill before and after."""
        return pairs(self.before, self.after)


def to_charge(
    plan: Plan,
    volume_l: float,
    abv: float | None = None,
    per: Per = "alcohol",
    still: StillPlan | None = None,
) -> Scaled:
    """Scale a recipe to a charge.

    Parameters
    ----------
    plan : Plan
        The recipe.
    volume_l : float
        All that is in the pot at switch-on, the botanicals' own water included [L at 20 °C], above 0.
    abv : float, optional
        Its strength [% vol at 20 °C]; that of the recipe if left out.
    per : {'alcohol', 'charge'}
        Whether doses go by the litre of pure alcohol or of charge; the same unless the strength changes.
    still : StillPlan, optional
        The other still; one that is as full, with power and size in proportion, if left out.

    Returns
    -------
    Scaled
        Plan, both runs, factors, and what does not scale.

    Raises
    ------
    RequestError
        If the charge holds no alcohol and doses go by it, or no such run can be made.

    Notes
    -----
    Amounts of spirit, water, heads, and volumes of stops go with the charge; power too, so that the run
    takes as long. What sheds heat is a surface and goes with the 2/3 power of the volume. Strengths,
    temperatures, times and shares stay.

    Examples
    --------
    >>> import potsim
    >>> made = to_charge(potsim.example_plan(), 25.0)
    >>> round(made.after.charge.volume_l, 2), round(made.charge_factor, 2)
    (25.0, 10.5)
    """
    require("charge", volume_l, 0, 1e5, "L", open_low=True)
    require("abv", abv, 0, 100, "% vol", open_low=True)
    _check_per(per)
    made = _exact(plan, volume_l, abv, per, still)
    return _told(plan, made, per, still)


def to_bottles(
    plan: Plan, bottles: int, abv: float | None = None, per: Per = "alcohol", still: StillPlan | None = None
) -> Scaled:
    """Scale a recipe to a number of full bottles.

    Parameters
    ----------
    plan : Plan
        The recipe; it must name bottle and bottling strength.
    bottles : int
        How many, above 0.
    abv, per, still
        As for `to_charge`.

    Returns
    -------
    Scaled
        Plan, both runs, factors, and what does not scale.

    Raises
    ------
    RequestError
        If the recipe names no bottle, or no such run can be made.
    ConvergenceError
        If the size is not found.
    """
    require("bottles", bottles, 1, 1e6, "bottles")
    _check_per(per)
    size = plan.bottling.bottle_l
    if size is None or plan.bottling.abv is None:
        missing = "bottle" if size is None else "abv"
        raise RequestError(
            f"The recipe's [bottling] has no {missing}: bottles cannot be counted.",
            'Add for example bottle = "350 mL" and abv = "42 %" to it, or scale to a charge.',
        )
    wanted = bottles * size * (1.0 + MARGIN)
    base = distil(plan)
    volume_l = base.charge.volume_l * wanted / bottled_l(base)
    for _ in range(MOST_RUNS):
        made = _exact(plan, volume_l, abv, per, still)
        got = bottled_l(distil(made))
        if abs(got / wanted - 1.0) < 0.1 * MARGIN:
            return _told(plan, made, per, still)
        volume_l *= wanted / got
    raise ConvergenceError(f"No charge was found that fills {bottles} bottles.", "Scale to a charge instead.")


def _check_per(per: str) -> None:
    if per not in get_args(Per):
        raise UnknownNameError("way to dose", per, get_args(Per))


def _exact(plan: Plan, volume_l: float, abv: float | None, per: Per, still: StillPlan | None) -> Plan:
    """The plan scaled, with all digits."""
    charge = charge_of(plan)
    if charge.ethanol_l == 0.0 and (per == "alcohol" or abv is not None):
        raise RequestError("The charge holds no alcohol.", "Scale it by the litre of charge: per charge.")
    by_charge = volume_l / charge.volume_l
    kept = abv is None or abs(abv - charge.abv) < SAME_ABV
    by_alcohol = by_charge if kept else by_charge * (abv or 0.0) / charge.abv
    by_dose = by_alcohol if per == "alcohol" else by_charge
    made = scaled(plan, by_charge)
    sizes = tuple(JarStock(jar.size_l * by_charge, jar.count) for jar in made.jars.sizes)
    made = replace(
        made,
        botanicals=tuple(_times(dose, by_dose) for dose in plan.botanicals),
        still=_still(made.still, by_charge) if still is None else still,
        jars=replace(made.jars, sizes=sizes),
    )
    if kept or abv is None:
        return made
    # The botanicals' own water counts, and goes by another factor than the rest.
    for _ in range(MOST_RUNS):
        made = with_strength(made, abv, same="volume")
        off = volume_l / charge_of(made).volume_l
        if abs(off - 1.0) < CLOSE_ENOUGH:
            return made
        made = replace(made, charge=scaled(made, off).charge)
    raise ConvergenceError("The charge was not found.", "Please report the plan.")


def _times(dose: BotanicalDose, factor: float) -> BotanicalDose:
    mass, pieces = dose.mass_g, dose.pieces
    return replace(
        dose,
        mass_g=None if mass is None else mass * factor,
        pieces=None if pieces is None else pieces * factor,
    )


def _still(given: StillPlan, factor: float) -> StillPlan:
    """A still of the same fill, with power in proportion; surfaces grow less."""
    surface = factor**SURFACE
    powers = {"capacity_l": factor, "power_w": factor, "heat_up_power_w": factor, "min_level_l": factor}
    powers |= {"neck_loss_w_per_k": surface, "pot_loss_w_per_k": surface, "pot_mass_kg": surface}
    changed: dict[str, Any] = {
        name: getattr(given, name) * by for name, by in powers.items() if getattr(given, name) is not None
    }
    steps = tuple(replace(step, power_w=step.power_w * factor) for step in given.power_steps)
    return replace(given, power_steps=steps, **changed)


def _rounded(plan: Plan) -> Plan:
    """Every amount with as few digits as do, so that a person can read and measure it."""
    return replace(
        plan,
        charge=_short(plan.charge),
        still=_short(plan.still),
        botanicals=_short(plan.botanicals),
        cuts=_short(plan.cuts),
        jars=_short(plan.jars),
        bottling=replace(plan.bottling, stretch=_short(plan.bottling.stretch)),
    )


def _short(thing: Any, name: str = "") -> Any:
    if isinstance(thing, tuple):
        return tuple(_short(part) for part in thing)
    if is_dataclass(thing) and not isinstance(thing, type):
        return replace(thing, **{f.name: _short(getattr(thing, f.name), f.name) for f in fields(thing)})
    return short(thing) if name in AMOUNTS and isinstance(thing, float) else thing


def _told(plan: Plan, exact: Plan, per: Per, still: StillPlan | None) -> Scaled:
    made = _rounded(exact)
    if still is not None:
        made = replace(made, still=still)
    before, after = distil(plan), distil(made)
    by_charge = after.charge.volume_l / before.charge.volume_l
    alcohol = before.charge.ethanol_l
    by_alcohol = after.charge.ethanol_l / alcohol if alcohol > 0.0 else by_charge
    return Scaled(
        plan=made,
        before=before,
        after=after,
        per=per,
        charge_factor=by_charge,
        alcohol_factor=by_alcohol,
        dose_factor=by_alcohol if per == "alcohol" else by_charge,
        weighing_g=WEIGHING_G,
        unscaled=(_neck(before, after), *_release(before, after), *_weighing(after)),
    )


def _neck(before: Run, after: Run) -> str:
    def shed(run: Run) -> float:
        there = run.setting.still.conditions
        warm = float(run.vapour_c[0]) - (there.room_k - ZERO_C)
        return there.neck_loss_w_per_k * warm / there.power_w

    one, other = shed(before), shed(after)
    return (
        f"Neck loss: a neck is a surface, so it takes another share of the power, {100 * other:.1f} % "
        f"instead of {100 * one:.1f} %; with it goes the reflux. The stream begins at "
        f"{after.stream_abv[0]:.1f} % vol instead of {before.stream_abv[0]:.1f}. Measure the other still's "
        "loss if you can."
    )


def _release(before: Run, after: Run) -> tuple[str, ...]:
    if not after.bill:
        return ()
    took, takes = (run.stop.elapsed_min - run.first_drop_min for run in (before, after))
    most = [pair for pair in pairs(before, after) if pair.change is not None]
    most.sort(key=lambda pair: -abs((pair.change or 0.0) - 1.0))
    moved = [f"{p.label} {100 * ((p.change or 0.0) - 1.0):+.1f} %" for p in most[:3]]
    changed = ", ".join(moved)
    return (
        "Release: plants give up their oil by the minute, not by the litre, and maceration keeps its hours. "
        f"From first drop to stop it takes {takes:.0f} min instead of {took:.0f}. Oil for a litre bottled "
        f"changes most in: {changed}.",
    )


def _weighing(after: Run) -> tuple[str, ...]:
    coarse = [
        f"{line.botanical.common_name} {1000 * line.wet_mass_g:.3g} mg"
        for line in after.bill
        if 0.0 < line.wet_mass_g * CLOSE < WEIGHING_G
    ]
    stated = (
        f"Weighing: doses are written to one part in ten thousand. A scale shows steps of {WEIGHING_G:g} g, "
        f"at most {100 * CLOSE:.0f} % of each dose"
    )
    if not coarse:
        return (f"{stated}." if after.bill else "Weighing: there is nothing to weigh.",)
    return (
        f"{stated}, but for {', '.join(coarse)}: take a finer scale, or weigh ten times as much, grind and "
        "mix it, and take a tenth.",
    )
