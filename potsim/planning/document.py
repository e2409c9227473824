"""A run as plain data for programs, and as a short report card."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from potsim import __version__
from potsim.planning import aroma, cloud, oils
from potsim.planning.flavours import base_to_dict
from potsim.planning.profile import QUANTITIES

if TYPE_CHECKING:
    from potsim.planning.run import Run


def document(run: Run) -> dict[str, Any]:
    """Return a run as plain data.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    dict
        What ``potsim run --json`` prints: numbers, texts, lists and dictionaries only.
    """
    stop = run.stop
    return {
        "potsim": __version__,
        "title": run.plan.title,
        "charge": {
            "volume_l": run.charge.volume_l,
            "abv": run.charge.abv,
            "ethanol_l": run.charge.ethanol_l,
            "mass_kg": run.charge.mass_kg,
            "boiling_c": float(run.pot_c[0]),
        },
        "first_drop_min": run.first_drop_min,
        "curve": {name: getattr(run.profile, name).tolist() for name in QUANTITIES},
        "stop": {
            "reason": run.end.reason,
            "words": run.end.words,
            **{name: getattr(stop, name) for name in QUANTITIES},
        },
        "jars": _jars(run),
        "jar_notes": list(run.row.notes),
        "beyond_jars": {
            "volume_l": run.row.left_over.volume_l,
            "abv": run.row.left_over.abv,
            "mass_g": run.row.left_over.mass_g,
        },
        "at_stake": None if run.row.at_stake is None else vars(run.row.at_stake),
        "keep": {
            "volume_l": run.keep.volume_l,
            "abv": run.keep.abv,
            "ethanol_l": run.keep.ethanol_l,
            "mass_g": run.keep.mass_g,
            "oil_mg_per_l": oils.keep_mg_per_l(run),
            "jars": list(run.keep.jars),
        },
        "proofing": _proofing(run),
        "costs": {**dataclasses.asdict(run.costs), "unpriced": list(run.costs.unpriced)},
        "flavours": _flavours(run),
        "base_spirit": base_to_dict(run.flavours),
        "cloud": cloud.to_dict(run.cloud, run.plan.bottling.abv),
        "condenser_w": run.condenser_w,
        "closure": run.closure,
        "assumed": list(run.assumed),
        "cautions": list(run.cautions),
    }


JAR = (
    "number",
    "role",
    "size_l",
    "volume_l",
    "from_l",
    "to_l",
    "abv",
    "start_abv",
    "end_abv",
    "vapour_c",
    "full_min",
    "mass_g",
)
PROOFING = (
    "from_l",
    "from_abv",
    "target_abv",
    "water_l",
    "water_kg",
    "volume_l",
    "mass_kg",
    "bottles",
    "left_over_l",
    "at_c",
    "reading_abv",
)


def _jars(run: Run) -> list[dict[str, Any]]:
    spans = [(jar.start_depletion, jar.end_depletion) for jar in run.jars]
    tasted = aroma.leading(run.flavours, spans)
    oil = oils.jars_mg_per_l(run).tolist()
    return [
        {**{name: getattr(jar, name) for name in JAR}, "oil_mg_per_l": mg, "leading": list(names)}
        for jar, mg, names in zip(run.jars, oil, tasted, strict=True)
    ]


def _flavours(run: Run) -> list[dict[str, Any]]:
    kept = oils.kept_g(run).tolist()
    whole = zip(run.flavours, run.flavours.to_dict(), strict=True)
    return [{**plain, "kept_g": kept[flavour.line]} for flavour, plain in whole]


def _proofing(run: Run) -> dict[str, Any] | None:
    made = run.proofing
    if made is None:
        return None
    found = run.cloud
    return {
        **{name: getattr(made, name) for name in PROOFING},
        "stretch": _stretch(run),
        "oil_mg_per_l": 0.0 if found is None else found.oil_mg_per_l,
    }


def _stretch(run: Run) -> dict[str, float] | None:
    by, both = run.plan.bottling.stretch, run.let_down
    if by is None:
        return None
    return {
        "spirit_l": by.spirit_l,
        "abv": by.abv,
        "together_l": both.volume_l,
        "together_abv": both.abv,
    }


def card(run: Run) -> str:
    """Return a run as a short report card.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    str
        A few lines.
    """
    charge, stop, first = run.charge, run.stop, run.first_drop_min
    lines = [
        run.plan.title,
        f"charge    {charge.volume_l:.2f} L at {charge.abv:.1f} % vol, boils at {run.pot_c[0]:.1f} °C",
        f"stream    {run.stream_abv[0]:.1f} to {stop.stream_abv:.1f} % vol, from minute {first:.0f}",
        f"stop      {stop.collected_l:.3f} L after {stop.elapsed_min:.0f} min: {run.end.words}",
        f"pooled    {stop.mean_abv:.1f} % vol, {100.0 * stop.recovered:.0f} % of the alcohol",
        f"keep      {run.keep.volume_l:.3f} L at {run.keep.abv:.1f} % vol, jars {_range(run.keep.jars)}",
        f"pot left  {stop.pot_l:.2f} L at {stop.pot_abv:.1f} % vol, {stop.pot_c:.1f} °C",
    ]
    made = run.proofing
    if made is not None:
        bottles = f", {made.bottles} bottles" if made.bottles is not None else ""
        water = f"{made.water_l:.3f} L of water"
        lines.append(f"bottled   {made.volume_l:.3f} L at {made.target_abv:g} % vol with {water}{bottles}")
    return "\n".join(lines)


def _range(numbers: tuple[int, ...]) -> str:
    whole = numbers == tuple(range(numbers[0], numbers[-1] + 1))
    return f"{numbers[0]} to {numbers[-1]}" if whole else ", ".join(map(str, numbers))
