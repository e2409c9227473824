"""``potsim proof``: the water that brings spirit to bottling strength."""

from __future__ import annotations

import argparse
import dataclasses
from typing import TYPE_CHECKING

from potsim.errors import RequestError
from potsim.interfaces import output
from potsim.interfaces.options import Command, Subparsers, add_command, add_json, read, typed_as

if TYPE_CHECKING:
    from potsim.planning.run import Run


TYPED = {"volume": "VOLUME", "reading_abv": "ABV", "abv": "ABV", "target_abv": "TARGET"}
TYPED |= {"at_c": "--at", "t_c": "--at", "steps": "--steps", "bottle": "--bottle"}
ABOUT = Command(
    name="proof",
    help="water to add for bottling strength",
    description="""\
Tell how much water brings VOLUME of spirit down to TARGET. VOLUME and ABV are
both as measured at the temperature T: the volume in the measuring glass, and
the reading of a hydrometer made for 20 °C. TARGET is the strength at 20 °C.
With --of, also whether the keep of that plan clouds at TARGET.""",
    examples=(
        'potsim proof "1 L" "72 %" "42 %"',
        'potsim proof "850 mL" "73.5 %" "43 %" --at "17 °C" --steps 3 --bottle "350 mL"',
        'potsim proof "1.04 L" "73.4 %" "38 %" --of trial-1.toml',
    ),
)


def add(subparsers: Subparsers) -> None:
    """Put ``proof`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    parser.add_argument("volume", metavar="VOLUME", help='such as "1 L"')
    parser.add_argument("abv", metavar="ABV", help='reading of the hydrometer, such as "72 %%"')
    parser.add_argument("target", metavar="TARGET", help='strength wanted, such as "42 %%"')
    parser.add_argument("--at", metavar="T", default="20 °C", help="temperature of spirit and water (20 °C)")
    parser.add_argument("--steps", metavar="N", default="1", help="additions of water, resting between (1)")
    parser.add_argument("--bottle", metavar="VOLUME", help='what a bottle holds, such as "350 mL"')
    parser.add_argument("--of", metavar="PLAN", help="plan whose keep it is: does it cloud at TARGET?")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    from potsim.interfaces import quantities

    volume_l = read("VOLUME", quantities.volume_l, args.volume)
    reading_abv = read("ABV", quantities.abv, args.abv)
    target_abv = read("TARGET", quantities.abv, args.target)
    at_c = read("--at", quantities.temperature_c, args.at)
    steps = int(read("--steps", _steps, args.steps))
    bottle_l = None if args.bottle is None else read("--bottle", quantities.volume_l, args.bottle)
    from potsim.planning.cloud import to_dict
    from potsim.planning.proofing import from_reading

    typed = {"VOLUME": args.volume, "ABV": args.abv, "TARGET": args.target, "--at": args.at}
    with typed_as(TYPED, typed | {"--steps": args.steps, "--bottle": args.bottle}):
        made = from_reading(volume_l, reading_abv, target_abv, at_c=at_c, steps=steps, bottle_l=bottle_l)
    run = None if args.of is None else _kept(args.of, target_abv)
    if args.json:
        data = dataclasses.asdict(made)
        if run is not None:
            data["cloud"] = to_dict(run.cloud_at(target_abv), target_abv)
        output.result_json(data)
        return 0
    from potsim.interfaces.report.flavours import cloud_of_keep
    from potsim.interfaces.report.jars import proofing_section
    from potsim.interfaces.report.tables import render

    sections = [proofing_section(made)]
    output.result(render(sections if run is None else [*sections, cloud_of_keep(run, target_abv)]))
    return 0


def _kept(name: str, target_abv: float) -> Run:
    """The run of a plan, if what it lets down is strong enough."""
    from potsim.interfaces.planfile import the_plan
    from potsim.planning.run import distil

    run = distil(the_plan(name))
    if run.let_down.abv < target_abv:
        raise RequestError(
            f"--of: {name} keeps spirit of {run.let_down.abv:.1f} % vol, weaker than TARGET.",
            "Name the plan that the spirit is of, or leave --of out.",
        )
    return run


def _steps(text: str) -> float:
    from potsim.interfaces import quantities

    return quantities.count(text, "a number of additions", whole=True)
