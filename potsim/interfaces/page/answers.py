"""What the processes of the page compute: plans and trials made into what the page shows.

Everything here runs in a process of `workers`, from plain data to plain data. Numbers are those of
``potsim run --json``, unrounded: the page rounds what it tells, once, by the table of formats. Only what is
drawn and never told comes rounded.
"""

from __future__ import annotations

import dataclasses
import functools
import hashlib
from collections import Counter, OrderedDict, defaultdict
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from potsim.errors import PotsimError, RequestError, require
from potsim.interfaces import quantities
from potsim.interfaces.page.shelf import Shelf
from potsim.interfaces.page.told import bottles, refused, schema
from potsim.interfaces.planfile import example_plan, plan_of, read_plan, tables_of, write_plan
from potsim.interfaces.report import underway as words
from potsim.interfaces.report.trials import foretold, rows_of
from potsim.interfaces.tomlfile import Source
from potsim.interfaces.trialfile import per_litre, ratio
from potsim.interfaces.wording import formats, plural, units_of
from potsim.liquid import strength
from potsim.liquid.compounds import compound
from potsim.planning.blends import blend_trials
from potsim.planning.botanicals import Botanical, library
from potsim.planning.journal import Journal
from potsim.planning.lanes import lanes as lanes_of
from potsim.planning.notes import sentences
from potsim.planning.plan import VERDICTS, JarPlan, Plan
from potsim.planning.reach import reach as find
from potsim.planning.release import classes as classes_of
from potsim.planning.release import per_noticed
from potsim.planning.run import Run, distil
from potsim.planning.sweep import with_strength
from potsim.planning.trials import Trial, bottled_l, in_bottle
from potsim.planning.trials import compare as side_by_side
from potsim.records import plain

Array = NDArray[np.float64]
Task = Callable[[dict[str, Any]], Any]
SOURCE = "plan"
POINTS, TAIL_POINTS, THUMB_POINTS = 61, 15, 12
LANE_STEP = 3  # of the points of a lane, every third is drawn
TAIL_TO = 0.25  # past the stop, of what is collected by then
APART_ABV = 5.0  # by which a weaker and a stronger charge differ from the plan's [% vol]
MOST_RUNS = 30  # earlier runs whose jars go into a charge, and those that go into theirs
OTHER_FILES = ("from_file", "from_run")  # keys that name another file
HELD = 8  # runs computed lately
USUAL_ABV = 40.0  # strength of a charge, where none is said [% vol]


def column(values: Any, decimals: int) -> list[float]:
    """Return an array as a list with so many decimals, for what is only drawn."""
    return np.round(np.asarray(values, dtype=float), decimals).tolist()  # type: ignore[no-any-return]


# Plans ------------------------------------------------------------------------------------------------------


def plan_from(tables: object, root: str | None = None) -> Plan:
    """Return the plan that a browser sent; one that was made of its tables stays as it is."""
    if isinstance(tables, Plan):
        return tables
    if not isinstance(tables, dict):
        raise RequestError.of("no_tables_sent")
    if _runs_inside(tables) > MOST_RUNS:
        raise RequestError.of("many_runs", allowed=MOST_RUNS)
    folder = Path(root) if root is not None and _names_plain(tables) else None
    return plan_of(tables, Source(SOURCE, folder))


def plan_of_run(run: str | Journal, root: str) -> Plan:
    """Return the plan that a run was begun with."""
    journal = shelf_at(root).journal(run) if isinstance(run, str) else run
    return read_plan(journal.plan_text, SOURCE, Path(root))


def _runs_inside(tables: dict[str, Any]) -> int:
    """How many earlier runs would have to be computed; counting ends where there are too many."""
    found, waiting = 0, [tables]
    while waiting and found <= MOST_RUNS:
        rows = waiting.pop().get("charge")
        inside = (
            [row.get("from_run") for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
        )
        inner = [run for run in inside if isinstance(run, dict)]
        found += len(inner)
        waiting += inner
    return found


def _names_plain(tables: object) -> bool:
    """Whether every other file that is named, however deep, is one of the data folder itself."""
    if isinstance(tables, list):
        return all(map(_names_plain, tables))
    if not isinstance(tables, dict):
        return True
    named = [value for key, value in tables.items() if key in OTHER_FILES and isinstance(value, str)]
    plain = all(name == Path(name).name and not name.startswith(".") and "\\" not in name for name in named)
    return plain and all(map(_names_plain, tables.values()))


_RUNS: OrderedDict[str, Run] = OrderedDict()


def run_of(plan: Plan) -> Run:
    """Return the run of a plan, computed once for as long as it is used."""
    key = repr(plan)
    if key not in _RUNS:
        _RUNS[key] = distil(plan)
    _RUNS.move_to_end(key)
    while len(_RUNS) > HELD:
        _RUNS.popitem(last=False)
    return _RUNS[key]


def answer(sent: dict[str, Any]) -> dict[str, Any]:
    """Return what the page shows of a plan, and what it needs to follow a grip."""
    plan = plan_from(sent.get("plan"), sent.get("root"))
    run = run_of(plan)
    wanted = sent.get("want") or ["strip", "lanes", "rows"]
    found: dict[str, Any] = {
        "answer": figures(run),
        "why": words.why(run),
        "then": words.then(run),
        "strip": strip(run, marked="lanes" in wanted),
        "grips": grips(run),
    }
    if "lanes" in wanted:
        found["lanes"] = lanes(run)
    if "rows" in wanted:
        found["strip"]["clouds_l"] = clouds(run)
        found["rows"] = words.rows(plan, run)
        found["doses"] = doses(run)
        found["cautions"] = [
            {"kind": note.kind, "severity": note.severity, "text": said}
            for note, said in zip(run.heed, run.cautions, strict=True)
        ]
        found["assumed"] = list(run.assumed)
    return found


def figures(run: Run) -> dict[str, Any]:
    """Return the figures of a run."""
    made = run.proofing
    return {
        "keep_l": run.keep.volume_l,
        "keep_abv": run.keep.abv,
        "water_g": None if made is None else 1000.0 * made.water_kg,
        "bottle_l": run.plan.bottling.bottle_l,
        "bottles": None if made is None else made.bottles,
        "left_over_l": None if made is None else made.left_over_l,
        "target_abv": None if made is None else made.target_abv,
        "stop_l": run.stop.collected_l,
        "stop_min": run.stop.elapsed_min,
        "first_drop_min": run.first_drop_min,
        "charge_l": run.charge.volume_l,
        "charge_abv": run.charge.abv,
        "units": units_of(run.plan),
    }


def strip(run: Run, points: int = POINTS, *, marked: bool = True) -> dict[str, Any]:
    """Return a planned run as a strip of distillate; ``marked`` says which botanicals lead each jar."""
    profile = run.profile
    at = np.linspace(0, len(profile.collected_l) - 1, points).round().astype(int)
    nobody: tuple[tuple[str, ...], ...] = ((),) * len(run.jars)
    marking, leading = (run.flavours.marks, run.flavours.leads) if marked else (nobody, nobody)
    told = {"state": "planned", "word": "", "measured_l": None, "measured_abv": None}
    return {
        **outline(run.stop.collected_l, run.jars),
        "curve": curve(
            *(profile.collected_l[at], profile.stream_abv[at], profile.elapsed_min[at], profile.vapour_c[at])
        ),
        "tail": tail(run),
        "clouds_l": None,
        "band": None,
        "readings": [],
        "jars": [
            {**slice_of(jar), "leads": list(leads), "marks": list(marks), **told}
            for jar, marks, leads in zip(run.jars, marking, leading, strict=True)
        ],
    }


def outline(end_l: float, jars: Sequence[Any]) -> dict[str, Any]:
    """Return where a strip ends, and where its heads do."""
    heads_l = next((jar.to_l for jar in reversed(jars) if jar.role == "heads"), 0.0)
    return {"end_l": end_l, "heads_l": heads_l}


def curve(litres: Array, abv: Array, minutes: Array, vapour_c: Array) -> dict[str, Any]:
    """Return the line along the top of a strip."""
    return {
        "l": litres.tolist(),
        "abv": abv.tolist(),
        "min": minutes.tolist(),
        "vapour_c": vapour_c.tolist(),
    }


def slice_of(jar: Any) -> dict[str, Any]:
    """Return a jar, planned or told of, as a slice of a strip."""
    return {
        "n": jar.number,
        "role": jar.role,
        **{name: getattr(jar, name) for name in ("from_l", "to_l", "volume_l")},
        "abv": jar.abv,
        "full_min": jar.full_min,
        "size_l": jar.size_l,
    }


def clouds(run: Run) -> float | None:
    """Return from where the stream may turn hazy, if that lies on the strip or on its tail."""
    stream = None if run.cloud is None else run.cloud.stream
    at = None if stream is None else stream.possible_l
    on = at is not None and at <= run.stop.collected_l * (1.0 + TAIL_TO)
    return at if at is not None and on else None


def tail(run: Run) -> dict[str, Any] | None:
    """Return what would still come past the stop; ``None`` where nothing would."""
    start = run.end.depletion
    s = np.linspace(start, start + 1.5, 64)
    states = run.course.at(s)
    most = run.stop.collected_l * (1.0 + TAIL_TO)
    fine = (states.collected_l <= most) & (states.stream_abv > 1.0)
    last = int(np.argmin(fine)) if not fine.all() else len(s)
    if last < 3:
        return None
    at = np.linspace(0, last - 1, min(TAIL_POINTS, last)).round().astype(int)
    return {
        "l": column(states.collected_l[at], 4),
        "abv": column(states.stream_abv[at], 2),
        "min": column(states.elapsed_s[at] / 60.0, 2),
    }


def grips(run: Run) -> dict[str, Any]:
    """Return where heads, stop and tails may be taken hold of, and what key of the plan each moves."""
    cuts, setting = run.plan.cuts, run.setting
    named = dict(setting.stop.named)
    key = run.end.reason if run.end.reason in named else next(iter(named), "stream_abv")
    value = named.get(key)
    tails = None
    if cuts.tails_from is not None:
        first = next(iter(cuts.tails_from.named.items()), None)
        kept = [jar.to_l for jar in run.jars if jar.role == "keep"]
        if first is not None and kept:
            tails = {"path": f"cuts.tails_from.{first[0]}", "key": first[0], "value": first[1], "l": kept[-1]}
    return {
        "heads": {"path": "cuts.heads", "l": setting.heads_l},
        "stop": {
            "path": f"cuts.stop.{key}",
            "key": key,
            "value": value if isinstance(value, (int, float)) else None,
            "l": run.stop.collected_l,
        },
        "tails": tails,
        "jars": _sizes(run),
    }


def _sizes(run: Run) -> dict[str, Any]:
    """Return the sizes of the jars, and the key of the plan that says them."""
    jars = run.plan.jars
    key = "sizes" if jars.working_l is None else "working"
    counts = Counter(jar.size_l for jar in run.jars)
    stock = [(one.size_l, one.count) for one in jars.stock] or list(counts.items())
    return {"path": f"jars.{key}", "sizes": [{"l": size_l, "count": count} for size_l, count in stock]}


def lanes(run: Run) -> dict[str, Any]:
    """Return how strongly each group of flavour stands in the stream, and which marks it where."""
    found = lanes_of(run.flavours)
    stretches = [(lane.group, stretch) for lane in found.lanes for stretch in lane.stretches]
    return {
        "l": column(found.collected_l[::LANE_STEP], 4),
        "groups": [
            {
                "name": lane.group,
                "label": lane.group.capitalize(),
                "thick": column(lane.thick[::LANE_STEP], 3),
                "stretches": [
                    {
                        "from_l": stretch.from_l,
                        "to_l": stretch.to_l,
                        "label": ", ".join(stretch.names),
                        "fade_from": stretch.fades_in,
                        "fade_to": stretch.fades_out,
                    }
                    for stretch in lane.stretches
                ],
            }
            for lane in found.lanes
        ],
        "leads": [
            {"from_l": one.from_l, "to_l": one.to_l, "label": one.names[0]}
            for _, one in sorted(stretches, key=lambda each: each[1].from_l)
        ],
    }


def doses(run: Run) -> list[dict[str, Any]]:
    """Return each line of the bill, in its order: how much, and where it comes over."""
    by_line = {flavour.line: flavour for flavour in run.flavours.botanicals}
    found = []
    for k, dose in enumerate(run.bill):
        flavour, usual = by_line[k], dose.botanical.usual_dose
        passage = flavour.passage
        where = None if passage is None else [passage.start_l, passage.end_l]
        found.append(
            {
                "row": k,
                "name": dose.botanical.common_name,
                "class": flavour.klass,
                "from_l": where[0] if where else None,
                "to_l": where[1] if where else None,
                "stays": flavour.left_in_pot + flavour.left_in_plant,
                "g": dose.wet_mass_g,
                "g_per_l": dose.wet_mass_g / run.charge.volume_l,
                "usual_g_per_l": None if usual is None else [usual.low_g_per_l, usual.high_g_per_l],
                "shown": words.dose(dose),
            }
        )
    return found


def beside(sent: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the stream of a weaker and of a stronger charge, the alcohol in it being the same."""
    plan = plan_from(sent.get("plan"), sent.get("root"))
    bare = dataclasses.replace(plan, jars=JarPlan(), botanicals=())
    abv = run_of(bare).charge.abv
    found = []
    for name, other in (("weaker", abv - APART_ABV), ("stronger", abv + APART_ABV)):
        try:
            run = run_of(with_strength(bare, other))
        except PotsimError:
            continue
        at = np.linspace(0, len(run.collected_l) - 1, POINTS).round().astype(int)
        line = {"l": column(run.collected_l[at], 4), "abv": column(run.stream_abv[at], 2)}
        found.append({"which": name, "abv": run.charge.abv, "curve": line, "answer": figures(run)})
    return found


def sure(sent: dict[str, Any]) -> dict[str, Any]:
    """Return how sure the answer is: bands that hold nine in ten of the runs drawn."""
    from potsim.planning.ensemble import ensemble  # start-up: scipy only where it is asked for

    plan = plan_from(sent.get("plan"), sent.get("root"))
    made = ensemble(plan)

    def band(name: str) -> dict[str, float] | None:
        one = made.answers.get(name)
        return None if one is None else {"value": one.value, "low": one.low, "high": one.high}

    stream = made.curves.get("stream_abv")
    bottles = made.answers.get("proofing.bottles")
    at = np.linspace(0, 0 if stream is None else len(stream.collected_l) - 1, 31).round().astype(int)
    return {
        "keep_l": band("keep.volume_l"),
        "keep_abv": band("keep.abv"),
        "stop_min": band("stop.elapsed_min"),
        "bottles": None if bottles is None else {"low": int(bottles.low), "high": int(bottles.high)},
        "band": None
        if stream is None
        else {
            "l": column(stream.collected_l[at], 4),
            "low": column(stream.low[at], 2),
            "high": column(stream.high[at], 2),
        },
        "text": " ".join(made.sentences()),
    }


def reach(sent: dict[str, Any]) -> dict[str, Any]:
    """Return a plan that gives so many bottles."""
    plan = plan_from(sent.get("plan"), sent.get("root"))
    found = find(plan, bottles=bottles(sent.get("bottles")))
    return {
        "plan": tables_of(found.plan),
        "text": " ".join(sentences((*found.moved, *found.limits))),
        "runs": found.runs,
    }


# Trials -----------------------------------------------------------------------------------------------------


def compare(sent: dict[str, Any]) -> dict[str, Any]:
    """Return some plans side by side, what differs between the first and the last."""
    plans = [plan for _, plan in parts_of(sent, 2, 4)]
    runs = [run_of(plan) for plan in plans]
    first, last = Trial("1", plans[0]), Trial(str(len(plans)), plans[-1])
    made = side_by_side(first, last)
    rows: list[dict[str, Any]] = []
    for pair in made.botanicals:
        both = [None if one is None else one.doses.g_per_l_charge for one in (pair.a, pair.b)]
        told = ["–" if one is None else f"{per_litre(one)} g/L" for one in both]
        rows.append({"label": pair.label, "told": told, "effect": ratio(pair.change)})
    decided = rows_of(one for one in made.decided if one.table != "botanical")
    rows += [{"label": name, "told": sides, "effect": ""} for name, *sides in (*decided, *foretold(made))]
    oils: dict[str, list[float | None]] = {}
    for k, run in enumerate(runs):
        for line in in_bottle(run):
            oils.setdefault(line.label, [None] * len(runs))[k] = line.oil_mg_per_l
    return {
        "names": [plan.title for plan in plans],
        "strips": [strip(run) for run in runs],
        "lanes": lanes(runs[-1]),
        "answers": [figures(run) for run in runs],
        "stops": [{"l": run.stop.collected_l, "abv": run.stop.stream_abv} for run in runs],
        "rows": rows,
        "oils": [{"label": label, "values": values} for label, values in oils.items()],
        "bottle_l": [bottled_l(run) for run in runs],
    }


def blend(sent: dict[str, Any]) -> dict[str, Any]:
    """Return the bottled spirits of some plans poured together, and one run that would give the like."""
    found = parts_of(sent, 2, 4)
    volumes = [quantities.volume_l(str(part.get("volume", "1 L"))) for part, _ in found]
    trials = [Trial(str(k + 1), plan) for k, (_, plan) in enumerate(found)]
    made = blend_trials(trials, volumes)
    return {
        "poured_l": volumes,
        "volume_l": sum(volumes),
        "most_l": made.volume_l,
        "abv": made.abv,
        "oils": plain(made.oils),
        "one_run": {
            "plan": tables_of(made.plan),
            "notes": list(sentences(made.notes)),
            "answer": figures(made.run),
        },
    }


def parts_of(sent: dict[str, Any], least: int, most: int) -> list[tuple[dict[str, Any], Plan]]:
    """Return the plans that a request names: of the shelf, of a run, or as tables."""
    parts = sent.get("parts")
    if not isinstance(parts, list) or not least <= len(parts) <= most:
        raise RequestError.of("choose", allowed=[least, most])
    return [(part, plan_of_part(part, str(sent.get("root")))) for part in parts if isinstance(part, dict)]


def plan_of_part(part: dict[str, Any], root: str) -> Plan:
    """Return the plan that a part of a request names."""
    shelf = shelf_at(root)
    if isinstance(part.get("tables"), dict):
        return plan_from(part["tables"], root)
    if isinstance(part.get("run"), str):
        return plan_of_run(part["run"], root)
    return plan_from(shelf.tables(str(part.get("plan"))), root)


# Files ------------------------------------------------------------------------------------------------------


def opened(sent: dict[str, Any]) -> dict[str, Any]:
    """Return the tables of an opened plan file."""
    text, name = sent.get("text"), sent.get("name")
    if not isinstance(text, str) or not isinstance(name, str):
        raise RequestError.of("no_text_sent")
    shown = "".join(letter for letter in name if letter.isprintable())[:60]
    return {"plan": tables_of(read_plan(text, shown or "The file"))}


def _asked(sent: dict[str, Any]) -> Plan:
    root = str(sent["root"])
    return (
        plan_of_run(sent["run"], root)
        if isinstance(sent.get("run"), str)
        else plan_from(sent.get("plan"), root)
    )


def sheet(sent: dict[str, Any]) -> dict[str, Any]:
    """Return the page to print of a plan or a run, to lie beside the still."""
    from potsim.interfaces.report.sheet import page_of_bench  # start-up: scipy only where it is asked for

    plan = _asked(sent)
    return {"title": plan.title, "text": page_of_bench(run_of(plan))}


def numbers(sent: dict[str, Any]) -> dict[str, Any]:
    """Return the curve of a plan as CSV."""
    from potsim.interfaces.report.sheet import content  # start-up: scipy only where it is asked for

    plan = _asked(sent)
    return {"title": plan.title, "text": content(run_of(plan), "csv", "csv")}


def saved(sent: dict[str, Any]) -> dict[str, Any]:
    """Return a plan as the text of a plan file."""
    plan = _asked(sent)
    return {"title": plan.title, "text": write_plan(plan)}


def begin(sent: dict[str, Any]) -> dict[str, Any]:
    """Return the text of a plan that can be run; another is refused."""
    plan = plan_from(sent.get("plan"), sent.get("root"))
    run_of(plan)
    return {"title": plan.title, "text": write_plan(plan)}


@functools.cache
def _start() -> dict[str, Any]:
    return {
        "formats": formats(),
        "schema": schema(),
        "example": tables_of(example_plan()),
        "verdicts": list(VERDICTS),
        "library": [
            {
                "name": one.common_name,
                "latin": ", ".join(one.latin_names),
                "aliases": list(one.aliases),
                "part": one.part,
                "group": group(one),
                "class": None,
                "states": list(one.states),
                "state": one.yield_state,
                "pieces": None if one.piece is None else plural(one.piece.name),
                "piece_g": None if one.piece is None else one.piece.mass_g,
                "usual_g_per_l": None
                if one.usual_dose is None
                else [one.usual_dose.low_g_per_l, one.usual_dose.high_g_per_l],
            }
            for one in sorted(library().values(), key=lambda b: b.common_name.lower())
        ],
    }


def group(one: Botanical) -> str | None:
    """Return the group of flavour that most of a botanical's oil belongs to, as a nose has it."""
    weights = per_noticed(one, {})
    sums: defaultdict[str, float] = defaultdict(float)
    for share in one.composition:
        if share.compound_id in weights:
            sums[compound(share.compound_id).group] += share.pct.typical * weights[share.compound_id]
    return max(sums, key=lambda name: sums[name]) if sums else None


def classes(sent: dict[str, Any]) -> dict[str, Any]:
    """Return when each botanical of the library would come over from a charge of a strength."""
    abv = float(sent["abv"]) if str(sent.get("abv", "")).replace(".", "", 1).isdecimal() else USUAL_ABV
    require("charge.abv", abv, 0.0, 96.0, "% vol", open_low=True)
    among = list(library().values())
    found = classes_of(among, float(strength.x_from_abv(abv)))
    named = zip(among, found, strict=True)
    return {"abv": abv, "classes": {one.common_name: each.klass for one, each in named}}


def start(sent: dict[str, Any]) -> dict[str, Any]:
    """Return what a new page begins with."""
    return _start()


def refusal(error: PotsimError) -> dict[str, Any]:
    """Return a refusal as data."""
    return {"refused": refused(error)}


# The shelf --------------------------------------------------------------------------------------------------


@functools.lru_cache(maxsize=2)
def shelf_at(root: str) -> Any:
    """Return the data folder, to be read."""
    return Shelf(Path(root))


_CARDS: OrderedDict[str, dict[str, Any]] = OrderedDict()


def card(tables: Mapping[str, Any], root: str) -> dict[str, Any]:
    """Return a plan in small, computed once."""
    key = hashlib.sha256(repr((tables, root)).encode()).hexdigest()
    if key not in _CARDS:
        try:
            run = distil(plan_from(dict(tables), root))
        except PotsimError as error:
            _CARDS[key] = {"answer": None, "thumb": None, "refused": refused(error)}
        else:
            _CARDS[key] = {"answer": figures(run), "thumb": thumb(strip(run, THUMB_POINTS))}
        while len(_CARDS) > 500:
            _CARDS.popitem(last=False)
    return _CARDS[key]


def thumb(of: Mapping[str, Any]) -> dict[str, Any]:
    """Return a strip in small."""
    at = np.linspace(0, len(of["curve"]["l"]) - 1, THUMB_POINTS).round().astype(int)
    line = {key: column([of["curve"][key][k] for k in at], 4) for key in ("l", "abv")}
    jars = [{key: jar[key] for key in ("from_l", "to_l", "role", "state")} for jar in of["jars"]]
    return {"end_l": of["end_l"], "curve": line, "jars": jars}


def plan(sent: dict[str, Any]) -> dict[str, Any]:
    """Return a plan of the shelf as it was typed."""
    shelf, name = shelf_at(str(sent["root"])), str(sent.get("plan"))
    changed = [kept.changed_ms for kept in shelf.list() if kept.id == name]
    return {"id": name, "plan": shelf.tables(name), "changed": changed[0] if changed else 0}
