"""``potsim run, jars, flavours``: a predicted run; ``botanicals, evidence, new``: what stands around it."""

from __future__ import annotations

import argparse
import dataclasses
import functools
import sys
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from potsim.errors import RequestError
from potsim.interfaces import output, quantities
from potsim.interfaces.cli import (
    FORCE,
    JSON,
    PICTURES,
    PLAN,
    Command,
    OneOf,
    argument,
    read,
    targets,
    typed_as,
)
from potsim.interfaces.planfile import the_batch, the_plan_file
from potsim.interfaces.wording import format_minutes, units_of
from potsim.planning.plan import TABLES
from potsim.records import plain

if TYPE_CHECKING:
    from potsim.interfaces.report import Section
    from potsim.planning.ensemble import Ensemble
    from potsim.planning.plan import JarPlan, Plan

PAGES = ("html",)
RUNS = 2000  # drawn for --sure
MANY = 20_000  # from here on it is said beforehand how long it takes


def run(args: argparse.Namespace) -> None:
    """Predict a run."""
    wanted = targets(args, {"plot": PICTURES, "csv": (), "report": PAGES}, the_plan_file(args.plan))
    plan, glass = the_batch(args.plan)
    from potsim.planning.run import distil  # start-up: --help loads nothing heavy

    made = distil(plan, glass)
    sure = _sure(args, plan)

    def content(option: str) -> str | bytes:
        from potsim.interfaces.report.sheet import content

        return content(made, option, wanted[option].suffix, sure)

    def text() -> str:
        if args.full:
            from potsim.interfaces.report.run import text_of_run

            return text_of_run(made, sure)
        from potsim.interfaces.report.card import text_of_card

        said = text_of_card(made)
        if sure is None:
            return said
        from potsim.interfaces.report import render
        from potsim.interfaces.report.sweep import sure_section

        return f"{said}\n\n{render((sure_section(sure),))}"

    output.emit(
        args,
        lambda: {**made.to_dict(), **({} if sure is None else {"band": sure.bands()})},
        text,
        [(target, functools.partial(content, option)) for option, target in wanted.items()],
        units=units_of(plan),
    )


def _sure(args: argparse.Namespace, plan: Plan) -> Ensemble | None:
    """Draw runs if the bands were asked for; say beforehand how long many will take."""
    if not args.sure:
        for option in ("seed", "runs"):
            if getattr(args, option) is not None:
                raise RequestError.of("goes_with", f"--{option}", other="--sure")
        return None
    from potsim.planning.ensemble import MOST, ensemble, estimate_s

    seed = 0 if args.seed is None else args.seed
    runs = RUNS if args.runs is None else args.runs
    if MANY < runs <= MOST:
        about = format_minutes(estimate_s(plan, runs) / 60.0)
        output.words(f"Drawing {runs:,} runs takes about {about}. Ctrl-C stops.")
    with typed_as({"n": "--runs"}, args.typed):
        return ensemble(plan, runs, seed, progress=_bar if runs > MANY else None)


def _bar(done: int, of: int) -> None:
    """Tell on a terminal how far the draws have come."""
    if output.watched():
        sys.stderr.write(f"\r  {done:,} of {of:,} runs" + ("\n" if done >= of else ""))
        sys.stderr.flush()


def jars(args: argparse.Namespace) -> None:
    """Lay jars along a run, and pool some of them."""
    planned, glass = the_batch(args.plan)
    plan = dataclasses.replace(planned, jars=_jars(args, planned.jars))
    from potsim.planning.run import distil

    made = distil(plan, glass if plan == planned else None)  # a glass is of the keep as it was pooled
    from potsim.interfaces.report import jars as report

    with typed_as({"minutes": "--away", "most_lost": "--most"}, args.typed):
        small = report.found(made, args.away, args.most)

    def data() -> dict[str, Any]:
        whole = made.to_dict()
        some = {
            key: whole[key] for key in ("potsim", "title", "jars", "jar_notes", "working", "keep", "cloud")
        }
        some["changes"] = plain(made.keep.changes)
        return {**some, "working_jar": report.jar_data(small, args.away, args.most)}

    def text() -> list[Section]:
        from potsim.interfaces.report import Section
        from potsim.interfaces.report.flavours import cloud_sections
        from potsim.interfaces.report.run import CLEANING, is_cleaning

        if is_cleaning(made):
            return [Section("Nothing to keep", (CLEANING,))]
        working = () if made.emptied is None else (report.emptied_section(made, made.emptied),)
        keep = (report.keep_section(made, edges=False), report.changes_section(made))
        other = report.section(small, args.away, args.most)
        return [*working, report.jar_section(made), *keep, other, *cloud_sections(made)]

    output.emit(args, data, text, units=units_of(plan))


def _jars(args: argparse.Namespace, planned: JarPlan) -> JarPlan:
    """Jars of the plan, with those of the command line in their place."""
    sizes, keep = planned.sizes, planned.keep
    if args.sizes is not None:
        sizes = read("--sizes", quantities.jars, ", ".join(args.sizes))
        if keep and args.keep is None:
            output.words("The plan's own jars.keep counts other jars: all between heads and tails are kept.")
        keep = ()
    return dataclasses.replace(planned, sizes=sizes, keep=keep if args.keep is None else args.keep)


def _size(typed: str) -> str:
    if not typed.strip():
        raise RequestError.of("empty_size", given=typed)
    return typed


def flavours(args: argparse.Namespace) -> None:
    """Tell where each botanical comes over."""
    plan, glass = the_batch(args.plan)
    from potsim.interfaces.report.flavours import heads_sections
    from potsim.planning.run import distil

    made = distil(plan, glass)

    def data() -> dict[str, Any]:
        whole = made.to_dict()
        keys = ("potsim", "title", "flavours", "faded_l", "base_spirit", "jars", "cloud", "heads")
        return {key: whole[key] for key in keys}

    def text() -> Sequence[Section]:
        from potsim.interfaces.report import Section
        from potsim.interfaces.report.flavours import (
            NOTHING,
            compound_sections,
            dose_sections,
            flavour_sections,
        )

        sections = (
            *flavour_sections(made),
            *dose_sections(made),
            *heads_sections(made),
            *compound_sections(made),
        )
        return sections or [Section("Flavours", (NOTHING,))]

    output.emit(args, data, text, units=units_of(plan))


def botanicals(args: argparse.Namespace) -> None:
    """List the library, or tell all that is known of one botanical."""
    from potsim.interfaces.report import flavours as report
    from potsim.planning.botanicals import find, library

    if args.name is not None:
        one = find(_name(args.name))
        output.emit(args, lambda: plain(one), lambda: report.sections_of(one))
        return
    every = sorted(library().values(), key=lambda botanical: botanical.common_name.lower())
    output.emit(args, lambda: plain(every), lambda: [report.list_of(every)])


def _name(text: str) -> str:
    if not text.strip():
        raise RequestError.of("empty_name", "NAME", given=text)
    return text


def evidence(args: argparse.Namespace) -> None:
    """Compute every published value, and print how far it is off."""
    if output.watched():
        output.words("Every published value is computed anew, which takes some seconds.")
    from potsim.interfaces import evidence as published

    every = published.everything()
    words = published.markdown_of_evidence if args.markdown else published.text_of_evidence
    output.emit(args, lambda: published.data_of_evidence(every), lambda: words(every))


def new(args: argparse.Namespace) -> None:
    """Write a starter plan."""
    target = output.target(args.file, force=args.force, suffixes=("toml",))
    from potsim.interfaces.planfile import new_plan_text

    output.write_all([(target, new_plan_text())])
    output.words(f"Written: {target.name}. Change it, then: potsim run {target.name}")


RUN = Command(
    name="run",
    description="""\
Predict a run from the first drop to the stop: what comes over and how strong it
is, where to cut, which jar comes when, what the keep is, how much water brings
it to bottling strength, and where each botanical comes over. Without PLAN: the
built-in example.""",
    examples=(
        "potsim run",
        "potsim run trial-1.toml --plot trial-1.svg --csv trial-1.csv",
        "potsim run trial-1.toml --report trial-1.html",
        "potsim run trial-1.toml --json",
        "potsim run trial-1.toml --sure",
    ),
    arguments=(
        PLAN,
        JSON,
        argument("--plot", metavar="FILE", help="draw the curve: .svg, .png or .pdf"),
        argument("--csv", metavar="FILE", help="write the curve as numbers"),
        argument("--report", metavar="FILE", help="write a page to print: .html"),
        argument("--full", action="store_true", help="print all there is, not the card alone"),
        argument("--sure", action="store_true", help="say how sure it is: bands, and what widens them"),
        argument(
            "--seed",
            metavar="N",
            type=quantities.whole("a count"),
            help="with --sure: what the draws start from; 0 if left out",
        ),
        argument(
            "--runs",
            metavar="N",
            type=quantities.whole("a count"),
            help=f"with --sure: how many runs are drawn; {RUNS} if left out",
        ),
        FORCE,
    ),
    run=run,
)
JARS = Command(
    name="jars",
    description="""\
Lay jars along a run, those of the plan or others, and pool some of them: what
each holds and when it is full, and what one more or one less would change. Then
the other way of collecting, one small jar emptied into the keep: how large it
may be, so that a while away from the still costs at most so much of the keep.
And whether stream and bottle cloud. Without PLAN: the built-in example.""",
    examples=(
        "potsim jars",
        'potsim jars --sizes "12 x 60 mL" "250 mL"',
        'potsim jars trial-1.toml --keep "2-9,11"',
        'potsim jars trial-1.toml --away "2 min" --most "5 %"',
    ),
    arguments=(
        PLAN,
        argument(
            "--sizes",
            metavar="SIZE",
            nargs="+",
            type=_size,
            help='jars you own: "60 mL", or "12 x 60 mL" when they are few',
        ),
        argument(
            "--keep", metavar="JARS", type=quantities.numbers, help='numbers of the jars to pool: "2-9,11"'
        ),
        argument(
            "--away",
            metavar="TIME",
            type=quantities.duration_min,
            default="1 min",
            help="how long you may be called away (1 min)",
        ),
        argument(
            "--most",
            metavar="SHARE",
            type=quantities.share,
            default="10 %",
            help="what that may cost, of the keep (10 %%)",
        ),
        JSON,
    ),
    run=jars,
)
FLAVOURS = Command(
    name="flavours",
    description="""\
Tell where each botanical comes over, and each compound in it: early, in the
middle, late, or not at all; how much of its oil it gives up and where that
goes; who leads and who marks each jar, who is noticed in the bottle, and the
dose that would make it so; what the base spirit brings of its own, and what
heads take of that; and whether stream and bottle cloud. Without PLAN: the
built-in example.""",
    examples=("potsim flavours", "potsim flavours trial-1.toml --json"),
    arguments=(PLAN, JSON),
    run=flavours,
)
BOTANICALS = Command(
    name="botanicals",
    description="""\
List the botanicals that plans can name; or, with NAME, tell all that is known
of one: its oil, the compounds in it, the usual dose, cautions, and where each
figure comes from. Common, Latin and other usual names are understood.""",
    examples=("potsim botanicals", "potsim botanicals juniper", 'potsim botanicals "Coriandrum sativum"'),
    arguments=(argument("name", metavar="NAME", nargs="?", help="one botanical; left out: the list"), JSON),
    run=botanicals,
)
EVIDENCE = Command(
    name="evidence",
    description="""\
Compute every published value that potsim is held to, and print how far it is
off: where the value was published, how many there are, the root mean square and
the worst deviation, and the tolerance, which comes from the source.""",
    examples=("potsim evidence", "potsim evidence --markdown > tests/EVIDENCE.md"),
    arguments=(
        OneOf(
            (JSON, argument("--markdown", action="store_true", help="print the table kept in the repository"))
        ),
    ),
    run=evidence,
)


def _keys() -> str:
    """The tables of a plan file and their keys, for the help."""
    return "\n".join(
        textwrap.fill(f"[{name}]  {', '.join(of.keys)}", 78, initial_indent="  ", subsequent_indent="      ")
        for name, of in TABLES.items()
        if name not in ("cuts", "cuts.tails_from")
    )


NEW = Command(
    name="new",
    description="""\
Write a plan file to start from: every key that there is, with comments. Change
it in any text editor, then hand it to `potsim run`. Its tables and their keys:

"""
    + _keys(),
    examples=("potsim new trial-1.toml",),
    arguments=(argument("file", metavar="FILE", help="where to write it, such as trial-1.toml"), FORCE),
    run=new,
)
COMMANDS = (RUN, JARS, FLAVOURS, BOTANICALS, EVIDENCE, NEW)
