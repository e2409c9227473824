"""Strength beside what is published: densities, strengths, readings, dilution and US gauging."""

from __future__ import annotations

from itertools import groupby

import numpy as np

from potsim.data import read_table
from potsim.interfaces.evidence.core import Comparison, compare
from potsim.liquid import strength
from potsim.liquid.pure import Array, FloatOrArray
from potsim.liquid.strength.mixing import US_REFERENCE_C
from potsim.planning.proofing import Part, blend_to

Row = dict[str, str]

WATER_4C = 999.972  # kg/m3, water at 4 °C, to which old relative densities refer
AIR = 1.2  # kg/m3, air of the weighing room: OIML D 28, conventional value
BRASS = 8400.0  # kg/m3, brass weights; common practice, no source
GALLON_L = 3.785411784  # US gallon of 231 cubic inches, exact
POUND_KG = 0.45359237  # international pound, exact
_MEMORY = "Typed from memory, confirmed by the formula only."


def comparisons() -> list[Comparison]:
    """Return every published value of strength, proof and dilution beside ours."""
    return [
        nbs_densities(),
        *usp_table(),
        hydrometer_readings(),
        *gay_lussac(),
        *pharmacopoeia_dilution(),
        *single_values(),
        *compendial_dilution(),
        *us_gauging(),
    ]


def nbs_densities() -> Comparison:
    """Return the densities of the US Bureau of Standards, 10 to 40 °C."""
    rows = read_table("published/density_nbs_1913.csv")
    return compare(
        "density of ethanol-water, 10-40 °C",
        "Osborne, McKelvy & Bearce, Bull. Bur. Stand. 9 (1913) 327",
        "kg/m³",
        1000.0 * _column(rows, "rho_g_cm3"),
        strength.density(_column(rows, "mass_percent") / 100.0, _column(rows, "t_C")),
        0.15,
        note="Attribution from memory. Measured independently of OIML R 22; they differ by up to 0.15.",
    )


def usp_table() -> list[Comparison]:
    """Return % mass and specific gravities of the alcoholometric table of the US pharmacopoeia."""
    rows = read_table("published/usp29_alcoholometric_table.csv")
    source = "USP29-NF24 Alcoholometric Table (Bull. Nat. Bureau of Standards 9, 424-425)"
    w_of_volume = _w_60f(_column(rows, "vol_percent_60F"))
    w = _column(rows, "mass_percent") / 100.0
    note = "Specific gravities in air, buoyancy counted; printed to 0.0001."
    return [
        compare(
            "% mass of a strength at 60 °F", source, "% mass", 100.0 * w, 100.0 * w_of_volume, 0.01,
            note="Both columns are printed to 0.01.",
        ),
        compare(
            "specific gravity in air 25/25 °C", source, "-",
            _column(rows, "sg_25_25_air"), _gravity_in_air(w, 25.0), 0.0001, note=note,
        ),
        compare(
            "specific gravity in air 60/60 °F", source, "-",
            _column(rows, "sg_60F_60F_air"), _gravity_in_air(w, US_REFERENCE_C), 0.0001, note=note,
        ),
    ]  # fmt: skip


def hydrometer_readings() -> Comparison:
    """Return what a glass alcoholometer for 60 °F shows from 30 to 85 °F."""
    rows = read_table("published/hydrometer_readings_60f.csv")
    abv = strength.abv_from_percent_at(_column(rows, "true_vol_60F"), US_REFERENCE_C)
    t_c = (_column(rows, "t_F") - 32.0) / 1.8
    return compare(
        "reading of a hydrometer for 60 °F at 30-85 °F",
        "Tralles-type table no. 55, Encyclopedia of Practical Receipts and Processes (1872)",
        "% vol at 60 °F",
        _column(rows, "observed_reading"),
        strength.reading_abv(abv, t_c, calibrated_c=US_REFERENCE_C),
        0.3,
        note="An old table, for strengths at 60 °F.",
    )


def gay_lussac() -> list[Comparison]:
    """Return Gay-Lussac's volumes of water, absolutely and in proportion."""
    rows = read_table("published/dilution_gay_lussac_15c.csv")
    printed = _column(rows, "water_per_100_volumes")
    there, wanted = (
        np.asarray(strength.abv_from_percent_at(_column(rows, key), 15.0))
        for key in ("from_percent_vol_15C", "to_percent_vol_15C")
    )
    spirit = np.asarray(strength.volume_at(100.0, there, 15.0, 20.0))
    water = strength.volume_at(strength.water_to_reach(spirit, there, wanted), 0.0, 20.0, 15.0)
    source = "Gay-Lussac's table as reprinted in the French pharmacopoeia"
    most = printed >= 5.0
    return [
        compare(
            "water to 100 volumes of spirit at 15 °C", source, "volumes", printed, water, 0.8,
            note="Strengths and volumes at 15 °C. The old table departs by up to 0.7 at targets of 10-15 %.",
        ),
        compare(
            "water to 100 volumes of spirit at 15 °C, in proportion", source, "ln",
            np.log(printed[most]), np.log(np.asarray(water)[most]), 0.01,
            note="Within 1 % where 5 volumes or more are added.",
        ),
    ]  # fmt: skip


def pharmacopoeia_dilution() -> list[Comparison]:
    """Return spirit and water that make a litre, by a pharmacopoeia."""
    rows = read_table("published/dilution_pharmacopoeia_20c.csv")
    made = [
        blend_to([Part(float(row["from_percent_vol"]))], float(row["to_percent_vol"]), 1.0) for row in rows
    ]
    source = "State Pharmacopoeia of the USSR, XI edition, alcoholometric tables"
    return [
        compare(
            f"{what} for a litre of weaker spirit at 20 °C",
            source,
            "mL",
            _column(rows, f"{what}_mL"),
            [1000.0 * volume_l for volume_l in ours],
            1.0,
            note="Printed to 1 mL.",
        )
        for what, ours in (
            ("spirit", [blend.spirits_l[0] for blend in made]),
            ("water", [blend.water_l for blend in made]),
        )
    ]


def single_values() -> list[Comparison]:
    """Return single densities, strengths and readings, gathered by source."""
    rows = read_table("published/strength_check_values.csv")

    def kind(row: Row) -> tuple[str, ...]:
        return row["quantity"], row["source"], row["unit"], row["tolerance"], row["from_memory"]

    return [
        compare(
            quantity.replace("_", " "),
            source,
            unit,
            [float(row["published_value"]) for row in members],
            [_single(row) for row in members],
            float(tolerance),
            note=_MEMORY if memory == "yes" else "",
        )
        for (quantity, source, unit, tolerance, memory), grouped in groupby(sorted(rows, key=kind), kind)
        for members in [list(grouped)]
    ]


def compendial_dilution() -> list[Comparison]:
    """Return what pharmacopoeias say of diluted alcohol."""
    ends = np.asarray(strength.abv_from_percent_at([94.9, 96.0], US_REFERENCE_C))
    half, water = strength.volume_at(0.5, ends, 25.0, 20.0), float(strength.volume_at(0.5, 0.0, 25.0, 20.0))
    mixed = [strength.mix([s, water], [abv, 0.0]) for s, abv in zip(np.asarray(half), ends, strict=True)]
    abv = np.array([m.abv for m in mixed])
    w = np.asarray(strength.w_from_abv(abv))
    at_25 = strength.volume_at([m.volume_l for m in mixed], abv, 20.0, 25.0)
    computed: dict[str, FloatOrArray] = {
        "volume_of_diluted_alcohol_ml": 1000.0 * np.asarray(at_25),
        "diluted_alcohol_vol_percent_60f": strength.percent_at(abv, US_REFERENCE_C),
        "diluted_alcohol_mass_percent": 100.0 * w,
        "diluted_alcohol_sg_60f": _gravity_in_air(w, US_REFERENCE_C),
        "ethanol_96_for_litre_of_20_ml": 1000.0 * blend_to([Part(96.0)], 20.0, 1.0).spirits_l[0],
    }
    return [
        compare(
            row["key"].replace("_", " "),
            row["source"],
            row["unit"],
            np.full(np.shape(computed[row["key"]]), float(row["published_value"])),
            computed[row["key"]],
            float(row["tolerance"]),
            note="For limits: their middle, with half their width as tolerance.",
        )
        for row in read_table("published/dilution_compendial.csv")
    ]


def us_gauging() -> list[Comparison]:
    """Return the figures of US gauging."""
    return [
        compare(
            f"{row['key'].replace('_', ' ')}, {row['proof']} proof",
            row["source"],
            row["unit"],
            float(row["published_value"]),
            _gauged(row),
            float(row["tolerance"]),
            note="Rests on older densities.",
        )
        for row in read_table("published/us_gauging.csv")
    ]


def _single(row: Row) -> float:
    """Our value of one row of the single values."""
    amount, t_c = float(row["amount"]), float(row["t_c"])
    if row["quantity"] == "true_abv":
        return float(strength.true_abv(amount, t_c))
    w = amount / 100.0
    if row["basis"] == "vol":
        w = float(strength.w_from_abv(strength.abv_from_percent_at(amount, t_c)))
    if row["quantity"] == "mass_percent":
        return 100.0 * w
    density = float(strength.density(w, t_c))
    against = {
        "density": 1.0,
        "relative_density_15_15": float(strength.density(0.0, 15.0)),
        "relative_density_15_4": WATER_4C,
    }
    return density / against[row["quantity"]]


def _gauged(row: Row) -> float:
    """Our value of one row of US gauging."""
    key, proof = row["key"], float(row["proof"])
    amount = float(row["amount"] or 1.0)
    if key == "true_proof_at_72.15f":
        abv = strength.true_abv(proof / 2.0, (72.15 - 32.0) / 1.8, calibrated_c=US_REFERENCE_C)
        return float(strength.proof_from_abv(abv))
    w = float(_w_60f(proof / 2.0))
    density, water = (float(strength.density(share, US_REFERENCE_C)) for share in (w, 0.0))
    # a pound weighed in air balances a mass of brass, and both are buoyed up
    pounds_per_gallon = GALLON_L * (density - AIR) / (1.0 - AIR / BRASS) / 1000.0 / POUND_KG
    further = w / float(_w_60f(float(row["to_proof"]) / 2.0)) - 1.0 if row["to_proof"] else 0.0
    gallons = amount / pounds_per_gallon
    return {
        "specific_gravity_60f_60f": density / water,
        "pounds_per_gallon": amount * pounds_per_gallon,
        "gallons_per_pound": gallons,
        "proof_gallons_per_pound": float(strength.proof_gallons(gallons, proof)),
        "pounds_of_water": amount * further,
        "parts_water": amount * density * (1.0 - w) / water,
        "gallons_of_water": amount * density * further / water,
        "gallons_of_water_by_rounded_rule": _rounded_rule(),
    }[key]


def _rounded_rule() -> float:
    """Gallons of water to 100 of 191 proof for 188, by the rule of Table 6 with its quotient cut to 1.01."""
    stronger, weaker = (
        float(100.0 * strength.density(w, US_REFERENCE_C) * (1.0 - w) / strength.density(0.0, US_REFERENCE_C))
        for w in (float(_w_60f(95.5)), float(_w_60f(94.0)))
    )
    return 1.01 * weaker - stronger


def _gravity_in_air(w: Array, t_c: float) -> Array:
    water = float(strength.density(0.0, t_c))
    return (np.asarray(strength.density(w, t_c)) - AIR) / (water - AIR)


def _w_60f(percent: FloatOrArray) -> Array:
    return np.asarray(strength.w_from_abv(strength.abv_from_percent_at(percent, US_REFERENCE_C)))


def _column(rows: tuple[Row, ...], name: str) -> Array:
    return np.array([float(row[name]) for row in rows])
