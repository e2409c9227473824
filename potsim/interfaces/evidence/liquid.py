"""Ethanol-water beside what is published: densities, strengths, dilution; equilibrium and heats."""

from __future__ import annotations

from itertools import groupby

import numpy as np

from potsim.data import read_table
from potsim.interfaces.evidence import Comparison, Role, compare
from potsim.liquid import equilibrium, heat, strength
from potsim.liquid.boiling import combine, total_pressure
from potsim.liquid.equilibrium import excess
from potsim.liquid.pure import Array, FloatOrArray, molar_mass
from potsim.liquid.strength.mixing import US_REFERENCE_C
from potsim.planning.proofing import Part, blend_to
from potsim.records import dataclass

Row = dict[str, str]

WATER_4C = 999.972  # kg/m3, water at 4 °C, to which old relative densities refer
AIR = 1.2  # kg/m3, air of the weighing room: OIML D 28, conventional value
BRASS = 8400.0  # kg/m3, brass weights; common practice, no source
GALLON_L = 3.785411784  # US gallon of 231 cubic inches, exact
POUND_KG = 0.45359237  # international pound, exact
_MEMORY = "Typed from memory, confirmed by the formula only."


def comparisons() -> list[Comparison]:
    """Return what this module compares."""
    return [*of_strength(), *of_equilibrium()]


def of_strength() -> list[Comparison]:
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


# --- Equilibrium and heats of ethanol-water.


MMHG_PER_INHG = 25.4
STEEP, READ_K = 0.3, 0.1  # up to this x the boiling point tells the liquid; what one is read to [K]
MISSED = ("vapour at the measured boiling point, Kamihama et al.",)  # y 0.01 above all others where dilute
PA_PER_MMHG = 133.322387415
_OLD_STILLS = (
    "Old circulating stills read y low and T high together where ethanol is dilute, as if their x were too "
    "high; static pressures and Kamihama do not."
)


@dataclass(frozen=True)
class VapourSet:
    """How one published set is compared: what was measured, and how well."""

    name: str  # file ``published/vle_<name>.csv``
    source: str  # who published it, and at what pressure or temperature
    conditions: str  # who published it, and at what pressure or temperature
    role: Role = "tested"  # whether ``y`` entered the regression
    # tolerance of ``y``, of T [K] and of P [-]; none where not measured or not to be trusted
    y: float | None = None
    # tolerance of ``y``, of T [K] and of P [-]; none where not measured or not to be trusted
    temperature_k: float | None = None
    # tolerance of ``y``, of T [K] and of P [-]; none where not measured or not to be trusted
    pressure: float | None = None
    pressure_role: Role = "tested"  # whether P entered the regression
    note: str = ""  # where the tolerance comes from, and what else a reader must know


SETS = (
    VapourSet(
        "kamihama_2012", "Kamihama et al., J. Chem. Eng. Data 57 (2012) 339", "101.3 kPa", "fitted",
        y=0.006, temperature_k=0.1,
        note="y uncertain by 0.006 where y - x vanishes; T: no uncertainty stated, others differ by 0.4 K. "
        "y lies 0.01 above what the pressures at 90 °C and the other sets imply.",
    ),
    VapourSet(
        "carey_lewis_1932", "Carey & Lewis, Ind. Eng. Chem. 24 (1932) 882", "101.3 kPa",
        y=0.012, temperature_k=0.5,
        note="No uncertainty stated: y and T as far as the set lies from Kamihama's (rms 0.012 and 0.43 K). "
        + _OLD_STILLS,
    ),
    VapourSet(
        "rieder_thompson_1949", "Rieder & Thompson, Ind. Eng. Chem. 41 (1949) 2905", "101.3 kPa", y=0.015,
        temperature_k=0.5, note="Scatter 0.015 in y; T as for Carey & Lewis. " + _OLD_STILLS,
    ),
    VapourSet(
        "kirschbaum_gerstner_1939", "Kirschbaum & Gerstner, VDI-Z. Beih. Verfahrenstechnik (1939)",
        "33.3 kPa", y=0.017, temperature_k=0.5,
        note="No uncertainty stated: y as far as Rieder & Thompson lie from Kamihama (rms 0.017). "
        + _OLD_STILLS,
    ),
    VapourSet(
        "beebe_1942_380mmhg", "Beebe et al., Ind. Eng. Chem. 34 (1942) 1501", "50.7 kPa", "fitted", 0.01,
        note="y uncertain by 0.01 near the azeotrope; temperatures known to be bad.",
    ),
    VapourSet(
        "beebe_1942_95mmhg", "Beebe et al., Ind. Eng. Chem. 34 (1942) 1501", "12.7 kPa", y=0.02,
        note="Neighbours at x = 0.06 scatter by 0.027; temperatures known to be bad. y lies up to 0.05 below "
        "what Pemberton & Mash imply at nearly the same pressure.",
    ),
    VapourSet(
        "pemberton_mash_1978_303k", "Pemberton & Mash, J. Chem. Thermodyn. 10 (1978) 867", "303.15 K",
        y=0.002, pressure=0.002, pressure_role="fitted",
        note="Better than 0.1 % in P; the vapour pressure of pure ethanol used here is 0.1 % low. "
        "y was calculated by the authors.",
    ),
    VapourSet(
        "pemberton_mash_1978_363k", "Pemberton & Mash, J. Chem. Thermodyn. 10 (1978) 867", "363.15 K",
        pressure=0.002, pressure_role="fitted",
        note="Attribution inferred. The vapour pressure of pure ethanol used here is 0.14 % high.",
    ),
    VapourSet(
        "cornell_1933", "Cornell & Montonna 1933, smoothed table, reprinted", "101.3 kPa, smoothed", y=0.006,
        note="Not read against the paper; a smoothed table has no scatter of its own. Tolerance: the "
        "uncertainty of y in Kamihama's set.",
    ),
    VapourSet(
        "voutsas_2011", "Voutsas et al., Fluid Phase Equilib. 2011, doi:10.1016/j.fluid.2011.06.009",
        "13.2 and 19.7 kPa", temperature_k=0.2,
        note="From a public extract of NIST's ThermoML archive, not read against the article. Tolerance: 1 % "
        "in P, as for the static pressures at 50 °C.",
    ),
    VapourSet(
        "323k_px", "static pressures at 50 °C, paper not identified", "323.15 K", pressure=0.01,
        note="More than one source, steps of 0.3 %. Below x = 0.1 it rises faster than Pemberton & Mash at "
        "30 and at 90 °C, which leaves 1 to 2 % between them.",
    ),
)  # fmt: skip


def of_equilibrium() -> list[Comparison]:
    """Return every published value of equilibrium and heat beside ours."""
    return [
        *(case for one in SETS for case in vapour_set(one)),
        *azeotropes(),
        excess_enthalpy(),
        limiting_heat(),
        *pure_heats(),
        *boiling_water(),
    ]


def points(name: str) -> tuple[Array, Array, Array, Array]:
    """Return T [K], P [Pa], x and y of the mixtures in a set."""
    rows = [row for row in read_table(f"published/vle_{name}.csv") if 0.0 < float(row["x1"]) < 1.0]
    table = np.array([[float(row[k] or "nan") for k in ("T_K", "P_kPa", "x1", "y1")] for row in rows])
    return table[:, 0], 1000.0 * table[:, 1], table[:, 2], table[:, 3]


def vapour_set(one: VapourSet) -> list[Comparison]:
    """Return the comparisons of one set."""
    t, p, x, y = points(one.name)
    boiling = equilibrium.bubble_point(x, p)
    pressure = total_pressure(x, t, excess()) if np.isfinite(t).all() else t
    columns = (
        ("vapour over", "mole fraction", y, boiling.y, one.y, one.role),
        ("boiling point of", "K", t, boiling.temperature_k, one.temperature_k, one.role),
        ("pressure over", "ln(P/Pa)", np.log(p), np.log(pressure), one.pressure, one.pressure_role),
    )
    return [
        compare(
            f"{what} ethanol-water, {one.conditions}",
            one.source,
            unit,
            published,
            ours,
            tolerance,
            role=role,
            criterion="rms",
            note=one.note,
        )
        for what, unit, published, ours, tolerance, role in columns
        if tolerance is not None
    ] + ([_at_measured_temperature(one)] if one.y and one.temperature_k else [])


def _at_measured_temperature(one: VapourSet) -> Comparison:
    """Compare y with that of the liquid which boils at the measured T: free of errors in the measured x."""
    t, p, x, y = points(one.name)
    steep = x <= STEEP
    low, high = np.zeros(int(steep.sum())), np.full(int(steep.sum()), 0.8)
    for _ in range(60):
        middle = 0.5 * (low + high)
        hot = np.asarray(equilibrium.bubble_point(middle, p[steep]).temperature_k) > t[steep]
        low, high = np.where(hot, middle, low), np.where(hot, high, middle)
    state = equilibrium.bubble_point(low, p[steep])
    later = equilibrium.bubble_point(low + 1e-5, p[steep])
    slope = (np.asarray(later.y) - state.y) / (np.asarray(later.temperature_k) - state.temperature_k)
    off = float(np.mean(low / x[steep] - 1.0))
    return compare(
        f"vapour at the measured boiling point, {one.source.split(',')[0]}",
        one.source,
        "mole fraction",
        y[steep],
        state.y,
        float(np.hypot(one.y or 0.0, READ_K * np.sqrt(np.mean(slope**2)))),
        role=one.role,
        criterion="rms",
        note=f"Rows up to x = {STEEP:g}, where the boiling point tells the liquid; x by T lies "
        f"{100.0 * off:+.0f} % from the measured one on the mean. Tolerance: of y, and {READ_K:g} K in T.",
    )


def azeotropes() -> list[Comparison]:
    """Return composition and boiling point of the azeotrope against pressure."""
    return [
        *_azeotropes(
            "published",
            "Carey & Lewis 1932; Evans 1916; Lide & Kehiaian 1994",
            0.1,
            "At one atmosphere the sources spread from x = 0.894 to 0.904 and from 78.1 to 78.2 °C.",
        ),
        *_azeotropes(
            "memory",
            "Merriman 1913 as in Horsley's tables",
            0.25,
            "Typed from memory; said to hold within 0.25 K, and 0.01 in x as at one atmosphere.",
        ),
    ]


def _azeotropes(kind: str, source: str, within_k: float, note: str) -> list[Comparison]:
    rows = [
        row
        for row in read_table("published/azeotrope_vs_pressure.csv")
        if row["kind"] == kind and float(row["x1"]) < 1.0 and float(row["P_kPa"]) <= 160.0
    ]
    x, t_c, mmhg = (np.array([float(row[key]) for row in rows]) for key in ("x1", "T_C", "P_mmHg"))
    ours = equilibrium.azeotrope(mmhg * PA_PER_MMHG)
    ours_c = np.asarray(ours.temperature_k) - 273.15
    return [
        compare("azeotrope", source, "mole fraction", x, ours.x, 0.01, note=note),
        compare("boiling point of the azeotrope", source, "°C", t_c, ours_c, within_k, note=note),
    ]


def excess_enthalpy() -> Comparison:
    """Return Larkin's excess enthalpy, 298 to 383 K."""
    rows = [row for row in read_table("published/excess_enthalpy_larkin_1975.csv") if row["type"] == "value"]
    t, x, published = (np.array([float(row[k]) for row in rows]) for k in "abc")
    model = excess()
    return compare(
        "excess enthalpy of ethanol-water, 298-383 K",
        "Larkin, J. Chem. Thermodyn. 7 (1975) 137",
        "J/mol",
        published,
        combine(model.mixture(x).gibbs, model.heat_weights(t)),
        60.0,
        role="fitted",
        criterion="rms",
        note="No uncertainty stated; 60 J/mol over 20 K moves an activity coefficient by 0.1 %. Below x = "
        "0.1 the correlation goes to twice the calorimetric limit and is not followed.",
    )


def limiting_heat() -> Comparison:
    """Return the limiting partial molar excess enthalpy of ethanol in water."""
    (row,) = read_table("published/limiting_ethanol_in_water.csv")
    model = excess()
    ours = combine(model.mixture(np.array(0.0)).ethanol, model.heat_weights(np.array(float(row["T_K"]))))
    return compare(
        "excess enthalpy of ethanol at infinite dilution in water, 25 °C",
        "Hallen et al., J. Chem. Thermodyn. 18 (1986) 429",
        "J/mol",
        float(row["value"]),
        ours,
        2.0 * float(row["uncertainty"]),
        role="fitted",
        note="From memory; the tolerance is twice the standard deviation given to it in the regression.",
    )


def pure_heats() -> list[Comparison]:
    """Return heats of vaporisation and the heat capacity of water."""
    rows = read_table("published/heat_of_vaporisation.csv")
    t = np.array([float(row["T_K"]) for row in rows])
    x = np.array([1.0 if row["component"] == "ethanol" else 0.0 for row in rows])
    constants = read_table("published/pure_component_thermal.csv")
    (perry,) = [row for row in constants if row["kind"] == "published"]
    boiling = np.array([equilibrium.boiling_point_ethanol(), equilibrium.boiling_point_water()])
    masses = 1000.0 * np.array([molar_mass("ethanol"), molar_mass("water")])
    perry_name = "Perry's Chemical Engineers' Handbook, constants"
    return [
        compare(
            "heat of vaporisation of ethanol and water", "CRC Handbook of Chemistry and Physics", "J/mol",
            [float(row["hvap_J_mol"]) for row in rows], _vaporisation(x, t), 800.0,
            note="Handbooks spread from 38.56 to 39.4 kJ/mol for ethanol at its boiling point.",
        ),
        compare(
            "heat of vaporisation at the boiling point", perry_name, "J/g",
            [float(perry["hvap_ethanol_J_g"]), float(perry["hvap_water_J_g"])],
            _vaporisation(np.array([1.0, 0.0]), boiling) / masses, 18.0,
            note="Handbooks spread from 837 to 855 J/g for ethanol.",
        ),
        compare(
            "heat capacity of water at 25 °C", perry_name, "J/(g K)", float(perry["cp_water_J_gK"]),
            np.asarray(heat.liquid_heat_capacity(0.0, 298.15)) / masses[1], 0.005,
            note="The constant for ethanol (2.845) is printed without its temperature and is not compared.",
        ),
    ]  # fmt: skip


def boiling_water() -> list[Comparison]:
    """Return the boiling point of water against pressure and altitude."""
    rows = read_table("published/altitude_boiling.csv")
    model = [row for row in rows if row["kind"] == "model"]
    forbes = [row for row in rows if row["kind"] == "forbes"]
    inches = np.array([float(row["forbes_inHg"]) for row in forbes])
    fahrenheit = np.array([float(row["forbes_bp_F"]) for row in forbes])
    return [
        compare(
            "boiling point of water, 0 to 5,000 m", "U.S. Standard Atmosphere 1976 with IAPWS-IF97", "°C",
            [float(row["Tb_water_C"]) for row in model],
            _water_c(1000.0 * np.array([float(row["P_kPa"]) for row in model])), 0.01,
            note="Printed to 0.01 K.",
        ),
        compare(
            "boiling point of water against the barometer", "J. D. Forbes 1857", "°C",
            (fahrenheit - 32.0) / 1.8, _water_c(inches * MMHG_PER_INHG * PA_PER_MMHG), 0.25,
            criterion="share", share=16.0 / 17.0,
            note="From memory. One of the 17 readings is a known outlier.",
        ),
    ]  # fmt: skip


def _vaporisation(x: Array, temperature_k: Array) -> Array:
    """Heat of vaporisation of a pure component [J/mol]."""
    return np.asarray(heat.vapour_enthalpy(x, temperature_k)) - heat.liquid_enthalpy(x, temperature_k)


def _water_c(pressure_pa: Array) -> Array:
    """Boiling point of water [°C]."""
    return np.asarray(equilibrium.boiling_point_water(pressure_pa)) - 273.15
