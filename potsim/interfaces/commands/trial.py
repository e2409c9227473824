"""``potsim trial``: recipes from trial to trial."""

from __future__ import annotations

import argparse
import dataclasses
import datetime
import functools
import os
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from potsim.errors import RequestError
from potsim.interfaces import output, quantities
from potsim.interfaces.cli import FORCE, JSON, PICTURES, Command, OneOf, argument, read, targets, typed_as
from potsim.interfaces.wording import counted, units_of
from potsim.records import plain

if TYPE_CHECKING:
    from potsim.interfaces.quantities import System
    from potsim.interfaces.report import Section
    from potsim.interfaces.trialfile import TrialFile
    from potsim.planning.next_trial import Per, Scaled
    from potsim.planning.plan import Plan

TOML = ("toml",)
SCALED = ("per", "charge_factor", "alcohol_factor", "dose_factor", "weighing_g")  # told as they are


def run_next(args: argparse.Namespace) -> None:
    """Apply the verdicts of a trial."""
    target = _target(args, "output", TOML)
    from potsim.interfaces.report.trials import sections_of_next  # start-up: --help loads nothing heavy
    from potsim.interfaces.trialfile import next_text, read_factors
    from potsim.planning.next_trial import next_trial

    factors = None if args.factors is None else read("--factors", read_factors, "; ".join(args.factors))
    file = _trial(args.trial, target)
    made = next_trial(file.trial, factors)
    text = next_text(file, made, _folder(target), datetime.date.today()) if target else ""
    data = {
        "trial": file.trial.name,
        "title": made.plan.title,
        "factors": plain(made.factors),
        "changes": [
            {
                "botanical": change.label,
                "verdict": change.note.verdict,
                "words": change.note.words,
                "factor": change.factor,
                "before": _dose(change.before),
                "after": _dose(change.after),
            }
            for change in made.changes
        ],
        "botanicals": [pair.to_dict() for pair in made.pairs],
        "against": None if made.against is None else made.against._asdict(),
        "advice": list(made.advice),
    }
    _done(args, data, functools.partial(sections_of_next, made), target, text, made.plan)


def _dose(dose: object) -> object:
    from potsim.planning.plan import BotanicalDose

    return {"mass_g": dose.mass_g, "pieces": dose.pieces} if isinstance(dose, BotanicalDose) else None


def run_compare(args: argparse.Namespace) -> None:
    """Put two trials side by side."""
    target = _target(args, "plot", PICTURES)
    a, b = _trial(args.a, target), _trial(args.b, target)
    from potsim.interfaces.report.trials import sections_of_comparison
    from potsim.planning.trials import compare

    made = compare(a.trial, b.trial)
    picture: str | bytes = ""
    if target is not None:
        from potsim.interfaces.plots.others import figure_of_comparison
        from potsim.interfaces.report.sheet import saved

        picture = saved(figure_of_comparison(made), target.suffix)
    _done(
        args, made.to_dict(), functools.partial(sections_of_comparison, made), target, picture, b.trial.plan
    )


def run_scale(args: argparse.Namespace) -> None:
    """Scale a recipe."""
    target = _target(args, "output", TOML)
    file = _trial(args.trial, target)
    typed = {name: text for name, text in args.typed.items() if "@" not in text}
    with typed_as({"charge": "--charge", "abv": "--charge", "bottles": "--bottles"}, typed):
        made = _scaled(args, file)
    from potsim.interfaces.report.trials import doses_of, sections_of_scaled
    from potsim.interfaces.trialfile import scale_text, titled
    from potsim.interfaces.wording import format_volume
    from potsim.planning.notes import sentences

    size = counted(args.bottles, "bottle") if args.bottles else format_volume(made.after.charge.volume_l)
    made = dataclasses.replace(made, plan=titled(made.plan, size))
    text = scale_text(file, made, _folder(target)) if target else ""
    data = {
        "trial": file.trial.name,
        "title": made.plan.title,
        **{name: getattr(made, name) for name in SCALED},
        "charge": plain(made.after.charge.parts),
        "before": {"doses": doses_of(made.before), **_outcome(made.before)},
        "after": {"doses": doses_of(made.after), **_outcome(made.after)},
        "botanicals": [pair.to_dict() for pair in made.pairs],
        "does_not_scale": list(sentences(made.unscaled)),
    }
    sections = functools.partial(sections_of_scaled, made, file.trial.name)
    _done(args, data, sections, target, text, made.plan)


def _scaled(args: argparse.Namespace, file: TrialFile) -> Scaled:
    from potsim.interfaces.planfile import load_plan
    from potsim.planning.next_trial import to_bottles, to_charge

    per: Per = "charge" if args.per == "charge" else "alcohol"
    still = None if args.still is None else read("--still", load_plan, args.still).still
    if args.bottles is not None:
        return to_bottles(file.trial.plan, args.bottles, per=per, still=still)
    volume_l, abv = args.charge
    return to_charge(file.trial.plan, volume_l, abv, per, still)


def _charge(text: str) -> tuple[float, float | None]:
    """Read a charge: volume, and strength where it is to change."""
    if "@" in text:
        wanted = quantities.portion(text)
        return wanted.volume_l, wanted.abv
    return quantities.volume_l(text), None


def _outcome(run: object) -> dict[str, object]:
    from potsim.planning.frames import outcome
    from potsim.planning.run import Run

    return plain(outcome(run)) if isinstance(run, Run) else {}


def run_blend(args: argparse.Namespace) -> None:
    """Pour bottled spirits together."""
    target = _target(args, "output", TOML)
    known: dict[str, TrialFile] = {}
    for name, _ in args.trials:
        known.setdefault(os.path.realpath(name), _trial(name, target))
    found = [known[os.path.realpath(name)] for name, _ in args.trials]
    from potsim.interfaces.report.jars import sections_of_blend
    from potsim.interfaces.report.trials import doses_of
    from potsim.interfaces.trialfile import blend_text
    from potsim.planning.blends import blend_trials

    made = blend_trials([file.trial for file in found], [parts for _, parts in args.trials])
    text = blend_text(found, made, _folder(target)) if target else ""
    data = made.to_dict()
    data["one_run"]["doses"] = doses_of(made.run)
    _done(args, data, functools.partial(sections_of_blend, made), target, text, made.run.plan)


def _named(text: str) -> tuple[str, float]:
    """File and parts: ``trial-1.toml:2``; without parts it is one."""
    name, colon, parts = text.rpartition(":")
    if not colon or not re.fullmatch(r"\s*[0-9]*\.?[0-9]+\s*", parts):
        if colon and not Path(text).exists() and not re.search(r"[\\/]", parts):
            raise RequestError.of("no_parts", given=text, parts=parts)
        return text, 1.0
    if float(parts) == 0.0:
        raise RequestError.of("takes_no_part", given=text)
    return name, float(parts)


def run_book(args: argparse.Namespace) -> None:
    """List the trials of a folder."""
    target = _target(args, "csv", ())
    from potsim.interfaces.report.trials import csv_of_book, sections_of_book
    from potsim.interfaces.trialfile import read_folder
    from potsim.planning.next_trial import book

    entries = book(read_folder(args.folder))
    data = {"trials": [entry.to_dict() for entry in entries]}
    sections = functools.partial(sections_of_book, entries, args.folder)
    _done(args, data, sections, target, csv_of_book(entries))


def _target(args: argparse.Namespace, option: str, suffixes: tuple[str, ...]) -> output.Target | None:
    return targets(args, {option: suffixes}).get(option)


def _trial(name: str, target: output.Target | None) -> TrialFile:
    """Read a trial file; what is to be written must not be the file itself."""
    from potsim.interfaces.trialfile import read_trial

    if not name.strip() or "\0" in name:
        raise RequestError.of("empty_name", "TRIAL", given=name)
    if target is not None:
        output.check_apart([target], Path(name))
    return read_trial(name)


def _folder(target: output.Target | None) -> Path:
    return Path() if target is None else target.path.parent


def _done(
    args: argparse.Namespace,
    data: Mapping[str, object],
    sections: Callable[[], Sequence[Section]],
    target: output.Target | None,
    content: str | bytes,
    plan: Plan | None = None,
) -> None:
    """Give out the result, in the units of the plan."""
    unwritten = target is None and "output" in args and not args.json
    more = ["Nothing is written yet: -o FILE writes the recipe."] if unwritten else []
    units: System = "metric" if plan is None else units_of(plan)
    output.emit(args, lambda: data, sections, [(target, lambda: content)], more, units=units)


OUTPUT = argument("-o", "--output", metavar="FILE", help="write the recipe: .toml")


NEXT = Command(
    name="next",
    description="""\
Apply the verdicts of a trial to its doses, keep everything else, and tell what
that is predicted to do. With -o the next trial is written: each change is
explained in a comment, and what came of the trial before becomes comments.""",
    examples=(
        "potsim trial next trial-1.toml -o trial-2.toml",
        'potsim trial next trial-1.toml --factors "more=x1.3" "a touch less=/1.1"',
    ),
    arguments=(
        argument("trial", metavar="TRIAL", help="trial file with its notes"),
        OUTPUT,
        argument(
            "--factors", metavar="VERDICT=FACTOR", nargs="+", help='what a verdict does, such as "more=x1.3"'
        ),
        JSON,
        FORCE,
    ),
    run=run_next,
    help="apply the verdicts of a trial",
)
COMPARE = Command(
    name="compare",
    description="""\
Put two trials side by side: doses, also by the litre of charge and of bottled
spirit; what is predicted for each botanical; what else differs. Only what
differs is told.""",
    examples=("potsim trial compare trial-1.toml trial-2.toml --plot oils.svg",),
    arguments=(
        argument("a", metavar="A", help="trial file"),
        argument("b", metavar="B", help="another"),
        argument("--plot", metavar="FILE", help="draw the oils: .svg, .png or .pdf"),
        JSON,
        FORCE,
    ),
    run=run_compare,
    help="two trials side by side, only what differs",
)
SCALE = Command(
    name="scale",
    description="""\
Scale a recipe to a charge, which is all that is in the pot at switch-on, or to
a number of full bottles: spirits, water, botanicals, heads, power, jars. If the
charge is to have another strength ("25 L @ 30 %"), --per tells whether doses go
by the litre of alcohol or of charge. Without --still the other still is as full
and has power in proportion.""",
    examples=(
        'potsim trial scale trial-2.toml --charge "25 L" -o large.toml',
        "potsim trial scale trial-2.toml --bottles 40",
        'potsim trial scale trial-2.toml --charge "25 L @ 30 %" --per charge',
    ),
    arguments=(
        argument("trial", metavar="TRIAL", help="trial file"),
        OneOf(
            (
                argument(
                    "--charge",
                    metavar="VOLUME",
                    type=_charge,
                    help='charge wanted: "25 L", or "25 L @ 30 %%"',
                ),
                argument(
                    "--bottles",
                    metavar="N",
                    type=quantities.whole("a number of bottles"),
                    help="full bottles wanted",
                ),
            ),
            required=True,
        ),
        argument(
            "--per", choices=("alcohol", "charge"), help="doses by the litre of alcohol (usual) or of charge"
        ),
        argument("--still", metavar="FILE", help="plan file whose [still] is the other still"),
        OUTPUT,
        JSON,
        FORCE,
    ),
    run=run_scale,
    help="a recipe for another still",
)
BLEND = Command(
    name="blend",
    description="""\
Pour bottled spirits of trials together, in parts by volume: strength, volume,
oils; and one run that would give the like, with its predicted difference. With
-o the recipe of that run is written.""",
    examples=(
        "potsim trial blend trial-1.toml:1 trial-2.toml:1",
        "potsim trial blend trial-1.toml:2 trial-2.toml:1 -o trial-3.toml",
    ),
    arguments=(
        argument("trials", metavar="TRIAL:PARTS", nargs="+", type=_named, help="such as trial-1.toml:2"),
        OUTPUT,
        JSON,
        FORCE,
    ),
    run=run_blend,
    help="bottled spirits of trials poured together",
)
BOOK = Command(
    name="book",
    description="""\
List all trials of a folder: date, charge, keep, strength, doses, what changed
from trial to trial, and what was tasted. A file that cannot be read is named;
the others are listed all the same.""",
    examples=("potsim trial book .", "potsim trial book trials --csv trials.csv"),
    arguments=(
        argument("folder", metavar="DIR", help="folder with trial files"),
        argument("--csv", metavar="FILE", help="write the book as numbers"),
        JSON,
        FORCE,
    ),
    run=run_book,
    help="all trials of a folder",
)
TRIAL = Command(
    name="trial",
    description="""\
A trial is a plan file plus what happened: [result] with date, collected,
strength, jars_kept, bottled, words; and a [[note]] for each botanical tasted,
with botanical, verdict, words, tasted_at. Verdicts: a lot more, more, a touch
more, right, a touch less, less, drop. Files are changed where they stand: your
comments and the order of things stay.""",
    examples=(
        "potsim trial next trial-1.toml -o trial-2.toml",
        "potsim trial compare trial-1.toml trial-2.toml",
        'potsim trial scale trial-2.toml --charge "25 L"',
    ),
    commands=(NEXT, COMPARE, SCALE, BLEND, BOOK),
)
COMMANDS = (TRIAL,)
