"""``potsim strengths``: what a stronger or weaker charge does, or any other number of the plan."""

from __future__ import annotations

import argparse
import functools
import re
from typing import TYPE_CHECKING

from potsim.errors import RequestError
from potsim.interfaces import files, output
from potsim.interfaces.options import Command, Subparsers, add_command, add_force, add_json, add_plan, read
from potsim.interfaces.planfile import the_plan, the_plan_file

if TYPE_CHECKING:
    from potsim.planning.sweep import Number


PICTURES = ("svg", "png", "pdf")
OTHERS = "Choose other values, or change the plan."
SAME = ("alcohol", "volume")
USUAL = {"from": "20 %", "to": "60 %", "step": "5 %"}
ABOUT = Command(
    name="strengths",
    help="what a stronger or weaker charge does; or any other number",
    description="""\
Run a plan with charges of several strengths, all else left as it is: what comes
over, how strong, how long it takes, what the keep is, where the flavours move.
--same alcohol (the default) changes the water, --same volume spirit and water.
With --vary the same for any other number of the plan, by its key: still.power,
still.altitude, cuts.heads, cuts.stop.stream_abv, bottling.abv, or one amount:
botanical.juniper, charge.water. Without PLAN: the built-in example.""",
    examples=(
        "potsim strengths --from 20 --to 60 --step 5",
        "potsim strengths trial-1.toml --same volume --plot strengths.svg",
        'potsim strengths --vary still.power --values "400 W, 700 W, 1 kW"',
        'potsim strengths --vary botanical.juniper --values "7 g, 14 g" --csv j.csv',
    ),
)


def add(subparsers: Subparsers) -> None:
    """Put ``strengths`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    add_plan(parser)
    for name, words in (("from", "first value"), ("to", "last value"), ("step", "from value to value")):
        usual = USUAL[name].replace("%", "%%")
        parser.add_argument(
            f"--{name}", metavar="ABV", dest=f"{name}_", help=f"{words} (of a charge {usual})"
        )
    parser.add_argument("--same", choices=SAME, help="what stays when the charge changes: alcohol or volume")
    parser.add_argument("--vary", metavar="KEY", help="another number of the plan, such as still.power")
    parser.add_argument("--values", metavar="LIST", help='its values: "400 W, 700 W, 1 kW"')
    parser.add_argument("--plot", metavar="FILE", help="draw the curves: .svg, .png or .pdf")
    parser.add_argument("--csv", metavar="FILE", help="write the table as numbers")
    add_json(parser)
    add_force(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    given = (("plot", args.plot, PICTURES), ("csv", args.csv, ()))
    wanted = {
        kind: read(f"--{kind}", functools.partial(files.target, force=args.force, suffixes=suffixes), name)
        for kind, name, suffixes in given
        if name is not None
    }
    files.check_apart(list(wanted.values()), the_plan_file(args.plan))
    plan = the_plan(args.plan)
    from potsim.planning.sweep import CHARGE_ABV, number, sweep

    varied = read("--vary", functools.partial(number, plan), args.vary) if args.vary else None
    varied = varied or number(plan, CHARGE_ABV)
    if args.same and varied.name != CHARGE_ABV:
        raise RequestError("--same goes with the strength of the charge only.", "Leave it out.")
    made = sweep(plan, varied.name, _values(args, varied), "volume" if args.same == "volume" else "alcohol")
    if all(row.run is None for row in made.rows):
        why = made.rows[0]
        raise RequestError(f"None of the values can be run: {why.refusal}", " ".join(why.cautions) or OTHERS)
    from potsim.interfaces.output import sweep_content

    files.write_all([(target, sweep_content(made, kind, target.suffix)) for kind, target in wanted.items()])
    if args.json:
        output.result_json(made.to_dict())
    else:
        from potsim.interfaces.report.sweep import text_of_sweep

        output.result(text_of_sweep(made))
    for target in wanted.values():
        output.words(f"Written: {target.name}")
    return 0


def _values(args: argparse.Namespace, varied: Number) -> tuple[float, ...]:
    """Read the values: a list, or evenly from one to another."""
    from potsim.interfaces.report.sweep import value_reader
    from potsim.planning.sweep import CHARGE_ABV, evenly

    of_charge = varied.name == CHARGE_ABV
    reader = value_reader(varied)
    ranged = {name: getattr(args, f"{name}_") for name in USUAL}
    some = [name for name, text in ranged.items() if text is not None]
    if args.values is not None:
        if some:
            raise RequestError(f"--values and --{some[0]} exclude each other.", "Give a list or a range.")
        return tuple(read("--values", reader, _with_unit(text, of_charge)) for text in _split(args.values))
    missing = [name for name, text in ranged.items() if text is None]
    if missing and not of_charge:
        raise RequestError(
            f"--vary {varied.name} has no values.",
            'Add --values "400 W, 700 W, 1 kW", or --from, --to and --step.',
        )
    texts = {name: USUAL[name] if text is None else text for name, text in ranged.items()}
    first, last, step = (
        read(f"--{name}", reader, _with_unit(text, of_charge)) for name, text in texts.items()
    )
    return evenly(first, last, step)


def _split(text: str) -> list[str]:
    """Values of a list: semicolons between, or commas that are no decimal commas."""
    return [part.strip() for part in re.split(r";|,\s+|(?<=[^\d\s]),", text) if part.strip(" ,")]


def _with_unit(text: str, of_charge: bool) -> str:
    """Take a bare number for the strength of a charge as per cent."""
    return f"{text} %" if of_charge and re.fullmatch(r"\s*-?\d+([.,]\d+)?\s*", text) else text
