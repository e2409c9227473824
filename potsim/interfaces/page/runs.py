"""Runs under way and done: what the browser may ask of their journals and tell them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from typing import Any

from potsim.errors import RequestError
from potsim.interfaces.page import progress, told
from potsim.interfaces.page.folder import Folder
from potsim.interfaces.page.tables import plan_from
from potsim.interfaces.planfile import read_plan, tables_of
from potsim.interfaces.wording import format_mass
from potsim.planning.botanicals import BotanicalDose
from potsim.planning.journal import Journal
from potsim.planning.next_trial import next_trial
from potsim.planning.readings import Reading
from potsim.planning.run import distil
from potsim.planning.trials import Trial

Work = Callable[[dict[str, Any]], Any]


def reads(folder: Folder) -> Mapping[str, Work]:
    """Return what answers questions about runs, by address."""
    followers = progress.Followers()

    def forecast(sent: dict[str, Any]) -> dict[str, Any]:
        journal = folder.read(sent["run"])
        run = distil(read_plan(journal.plan_text))
        key = progress.Followed(sent["run"], journal.plan_text, told.hold_up(journal)[1])
        return progress.progress(followers, key, run, journal.readings)

    return {
        "/api/runs": lambda _: {"runs": [asdict(kept) for kept in folder.kept()]},
        "/api/runs/{run}": lambda sent: state(folder.read(sent["run"]), sent["run"]),
        "/api/runs/{run}/forecast": forecast,
    }


def writes(folder: Folder) -> Mapping[str, Work]:
    """Return what takes in news of runs, by address."""

    def begin(sent: dict[str, Any]) -> dict[str, Any]:
        plan = plan_from(sent.get("plan"))
        distil(plan)  # a plan that cannot be run is refused before there is a journal of it
        name = folder.begin(plan)
        return state(folder.read(name), name)

    def tell(sent: dict[str, Any]) -> dict[str, Any]:
        with folder.added_to(sent["run"]) as journal:
            record = told.record(journal, sent.get("tell"))
            if record is not None:
                journal.append(record)
            return state(journal, sent["run"])

    return {
        "/api/runs": begin,
        "/api/runs/{run}/tell": tell,
        "/api/runs/{run}/pool": lambda sent: pool(folder.read(sent["run"]), sent.get("jars")),
        "/api/runs/{run}/next": lambda sent: following(folder.read(sent["run"]), sent["run"]),
    }


def state(journal: Journal, name: str) -> dict[str, Any]:
    """Return all that a journal holds."""
    plan = read_plan(journal.plan_text)
    return {
        "name": name,
        "plan": tables_of(plan),
        "begun": journal.records[0].at,
        "heat_on": told.heat_on(journal),
        "hold_up": told.hold_up(journal)[0],
        "readings": [_reading(reading) for reading in journal.readings],
        "jars": [asdict(jar) for jar in journal.jars],
        "pooled": list(told.pooled(journal)) or None,
        "verdicts": {
            name: {"verdict": note.verdict, "words": note.words}
            for name, note in told.verdicts(journal).items()
        },
        "notes": told.remarks(journal),
        "torn": list(journal.torn),
    }


def pool(journal: Journal, jars: object) -> dict[str, Any]:
    """Return some jars of a run poured together, and brought to bottling strength."""
    plan = read_plan(journal.plan_text)
    chosen = replace(plan.jars, keep=told.jar_numbers(jars))
    run = distil(replace(plan, jars=chosen))
    made = run.to_dict()
    notes = () if run.proofing is None else run.proofing.notes
    return {"keep": made["keep"], "proofing": made["proofing"], "notes": list(notes)}


def following(journal: Journal, name: str) -> dict[str, Any]:
    """Return the trial that follows from the verdicts of a run."""
    notes = told.verdicts(journal)
    if not any(note.verdict for note in notes.values()):
        raise RequestError("No botanical has a verdict yet.", "Say of one or more what they were like.")
    made = next_trial(Trial(name, read_plan(journal.plan_text), notes=tuple(notes.values())))
    return {
        "plan": tables_of(made.plan),
        "changes": [
            {
                "botanical": change.label,
                "verdict": change.note.verdict,
                "before": _dose(change.before),
                "after": None if change.after is None else _dose(change.after),
            }
            for change in made.changes
        ],
        "advice": list(made.advice),
    }


def _dose(dose: BotanicalDose) -> str:
    if dose.mass_g is not None:
        return format_mass(dose.mass_g)
    return f"{dose.pieces:g} pieces"


def _reading(reading: Reading) -> dict[str, Any]:
    entry = reading.entry
    return {
        "line": reading.line,
        "where": reading.where,
        **{name: getattr(reading, name) for name in ("from_l", "collected_l", "parrot_l", "abv")},
        **{name: getattr(entry, name) for name in ("elapsed_min", "read_abv", "read_c", "vapour_c")},
        **{
            name: getattr(entry, name)
            for name in ("pot_c", "power_w", "of", "mass_g", "jar_l", "jar_g", "words")
        },
    }
