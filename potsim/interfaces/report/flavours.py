"""What a distiller reads of oil and smell: what clouds, when each botanical comes over, what heads take."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, Literal

from potsim.interfaces.report import Column, Facts, Part, Points, Section, Table, Told, tabulate
from potsim.interfaces.wording import (
    Step,
    briefly,
    format_abv,
    format_mass,
    format_numbers,
    format_share,
    format_volume,
    masses,
    metric,
    number,
    say,
    signed,
    step_of,
    unit_of,
    volumes,
)
from potsim.liquid.clouding import ClearLimit
from potsim.liquid.compounds import compound, compounds
from potsim.planning.botanicals import Botanical, Spread
from potsim.planning.cloud import NOISE_ABV, Cloud, LetDown, Remedy, Stream
from potsim.planning.release import BotanicalFlavour, CompoundFlavour
from potsim.planning.run import Run
from potsim.planning.stops import HeadsCut, heads_cut

NO_ALCOHOL = (
    "Not told: what oil a liquid keeps clear is known for spirit, and this charge holds no alcohol. Oil that "
    "water does not dissolve floats on it or makes it milky (common practice, no source)."
)
NO_OIL = "Not told: no oil that the model follows comes over into the keep."
NEVER = f"Nothing here hazes above {metric('abv_about', NOISE_ABV)}, as far as the oil that is followed goes."
GLASS = (
    "One glass settles it: 20 mL of the keep against something dark, water by drops until it hazes, warm and "
    "from the fridge. Write the strength down as clouded_at: `potsim trial next` learns from it, `potsim "
    "proof --clouded-at` tells what it means for this keep."
)
SOME_DROPS_L = 0.0005
FEW = 0.1  # a share of the load that is worth a name

Level = Literal["clear", "likely clear", "likely hazy", "hazy"]
IN_FRIDGE: dict[Level, str] = {
    "clear": "in the fridge too",
    "likely clear": "may haze in the fridge",
    "likely hazy": "likely hazy in the fridge",
    "hazy": "hazy in the fridge",
}


def level(limit: ClearLimit, abv: float) -> Level:
    """Return how a spirit is likely to look at a strength."""
    if limit.high_abv < NOISE_ABV or (abv > limit.high_abv and limit.state != "always cloudy"):
        return "clear"
    if abv > limit.abv:
        return "likely clear"
    return "likely hazy" if abv > limit.low_abv else "hazy"


def sentences(found: Cloud) -> tuple[str, ...]:
    """Say what a cloud means to the distiller."""
    if found.never:
        return (NEVER,)
    bottle = f"The bottle: {bottle_words(found)}."
    said = [bottle if found.target_abv is not None else f"The keep, let down: {span_words(found)}."]
    said += [] if found.stream is None else stream_words(found.stream)
    if found.haze is not None and found.haze.visible:
        most = _oils(found.haze.composition)
        said.append(
            f"By the middle estimate {say('oil', found.haze.mg_per_l)} of oil would part there, mostly "
            f"{most}."
        )
    if found.target_abv is not None and _worst(found) != "clear":
        said.append(_blame_words(found))
        said += [remedy_words(remedy, found) for remedy in found.remedies]
    said += taught_words(found)
    if found.taught is None and found.shift is None and found.room.high_abv >= NOISE_ABV:
        said.append(GLASS)
    return tuple(said)


def _worst(found: Cloud) -> Level:
    abv = found.target_abv or 100.0
    order = list(IN_FRIDGE)
    return max((level(one, abv) for one in (found.room, found.chilled)), key=order.index)


def bottle_words(found: LetDown) -> str:
    """Say how the bottle is likely to look, warm and chilled, and where the first haze falls."""
    span = span_words(found)
    if found.target_abv is None:
        return f"let down, {span}"
    warm, cold = (level(one, found.target_abv) for one in (found.room, found.chilled))
    at = format_abv(found.target_abv)
    if warm == "hazy":
        return f"hazy at {at}; {span}"
    fridge = "in the fridge too" if cold == warm == "likely hazy" else IN_FRIDGE[cold]
    return f"{warm} at {at}, {fridge}; {span}"


def span_words(found: LetDown) -> str:
    """Say between which strengths the first haze shows, warm and chilled taken together."""
    low, high = found.span_abv
    if found.room.state == "always cloudy" and low > 99.0:
        return "its oil does not stay clear even in pure alcohol"
    if high < NOISE_ABV:
        return f"no haze to be seen above {say('abv_about', NOISE_ABV)}"
    if high > found.keep_abv:
        sure = f", for certain below {say('abv_about', low)}" if NOISE_ABV < low < found.keep_abv else ""
        return "hazy before any water" if low >= found.keep_abv else f"perhaps hazy before any water{sure}"
    if low < NOISE_ABV:
        return f"first haze, if any, below {say('abv_about', high)}"
    return f"first haze somewhere between {number('abv_about', low)} and {say('abv_about', high)}"


def limit_words(limit: ClearLimit) -> str:
    """Say down to what strength oil stays clear at one temperature: half a sentence."""
    if limit.state == "always cloudy":
        return "its oil does not stay clear even in pure alcohol"
    if limit.high_abv < NOISE_ABV:
        return f"no haze to be seen above {say('abv_about', NOISE_ABV)}"
    if limit.low_abv < NOISE_ABV:
        return f"first haze, if any, below {say('abv_about', limit.high_abv)}"
    low = number("abv_about", limit.low_abv)
    return f"first haze somewhere between {low} and {say('abv_about', limit.high_abv)}"


def stream_words(stream: Stream) -> list[str]:
    """Say where the stream turns cloudy; the first drops too."""
    said = []
    if stream.clears_l == math.inf:
        return ["The stream is hazy from the first drop to the end of the alcohol."]
    if stream.clears_l is not None:
        drops = "drops come" if stream.clears_l < SOME_DROPS_L else f"{format_volume(stream.clears_l)} come"
        said.append(f"The first {drops} over hazy, full of oil.")
    if stream.possible_l is None or stream.possible_abv is None:
        return said
    after = "" if stream.possible_l <= stream.end_l else ", after the stop"
    sure = "not sure before the end of the alcohol"
    if stream.middle_l is None:
        sure = "but more likely none before the end of the alcohol"
    if stream.sure_l is not None and stream.sure_abv is not None:
        sure = f"sure by {format_volume(stream.sure_l)} ({briefly('abv_about', stream.sure_abv)})"
    possible = (
        f"possible from {format_volume(stream.possible_l)} ({briefly('abv_about', stream.possible_abv)})"
    )
    said.append(f"The stream: first haze {possible}, {sure}{after}.")
    return said


def watch_words(stream: Stream | None, collected_l: float, hazy_l: float | None) -> str:
    """Say from where on to watch the stream of a run under way; nothing where it stays clear to the stop."""
    span = ""
    if stream is not None and stream.possible_l is not None:
        sure = "" if stream.sure_l is None else f", sure by {format_volume(stream.sure_l)}"
        span = f"possible from {format_volume(stream.possible_l)}{sure}"
    if hazy_l is not None:
        return f"seen at {format_volume(hazy_l)}; as planned {span or 'none before the stop'}"
    if stream is None or stream.possible_l is None:
        return ""
    if collected_l < stream.possible_l:
        return f"watch {span.removeprefix('possible ')}"
    return f"it may turn now: {span}"


def remedy_words(remedy: Remedy, found: Cloud) -> str:
    """Say what would help, and what it changes."""
    if remedy.kind == "bottle stronger":
        return f"Bottle at {say('abv_about', remedy.value)} or more: clear in nine of ten such batches."
    what = {
        "drop last jars": f"Leave out the last {_last_jars(int(remedy.value))}",
        "larger heads": f"Take {format_volume(remedy.value)} of heads",
        "less of": f"Take half the {remedy.botanical}",
    }[remedy.kind]
    before, after = found.deciding.abv, remedy.limit.abv
    to = (
        f"at about {say('abv_about', after)}"
        if after >= NOISE_ABV
        else f"below {say('abv_about', NOISE_ABV)}"
    )
    return f"{what}: first haze {to} instead of {number('abv_about', before)}."


def _blame_words(found: Cloud) -> str:
    lines = [(name or "base spirit", share) for name, share in found.to_blame.items() if share >= FEW][:3]
    plants = ", ".join(f"{name} ({say('share_about', share)})" for name, share in lines)
    return f"Mostly to blame: {plants}; of oils, {_oils(found.blame)}."


def taught_words(found: Cloud) -> list[str]:
    """Say what a haze that was seen teaches, or what an earlier one has taught."""
    if found.taught is not None:
        seen = found.taught.seen
        factor, way = number("times", 10.0 ** abs(seen)), "less" if seen < 0.0 else "more"
        said = f"The haze you saw: this batch keeps {factor} times {way} oil clear than computed."
        if found.taught.bounded:
            said += " Lots and solubilities explain less; look again whether it was the oil."
        believed = signed("decades", found.taught.believed)
        return [said, f"{believed} decades of it go to the next trial as cloud_shift."]
    if found.shift is not None:
        shift = signed("decades", found.shift)
        return [f"With cloud_shift {shift}, learnt from a glass; delete the key to forget it."]
    return []


def cloud_sections(run: Run, found: Cloud | None = None) -> tuple[Section, ...]:
    """Return whether stream and bottle cloud, or why that is not told; nothing where nothing can."""
    told = run.cloud if found is None else found
    if told is None or (not run.bill and told.never):
        if not run.bill:
            return ()
        return (Section("Cloud", (NO_ALCOHOL if run.charge.ethanol_mol == 0.0 else NO_OIL,)),)
    return (Section("Cloud", (Points((*sentences(told), *_jar_words(run))),)),)


def _jar_words(run: Run) -> list[str]:
    """Which jars may be hazy, and which surely are."""
    said = []
    for kind, words in (("possible", "may be hazy"), ("sure", "surely hazy")):
        numbers = [jar.number for jar, haze in zip(run.jars, run.hazy_jars, strict=True) if haze == kind]
        if numbers:
            plural = "Jars" if len(numbers) > 1 else "Jar"
            said.append(f"{plural} {format_numbers(numbers)}: {words}.")
    return said


def cloud_of_keep(run: Run, found: Cloud | None) -> Section:
    """Return whether the keep of a run clouds at a strength."""
    title = f"Cloud: the keep of {run.plan.title}"
    if found is None or (not run.bill and found.never):
        return Section(title, ("The plan has no botanicals: no oil of theirs clouds it.",))
    oil = f"It then holds {say('oil', found.oil_mg_per_l)} of oil of the botanicals."
    return Section(title, (Points((*sentences(found), oil)),))


def _oils(shares: dict[str, float]) -> str:
    worst = itertools.islice(shares.items(), 2)
    return " and ".join(f"{compound(name).name} ({say('share_about', share)})" for name, share in worst)


def _last_jars(count: int) -> str:
    return "jar kept" if count == 1 else f"{count} jars kept"


# --- Heads cuts of other sizes: what they take of the base spirit, and what they cost.


SAFE = (
    "A heads cut does not make bad spirit safe: methanol comes over along with the alcohol from the first "
    "drop to the last, and nothing here knows what else is in a spirit of doubtful making. Charge only "
    "spirit fit to drink."
)
WHAT = "In per cent of what there is in the charge; what is early is soon out, what is late hardly touched:"


def heads_sections(run: Run) -> tuple[Section, ...]:
    """Return the table of heads cuts."""
    found = run.heads
    if not found:
        return ()
    unit, sizes = volumes([cut.heads_l for cut in found])
    lost_unit, lost = volumes([cut.ethanol_l for cut in found])
    rows = [
        (f"pure alcohol, {lost_unit}", *lost),
        ("the alcohol", *(number("share_column", cut.ethanol_share) for cut in found)),
        *(
            (one.name, *(number("share_column", cut.taken[one.compound_id]) for cut in found))
            for one in run.flavours.base
            if one.compound_id in found[0].taken
        ),
    ]
    heads = (Column(_head(run, cut, size), unit) for cut, size in zip(found, sizes, strict=True))
    table = Table((Column("heads of", align="left"), *heads), tuple(rows))
    return (Section("What a heads cut takes, and what it costs", (WHAT, table)),)


def _head(run: Run, cut: HeadsCut, size: str) -> str:
    return f"plan {size}" if cut.heads_l == run.setting.heads_l else size


# --- The library of botanicals.


def spread(given: Spread) -> str:
    """Return a typical value with its range, ``"1.2 (0.8 to 2)"``."""
    typical, low, high = (number("percent", pct) for pct in (given.typical, given.low, given.high))
    return typical if low == typical == high else f"{typical} ({low} to {high})"


def list_of(every: Sequence[Botanical]) -> Section:
    """Return the list of botanicals."""
    table = tabulate(
        every,
        Told("name", lambda one: one.common_name),
        Told("part", lambda one: one.part or one.category),
        Told("as", lambda one: one.yield_state),
        Told("oil", lambda one: number("percent", one.oil_yield_pct.typical), "right", "%"),
        Told("usual dose", _dose, "", "g per L of charge"),
        Told("", lambda one: "caution" if one.cautions else ""),
    )
    more = "`potsim botanicals NAME` tells compounds, cautions and the source of every figure."
    return Section(f"{len(every)} botanicals", (table, more))


def _dose(one: Botanical) -> str:
    usual = one.usual_dose
    if usual is None:
        return ""
    return " to ".join(number("dose", g_per_l) for g_per_l in (usual.low_g_per_l, usual.high_g_per_l))


def sections_of(one: Botanical) -> tuple[Section, ...]:
    """Return all that is known of one botanical."""
    parts = [Section(one.common_name, (Facts(tuple(_facts(one))),)), _compound_rows(one)]
    if one.cautions:
        texts = tuple(f"{_stop(caution.text)} ({caution.source})" for caution in one.cautions)
        parts.append(Section("Take care", (Points(texts),)))
    return (*parts, _sources(one))


def _facts(one: Botanical) -> list[tuple[str, str]]:
    pairs = [
        ("Latin", ", ".join(one.latin_names)),
        ("also called", ", ".join(one.aliases)),
        ("part", one.part or one.category),
        ("oil", f"{spread(one.oil_yield_pct)} % of the {one.yield_state} mass"),
        ("usual dose", f"{_dose(one)} g {one.yield_state} for a litre of charge" if one.usual_dose else ""),
        ("used", one.usual_prepared),
    ]
    if one.piece is not None:
        pairs.append(("a piece", f"{one.piece.name}, {format_mass(one.piece.mass_g)} {one.piece.state}"))
    if one.fruit is not None:
        peel = format_mass(one.fruit.mass_g)
        pairs.append(
            ("a whole fruit", f"peel of one {one.fruit.name}, {peel} {one.fruit.state} with the pith")
        )
    if one.fresh_water_fraction is not None:
        pairs.append(("fresh", f"{say('share_about', one.fresh_water_fraction)} water"))
    pairs.append(("remarks", one.remarks))
    return [(label, text) for label, text in pairs if text]


def _compound_rows(one: Botanical) -> Section:
    names = {compound.id: compound.name for compound in compounds()}
    table = tabulate(
        sorted(one.composition, key=lambda share: -share.pct.typical),
        Told("compound", lambda share: names.get(share.compound_id, share.compound_id)),
        Told("share", lambda share: spread(share.pct), "", "%"),
        Told("of the", lambda share: share.basis),
        Told("source", lambda share: share.source),
    )
    listed, rest = (say("share_about", pct / 100.0) for pct in (one.listed_pct, 100.0 - one.listed_pct))
    return Section("Compounds", (table, f"The list holds {listed} of the oil; {rest} is not followed."))


def _sources(one: Botanical) -> Section:
    pairs = [("oil", f"{one.yield_source} ({one.yield_confidence})")]
    if one.usual_dose is not None:
        pairs.append(("usual dose", one.usual_dose.source))
    if one.piece is not None:
        pairs.append(("a piece", one.piece.source))
    if one.fruit is not None:
        pairs.append(("a whole fruit", one.fruit.source))
    if one.fresh_water_fraction is not None:
        pairs.append(("fresh", one.fresh_water_source))
    return Section("Sources", (Facts(tuple(pairs)),))


def _stop(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


# --- What a distiller reads of flavours: when each botanical comes over, what marks a jar, what clouds.


Flavour = BotanicalFlavour | CompoundFlavour
ROUGH = (
    "Comes: when half is over in an hour's run from a charge of this strength, whatever pot, power and dose: "
    "early within a fifth of the distillate, middle within 0.6, late beyond. All else is this run to its "
    "stop, rough by a factor of two and more: oil of the lot, size of its pieces, fat."
)
BASKET = (
    "In the basket: the band is of how fast the pieces let go; that vapour passes all of them alike is taken "
    "for granted, and a packed basket gives up less."
)
NOSE = (
    "Times: over the odour thresholds in water, all together. They differ tenfold between sources, and "
    "alcohol raises them all: compare, do not count on them. Clear from an eighth of the whole, a hint from "
    "a thirtieth."
)
MARKS = "Leads: the most by times. Marks: what a jar has more of than the run as a whole."
DOSES = (
    "Beside the rest of this bill, charge and cuts as they are, with the fat it brings; between a third and "
    "three times as much."
)
STAYS = "stays"
LEFT_OUT = 0.2  # of what is kept of a botanical, from which on it is told that it has no threshold
LATER_TOLD = 0.01  # of the oil, from which on it is told what comes after the stop
MEANS_STAYS = "Stays: less than a twentieth of what is dissolved ever comes over."
NOTHING = "The plan has no botanicals, and no spirit of a kind whose own volatiles are known."


def flavour_sections(run: Run) -> tuple[Section, ...]:
    """Return where the botanicals and the base spirits' own volatiles come over, in short."""
    found = []
    if run.bill:
        found.append(Section("Flavours", tuple(_botanicals(run))))
    if run.flavours.base:
        found.append(_base(run))
    return (*found, *cloud_sections(run))


def _botanicals(run: Run) -> list[Part]:
    every = run.flavours.botanicals
    parts: list[Part] = [_timings("botanical", partial(_where, run), every), _amounts(run, every), ROUGH]
    if any(line.dose.where == "basket" for line in run.bill):
        parts.append(BASKET)
    if any(one.klass == STAYS for one in every):
        parts.append(MEANS_STAYS)
    parts += [_noticed(run, every), NOSE]
    left_out = [
        f"{_where(run, one)} {format_share(one.without_threshold)}"
        for one in every
        if one.without_threshold > LEFT_OUT
    ]
    if left_out:
        shares = ", ".join(left_out)
        parts.append(f"Without a known threshold, and left out of times: {shares} of its oil kept.")
    return [*parts, *_fading(run), MARKS, _jars(run)]


def _fading(run: Run) -> list[str]:
    """Where what counts has faded, and what the late class would still bring after the stop."""
    said = []
    if run.faded_l is not None:
        at, stop = run.faded_l, run.stop.collected_l
        where = "" if at <= stop else ", after the stop"
        said.append(
            f"All that leads or is clear, the late ones apart, has faded at {format_volume(at)}{where}."
        )
    late = [
        f"{one.botanical} {format_share(one.later)}"
        for one in run.flavours.botanicals
        if one.klass == "late" and one.later > LATER_TOLD
    ]
    if late:
        said.append(
            f"After the stop, to 99 % of the alcohol, would still come: {', '.join(late)} of its oil."
        )
    return said


def compound_sections(run: Run) -> tuple[Section, ...]:
    """Return where each compound of each botanical comes over."""
    return tuple(
        Section(_where(run, flavour).capitalize(), (_compounds(flavour),))
        for flavour in run.flavours
        if flavour.compounds
    )


def dose_sections(run: Run) -> tuple[Section, ...]:
    """Return the doses that would make each botanical a hint, and clear, beside the rest of the bill."""
    from potsim.planning.lanes import noticed_doses  # start-up: not for a plain run

    every = run.flavours.botanicals
    if len(every) < 2:
        return ()
    doses = {one.line: noticed_doses(run.flavours, one.line) for one in every}
    unit = unit_of("mass_rough")

    def told(k: int, one: BotanicalFlavour) -> str:
        return _grams(doses[one.line][k])

    table = tabulate(
        every,
        Told("botanical", partial(_where, run)),
        Told("now", lambda one: one.noticed),
        *(
            Told(head, partial(told, k), "right", unit)
            for k, head in enumerate(("dose", "a hint from", "clear from"))
        ),
    )
    return (Section("What it takes to be noticed", (table, DOSES)),)


def _grams(grams: float | None) -> str:
    return "never" if grams is None else number("mass_rough", grams)


def _where(run: Run, flavour: BotanicalFlavour) -> str:
    """Its name, with the basket where the name does not already tell it from others."""
    told = flavour.botanical != run.bill[flavour.line].botanical.common_name
    return f"{flavour.botanical} (basket)" if flavour.where == "basket" and not told else flavour.botanical


PASSAGE = (("5 % at", "start_l"), ("half at", "half_l"), ("95 % at", "end_l"), ("most at", "peak_l"))


def _timings(head: str, name: Callable[[Any], str], flavours: Sequence[Flavour], *more: Told) -> Table:
    """When each comes over, up to the stop; its volumes in one unit."""
    step = _step(flavours)
    return tabulate(
        flavours,
        Told(head, name),
        Told("comes", lambda one: one.klass),
        *(Told(at, partial(_place, step, what), "right", step.unit) for at, what in PASSAGE),
        *more,
    )


def _step(flavours: Sequence[Flavour]) -> Step:
    return step_of(
        "volume_column",
        max((one.passage.end_l for one in flavours if one.passage is not None), default=0.0),
    )


def _place(step: Step, what: str, one: Flavour) -> str:
    passage = one.passage
    return "" if passage is None else number("volume_column", getattr(passage, what), step)


def _amounts(run: Run, every: Sequence[BotanicalFlavour]) -> Table:
    """How much of each is given up, and where the rest is."""

    def about(one: BotanicalFlavour) -> str:
        return f"{_percent(one.gives_up.low)} to {_percent(one.gives_up.high)}"

    return tabulate(
        every,
        Told("of its oil, %", partial(_where, run)),
        Told("gives up", lambda one: _percent(one.gives_up.value), "right"),
        Told("about", about),
        Told("in heads", lambda one: _percent(one.in_heads), "right"),
        Told("in keep", lambda one: _percent(one.in_keep), "right"),
        Told("in plant", lambda one: _percent(one.left_in_plant), "right"),
        Told("in pot", lambda one: _percent(one.left_in_pot), "right"),
    )


def _noticed(run: Run, every: Sequence[BotanicalFlavour]) -> Table:
    """How each is noticed in the bottle."""
    return tabulate(
        every,
        Told("in the bottle", partial(_where, run)),
        Told("noticed", lambda one: one.noticed),
        Told("times", lambda one: one.times_threshold, "count"),
        Told("in keep", lambda one: one.in_keep * one.releasable_g, masses),
    )


def _percent(share: float) -> str:
    return number("share_about", share)


def _smell(compound: CompoundFlavour) -> str:
    """A compound with what it smells of."""
    return f"{compound.name}: {compound.odour}" if compound.odour else compound.name


def _compounds(flavour: BotanicalFlavour) -> Table:
    step = _step(flavour.compounds)
    return tabulate(
        flavour.compounds,
        Told("compound", _smell),
        Told("comes", lambda one: one.klass),
        Told("half at", partial(_place, step, "half_l"), "right", step.unit),
        Told("over", lambda one: one.over_g, masses),
        Told("in plant", lambda one: one.left_in_plant, "share_about"),
        Told("in pot", lambda one: one.left_in_pot, "share_about"),
        Told("off by", lambda one: number("times", one.expected_factor), "right", "factor"),
    )


def _jars(run: Run) -> Table:
    """Who leads and who marks; jars that follow on each other and say the same are told together."""
    told = zip(run.jars, run.flavours.leads, run.flavours.marks, strict=True)
    rows = []
    for (leads, marks), group in itertools.groupby(told, key=lambda each: each[1:]):
        numbers = format_numbers(jar.number for jar, _, _ in group)
        rows.append((numbers, ", ".join(leads) or "nothing", ", ".join(marks) or "nothing"))
    columns = (Column("jar", align="left"), Column("leads", align="left"), Column("marks", align="left"))
    return Table(columns, tuple(rows))


def _base(run: Run) -> Section:
    """The base spirits' own volatiles, and how much of each the heads take."""
    base, heads_l = run.flavours.base, run.setting.heads_l
    if heads_l == 0.0:
        return Section("Base spirit", (_timings("of the base spirit", _name, base), SAFE))
    cut = heads_cut(run.flavours, heads_l)
    taken = Told("in heads", lambda one: cut.taken.get(one.compound_id, 0.0), "share_about")
    alcohol = format_share(cut.ethanol_share)
    said = f"The heads, {format_volume(cut.heads_l)}, take {alcohol} of the alcohol with them."
    return Section("Base spirit", (_timings("of the base spirit", _name, base, taken), said, SAFE))


def _name(compound: CompoundFlavour) -> str:
    return compound.name
