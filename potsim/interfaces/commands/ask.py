"""``potsim strengths, reach, proof, blend``: other numbers, the question turned round, what is poured."""

from __future__ import annotations

import argparse
import dataclasses
import functools
import math
import re
import textwrap
import time
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, Literal

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
from potsim.interfaces.planfile import the_batch, the_plan, the_plan_file
from potsim.interfaces.wording import units_of
from potsim.planning.plan import TABLES
from potsim.records import plain

if TYPE_CHECKING:
    from potsim.interfaces.report import Section
    from potsim.interfaces.report.jars import Blended
    from potsim.planning.plan import Bottling
    from potsim.planning.proofing import Gauged
    from potsim.planning.run import Run
    from potsim.planning.sweep import Number

PLAN_SUFFIX = ".toml"
SAME = ("alcohol", "volume")
USUAL = {"from": "20 %", "to": "60 %", "step": "5 %"}
BY = ("amount", "strength")
# What is refused by planning, as it is typed here.
REACHED = {"bottles": "--bottles", "keep_l": "--keep", "keep_abv": "--keep", "recover": "--recover"}
MOST_VALUES = 200  # of one sweep: a table that can still be read
ROUNDING = 1e-9  # relative; closer values are the same
LONG_S, MEASURED = 5.0, 3  # what is told beforehand, after so many runs
PROOFED = {"volume": "VOLUME", "reading_abv": "ABV", "abv": "ABV", "target_abv": "TARGET"}
PROOFED |= {
    "mass": "VOLUME",
    "calibrated_c": "--hydrometer",
    "at_c": "--at",
    "t_c": "--at",
    "steps": "--steps",
    "bottle": "--bottle",
}


def strengths(args: argparse.Namespace) -> None:
    """Run a plan with several values of one number."""
    wanted = targets(args, {"plot": PICTURES, "csv": ()}, the_plan_file(args.plan))
    plan = the_plan(args.plan)
    from potsim.interfaces.report.sheet import sweep_content  # start-up: --help loads nothing heavy
    from potsim.interfaces.report.sweep import text_of_sweep
    from potsim.planning.schema import SHARE
    from potsim.planning.sweep import ALTERNATIVES, CHARGE_ABV, in_other_form, number, sweep

    varied = read("--vary", functools.partial(number, plan), args.vary) if args.vary else None
    varied = varied or number(plan, CHARGE_ABV)
    typed, two_forms = args.values or args.from_ or "", varied.key.field in ALTERNATIVES
    if two_forms and re.search("[A-Za-z%]", typed) and ("%" in typed) != (varied.key.kind == SHARE):
        plan = in_other_form(plan, varied)
        varied = number(plan, varied.name)
    if args.same and varied.name != CHARGE_ABV:
        raise RequestError.of("same_of_charge", "--same", given=args.same)
    same: Literal["alcohol", "volume"] = "volume" if args.same == "volume" else "alcohol"
    made = sweep(plan, varied.name, _values(args, varied), same, progress=_said_beforehand())
    if all(row.outcome is None for row in made.rows):
        why = made.rows[0]
        raise RequestError.of("none_runs", why=why.refusal, cautions=" ".join(why.cautions))
    contents = [
        (target, functools.partial(sweep_content, made, option, target.suffix))
        for option, target in wanted.items()
    ]
    output.emit(args, made.to_dict, lambda: text_of_sweep(made), contents, units=units_of(plan))


def _said_beforehand() -> Callable[[int, int], None]:
    """Say how long the rest takes, where that is long, once the first run has made what all need."""
    times: list[float] = []

    def progress(done: int, wanted: int) -> None:
        times.append(time.monotonic())
        if done == MEASURED and (left := (times[-1] - times[0]) / (done - 1) * (wanted - done)) >= LONG_S:
            output.words(f"{wanted} runs take about {left:.0f} s more. Ctrl-C stops.")

    return progress


def _values(args: argparse.Namespace, varied: Number) -> tuple[float, ...]:
    """Read the values: a list, or evenly from one to another."""
    from potsim.interfaces.report.sweep import value_reader
    from potsim.planning.sweep import CHARGE_ABV

    of_charge = varied.name == CHARGE_ABV
    reader = value_reader(varied)
    ranged = {name: getattr(args, f"{name}_") for name in USUAL}
    some = [name for name, text in ranged.items() if text is not None]
    if args.values is not None:
        if some:
            raise RequestError.of("exclude", given="--values", other=f"--{some[0]}", of="values")
        texts_given = _split(args.values)
        if len(texts_given) > MOST_VALUES:
            count = len(texts_given)
            raise RequestError.of("too_many_values", "--values", given=count, allowed=MOST_VALUES)
        return tuple(read("--values", reader, _with_unit(text, of_charge)) for text in texts_given)
    missing = [name for name, text in ranged.items() if text is None]
    if missing and not of_charge:
        raise RequestError.of("vary_no_values", given=varied.name)
    texts = {name: USUAL[name] if text is None else text for name, text in ranged.items()}
    first, last, step = (
        read(f"--{name}", reader, _with_unit(text, of_charge)) for name, text in texts.items()
    )
    return evenly(first, last, step)


def evenly(first: float, last: float, step: float) -> tuple[float, ...]:
    """Return values from one to another."""
    if not all(math.isfinite(value) for value in (first, last, step)):
        raise RequestError.of("no_range", first=first, last=last, step=step)
    if step <= 0.0:
        raise RequestError.of("endless", given=step)
    if last < first:
        raise RequestError.of("range_backwards", first=first, last=last)
    count = (last - first) / step * (1.0 + ROUNDING) + 1.0
    if count >= MOST_VALUES + 1:
        most = MOST_VALUES
        raise RequestError.of("range_long", given=count, allowed=most, first=first, last=last, step=step)
    return tuple(round(float(first + k * step), 12) for k in range(int(count)))


def _split(text: str) -> list[str]:
    """Values of a list: semicolons between, or commas that are no decimal commas."""
    return [part.strip() for part in re.split(r";|,\s+|(?<=[^\d\s]),", text) if part.strip(" ,")]


def _with_unit(text: str, of_charge: bool) -> str:
    """Take a bare number for the strength of a charge as per cent."""
    return f"{text} %" if of_charge and re.fullmatch(r"\s*-?\d+([.,]\d+)?\s*", text) else text


def reach(args: argparse.Namespace) -> None:
    """Ask for the charge and the stop that give what is wanted."""
    asked = _asked(args)
    wanted = targets(args, {"save": ("toml",)}, the_plan_file(args.plan))
    plan = the_plan(args.plan)
    plan = dataclasses.replace(plan, bottling=_bottling(args, plan.bottling))
    from potsim.interfaces.planfile import write_plan
    from potsim.interfaces.report.run import text_of_reach
    from potsim.planning import reach as planning

    typed = {name: text for name, text in args.typed.items() if "@" not in text}
    with typed_as(REACHED, typed):
        made = planning.reach(
            plan, by="strength" if args.by == "strength" else "amount", spare=args.spare, **asked
        )
    files = [(target, lambda: write_plan(made.plan)) for target in wanted.values()]
    more = [] if wanted or args.json else ["Nothing is written yet: --save FILE writes this plan."]
    output.emit(args, made.to_dict, lambda: text_of_reach(made), files, more)


def _asked(args: argparse.Namespace) -> dict[str, Any]:
    """What is wanted, as arguments of the question."""
    if args.bottles is not None:
        return {"bottles": args.bottles}
    if args.recover is not None:
        return {"recover": args.recover}
    if args.keep is not None:
        return dict(args.keep)
    raise RequestError.of("nothing_asked", "potsim reach")


def _keep(text: str) -> dict[str, float]:
    """Read a keep: volume and strength, or one of them."""
    if "@" in text:
        keep = quantities.portion(text)
        return {"keep_l": keep.volume_l, "keep_abv": keep.abv}
    ending = text.rstrip().lower()
    if "%" in ending or ending.endswith("proof"):
        return {"keep_abv": quantities.abv(text)}
    return {"keep_l": quantities.volume_l(text)}


def _bottling(args: argparse.Namespace, planned: Bottling) -> Bottling:
    """Bottling of the plan, with what the command line says in its place."""
    said = {"bottle_l": args.bottle, "abv": args.abv}
    return dataclasses.replace(planned, **{key: value for key, value in said.items() if value is not None})


def proof(args: argparse.Namespace) -> None:
    """Tell how much water brings spirit to a strength."""
    from potsim.planning.cloud import Glass, to_dict
    from potsim.planning.proofing import from_gauged, gauge

    if args.clouded_at is not None and args.of is None:
        raise RequestError.of("glass_of_what", "--clouded-at")
    texts = _spirit(args.spirit)
    typed = {**args.typed, **texts}
    amount = read("VOLUME", _amount, texts["VOLUME"]) if "VOLUME" in texts else {}
    shown, calibrated_c = _reading(read("ABV", quantities.abv, texts["ABV"]), texts["ABV"], args.hydrometer)
    target = read("TARGET", quantities.abv, texts["TARGET"]) if "TARGET" in texts else None
    units = _typed_in(typed.values())
    with typed_as(PROOFED, typed):
        gauged = gauge(shown, at_c=args.at, calibrated_c=calibrated_c, **amount)
        if target is None:
            return _only_gauged(args, gauged, units)
        made = from_gauged(gauged, target, steps=args.steps, bottle_l=args.bottle)
    run = None if args.of is None else _kept(args.of, target)
    glass = None if args.clouded_at is None else Glass(args.clouded_at, args.at)
    cloud = None if run is None else run.cloud_at(target, glass)

    def data() -> dict[str, Any]:
        return {**plain(made), **({} if run is None else {"cloud": to_dict(cloud)})}

    def text() -> list[Section]:
        from potsim.interfaces.report.flavours import cloud_of_keep
        from potsim.interfaces.report.jars import gauged_section, proofing_section

        away = [gauged_section(gauged)] if gauged.at_c != 20.0 or gauged.calibrated_c != 20.0 else []
        return [*away, proofing_section(made), *([] if run is None else [cloud_of_keep(run, cloud)])]

    output.emit(args, data, text, units=units)


def _typed_in(texts: Iterable[str | None]) -> quantities.System:
    """The system of units that most was typed in."""
    parts = [part for text in texts if isinstance(text, str) for part in text.split("@")]
    systems = [quantities.system_of(part) for part in parts]
    return "us" if systems.count("us") > systems.count("metric") else "metric"


def _spirit(typed: list[str]) -> dict[str, str]:
    """Tell apart what was typed: [VOLUME or MASS] ABV [TARGET]."""
    first = typed[0].lower()
    strong = "%" in first or "proof" in first or (len(typed) < 3 and not re.search(r"[a-z]", first))
    names = ("ABV", "TARGET") if strong else ("VOLUME", "ABV", "TARGET")
    if len(typed) > len(names):
        raise RequestError.of("too_much", "potsim proof", given=typed[len(names)], allowed=list(names))
    if names[0] == "VOLUME" and len(typed) < 2:
        raise RequestError.of("argument_missing", "potsim proof", given="ABV", of="proof")
    return dict(zip(names, typed, strict=False))


def _amount(text: str) -> dict[str, float]:
    """Read how much spirit there is, by volume or by mass."""
    try:
        return {"mass_kg": quantities.mass_kg(text)}
    except RequestError:
        return {"volume_at_c_l": quantities.volume_l(text)}


def _reading(abv: float, text: str, made_for_c: float | None) -> tuple[float, float]:
    """The mark that was read, and the temperature of the hydrometer: 60 °F where it shows proof."""
    from potsim.liquid import strength

    if "proof" not in text.lower():
        return abv, strength.REFERENCE_C if made_for_c is None else made_for_c
    mark = float(strength.percent_at(abv, strength.US_REFERENCE_C))
    return mark, strength.US_REFERENCE_C if made_for_c is None else made_for_c


def _only_gauged(args: argparse.Namespace, gauged: Gauged, units: quantities.System) -> None:
    """Tell what spirit is that is not let down."""
    needs = {"--steps": args.steps != 1, "--bottle": args.bottle is not None, "--of": args.of is not None}
    given = [name for name, there in needs.items() if there]
    if given:
        raise RequestError.of("needs_target", given[0])

    def text() -> list[Section]:
        from potsim.interfaces.report.jars import gauged_section

        return [gauged_section(gauged)]

    output.emit(args, lambda: plain(gauged), text, units=units)


def _kept(name: str, target_abv: float) -> Run:
    """The run of a plan, if what it lets down is strong enough."""
    from potsim.planning.run import distil

    run = distil(*the_batch(name))
    if run.let_down.abv < target_abv:
        raise RequestError.of("weaker_keep", "--of", given=name, abv=run.let_down.abv)
    return run


def blend(args: argparse.Namespace) -> None:
    """Tell what spirits poured together come to, or how keeps come near another plan."""
    plans = [text for text in args.portions if text.strip().lower().endswith(PLAN_SUFFIX)]
    if plans and len(plans) < len(args.portions):
        other = next(text for text in args.portions if text not in plans)
        raise RequestError.of("plans_and_portions", given=other, plan=plans[0])
    if plans:
        return _blend_plans(args, plans)
    if args.like is not None:
        raise RequestError.of("like_no_plans", "--like", given=args.like)
    bare = len(args.portions) == 2 and not any("@" in text for text in args.portions)
    return _blend_pair(args) if bare or args.make is not None else _blend_portions(args)


def _blend_portions(args: argparse.Namespace) -> None:
    portions = [read("VOLUME@ABV", quantities.portion, text) for text in args.portions]
    if not any(portion.volume_l > 0.0 for portion in portions):
        raise RequestError.of("nothing_to_blend", "VOLUME@ABV")
    from potsim.interfaces.report.jars import blend_section, proofing_section
    from potsim.interfaces.wording import format_abv, format_volume
    from potsim.liquid import strength
    from potsim.planning.proofing import proof_down

    made = strength.mix([p.volume_l for p in portions], [p.abv for p in portions])
    with typed_as({"target_abv": "--to", "abv": "the blend"}, args.typed):
        down = None if args.to is None else proof_down(made.volume_l, made.abv, args.to)

    def data() -> dict[str, Any]:
        keys = ("volume_l", "abv", "ethanol_l", "mass_kg", "contraction_l")
        mixed = {key: getattr(made, key) for key in keys}
        if down is None:
            return mixed
        watered = {"water_l": down.water_l, "water_kg": down.water_kg}
        return {**mixed, **watered, "diluted_l": down.volume_l, "diluted_abv": down.target_abv}

    def text() -> list[Section]:
        poured = [f"{format_volume(p.volume_l)} at {format_abv(p.abv)}" for p in portions]
        return [blend_section(poured, made), *([] if down is None else [proofing_section(down)])]

    output.emit(args, data, text, units=_typed_in([*args.portions, *args.typed.values()]))


def _blend_pair(args: argparse.Namespace) -> None:
    """How much of each of two strengths makes what is wanted."""
    if len(args.portions) != 2 or args.to is None or any("@" in text for text in args.portions):
        raise RequestError.of("two_strengths")
    first, second = (read("ABV", quantities.abv, text) for text in args.portions)
    from potsim.planning.proofing import pair

    names = {"target_abv": "--to", "a_abv": "ABV", "b_abv": "ABV", "volume": "--make"}
    with typed_as(names, args.typed):
        made = pair(first, second, args.to, 1.0 if args.make is None else args.make)

    def data() -> dict[str, Any]:
        volumes = {"spirits_l": list(made.spirits_l), "volume_l": made.volume_l}
        return {**volumes, "abv": made.abv, "contraction_l": made.contraction_l}

    def text() -> list[Section]:
        from potsim.interfaces.report import Facts, Section
        from potsim.interfaces.wording import format_abv, format_volume

        poured = zip((first, second), made.spirits_l, strict=True)
        facts = [(f"of {format_abv(abv)}", format_volume(volume)) for abv, volume in poured]
        facts.append(("together", f"{format_volume(made.volume_l)} at {format_abv(made.abv)}"))
        return [Section("Poured together", (Facts(tuple(facts)),))]

    output.emit(args, data, text, units=_typed_in([*args.portions, *args.typed.values()]))


def _blend_plans(args: argparse.Namespace, names: list[str]) -> None:
    made = _blended(args, names)
    from potsim.interfaces.report.jars import plain_blend, sections_of_oil_blend

    output.emit(args, lambda: plain_blend(made), lambda: sections_of_oil_blend(made))


def _blended(args: argparse.Namespace, names: list[str]) -> Blended:
    if args.like is None:
        raise RequestError.of("like_what", given=names[0])
    target, plans = the_plan(args.like), [the_plan(name) for name in names]
    at_abv = target.bottling.abv if args.to is None else args.to
    if at_abv is None:
        raise RequestError.of("like_no_strength", "--like", given=args.like)
    from potsim.interfaces.report.jars import Blended
    from potsim.planning.blends import blend_to_profile, oils_mg_per_l, pour
    from potsim.planning.run import distil

    like, runs = distil(target), tuple(distil(plan) for plan in plans)
    with typed_as({"target_abv": "--to", "at_abv": "--to", "make": "--make", "abv": "the blend"}):
        wanted = oils_mg_per_l(like, at_abv, bottled=True)
        made = blend_to_profile(runs, wanted, at_abv)
        return Blended(like, runs, made, pour(made, runs, 1.0 if args.make is None else args.make, at_abv))


def _varied() -> str:
    """The keys that can be varied, for the help."""
    rows = {"charge": ".NAME", "botanical": ".NAME", "still.power_step": ".1"}
    hidden = {"heads_share"}  # the other form of heads
    lines = ["  charge.abv: the strength in the pot"]
    for table, of in TABLES.items():
        keys = {name: key for name, key in of.keys.items() if key.vary and name not in hidden}
        if keys and of.path:
            at = f"{table}{rows.get(table, '')}"
            amount = next((name for name, key in keys.items() if key.extensive), "")
            alone = f" ({amount} if nothing follows)" if at.endswith("NAME") else ""
            said = f"{at}{alone}: .{', .'.join(keys)}"
            lines.append(textwrap.fill(said, 78, initial_indent="  ", subsequent_indent="      "))
    return "\n".join(lines)


STRENGTHS = Command(
    name="strengths",
    description="""\
Run a plan with charges of several strengths, all else left as it is: what comes
over, how strong, how long it takes, what the keep is, where the flavours move.
--same alcohol (the default) changes the water, --same volume spirit and water.
Beyond what the plan's spirits make, as much alcohol of a stronger spirit. With
--vary the same for any other number of the plan, by its key. Without PLAN: the
built-in example. Keys, with NAME as in the plan:

"""
    + _varied(),
    examples=(
        "potsim strengths --from 20 --to 60 --step 5",
        "potsim strengths trial-1.toml --same volume --plot strengths.svg",
        'potsim strengths --vary still.power --values "400 W, 700 W, 1 kW"',
        'potsim strengths --vary botanical.juniper --values "7 g, 14 g" --csv j.csv',
    ),
    arguments=(
        PLAN,
        *(
            argument(
                f"--{name}",
                metavar="ABV",
                dest=f"{name}_",
                help=f"{words} (of a charge {USUAL[name]})".replace("%", "%%"),
            )
            for name, words in (
                ("from", "first value"),
                ("to", "last value"),
                ("step", "from value to value"),
            )
        ),
        argument("--same", choices=SAME, help="what stays when the charge changes: alcohol or volume"),
        argument("--vary", metavar="KEY", help="another number of the plan, such as still.power"),
        argument("--values", metavar="LIST", help='its values: "400 W, 700 W, 1 kW"'),
        argument("--plot", metavar="FILE", help="draw the curves: .svg, .png or .pdf"),
        argument("--csv", metavar="FILE", help="write the table as numbers"),
        JSON,
        FORCE,
    ),
    run=strengths,
)
REACH = Command(
    name="reach",
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
    arguments=(
        PLAN,
        OneOf(
            (
                argument(
                    "--bottles",
                    metavar="N",
                    type=quantities.whole("a number of bottles"),
                    help="full bottles wanted, of all runs together",
                ),
                argument(
                    "--keep",
                    metavar="KEEP",
                    type=_keep,
                    help='keep wanted: "300 mL @ 72 %%", "300 mL" or "72 %%"',
                ),
                argument(
                    "--recover",
                    metavar="SHARE",
                    type=quantities.share,
                    help="share of the alcohol that the keep must hold",
                ),
            )
        ),
        argument(
            "--bottle",
            metavar="VOLUME",
            type=quantities.volume_l,
            help="size of a bottle, in place of the plan's",
        ),
        argument(
            "--abv", metavar="ABV", type=quantities.abv, help="bottling strength, in place of the plan's"
        ),
        argument(
            "--by",
            choices=BY,
            help="what is moved for a volume: the amount of all (as by default), or "
            "the strength of the charge",
        ),
        argument(
            "--spare",
            metavar="SHARE",
            type=quantities.share,
            default="3 %",
            help="more than asked, for what clings to jars and funnel (3 %% by default); amounts are then "
            "rounded up to what can be measured",
        ),
        argument("--save", metavar="FILE", help="write the plan found: .toml"),
        JSON,
        FORCE,
    ),
    run=reach,
)
PROOF = Command(
    name="proof",
    description="""\
Tell how much water brings spirit down to TARGET, the strength at 20 °C. How
much there is, a volume or the grams on the scales, and ABV are as measured at
the temperature T. ABV is the reading of a hydrometer made for 20 °C, or for
60 °F if it shows proof. Without TARGET: what the reading is at 20 °C. Without
VOLUME: the water for each litre. With --of, also whether the keep of that plan
clouds at TARGET.""",
    examples=(
        'potsim proof "1 L" "72 %" "42 %"',
        'potsim proof "930 g" "72 %" "42 %"',
        'potsim proof "150 proof" --at "80 °F"',
        'potsim proof "850 mL" "73.5 %" "43 %" --at "17 °C" --steps 3 --bottle "350 mL"',
        'potsim proof "1.04 L" "73.4 %" "38 %" --of trial-1.toml',
        'potsim proof "1.04 L" "73.4 %" "42 %" --of trial-1.toml --clouded-at "38 %"',
    ),
    arguments=(
        argument(
            "spirit",
            metavar="VOLUME|MASS|ABV|TARGET",
            nargs="+",
            help='how much, such as "1 L" or "930 g"; reading of the hydrometer, such as "72 %%"; strength '
            'wanted, such as "42 %%"',
        ),
        argument(
            "--hydrometer",
            metavar="T",
            type=quantities.temperature_c,
            help="temperature the hydrometer is made for (20 °C; 60 °F for a reading in proof)",
        ),
        argument(
            "--at",
            metavar="T",
            type=quantities.temperature_c,
            default="20 °C",
            help="temperature of spirit and water (20 °C)",
        ),
        argument(
            "--steps",
            metavar="N",
            type=quantities.whole("a number of additions"),
            default="1",
            help="additions of water, resting between (1)",
        ),
        argument(
            "--bottle",
            metavar="VOLUME",
            type=quantities.volume_l,
            help='what a bottle holds, such as "350 mL"',
        ),
        argument("--of", metavar="PLAN", help="plan whose keep it is: does it cloud at TARGET?"),
        argument(
            "--clouded-at",
            metavar="ABV",
            type=quantities.abv,
            help="strength at which a glass of it hazed, let down at T; needs --of",
        ),
        JSON,
    ),
    run=proof,
)
BLEND = Command(
    name="blend",
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
    arguments=(
        argument(
            "portions",
            metavar="VOLUME@ABV|ABV|PLAN",
            nargs="+",
            help='such as "300 mL @ 72 %%"; water: "200 mL @ 0 %%"; or two strengths; or plan files',
        ),
        argument(
            "--to", metavar="ABV", type=quantities.abv, help='bring the blend down to this, such as "40 %%"'
        ),
        argument("--like", metavar="PLAN", help="plan whose oils the keeps are to come near"),
        argument("--make", metavar="VOLUME", type=quantities.volume_l, help='how much is to be made ("1 L")'),
        JSON,
    ),
    run=blend,
)
COMMANDS = (STRENGTHS, REACH, PROOF, BLEND)
