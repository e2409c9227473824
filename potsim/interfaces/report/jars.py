"""What a distiller reads from jars to bottles: what is pooled, let down, poured together, and costs."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Sequence
from typing import Any

from potsim import __version__
from potsim.errors import RangeError, RequestError
from potsim.interfaces.report import Facts, Part, Points, Section, Table, Told, tabulate
from potsim.interfaces.report.flavours import GLASS, bottle_words
from potsim.interfaces.report.words import sentences
from potsim.interfaces.trialfile import amount, oil, ratio
from potsim.interfaces.wording import (
    at_least,
    counted,
    exactly,
    format_abv,
    format_mass,
    format_minutes,
    format_numbers,
    format_share,
    format_volume,
    made_for,
    metric,
    number,
    say,
    signed,
    unit_of,
)
from potsim.interfaces.wording import (
    plain as rounded,
)
from potsim.liquid.strength import Mixture
from potsim.planning import flavours
from potsim.planning.blends import BlendOil, OilBlend, Poured, TrialBlend
from potsim.planning.charge import Charge
from potsim.planning.jars import TOO_SMALL, Emptied, Jar, WorkingJar, working_jar
from potsim.planning.proofing import STRETCH, Gauged, Keep, Proofing
from potsim.planning.run import Run
from potsim.planning.trials import bottled_abv, bottled_l
from potsim.records import dataclass, plain


def bottling_sections(run: Run) -> tuple[Section, ...]:
    """Return how the keep becomes what is bottled; the keep itself stands under its own head."""
    made = run.proofing
    if made is None:
        return ()
    keep = (("keep", _spirit(run.keep.volume_l, run.keep.abv)),) if run.in_one_vessel else ()
    oil = []
    if run.bill and run.cloud is not None:
        oil.append(("oil in it", f"{say('oil', run.cloud.oil_mg_per_l)} of the botanicals"))
    return (proofing_section(made, (*keep, *_stretched(run)), tuple(oil)),)


def costs_sections(run: Run) -> tuple[Section, ...]:
    """Return where the alcohol went and, where the plan says prices, what a bottle comes to."""
    found, pairs = run.costs, _money(run)
    parts: list[Part] = [Facts(tuple(pairs))] if pairs else []
    if found.alcohol_in_l > 0.0:
        out, went = format_volume(found.alcohol_out_l), "kept" if run.proofing is None else "bottled"
        share = format_share(found.alcohol_out_l / found.alcohol_in_l)
        parts.insert(
            0,
            f"Of {format_volume(found.alcohol_in_l)} of pure alcohol {out} are {went}, {share}; "
            f"{format_volume(found.alcohol_left_l)} are in heads, tails, jars not kept and the pot.",
        )
    priced = found.spent is not None or run.plan.bottling.bottle_price is not None
    return (Section("Alcohol and money" if priced else "Alcohol", tuple(parts)),) if parts else ()


def _money(run: Run) -> list[tuple[str, str]]:
    """What the plan says prices of, in its own money."""
    found, price = run.costs, run.plan.bottling.bottle_price
    pairs = []
    if found.spent is not None:
        pairs.append(("spent", f"{number('money', found.spent)} on the charge"))
        if found.unpriced:
            named = ["the spirit added before bottling" if one == STRETCH else one for one in found.unpriced]
            pairs.append(("not counted", f"{', '.join(named)}: no price is known"))
    if found.bottles and price is not None:
        each, all_of_them = number("money", price), number("money", found.bottles * price)
        empty = f"{found.bottles} empty ones at {each}: {all_of_them}"
        pairs.append(("bottles", empty))
    if found.per_bottle is not None:
        least = "at least " if found.unpriced else ""
        beside = "with the bottle, " if price is not None else ""
        told = f"{least}{number('money', found.per_bottle)}, {beside}without botanicals and heat"
        pairs.append(("a full bottle", told))
    return pairs


def _stretched(run: Run) -> tuple[tuple[str, str], ...]:
    by, both = run.plan.bottling.stretch, run.let_down
    if by is None:
        return ()
    return (("spirit added", _spirit(by.spirit_l, by.abv)), ("together", _spirit(both.volume_l, both.abv)))


# --- What a distiller reads of the other way of collecting: one small jar, emptied into the keep.


TITLE = "The other way: one small jar, emptied into the keep"
HOW = (
    "Heads apart, then a small jar under the spout: taste it when it is full, and pour it into the keep "
    "while it is right. At worst the stream turns just after it was emptied, you are away when it is full, "
    "and what runs on is lost with it."
)


def found(run: Run, away_min: float, most_share: float) -> WorkingJar | RequestError:
    """Return how large a working jar may be, or why there is none."""
    try:
        points = run.points
        return working_jar(run.course, points.heads, points.keep_end, minutes=away_min, most_lost=most_share)
    except RangeError:
        raise
    except RequestError as error:
        return error


def section(jar: WorkingJar | RequestError, away_min: float, most_share: float) -> Section:
    """Return the working jar in words."""
    if isinstance(jar, RequestError):
        return Section(TITLE, (HOW, f"There is no such jar here. {jar}"))
    times = "once" if jar.emptied == 1 else f"{jar.emptied} times"
    every, away = at_least("minutes_short", jar.every_min), say("minutes_short", away_min)
    pairs = (
        ("asked", f"{away} away may cost at most {format_share(most_share)} of the keep"),
        ("at most", f"{format_volume(jar.largest_l)} may be in it"),
        ("take", f"{format_volume(jar.size_l)}: filled {times}, each in {every} or more"),
        ("at worst", f"{format_volume(jar.lost_l)} are lost, {format_share(jar.lost_share)} of the keep"),
    )
    return Section(TITLE, (HOW, Facts(pairs)))


def emptied_section(run: Run, jar: Emptied) -> Section:
    """Return the working jar of a plan: how often it is emptied, and what is at risk each time."""
    fades = "" if run.faded_l is None else f", with care from {format_volume(run.faded_l)} collected on"
    often = f"{at_least('minutes_short', jar.every_min)} to {say('minutes_short', jar.slowest_min)}"
    pairs = [
        ("jar", f"{format_volume(jar.size_l)}, emptied {counted(jar.times, 'time')}, full in {often}"),
        ("taste", f"after the heads, then before each emptying{fades}"),
        *(
            (
                f"{say('minutes_short', minutes)} away",
                f"costs {format_volume(lost)} at most, {format_share(share)} of the keep",
            )
            for minutes, lost, share in jar.away
        ),
    ]
    return Section("Working jar", (Facts(tuple(pairs)),))


def jar_data(jar: WorkingJar | RequestError, away_min: float, most_share: float) -> dict[str, Any]:
    """Return the working jar as plain data; ``refused`` says why there is none, else it is ``None``."""
    asked: dict[str, Any] = {"away_min": away_min, "most_share": most_share}
    if isinstance(jar, RequestError):
        names = (field.name for field in dataclasses.fields(WorkingJar))
        return {**asked, **dict.fromkeys(names), "refused": str(jar)}
    return {**asked, **plain(jar), "refused": None}


# --- What a distiller reads of jars, keep and proofing.


def jar_section(run: Run) -> Section:
    """Return the row of jars, in the order of the run."""
    spirit, kept = run.charge.ethanol_mol > 0.0, set(run.keep.jars)
    oils = dict(zip(run.jars, flavours.jars_mg_per_l(run).tolist(), strict=True)) if run.bill else {}
    table = tabulate(
        run.jars,
        Told("jar", lambda jar: str(jar.number), "right"),
        Told("for", lambda jar: use(jar, kept)),
        Told("size", lambda jar: metric("volume", jar.size_l), "right"),
        Told("holds", lambda jar: jar.volume_l, "volume_column"),
        Told("mass", lambda jar: jar.mass_g, "mass_column"),
        Told("until", lambda jar: jar.to_l, "volume_column"),
        Told("jar", lambda jar: jar.abv, "abv_column") if spirit else None,
        Told("stream", lambda jar: jar.end_abv, "abv_column") if spirit else None,
        Told("vapour", lambda jar: jar.vapour_c, "temperature"),
        Told("at", lambda jar: jar.full_min, "minutes"),
        Told("oil", oils.get, "oil_column") if oils else None,
    )
    told = f"until, {'stream, ' if spirit else ''}vapour, at: when the jar is taken away"
    told += "; oil: of the botanicals, rough by a factor of two and more." if oils else "."
    notes = jar_notes(run)
    return Section("Jars", (table, told, *((Points(notes),) if notes else ())))


def use(jar: Jar, kept: Collection[int]) -> str:
    """Return what a jar is for."""
    return jar.role if jar.role != "keep" or jar.number in kept else "left out"


def jar_notes(run: Run) -> tuple[str, ...]:
    """Return what is to be heeded of the jars; nothing of hydrometers where there is no spirit."""
    spirit = run.charge.ethanol_mol > 0.0
    return sentences(note for note in run.row.notes if spirit or note.kind != TOO_SMALL)


def keep_section(run: Run, *, edges: bool = True) -> Section:
    """Return what is pooled, and what the jars at its edges would change."""
    keep, stake = run.keep, run.row.at_stake
    pairs = [
        ("jars", format_numbers(keep.jars)),
        ("volume", f"{_spirit(keep.volume_l, keep.abv)}, {format_mass(keep.mass_g)}"),
        *([("pure alcohol", format_volume(keep.ethanol_l))] if keep.abv > 0.0 else []),
        *([("oil", f"{say('oil', flavours.keep_mg_per_l(run))}, of the botanicals")] if run.bill else []),
        *(_edges(keep) if edges else []),
    ]
    as_cut = [jar.number for jar in run.jars if jar.role == "keep"] == list(keep.jars)
    if stake is not None and keep.abv > 0.0 and as_cut and len(keep.jars) > 1:
        share = say("share_about", stake.share)
        pairs.append(("one bad jar", f"costs at most {share} of the alcohol kept (jar {stake.number})"))
    return Section("Keep", (Facts(tuple(pairs)),))


def _spirit(volume_l: float, abv: float) -> str:
    return format_volume(volume_l) + (f" at {format_abv(abv)}" if abv > 0.0 else "")


def _edges(keep: Keep) -> list[tuple[str, str]]:
    """What the first and last jar kept, and their neighbours, would change."""
    first, last = keep.jars[0], keep.jars[-1]
    at_edge = dict.fromkeys((first - 1, first, last, last + 1))
    changes = {change.number: change for change in keep.changes}
    return [
        (
            f"{'without' if changes[n].kept else 'with'} jar {n}",
            _spirit(keep.volume_l + changes[n].volume_l, keep.abv + changes[n].abv),
        )
        for n in at_edge
        if n in changes
    ]


Pairs = tuple[tuple[str, str], ...]


def proofing_section(made: Proofing, before: Pairs | None = None, after: Pairs = ()) -> Section:
    """Return the water that brings spirit down to a strength, and what comes of it."""
    warm, water = made.at_c != 20.0, exactly(made.water_at_c_l)
    at, at_20 = say("temperature_short", made.at_c), ", both at 20 °C" if made.at_c != 20.0 else ""
    spirit = (("spirit", f"{_spirit(made.from_l, made.from_abv)}{at_20}"),)
    pairs = [
        *(spirit if before is None else before),
        ("water", f"{say('water', 1000.0 * made.water_kg)}, or {water} of it at {at}"),
        ("gives", f"{exactly(made.volume_l)} at {format_abv(made.target_abv)}{at_20}"),
    ]
    if warm:
        pairs.append(("", f"{exactly(made.volume_at_c_l)}, reading {format_abv(made.reading_abv)}, at {at}"))
    if made.bottles is not None and made.bottle_l is not None:
        full, rest = metric("volume", made.bottle_l), format_volume(made.left_over_l)
        pairs.append(("bottles", f"{made.bottles} of {full}, and {rest} left over"))
    additions = tabulate(
        made.additions,
        Told("addition", lambda one: str(one.number), "right"),
        Told("water", lambda one: 1000.0 * one.water_kg, "mass_column"),
        Told(f"at {at}", lambda one: one.water_at_c_l, "volume_column"),
        Told("strength", lambda one: one.abv, "abv_column"),
        Told("reads", lambda one: one.reading_abv, "abv_column"),
    )
    steps = (additions,) if len(made.additions) > 1 else ()
    return Section("Proofing", (Facts((*pairs, *after)), *steps, Points(sentences(made.notes))))


def gauged_section(read: Gauged) -> Section:
    """Return what spirit is whose strength was read."""
    at = say("temperature_short", read.at_c)
    pairs = [
        (
            "the reading",
            f"{format_abv(read.reading_abv)} at {at}, on a hydrometer for {made_for(read.calibrated_c)}",
        ),
        ("is", f"{format_abv(read.abv)}, at 20 °C"),
    ]
    if read.volume_l is not None and read.mass_kg is not None:
        amount = f"{exactly(read.volume_l)} at 20 °C, {say('water', 1000.0 * read.mass_kg)}"
        pairs += [("there are", amount), ("alcohol", exactly(read.volume_l * read.abv / 100.0))]
    return Section("Strength", (Facts(tuple(pairs)),))


def timing(minutes: float) -> str:
    """Return a moment of a run in words, counted from switch-on."""
    return f"{format_minutes(minutes)} after switch-on"


def changes_section(run: Run) -> Section:
    """Return what each jar more or less would make of the keep."""
    keep, spirit = run.keep, run.keep.abv > 0.0
    step = unit_of("abv_step")
    table = tabulate(
        keep.changes,
        Told("jar", lambda one: str(one.number), "right"),
        Told("", lambda one: "dropped" if one.kept else "added"),
        Told("keep", lambda one: keep.volume_l + one.volume_l, "volume_column"),
        Told("keep", lambda one: keep.abv + one.abv, "abv_column") if spirit else None,
        Told("change", lambda one: signed("abv_step", one.abv), "right", step) if spirit else None,
    )
    return Section("One jar more or less", (table,))


def blend_section(poured: Sequence[str], made: Mixture) -> Section:
    """Return what portions poured together come to."""
    less, mass = made.contraction_l, format_mass(1000.0 * made.mass_kg)
    pairs = [
        *(("poured" if k == 0 else "", text) for k, text in enumerate(poured)),
        ("gives", f"{exactly(made.volume_l)} at {format_abv(made.abv)}, {mass}"),
        ("pure alcohol", format_volume(made.ethanol_l)),
        ("contraction", f"{format_volume(abs(less))} {'less' if less >= 0.0 else 'more'} than was poured"),
    ]
    return Section("Blend", (Facts(tuple(pairs)),))


# --- Bottled spirits of trials poured together.


def sections_of_blend(made: TrialBlend) -> tuple[Section, ...]:
    """Return bottled spirits poured together."""
    poured = tabulate(
        made.shares,
        Told("spirit", lambda share: share.trial.name),
        Told("parts", lambda share: number("factor", share.parts), "right"),
        Told("pour", lambda share: format_volume(share.poured_l), "right"),
        Told("of", lambda share: format_volume(share.bottled_l), "right"),
        Told("at", lambda share: share.abv, "abv_column"),
    )
    comes = (
        ("comes to", _spirit(made.volume_l, made.abv)),
        ("pure alcohol", format_volume(made.ethanol_l)),
        *_bottles_cloud(made),
    )
    said = made.cloud is not None and all(share.run.glass is None for share in made.shares)
    glass = (Points((GLASS,)),) if said else ()
    oils = (Section("Oil for a litre", (_blended(made.oils, len(made.shares)),)),) if made.oils else ()
    return (Section("Poured together", (poured, Facts(comes), *glass)), *oils, _one_run(made))


def _bottles_cloud(made: TrialBlend) -> list[tuple[str, str]]:
    """Whether the blend clouds, as far as that can be told."""
    if made.cloud is None:
        none = "not told: there is no alcohol" if made.abv <= 0.0 else "none: no botanicals, no oil of theirs"
        return [("cloud", none)]
    return [("cloud", bottle_words(made.cloud))]


MOST_ABREAST = 3  # spirits


def _blended(oils: Sequence[BlendOil], spirits: int) -> Table:
    def each(k: int) -> Told:
        return Told(f"spirit {k + 1}", lambda line: oil(line.each_mg_per_l[k]), "right", "mg/L")

    def change(line: BlendOil) -> str:
        return ratio(line.run_mg_per_l / line.blend_mg_per_l if line.blend_mg_per_l else None)

    return tabulate(
        oils,
        Told("botanical", lambda line: line.label),
        *(each(k) for k in range(spirits) if spirits <= MOST_ABREAST),
        Told("blend", lambda line: oil(line.blend_mg_per_l), "right", "mg/L"),
        Told("one run", lambda line: oil(line.run_mg_per_l), "right", "mg/L"),
        Told("run to blend", change, "right"),
    )


def charge_table(charge: Charge) -> Table:
    """Return what is poured into the pot."""
    return tabulate(
        charge.parts,
        Told("charge", lambda part: part.name),
        Told("volume", lambda part: format_volume(part.volume_l), "right"),
        Told("strength", lambda part: part.abv, "abv_column"),
    )


def _one_run(made: TrialBlend) -> Section:
    run = made.run
    bill = tabulate(
        run.bill,
        Told("botanical", lambda dose: dose.botanical.common_name),
        Told("amount", amount, "right"),
        Told("in the", lambda dose: dose.dose.where),
    )
    gives = f"{_bottled(run)}, from {_spirit(run.charge.volume_l, run.charge.abv)}"
    parts: list[Part] = [charge_table(run.charge), *([bill] if run.bill else [])]
    parts.append(Facts((("gives", gives), ("keeps", f"{format_share(_kept(run))} of the alcohol"))))
    if made.notes:
        parts.append(Points(sentences(made.notes)))
    return Section("One run in its place", tuple(parts))


def _kept(run: Run) -> float:
    return run.keep.ethanol_l / run.charge.ethanol_l if run.charge.ethanol_l > 0.0 else 0.0


def _bottled(run: Run) -> str:
    made = run.proofing
    count = "" if made is None or made.bottles is None else f", {counted(made.bottles, 'bottle')}"
    return f"{format_volume(bottled_l(run))} at {format_abv(bottled_abv(run))}{count}"


# --- What a distiller reads of keeps poured together to come near the oils of another plan.


WORST = 8  # compounds told
RIGHT = 0.005  # so small a miss is none
POUR = (
    "Yields of oil differ between lots by a factor of two and more: pour a little, taste, then pour the "
    "rest. Only the botanicals' oil is compared, not what the base spirits bring of their own."
)


@dataclass(frozen=True)
class Blended:
    """Keeps blended to be like another plan."""

    like: Run  # what is aimed at
    runs: tuple[Run, ...]  # whose keeps are poured together
    made: OilBlend  # the nearest there is
    poured: Poured  # that, made up to a volume


def sections_of_oil_blend(blended: Blended) -> tuple[Section, ...]:
    """Return what to pour, how near it comes, and which compounds it misses."""
    made, down = blended.made, blended.poured.proofing
    whole = f"{format_volume(down.volume_l)} at {format_abv(down.target_abv)}"
    water = f"{format_mass(1000.0 * down.water_kg)}, or {format_volume(down.water_l)} at 20 °C"
    facts = (
        ("together", f"{format_volume(down.from_l)} at {format_abv(down.from_abv)}"),
        ("water", water),
        ("gives", whole),
        ("at most", f"{format_volume(blended.poured.most_l)}, from the keeps of these runs"),
    )
    square = "root mean square over the compounds; 0 is a perfect match"
    near = (("misfit", f"{format_share(made.misfit)} ({square})"), ("oil in all", _amount(made.oil_factor)))
    return (
        Section(f"To pour for {whole}, like {blended.like.plan.title}", (_pour(blended), Facts(facts))),
        Section("How near it comes", (Facts(near), Points((POUR,)))),
        Section("What it misses, the worst first", (_worst(blended),)),
    )


def _pour(blended: Blended) -> Table:
    return tabulate(
        zip(blended.runs, blended.poured.volumes_l, blended.made.shares, strict=True),
        Told("keep of", lambda row: row[0].plan.title),
        Told("pour", lambda row: row[1], "volume_column"),
        Told("mass", lambda row: row[1] / row[0].keep.volume_l * row[0].keep.mass_g, "mass_column"),
        Told("strength", lambda row: row[0].keep.abv, "abv_column"),
        Told("share", lambda row: row[2], "share_column"),
    )


def _amount(factor: float) -> str:
    times = f"{number('times', factor)} times"
    if factor > 1.05:
        more = rounded(factor - 1.0, 2 if factor < 9.95 else 0)
        return (
            f"{times} what is wanted, at the same strength: {more} L of neutral spirit of that strength to "
            "each litre bring it down"
        )
    if factor < 0.95:
        return f"only {times} what is wanted, at the same strength; pouring cannot make it richer"
    return "as wanted, at the same strength"


def _worst(blended: Blended) -> Table | str:
    names = _names(blended)
    worst = [one for one in blended.made.misses[:WORST] if abs(one.miss) > RIGHT]
    if not worst:
        return "Nothing: every compound is within 0.5 %."
    return tabulate(
        worst,
        Told("compound", lambda one: names[one.compound_id]),
        Told("wanted", lambda one: oil(one.wanted_mg_per_l), "right", "mg/L"),
        Told("matched", lambda one: oil(one.matched_mg_per_l), "right", "mg/L"),
        Told("off by", lambda one: signed("share_about", one.miss), "right", "%"),
    )


def _names(blended: Blended) -> dict[str, str]:
    runs: Sequence[Run] = (blended.like, *blended.runs)
    every = [one for run in runs for flavour in run.flavours for one in flavour.compounds]
    return {one.compound_id: one.name for one in every}


def plain_blend(blended: Blended) -> dict[str, Any]:
    """Return a blend as plain data."""
    made, poured, names = blended.made, blended.poured, _names(blended)
    parts = zip(blended.runs, made.shares, poured.volumes_l, strict=True)
    return {
        "potsim": __version__,
        "like": blended.like.plan.title,
        "plans": [
            {"title": run.plan.title, "share": share, "volume_l": volume, "abv": run.keep.abv}
            for run, share, volume in parts
        ],
        "together_l": poured.proofing.from_l,
        "together_abv": poured.proofing.from_abv,
        "water_l": poured.proofing.water_l,
        "water_kg": poured.proofing.water_kg,
        "volume_l": poured.proofing.volume_l,
        "abv": poured.proofing.target_abv,
        "most_l": poured.most_l,
        "misfit": made.misfit,
        "oil_factor": made.oil_factor,
        "compounds": [
            {
                "compound_id": one.compound_id,
                "name": names[one.compound_id],
                "wanted_mg_per_l": one.wanted_mg_per_l,
                "blend_mg_per_l": made.oil_mg_per_l[one.compound_id],
                "matched_mg_per_l": one.matched_mg_per_l,
                "miss": one.miss,
            }
            for one in made.misses
        ],
    }
