"""``potsim blend``: what spirits poured together come to."""

from __future__ import annotations

import argparse

from potsim.errors import RequestError
from potsim.interfaces import output
from potsim.interfaces.parsing import Command, Subparsers, add_command, add_json, read, typed_as

ABOUT = Command(
    name="blend",
    help="what spirits poured together come to",
    description="""\
Tell volume and strength of spirits, and water, poured together. Mass and
alcohol add up; volumes do not quite. Volumes and strengths at 20 °C. With --to,
also the water that brings the blend down to a strength.""",
    examples=(
        'potsim blend "300 mL @ 72 %" "200 mL @ 45 %"',
        'potsim blend 300mL@72% 200mL@45% --to "40 %"',
    ),
)


def add(subparsers: Subparsers) -> None:
    """Put ``blend`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    parser.add_argument(
        "portions", metavar="VOLUME@ABV", nargs="+", help='such as "300 mL @ 72 %%"; water: "200 mL @ 0 %%"'
    )
    parser.add_argument("--to", metavar="ABV", help='bring the blend down to this, such as "40 %%"')
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    from potsim.interfaces import units

    portions = [read("VOLUME@ABV", units.portion, text) for text in args.portions]
    target = None if args.to is None else read("--to", units.abv, args.to)
    if not any(portion.volume_l > 0.0 for portion in portions):
        raise RequestError("VOLUME@ABV: there is nothing to blend.", "Give a volume above zero.")
    from potsim.interfaces.tables import render
    from potsim.interfaces.wording import format_abv, format_volume
    from potsim.liquid import strength
    from potsim.planning.proofing import proof_down

    made = strength.mix([p.volume_l for p in portions], [p.abv for p in portions])
    with typed_as({"target_abv": "--to", "abv": "the blend"}):
        down = None if target is None else proof_down(made.volume_l, made.abv, target)
    if args.json:
        data = {"volume_l": made.volume_l, "abv": made.abv, "ethanol_l": made.ethanol_l}
        data |= {"mass_kg": made.mass_kg, "contraction_l": made.contraction_l}
        if down is not None:
            data |= {"water_l": down.water_l, "water_kg": down.water_kg}
            data |= {"diluted_l": down.volume_l, "diluted_abv": down.target_abv}
        output.result_json(data)
        return 0
    from potsim.interfaces.summary_jars import blend_section, proofing_section

    poured = [f"{format_volume(p.volume_l)} at {format_abv(p.abv)}" for p in portions]
    sections = [blend_section(poured, made)]
    output.result(render(sections if down is None else [*sections, proofing_section(down)]))
    return 0
