"""``potsim blend``: what spirits poured together come to, and how keeps come near another plan."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from potsim.errors import RequestError
from potsim.interfaces import output
from potsim.interfaces.options import Command, Subparsers, add_command, add_json, read, typed_as

if TYPE_CHECKING:
    from potsim.interfaces.report.trials import Blended


PLAN = ".toml"
ABOUT = Command(
    name="blend",
    help="what spirits poured together come to",
    description="""\
Tell volume and strength of spirits, and water, poured together. Mass and
alcohol add up; volumes do not quite. Volumes and strengths at 20 °C. With --to,
also the water that brings the blend down to a strength.

Or give two strengths, with --to (and --make) what is wanted: how much of each.

Or name plans, files that end in .toml: how their keeps are poured together to
come nearest to the oils of the plan --like.""",
    examples=(
        'potsim blend "300 mL @ 72 %" "200 mL @ 45 %"',
        'potsim blend 300mL@72% 200mL@45% --to "40 %"',
        'potsim blend "72 %" "45 %" --to "50 %" --make "1 L"',
        'potsim blend juniper.toml coriander.toml --like gin.toml --make "2 L"',
    ),
)


def add(subparsers: Subparsers) -> None:
    """Put ``blend`` on the command line."""
    parser = add_command(subparsers, ABOUT, run)
    parser.add_argument(
        "portions",
        metavar="VOLUME@ABV|ABV|PLAN",
        nargs="+",
        help='such as "300 mL @ 72 %%"; water: "200 mL @ 0 %%"; or two strengths; or plan files',
    )
    parser.add_argument("--to", metavar="ABV", help='bring the blend down to this, such as "40 %%"')
    parser.add_argument("--like", metavar="PLAN", help="plan whose oils the keeps are to come near")
    parser.add_argument("--make", metavar="VOLUME", help='how much is to be made ("1 L")')
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do the work; return the exit code."""
    plans = [text for text in args.portions if text.strip().lower().endswith(PLAN)]
    if plans and len(plans) < len(args.portions):
        other = next(text for text in args.portions if text not in plans)
        raise RequestError(
            f"Plans and portions do not go together: {plans[0]} is a plan, '{other}' is not.",
            'Name only plans, with --like, or only portions such as "300 mL @ 72 %".',
        )
    if plans:
        return _plans(args, plans)
    if args.like is not None:
        hint = f"Name two plans or more, files that end in {PLAN}."
        raise RequestError("--like is for plans, and none is named.", hint)
    bare = len(args.portions) == 2 and not any("@" in text for text in args.portions)
    return _pair(args) if bare or args.make is not None else _portions(args)


def _portions(args: argparse.Namespace) -> int:
    from potsim.interfaces import quantities

    portions = [read("VOLUME@ABV", quantities.portion, text) for text in args.portions]
    target = None if args.to is None else read("--to", quantities.abv, args.to)
    if not any(portion.volume_l > 0.0 for portion in portions):
        raise RequestError("VOLUME@ABV: there is nothing to blend.", "Give a volume above zero.")
    from potsim.interfaces.report.tables import render
    from potsim.interfaces.wording import format_abv, format_volume
    from potsim.liquid import strength
    from potsim.planning.proofing import proof_down

    made = strength.mix([p.volume_l for p in portions], [p.abv for p in portions])
    with typed_as({"target_abv": "--to", "abv": "the blend"}, {"--to": args.to}):
        down = None if target is None else proof_down(made.volume_l, made.abv, target)
    if args.json:
        data = {"volume_l": made.volume_l, "abv": made.abv, "ethanol_l": made.ethanol_l}
        data |= {"mass_kg": made.mass_kg, "contraction_l": made.contraction_l}
        if down is not None:
            data |= {"water_l": down.water_l, "water_kg": down.water_kg}
            data |= {"diluted_l": down.volume_l, "diluted_abv": down.target_abv}
        output.result_json(data)
        return 0
    from potsim.interfaces.report.jars import blend_section, proofing_section

    poured = [f"{format_volume(p.volume_l)} at {format_abv(p.abv)}" for p in portions]
    sections = [blend_section(poured, made)]
    output.result(render(sections if down is None else [*sections, proofing_section(down)]))
    return 0


def _pair(args: argparse.Namespace) -> int:
    """How much of each of two strengths makes what is wanted."""
    from potsim.interfaces import quantities

    if len(args.portions) != 2 or args.to is None or any("@" in text for text in args.portions):
        hint = 'Such as: potsim blend "72 %" "45 %" --to "50 %" --make "1 L"'
        raise RequestError("Two strengths without volumes take --to, and --make takes them.", hint)
    first, second = (read("ABV", quantities.abv, text) for text in args.portions)
    target, volume_l = (
        read("--to", quantities.abv, args.to),
        read("--make", quantities.volume_l, args.make or "1 L"),
    )
    from potsim.interfaces.report.tables import Facts, Section, render
    from potsim.interfaces.wording import format_abv, format_volume
    from potsim.planning.proofing import pair

    names = {"target_abv": "--to", "a_abv": "ABV", "b_abv": "ABV", "volume": "--make"}
    with typed_as(names, {"--to": args.to, "--make": args.make}):
        made = pair(first, second, target, volume_l)
    if args.json:
        data = {"spirits_l": list(made.spirits_l), "volume_l": made.volume_l, "abv": made.abv}
        output.result_json(data | {"contraction_l": made.contraction_l})
        return 0
    poured = zip((first, second), made.spirits_l, strict=True)
    facts = [(f"of {format_abv(abv)}", format_volume(volume)) for abv, volume in poured]
    facts.append(("together", f"{format_volume(made.volume_l)} at {format_abv(made.abv)}"))
    output.result(render([Section("Poured together", (Facts(tuple(facts)),))]))
    return 0


def _plans(args: argparse.Namespace, names: list[str]) -> int:
    blended = _blended(args, names)
    from potsim.interfaces.report.tables import render
    from potsim.interfaces.report.trials import plain_blend, sections_of_oil_blend

    if args.json:
        output.result_json(plain_blend(blended))
    else:
        output.result(render(sections_of_oil_blend(blended)))
    return 0


def _blended(args: argparse.Namespace, names: list[str]) -> Blended:
    from potsim.interfaces import quantities
    from potsim.interfaces.planfile import the_plan

    if args.like is None:
        hint = "Add --like PLAN, the plan whose oils they are to come near."
        raise RequestError("Plans are named, but not what their blend is to be like.", hint)
    make_l = read("--make", quantities.volume_l, args.make or "1 L")
    at_abv = None if args.to is None else read("--to", quantities.abv, args.to)
    target, plans = the_plan(args.like), [the_plan(name) for name in names]
    at_abv = target.bottling.abv if at_abv is None else at_abv
    if at_abv is None:
        hint = 'Add --to, such as --to "42 %", or a [bottling] abv to the plan.'
        raise RequestError(f"--like: {args.like} names no bottling strength.", hint)
    from potsim.interfaces.report.trials import Blended
    from potsim.planning.blends import blend_to_profile, oils_mg_per_l, pour
    from potsim.planning.run import distil

    like, runs = distil(target), tuple(distil(plan) for plan in plans)
    with typed_as({"target_abv": "--to", "at_abv": "--to", "make": "--make", "abv": "the blend"}):
        wanted = oils_mg_per_l(like, at_abv, bottled=True)
        made = blend_to_profile(runs, wanted, at_abv)
        return Blended(like, runs, made, pour(made, runs, make_l, at_abv))
