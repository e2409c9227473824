"""``potsim flavours``: where each botanical comes over, compound by compound."""

from __future__ import annotations

import argparse

from potsim.interfaces import output
from potsim.interfaces.options import Command, Subparsers, add_command, add_json, add_plan
from potsim.interfaces.planfile import the_plan

ABOUT = Command(
    name="flavours",
    help="where each botanical comes over",
    description="""\
Tell where each botanical comes over, and each compound in it: early, in the
middle, late, or not at all; how much of its oil is in the keep; what marks each
jar; what the base spirit brings of its own, and what heads take of that; and
whether stream and bottle cloud. Without PLAN: the built-in example.""",
    examples=("potsim flavours", "potsim flavours trial-1.toml --json"),
)


def add(subparsers: Subparsers) -> None:
    """Put ``flavours`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    add_plan(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    plan = the_plan(args.plan)
    from potsim.interfaces.report.jars import heads_sections, plain_heads
    from potsim.planning.run import distil

    made = distil(plan)
    if args.json:
        whole = made.to_dict()
        keys = ("potsim", "title", "flavours", "base_spirit", "jars", "cloud")
        output.result_json({**{key: whole[key] for key in keys}, "heads": plain_heads(made)})
        return 0
    from potsim.interfaces.report.flavours import NOTHING, compound_sections, flavour_sections
    from potsim.interfaces.report.tables import Section, render

    found = (*flavour_sections(made), *heads_sections(made), *compound_sections(made))
    output.result(render(found or [Section("Flavours", (NOTHING,))]))
    return 0
