"""``potsim proof``: the water that brings spirit to bottling strength."""

from __future__ import annotations

import argparse
import dataclasses

from potsim.interfaces import output
from potsim.interfaces.parsing import Command, Subparsers, add_command, add_json, read, typed_as

TYPED = {"volume": "VOLUME", "reading_abv": "ABV", "abv": "ABV", "target_abv": "TARGET"}
TYPED |= {"at_c": "--at", "t_c": "--at", "steps": "--steps", "bottle": "--bottle"}
ABOUT = Command(
    name="proof",
    help="water to add for bottling strength",
    description="""\
Tell how much water brings VOLUME of spirit down to TARGET. VOLUME and ABV are
both as measured at the temperature T: the volume in the measuring glass, and
the reading of a hydrometer made for 20 °C. TARGET is the strength at 20 °C.""",
    examples=(
        'potsim proof "1 L" "72 %" "42 %"',
        'potsim proof "850 mL" "73.5 %" "43 %" --at "17 °C" --steps 3 --bottle "350 mL"',
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
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    from potsim.interfaces import units

    volume_l = read("VOLUME", units.volume_l, args.volume)
    reading_abv = read("ABV", units.abv, args.abv)
    target_abv = read("TARGET", units.abv, args.target)
    at_c = read("--at", units.temperature_c, args.at)
    steps = int(read("--steps", _steps, args.steps))
    bottle_l = None if args.bottle is None else read("--bottle", units.volume_l, args.bottle)
    from potsim.planning.proofing import from_reading

    with typed_as(TYPED):
        made = from_reading(volume_l, reading_abv, target_abv, at_c=at_c, steps=steps, bottle_l=bottle_l)
    if args.json:
        output.result_json(dataclasses.asdict(made))
        return 0
    from potsim.interfaces.summary_jars import proofing_section
    from potsim.interfaces.tables import render

    output.result(render([proofing_section(made)]))
    return 0


def _steps(text: str) -> float:
    from potsim.interfaces import units

    return units.count(text, "a number of additions", whole=True)
