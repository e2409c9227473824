"""The library of trace compounds, put together from its tables."""

from __future__ import annotations

import math
from functools import cache

from potsim.data import read_table
from potsim.errors import UnknownNameError
from potsim.liquid.compound import Compound, Threshold, VapourPressure, WaterAnchor, expected_factor

ZERO_C_K = 273.15
ANCHOR_K = 298.15
R = 8.314462618  # J/(mol K), CODATA 2018, exact
WATER_MOL_PER_L = 55.34  # 997.05 g/L at 25 °C over 18.0153 g/mol
DILUTE_MOL_PER_L = 0.5  # a stronger saturated solution is not at high dilution
SMALL_G = 95.0  # g/mol; up to here groups were fitted to boiling mixtures of the compounds themselves

ROUTES = {
    "Henry constant": "groups, tied in water to a Henry constant",
    "solubility": "groups, tied in water to a solubility",
    "small": "groups alone, small molecule",
    "groups": "groups alone",
    "surrogate": "groups alone, surrogate groups",
    "sesquiterpene": "groups alone, sesquiterpene",
}
STANDINGS = {
    "fit": "from a published fit",
    "estimate": "estimated from the boiling point",
    "guess": "estimated from a boiling point that is itself from memory or estimated",
}


def compounds() -> tuple[Compound, ...]:
    """Return every compound of the library, in the order of its table.

    Returns
    -------
    tuple of Compound
        The library.
    """
    return tuple(_library().values())


def compound(compound_id: str | Compound) -> Compound:
    """Return a compound by its id; a `Compound` comes back as it is.

    Parameters
    ----------
    compound_id : str or Compound
        Such as ``"linalool"``.

    Returns
    -------
    Compound
        What is known of it.

    Raises
    ------
    UnknownNameError
        If no compound goes by that id; near ones are suggested.

    Examples
    --------
    >>> compound("linalool").formula
    'C10H18O'
    """
    if isinstance(compound_id, Compound):
        return compound_id
    library = _library()
    if compound_id not in library:
        raise UnknownNameError("compound", compound_id, library)
    return library[compound_id]


@cache
def _library() -> dict[str, Compound]:
    volatility = {row["compound_id"]: row for row in read_table("compound_volatility.csv")}
    return {row["id"]: _from_rows(row, volatility[row["id"]]) for row in read_table("compounds.csv")}


def _from_rows(row: dict[str, str], data: dict[str, str]) -> Compound:
    pressure = _vapour_pressure(row, data)
    heavy = float(row["molar_mass_g"]) > SMALL_G
    anchor = None
    if pressure and heavy:
        anchor = henry_anchor(row["id"], pressure) or solubility_anchor(row["id"])
    gamma, standing = _gamma_route(row, data, anchor), _standing(row, data)
    return Compound(
        id=row["id"],
        name=row["name"],
        formula=row["formula"],
        family=row["family"],
        molar_mass_g=float(row["molar_mass_g"]),
        odour=row["odour"],
        odour_threshold=_threshold(row),
        tb_k=float(row["tb_k"]) if row["tb_k"] else None,
        groups=_groups(data["dortmund_groups"]),
        vapour_pressure=pressure,
        anchor=anchor,
        relative_to_ethanol=None,
        route=f"{ROUTES[gamma]}; vapour pressure {STANDINGS[standing]}" if pressure else "stays in the pot",
        expected_factor=expected_factor(gamma, standing) if pressure else 1.0,
        sources=_sources(row, data, anchor),
    )


def _vapour_pressure(row: dict[str, str], data: dict[str, str]) -> VapourPressure | None:
    method = data["psat_method"]
    if method == "NONE":
        return None
    if method == "GRAIN_WATSON":
        return VapourPressure(method, tb_k=float(row["tb_k"]), kf=float(data["psat_kf"]))
    return VapourPressure(method, float(data["psat_a"]), float(data["psat_b"]), float(data["psat_c"]))


def henry_anchor(compound_id: str, pressure: VapourPressure) -> WaterAnchor | None:
    """Return the limiting activity coefficient in water that a Henry constant gives.

    Parameters
    ----------
    compound_id : str
        A compound of the library.
    pressure : VapourPressure
        Its vapour pressure, by which the Henry constant is divided.

    Returns
    -------
    WaterAnchor or None
        None if no constant is known, or it was refused (``water_henry.csv`` says why).
    """
    row = _by_compound("water_henry.csv").get(compound_id)
    if row is None or row["used"] != "yes":
        return None
    ln_gamma = math.log(float(row["henry_pa"])) - float(pressure.ln_pa(ANCHOR_K))
    return WaterAnchor(ln_gamma, ANCHOR_K, "Henry constant", "Sander 2015, as shipped in thermo")


def solubility_anchor(compound_id: str) -> WaterAnchor | None:
    """Return the limiting activity coefficient in water that a solubility gives.

    Parameters
    ----------
    compound_id : str
        A compound of the library.

    Returns
    -------
    WaterAnchor or None
        None if no solubility is known, or the saturated solution is not dilute (above 0.5 mol/L).

    Notes
    -----
    ``gamma_inf = a / x``, with the mole fraction ``x`` in the saturated solution, and the activity ``a`` that
    of the pure liquid, 1, or of the crystals: ``ln a = -(H / R) (1/T - 1/T_melting)``. The water that the
    liquid takes up is left out.
    """
    row = _by_compound("water_solubility.csv").get(compound_id)
    if row is None or float(row["solubility_mol_per_l"]) > DILUTE_MOL_PER_L:
        return None
    t = float(row["t_c"]) + ZERO_C_K
    ln_activity = 0.0
    if row["phase"] == "solid":
        melting = _by_compound("melting.csv")[compound_id]
        heat, melting_k = float(melting["heat_of_fusion_j_per_mol"]), float(melting["melting_k"])
        ln_activity = -heat / R * (1.0 / t - 1.0 / melting_k)
    ln_gamma = ln_activity + math.log(WATER_MOL_PER_L / float(row["solubility_mol_per_l"]))
    return WaterAnchor(ln_gamma, t, "solubility", row["source"])


@cache
def _by_compound(table: str) -> dict[str, dict[str, str]]:
    return {row["compound_id"]: row for row in read_table(table)}


def _gamma_route(row: dict[str, str], data: dict[str, str], anchor: WaterAnchor | None) -> str:
    if anchor is not None:
        return anchor.kind
    if "sesquiterpene" in row["family"]:
        return "sesquiterpene"
    if "surrogate" in data["groups_source"] or "atoms" in data["groups_source"]:
        return "surrogate"
    return "small" if float(row["molar_mass_g"]) <= SMALL_G else "groups"


def _standing(row: dict[str, str], data: dict[str, str]) -> str:
    if data["psat_method"] != "GRAIN_WATSON":
        return "fit"
    return "estimate" if row["confidence"] == "library value" else "guess"


def _groups(text: str) -> tuple[tuple[int, int], ...]:
    pairs = (pair.split(":") for pair in text.split())
    return tuple((int(group), int(count)) for group, count in pairs)


def _threshold(row: dict[str, str]) -> Threshold | None:
    if not row["odour_threshold"]:
        return None
    return Threshold(
        float(row["odour_threshold"]), row["odour_threshold_medium"], row["odour_threshold_source"]
    )


def _sources(row: dict[str, str], data: dict[str, str], anchor: WaterAnchor | None) -> str:
    parts = [f"boiling point: {row['tb_source']}"]
    if data["dortmund_groups"]:
        parts.append(f"groups: {data['groups_source']}")
        parts.append(f"vapour pressure: {data['psat_method']}")
    if anchor:
        parts.append(f"{anchor.kind}: {anchor.source}")
    return "; ".join(parts)
