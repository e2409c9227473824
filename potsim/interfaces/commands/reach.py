"""``potsim reach``: the charge and the stop that give what is wanted."""

from __future__ import annotations

import argparse
import dataclasses
import functools
from typing import TYPE_CHECKING, Any

from potsim.errors import RequestError
from potsim.interfaces import files, output
from potsim.interfaces.options import (
    Command,
    Subparsers,
    add_command,
    add_force,
    add_json,
    add_plan,
    read,
    typed_as,
)
from potsim.interfaces.planfile import the_plan, the_plan_file

if TYPE_CHECKING:
    from potsim.planning.plan import Bottling


BY = ("amount", "strength")
TYPED = {"bottles": "--bottles", "keep_l": "--keep", "keep_abv": "--keep", "recover": "--recover"}
ABOUT = Command(
    name="reach",
    help="backwards: the charge and the stop that give what is wanted",
    description="""\
Ask backwards: how much base for so many bottles, let down to what, in how many
runs; which charge and which stop for a keep of a volume and a strength; or the
strongest keep that still holds a share of the alcohol. What is not asked for
stays as in the plan. Without PLAN: the built-in example.""",
    examples=(
        "potsim reach --bottles 6",
        'potsim reach trial-1.toml --bottles 24 --bottle "500 mL" --abv "40 %"',
        'potsim reach trial-1.toml --keep "300 mL @ 72 %" --save next.toml',
        'potsim reach trial-1.toml --keep "72 %"',
        'potsim reach trial-1.toml --recover "80 %"',
    ),
)


def add(subparsers: Subparsers) -> None:
    """Put ``reach`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    add_plan(parser)
    asked = parser.add_mutually_exclusive_group(required=False)
    asked.add_argument("--bottles", metavar="N", help="full bottles wanted, of all runs together")
    asked.add_argument("--keep", metavar="KEEP", help='keep wanted: "300 mL @ 72 %%", "300 mL" or "72 %%"')
    asked.add_argument("--recover", metavar="SHARE", help="share of the alcohol that the keep must hold")
    parser.add_argument("--bottle", metavar="VOLUME", help="size of a bottle, in place of the plan's")
    parser.add_argument("--abv", metavar="ABV", help="bottling strength, in place of the plan's")
    parser.add_argument(
        "--by",
        choices=BY,
        help="what is moved for a volume: the amount of all (as by default), or the strength of the charge",
    )
    parser.add_argument("--save", metavar="FILE", help="write the plan found: .toml")
    add_json(parser)
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    if args.bottles is None and args.keep is None and args.recover is None:
        raise RequestError(
            "potsim reach: nothing is asked for.",
            'Add --bottles 6, --keep "300 mL @ 72 %" or --recover "80 %".',
        )
    writer = functools.partial(files.target, force=args.force, suffixes=("toml",))
    target = None if args.save is None else read("--save", writer, args.save)
    files.check_apart([] if target is None else [target], the_plan_file(args.plan))
    plan = the_plan(args.plan)
    plan = dataclasses.replace(plan, bottling=_bottling(args, plan.bottling))
    from potsim.planning.reach import reach

    wanted = _wanted(args)
    typed = {"--bottles": args.bottles, "--keep": _plain(args.keep), "--recover": args.recover}
    with typed_as(TYPED, typed):
        found = reach(plan, by="strength" if args.by == "strength" else "amount", **wanted)
    if target is not None:
        from potsim.interfaces.planfile import write_plan

        files.write_all([(target, write_plan(found.plan))])
    if args.json:
        output.result_json(found.to_dict())
    else:
        from potsim.interfaces.report.sweep import text_of_reach

        output.result(text_of_reach(found))
    if target is not None:
        output.words(f"Written: {target.name}")
    elif not args.json:
        output.words("Nothing is written yet: --save FILE writes this plan.")
    return 0


def _plain(keep: str | None) -> str | None:
    """What was typed, if it is one value."""
    return None if keep is None or "@" in keep else keep


def _wanted(args: argparse.Namespace) -> dict[str, Any]:
    """Read the question."""
    from potsim.interfaces import quantities

    if args.bottles is not None:
        whole = functools.partial(quantities.count, what="a number of bottles", whole=True)
        return {"bottles": int(read("--bottles", whole, args.bottles))}
    if args.recover is not None:
        return {"recover": read("--recover", quantities.share, args.recover)}
    if "@" in args.keep:
        keep = read("--keep", quantities.portion, args.keep)
        return {"keep_l": keep.volume_l, "keep_abv": keep.abv}
    text = args.keep.rstrip().lower()
    if "%" in text or text.endswith("proof"):
        return {"keep_abv": read("--keep", quantities.abv, args.keep)}
    return {"keep_l": read("--keep", quantities.volume_l, args.keep)}


def _bottling(args: argparse.Namespace, planned: Bottling) -> Bottling:
    """Bottling of the plan, with what the command line says in its place."""
    from potsim.interfaces import quantities

    changes: dict[str, Any] = {}
    if args.bottle is not None:
        changes["bottle_l"] = read("--bottle", quantities.volume_l, args.bottle)
    if args.abv is not None:
        changes["abv"] = read("--abv", quantities.abv, args.abv)
    return dataclasses.replace(planned, **changes)
