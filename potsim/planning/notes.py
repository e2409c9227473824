"""What there is to say beside the numbers, as records: what it is about and its values, no sentence.

Each kind is worded once, in `potsim.interfaces.report.words`; every face chooses by kind and severity. Here
too is what calls for care in a run: doses, dangers, legal limits, what heads take, fire, a full pot.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

from potsim import faces
from potsim.errors import require
from potsim.liquid import strength
from potsim.liquid.compounds import ZERO_C_K
from potsim.liquid.heat import flash_point

if TYPE_CHECKING:
    from potsim.planning.apparatus import Setting
    from potsim.planning.botanicals import ResolvedDose
    from potsim.planning.charge import Charge
    from potsim.planning.flavours import Flavours, Span
    from potsim.planning.stops import End
    from potsim.still.course import Course

Severity = Literal["danger", "caution", "hint"]

EVERY_RUN = "every_run"  # kind of what is said with every run, whatever it is


class Note(NamedTuple):
    """Something to be said: a danger or a caution to heed, or a hint of what was taken or would help."""

    kind: str  # which sentence it becomes
    severity: Severity
    subject: str  # what it is about: a botanical, a key of the plan, a jar; empty for the run
    values: Mapping[str, Any]  # numbers, names and sources that its sentence needs; plain data

    def __str__(self) -> str:
        return faces.sentences([self])[0]

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data, the values beside the rest."""
        return {"kind": self.kind, "severity": self.severity, "subject": self.subject, **self.values}


def danger(kind: str, subject: str = "", /, **values: Any) -> Note:
    """Return a note of what can burn, blow up, poison or be illegal."""
    return Note(kind, "danger", subject, values)


def caution(kind: str, subject: str = "", /, **values: Any) -> Note:
    """Return a note of what to take care of."""
    return Note(kind, "caution", subject, values)


def hint(kind: str, subject: str = "", /, **values: Any) -> Note:
    """Return a note of what was taken for granted, or of what helps."""
    return Note(kind, "hint", subject, values)


def once(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Return notes without repetitions, in their order."""
    found: list[Note] = []
    for note in notes:
        if note not in found:
            found.append(note)
    return tuple(found)


def sentences(notes: Iterable[Note]) -> tuple[str, ...]:
    """Return notes in words."""
    return faces.sentences(notes)


def plain_notes(notes: Iterable[Note]) -> list[dict[str, Any]]:
    """Return notes as plain data, each with its sentence."""
    listed = tuple(notes)
    return [{**note.to_dict(), "words": said} for note, said in zip(listed, sentences(listed), strict=True)]


# --- What calls for care in a run.


MOST_IN_HEADS = 1.0 / 3.0  # of what comes over of a botanical, from which on it is told
MG_PER_G = 1e3
# Beyond these multiples of the usual range a dose is likelier a slip than a wish; common practice, no source.
FAR_ABOVE = 2.0
FAR_BELOW = 0.1


def for_bill(bill: Sequence[ResolvedDose], charge_l: float) -> tuple[Note, ...]:
    """Doses far from the usual, and what to heed of each botanical."""
    doses = [note for dose in bill for note in for_dose(dose, charge_l)]
    known = [
        caution("botanical", dose.botanical.common_name, text=one.text, source=one.source)
        for dose in bill
        for one in dose.botanical.cautions
    ]
    return once([*doses, *known])


def for_dose(resolved: ResolvedDose, charge_l: float) -> tuple[Note, ...]:
    """A dose far outside the usual range; never a refusal."""
    require("charge.volume", charge_l, 0, 1e6, "L", open_low=True)
    usual = resolved.botanical.usual_dose
    if usual is None:
        return ()
    per_l = resolved.counted_mass_g / charge_l
    if FAR_BELOW * usual.low_g_per_l <= per_l <= FAR_ABOVE * usual.high_g_per_l:
        return ()
    return (
        caution(
            "dose",
            resolved.botanical.common_name,
            g_per_l=per_l,
            state=resolved.botanical.yield_state,
            usual_low_g_per_l=usual.low_g_per_l,
            usual_high_g_per_l=usual.high_g_per_l,
            source=usual.source,
        ),
    )


def for_limits(bill: Iterable[ResolvedDose], content_mg_per_kg: Mapping[str, float]) -> tuple[Note, ...]:
    """Legal limits that a drink made from a bill would exceed."""
    limits: dict[str, tuple[float, str]] = {}
    for one in (c for resolved in bill for c in resolved.botanical.cautions):
        if one.limit_mg_per_kg is not None:
            held = limits.get(one.compound_id, (0.0, ""))
            limits[one.compound_id] = max(held, (one.limit_mg_per_kg, one.source))
    return tuple(
        danger(
            "limit",
            compound_id,
            mg_per_kg=content_mg_per_kg[compound_id],
            limit_mg_per_kg=limit,
            source=source,
        )
        for compound_id, (limit, source) in limits.items()
        if content_mg_per_kg.get(compound_id, 0.0) > limit
    )


def for_drink(flavours: Flavours, kept: Sequence[Span], volume_l: float, abv: float) -> tuple[Note, ...]:
    """Legal limits that the bottled spirit would exceed.

    The content is that of the keep in the mass of the bottled spirit. It is predicted from typical yields
    and good to a factor of two or three: near a limit, have it measured.
    """
    if volume_l <= 0.0:
        return ()
    kilograms = float(strength.mass_of(volume_l, abv))
    held = {name: grams * MG_PER_G / kilograms for name, grams in flavours.over_g(kept).items()}
    return for_limits(flavours.bill, held)


def heads_take(flavours: Flavours, heads_l: float) -> tuple[Note, ...]:
    """Botanicals of which the heads take more than a third, and what half the heads would take."""
    half = flavours.course.first(lambda states: states.collected_l - 0.5 * heads_l) if heads_l > 0.0 else None
    if half is None:
        return ()
    first, over = flavours.lines_over(np.array([half, flavours.cut.end])).T
    taken = {one.line: one.in_heads / one.gives_up.value for one in flavours if one.gives_up.value > 0.0}
    return tuple(
        caution(
            "heads_take",
            flavours.labels[line],
            share=share,
            heads_l=heads_l,
            smaller_l=0.5 * heads_l,
            smaller_share=float(first[line] / over[line]),
        )
        for line, share in taken.items()
        if share > MOST_IN_HEADS and over[line] > 0.0
    )


# --- The usual cautions, and those that this run calls for.


# Said with every run, whatever it is. Common practice, no source; figures in data/safety.csv.
ALWAYS = (
    danger(EVERY_RUN, "law"),
    danger(EVERY_RUN, "fire"),
    danger(EVERY_RUN, "attendance"),
    danger(EVERY_RUN, "cooling"),
    caution(EVERY_RUN, "sugar"),
    caution(EVERY_RUN, "forecast"),
)
MOST_FILL = 0.75  # common practice, no source
LEAST_PART_L = 0.005  # a spoonful; less is likely a slip of a point or unit: common practice, no source
LEAST_HEAT_UP_S = 60.0  # no still on a table boils sooner: common practice, no source
MOST_CHARGE_ABV = 40.0  # common practice in a domestic still, no source
READ_ABV = 0.5  # % vol that a hydrometer is read to: common practice, no source
USUAL_BOTANICAL_ABV = 60.0  # charges of botanicals go up to here: common practice, no source

# What is the worse the larger it is, of kinds that are told of several runs at once.
WORSE_WITH = {
    "fill": "fill",
    "strong_charge": "abv",
    "condenser_short": "condensing_w",
    "condenser_warm": "duty_w",
    "condenser_unknown": "duty_w",
    "heads_take": "share",
    "limit": "mg_per_kg",
}


def worst(notes: Sequence[Note]) -> int:
    """Which of several notes of one kind is the worst; the first where none is."""
    by = WORSE_WITH.get(notes[0].kind)
    return 0 if by is None else max(range(len(notes)), key=lambda k: notes[k].values[by])


def usual(charge: Charge) -> tuple[Note, ...]:
    """What is said with every run; of sugar only where there is spirit that may hold some."""
    return tuple(note for note in ALWAYS if note.subject != "sugar" or charge.ethanol_mol > 0.0)


def for_run(
    charge: Charge, setting: Setting, course: Course, hot_solids_l: float, bill: Sequence[ResolvedDose] = ()
) -> tuple[Note, ...]:
    """Cautions that depend on the charge and the still."""
    found = []
    hot = float(course.at(np.array([0.0])).pot_hot_l[0]) + hot_solids_l
    fill = hot / setting.still.capacity_l
    if fill > MOST_FILL:
        found.append(caution("fill", "still.capacity", boiling_l=hot, fill=fill, most_fill=MOST_FILL))
    tiny = [part for part in charge.parts if 0.0 < part.volume_l < LEAST_PART_L]
    found += [caution("tiny_part", part.name, volume_l=part.volume_l) for part in tiny]
    if 0.0 < course.first_drop_s < LEAST_HEAT_UP_S:
        power_w = setting.still.on_plate_w(setting.still.heat_up_power_w)
        found.append(caution("boils_at_once", "still.power", power_w=power_w, seconds=course.first_drop_s))
    found += fire(charge.abv, with_botanicals=bool(bill))
    bare = setting.heated_by in (None, "element")
    if bare and setting.still.min_level_l == 0.0:
        found.append(caution("bare_element", "still.min_level"))
    if bare:
        ground = [d.botanical.common_name for d in bill if d.prepared == "ground" and d.dose.where == "pot"]
        found += [caution("ground_on_element", name) for name in ground]
    return tuple(found)


def fire(charge_abv: float, *, with_botanicals: bool = False) -> tuple[Note, ...]:
    """Caution against a strong charge; with botanicals stronger ones are usual."""
    usual = USUAL_BOTANICAL_ABV if with_botanicals else MOST_CHARGE_ABV
    if charge_abv <= usual + READ_ABV:
        return ()
    strong = charge_abv > USUAL_BOTANICAL_ABV + READ_ABV
    return (
        danger(
            "strong_charge",
            "charge.abv",
            abv=charge_abv,
            lights_c=flash_point(float(strength.x_from_abv(charge_abv))) - ZERO_C_K,
            usual_abv=MOST_CHARGE_ABV,
            usual_botanicals_abv=USUAL_BOTANICAL_ABV if strong else None,
        ),
    )


def for_end(end: End, least_level_l: float) -> tuple[Note, ...]:
    """What to heed when the still ends a run early, or a stop by fading leaves out what leads."""
    if end.reason == "min_level":
        return (caution("early_end", "still.min_level", least_level_l=least_level_l),)
    leads = [one for one in end.values.get("late", ()) if one["leads"]]
    return tuple(caution("late_leader", one["botanical"], share=one["share"]) for one in leads)
