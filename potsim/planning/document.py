"""A run as plain data for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from potsim import __version__, faces
from potsim.planning import flavours, noticed
from potsim.planning.cloud import to_dict
from potsim.planning.notes import plain_notes, sentences
from potsim.planning.stops import quantities_of
from potsim.records import plain

if TYPE_CHECKING:
    from potsim.planning.run import Run

FORMAT = 0  # of what a run is as plain data


def document(run: Run) -> dict[str, Any]:
    """Return a run as plain data."""
    stop = run.stop
    return {
        "potsim": __version__,
        "format": FORMAT,
        "plan": faces.tables_of(run.plan),
        "title": run.plan.title,
        "charge": {
            "volume_l": run.charge.volume_l,
            "abv": run.charge.abv,
            "ethanol_l": run.charge.ethanol_l,
            "mass_kg": run.charge.mass_kg,
            "boiling_c": float(run.pot_c[0]),
        },
        **{name: getattr(run, name) for name in run.PLAIN},
        "curve": {name: getattr(run.profile, name).tolist() for name in quantities_of(run.course)},
        "stop": {
            "reason": run.end.reason,
            "words": run.end.words,
            **{name: getattr(stop, name) for name in quantities_of(run.course)},
        },
        "jars": _jars(run),
        "jar_notes": list(sentences(run.row.notes)),
        "beyond_jars": {
            "volume_l": run.row.left_over.volume_l,
            "abv": run.row.left_over.abv,
            "mass_g": run.row.left_over.mass_g,
        },
        "at_stake": plain(run.row.at_stake),
        "working": plain(run.emptied),
        "cuts": plain(run.cuts),
        "cuts_add": {name: list(shares) for name, shares in run.added.items()},
        "heads": plain(run.heads),
        "keep": {
            "volume_l": run.keep.volume_l,
            "abv": run.keep.abv,
            "ethanol_l": run.keep.ethanol_l,
            "mass_g": run.keep.mass_g,
            "oil_mg_per_l": flavours.keep_mg_per_l(run),
            "jars": list(run.keep.jars),
        },
        "proofing": _proofing(run),
        "costs": plain(run.costs),
        "flavours": run.flavours.to_dict(),
        "base_spirit": [noticed.plain_compound(one) for one in run.flavours.base],
        "cloud": to_dict(run.cloud),
        "condenser_duty_w": run.condensing.duty_w,
        **({"lost_l": run.lost.volume_l} if run.setting.still.lost else {}),
        **({} if run.turn_off is None else {"turn_off": run.turn_off._asdict()}),
        "assumed": list(run.assumed),
        "cautions": list(run.cautions),
        "notes": plain_notes(run.notes),
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
    "calibrated_c",
    "reading_abv",
)


def _jars(run: Run) -> list[dict[str, Any]]:
    oil = flavours.jars_mg_per_l(run).tolist()
    return [
        {
            **{name: getattr(jar, name) for name in JAR},
            "haze": haze,
            "oil_mg_per_l": mg,
            "leads": list(leads),
            "marks": list(marks),
        }
        for jar, haze, mg, leads, marks in zip(
            run.jars, run.hazy_jars, oil, run.flavours.leads, run.flavours.marks, strict=True
        )
    ]


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
