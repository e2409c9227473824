"""The cloud in words: the risk first, then where the stream turns, what is to blame, what would help."""

from __future__ import annotations

import itertools
import math
from typing import Literal

from potsim.interfaces.report.tables import Points, Section
from potsim.interfaces.wording import briefly, format_abv, format_numbers, format_volume, metric, number, say
from potsim.liquid.clouding import ClearLimit
from potsim.liquid.compounds import compound
from potsim.planning.cloud import NOISE_ABV, Cloud, Remedy, Stream
from potsim.planning.run import Run

NO_ALCOHOL = (
    "Not told: what oil a liquid keeps clear is known for spirit, and this charge holds no alcohol. Oil that "
    "water does not dissolve floats on it or makes it milky (common practice, no source)."
)
NO_OIL = "Not told: no oil that the model follows comes over into the keep."
NEVER = f"Nothing here hazes above {metric('abv_about', NOISE_ABV)}, as far as the oil that is followed goes."
GLASS = (
    "One glass settles it: 20 mL of the keep against something dark, water drop by drop until it hazes, once "
    "warm and once from the fridge. Write the strength down as clouded_at: potsim trial next learns from it, "
    "and potsim proof --clouded-at tells what it means for this keep."
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
        most = _named(found.haze.composition)
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


def bottle_words(found: Cloud) -> str:
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


def span_words(found: Cloud) -> str:
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
        "drop last jars": f"Leave out the last {_jars(int(remedy.value))}",
        "larger heads": f"Take {format_volume(remedy.value)} of heads",
        "less of": f"Take half the {remedy.botanical}",
    }[remedy.kind]
    before, after = found.deciding.abv, remedy.limit.abv
    to = (
        f"at about {say('abv_about', after)}"
        if after >= NOISE_ABV
        else f"below {say('abv_about', NOISE_ABV)}"
    )
    return f"{what}: first haze {to} instead of {before:.0f}."


def _blame_words(found: Cloud) -> str:
    lines = [(name or "base spirit", share) for name, share in found.to_blame.items() if share >= FEW][:3]
    plants = ", ".join(f"{name} ({say('share_about', share)})" for name, share in lines)
    return f"Mostly to blame: {plants}; of oils, {_named(found.blame)}."


def taught_words(found: Cloud) -> list[str]:
    """Say what a haze that was seen teaches, or what an earlier one has taught."""
    if found.taught is not None:
        seen = found.taught.seen
        way = "less" if seen < 0.0 else "more"
        said = (
            f"The haze you saw: this batch keeps {10.0 ** abs(seen):.1f} times {way} oil clear than computed."
        )
        if found.taught.bounded:
            said += " Lots and solubilities explain less; look again whether it was the oil."
        return [said, f"{found.taught.believed:+.2f} decades of it go to the next trial as cloud_shift."]
    if found.shift is not None:
        return [f"With cloud_shift {found.shift:+.2f}, learnt from a glass; delete the key to forget it."]
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


def _named(shares: dict[str, float]) -> str:
    worst = itertools.islice(shares.items(), 2)
    return " and ".join(f"{compound(name).name} ({say('share_about', share)})" for name, share in worst)


def _jars(count: int) -> str:
    return "jar kept" if count == 1 else f"{count} jars kept"
