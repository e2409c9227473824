"""Trace compounds: what each is, of which groups, on which data its volatility rests; the library."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from potsim.data import read_table
from potsim.errors import RequestError, UnknownNameError, require
from potsim.liquid.pure import Array, R
from potsim.records import dataclass

Groups = tuple[tuple[int, int], ...]  # subgroups of the group model, and how many of each

ZERO_C_K = 273.15
ANCHOR_K = 298.15
WATER_MOL_PER_L = 55.34  # 997.05 g/L at 25 °C over 18.0153 g/mol
DILUTE_MOL_PER_L = 0.5  # a stronger saturated solution is not at high dilution
SMALL_G = 95.0  # g/mol; up to here groups were fitted to boiling mixtures of the compounds themselves

LIQUID_IN_WATER = 0.5  # log10 of mol/L at Kow = 1; Ran & Yalkowsky 2001, see potsim/data/cosolvency.csv
HYDROCARBONS_BELOW = 0.3  # decades by which that is too high for the 11 hydrocarbons measured, 0.40 rms
WITH_ALCOHOL = "WITH_ALCOHOL"  # comes over in proportion to the alcohol, see compound_volatility.csv
LEAST_LOG10_KOW = 1.5  # below it, what was not measured mixes too well with water for that equation

ROUTES = {
    "Henry constant": "groups in spirit, a Henry constant in water",
    "solubility": "groups in spirit, a solubility in water",
    "both": "groups in spirit, a Henry constant and a solubility in water",
    "estimate": "groups in spirit, an estimate from the octanol-water partition in water",
    "small": "groups alone, small molecule",
    "groups": "groups alone",
    "surrogate": "groups alone, surrogate groups",
    "sesquiterpene": "groups in spirit, an hypothesis in water",
}
STANDINGS = {
    "fit": "from a published fit",
    "estimate": "estimated from the boiling point",
    "guess": "estimated from a boiling point that is itself from memory or estimated",
}
LIGHTEST_GROUP_G = 12.0  # g/mol: a carbon atom alone; no subgroup is lighter
R_CAL = 1.987  # cal/(mol K), the unit of Grain and Watson's constants

# Expected errors as factors, by route; how they were found: `potsim.liquid.traces.volatility`.
GAMMA_FACTOR = {
    "solubility": 2.0,
    "Henry constant": 2.0,
    "both": 1.7,
    "estimate": 2.5,
    "small": 1.5,
    "groups": 2.5,
    "surrogate": 3.5,
    "sesquiterpene": 4.0,
}
PRESSURE_FACTOR = {"fit": 1.15, "estimate": 1.5, "guess": 2.0}


def _expected_factor(gamma: str, pressure: str) -> float:
    """Expected error of K as a factor, to one decimal; its two parts are independent."""
    spread = math.hypot(math.log(GAMMA_FACTOR[gamma]), math.log(PRESSURE_FACTOR[pressure]))
    return round(math.exp(spread), 1)


@dataclass(frozen=True)
class VapourPressure:
    """Vapour pressure of a pure liquid, by Antoine's equation or estimated from its boiling point.

    Parameters
    ----------
    method : str
        Where it comes from: a table of the library ``chemicals``, ``"GRAIN_WATSON"`` or ``"own"``.
    a, b, c : float
        ``ln(P / Pa) = a - b / (T + c)`` [-, K, K]; used unless ``kf`` is given.
    tb_k : float
        Boiling point at 101.325 kPa [K], for the estimate.
    kf : float
        Grain and Watson's factor for the class of compound; 0 chooses Antoine's equation.

    Notes
    -----
    Estimate: Grain and Watson's equation for liquids (Lyman, Reehl & Rosenblatt, Handbook of Chemical
    Property Estimation Methods, 1990, ch. 14), good to about a factor of 1.5 well below the boiling point.
    """

    method: str
    a: float = 0.0
    b: float = 0.0
    c: float = 0.0
    tb_k: float = 0.0
    kf: float = 0.0

    def ln_pa(self, temperature_k: ArrayLike) -> Array:
        """Return ``ln(P / Pa)`` at temperatures [K]."""
        t = np.asarray(temperature_k, dtype=float)
        if not self.kf:
            return np.asarray(self.a - self.b / (t + self.c))
        reduced = t / self.tb_k
        base = 3.0 - 2.0 * reduced
        bracket = 1.0 - base**0.19 / reduced - 0.38 * base**-0.81 * np.log(reduced)
        heat = self.kf * (8.75 + R_CAL * math.log(self.tb_k)) / (0.97 * R_CAL)
        return np.asarray(math.log(101325.0) + heat * bracket)


@dataclass(frozen=True)
class Threshold:
    """The least concentration at which a compound is noticed; a rough guide, sources differ tenfold.

    Parameters
    ----------
    ug_per_l : float
        Concentration [µg/L].
    medium : str
        In what: ``"water"``.
    source : str
        Who says so.
    """

    ug_per_l: float
    medium: str
    source: str


@dataclass(frozen=True)
class WaterAnchor:
    """A limiting activity coefficient in water, to which the model is tied.

    Parameters
    ----------
    ln_gamma : float
        Its logarithm [-], the reference being the pure liquid.
    temperature_k : float
        Temperature it holds at [K].
    kind : {'solubility', 'Henry constant', 'both', 'estimate'}
        What was measured.
    source : str
        Who says so.
    """

    ln_gamma: float
    temperature_k: float
    kind: str
    source: str


@dataclass(frozen=True)
class Compound:
    """A trace compound and all that its volatility is computed from.

    Build one of your own with groups and a boiling point, ``Compound.own(...)``, or with a volatility that
    keeps a constant ratio to that of ethanol; every function of `potsim.liquid.traces` takes it in place of
    a name.

    Parameters
    ----------
    id, name, formula, family : str
        Identity; ``id`` joins the botanical library.
    molar_mass_g : float
        Molar mass [g/mol].
    odour, group : str
        What it smells of, and the group of flavour in which that is counted.
    odour_threshold : Threshold or None
        None when none is known.
    tb_k : float or None
        Boiling point at 101.325 kPa [K]; None for what does not boil.
    groups : tuple of (int, int)
        Subgroups of modified UNIFAC (Dortmund) and how many of each.
    vapour_pressure : VapourPressure or None
        None for what stays in the pot.
    anchor : WaterAnchor or None
        Limiting activity coefficient in water; None where groups do better or are all there is.
    relative_to_ethanol : float or None
        A constant ``K / K_ethanol`` that replaces groups and vapour pressure.
    route : str
        How the limiting activity coefficient is found, and the vapour pressure.
    expected_factor : float
        Expected error of K in spirit, as a factor: 2 means between half and double.
    sources : str
        Where groups, vapour pressure and anchor come from.
    """

    id: str
    name: str
    formula: str
    family: str
    molar_mass_g: float
    odour: str
    group: str
    odour_threshold: Threshold | None
    tb_k: float | None
    groups: Groups
    vapour_pressure: VapourPressure | None
    anchor: WaterAnchor | None
    relative_to_ethanol: float | None
    route: str
    expected_factor: float
    sources: str

    @property
    def stays(self) -> bool:
        """Whether it does not evaporate at all, so that K is nought."""
        return self.vapour_pressure is None and self.relative_to_ethanol is None

    @classmethod
    def own(
        cls,
        name: str,
        molar_mass_g: float,
        *,
        groups: Mapping[int, int] = MappingProxyType({}),
        tb_k: float | None = None,
        relative_to_ethanol: float | None = None,
    ) -> Compound:
        """Describe a compound that the library lacks.

        Parameters
        ----------
        name : str
            Its name, also its id.
        molar_mass_g : float
            Molar mass [g/mol].
        groups : mapping of int to int, optional
            Subgroups of modified UNIFAC (Dortmund), numbered as in ``thermo.unifac.DOUFSG``; needs ``tb_k``.
        tb_k : float, optional
            Boiling point at 101.325 kPa [K], 250 to 700, from which the vapour pressure is estimated.
        relative_to_ethanol : float, optional
            A constant ``K / K_ethanol`` instead of both.

        Returns
        -------
        Compound
            To be given to `potsim.liquid.traces.volatility` in place of a name.

        Raises
        ------
        RequestError
            If neither groups with a boiling point nor a ratio are given, or both; or if there is less
            than one of a group, or more groups than the molar mass has room for.

        Examples
        --------
        >>> from potsim.liquid.compounds import Compound
        >>> Compound.own("pentanal", 86.13, groups={1: 1, 2: 3, 20: 1}, tb_k=376.2).route
        'groups alone, vapour pressure estimated from the boiling point'
        """
        require("molar_mass_g", molar_mass_g, 1.0, 2000.0, "g/mol")
        require("tb_k", tb_k, 250.0, 700.0, "K")
        require("relative_to_ethanol", relative_to_ethanol, 0.0, 1e6)
        by_groups = bool(groups) and tb_k is not None
        if by_groups == (relative_to_ethanol is not None):
            raise RequestError.of("volatility_open", given=name, twice=by_groups)
        _check_groups(name, groups, molar_mass_g)
        pressure = VapourPressure("own", tb_k=tb_k or 0.0, kf=1.07) if by_groups else None
        route = "groups alone, vapour pressure estimated from the boiling point"
        return cls(
            id=name,
            name=name,
            formula="",
            family="",
            molar_mass_g=molar_mass_g,
            odour="",
            group="other",
            odour_threshold=None,
            tb_k=tb_k,
            groups=tuple(sorted(groups.items())),
            vapour_pressure=pressure,
            anchor=None,
            relative_to_ethanol=relative_to_ethanol,
            route=route if by_groups else "constant ratio to ethanol",
            expected_factor=_expected_factor("groups", "estimate") if by_groups else 3.0,
            sources="given by the user",
        )


def _check_groups(name: str, groups: Mapping[int, int], molar_mass_g: float) -> None:
    """Refuse more groups than a molar mass has room for, and fewer than one of any."""
    fewest = min(groups.values(), default=1)
    if fewest < 1:
        raise RequestError.of("none_of_a_group", "groups", given=fewest, allowed=1, name=name)
    count, most = sum(groups.values()), int(molar_mass_g / LIGHTEST_GROUP_G)
    if count > most:
        about = {"name": name, "molar_mass_g": molar_mass_g, "lightest_g": LIGHTEST_GROUP_G}
        raise RequestError.of("too_many_groups", "groups", given=count, allowed=most, **about)


def compounds() -> tuple[Compound, ...]:
    """Return every compound of the library, in the order of its table."""
    return tuple(map(compound, _rows()))


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
    >>> from potsim.liquid.compounds import compound
    >>> compound("linalool").formula
    'C10H18O'
    """
    if isinstance(compound_id, Compound):
        return compound_id
    if compound_id not in _rows():
        raise UnknownNameError("compound", compound_id, _rows())
    return _of_library(compound_id)


NO_ODOUR = {"odour": "", "group": "", "threshold_ug_per_l": "", "threshold_source": ""}  # none is known


@cache
def _rows() -> dict[str, dict[str, str]]:
    return {row["id"]: row for row in read_table("compounds.csv")}


@cache
def _of_library(compound_id: str) -> Compound:
    row, data = _rows()[compound_id], _by_compound("compound_volatility.csv")[compound_id]
    pressure = _vapour_pressure(row, data)
    groups = _groups(data["dortmund_groups"])
    anchor = None
    with_alcohol = data["psat_method"] == WITH_ALCOHOL
    if (pressure or with_alcohol) and float(row["molar_mass_g"]) > SMALL_G:
        anchor = _water_anchor(row, pressure, groups)
    gamma, standing = _gamma_route(row, data, anchor), _standing(row, data)
    odour = _by_compound("odour.csv").get(row["id"], NO_ODOUR)
    return Compound(
        id=row["id"],
        name=row["name"],
        formula=row["formula"],
        family=row["family"],
        molar_mass_g=float(row["molar_mass_g"]),
        odour=odour["odour"],
        group=odour["group"],
        odour_threshold=_threshold(odour),
        tb_k=float(row["tb_k"]) if row["tb_k"] else None,
        groups=groups,
        vapour_pressure=pressure,
        anchor=anchor,
        relative_to_ethanol=1.0 if with_alcohol else None,
        route=_route(gamma, standing, pressure is not None, with_alcohol),
        expected_factor=_expected_factor(gamma, standing) if pressure else (3.0 if with_alcohol else 1.0),
        sources=_sources(row, data, anchor),
    )


def _vapour_pressure(row: dict[str, str], data: dict[str, str]) -> VapourPressure | None:
    method = data["psat_method"]
    if method in ("NONE", WITH_ALCOHOL):
        return None
    if method == "GRAIN_WATSON":
        return VapourPressure(method, tb_k=float(row["tb_k"]), kf=float(data["psat_kf"]))
    return VapourPressure(method, float(data["psat_a"]), float(data["psat_b"]), float(data["psat_c"]))


def _route(gamma: str, standing: str, boils: bool, with_alcohol: bool) -> str:
    if with_alcohol:
        return "in proportion to the alcohol, an hypothesis"
    return f"{ROUTES[gamma]}; vapour pressure {STANDINGS[standing]}" if boils else "stays in the pot"


def _water_anchor(row: dict[str, str], pressure: VapourPressure | None, groups: Groups) -> WaterAnchor | None:
    """What is known of a compound in water: the mean of what was measured, else an estimate."""
    henry_first = (pressure and henry_anchor(row["id"], pressure), solubility_anchor(row["id"]))
    measured = [anchor for anchor in henry_first if anchor]
    if len(measured) == 2:
        henry, solubility = measured
        mean = (henry.ln_gamma + solubility.ln_gamma) / 2.0
        return WaterAnchor(mean, ANCHOR_K, "both", f"{henry.source}; {solubility.source}")
    return measured[0] if measured else estimated_anchor(row["id"], row["family"], groups)


def estimated_anchor(compound_id: str, family: str, groups: Groups) -> WaterAnchor | None:
    """Return a limiting activity coefficient in water where none was measured.

    Parameters
    ----------
    compound_id, family : str
        A compound of the library and the family it is listed under.
    groups : tuple of (int, int)
        Its subgroups.

    Returns
    -------
    WaterAnchor or None
        None for what mixes too well with water to be estimated so.

    Notes
    -----
    *With oxygen*: the mean of the general solubility equation and of the groups. Against 51 solubilities and
    Henry constants the two are off by 0.46 and 0.53 decades (rms), their mean by 0.38.

    *Monoterpene hydrocarbons*: the equation less 0.3 decades, its mean excess over the 11 measured.

    *Sesquiterpene hydrocarbons*: the equation as it is. Nothing was measured; the groups put them 0.7 to 1.6
    decades lower, which would make them as volatile in weak spirit as pinene. This is an hypothesis: with it
    they stay behind pinene and limonene from 20 to 60 % vol, and dissolve in spirit of 40 to 50 % vol 0.2 to
    0.5 decades less than their partition coefficient alone would have it. Off by 0.4 decades either way.
    """
    row = _by_compound("cosolvency.csv")[compound_id]
    if row["treatment"] != "law" or float(row["log10_kow"]) < LEAST_LOG10_KOW:
        return None
    ln_gamma = math.log(WATER_MOL_PER_L) - math.log(10.0) * (LIQUID_IN_WATER - float(row["log10_kow"]))
    if "monoterpene hydrocarbon" in family:
        ln_gamma += math.log(10.0) * HYDROCARBONS_BELOW
    elif family != "sesquiterpene":
        water, kelvin = np.zeros(1), np.array([ANCHOR_K])
        ln_gamma = (ln_gamma + float(from_groups([groups], water, kelvin)[0, 0])) / 2.0
    return WaterAnchor(ln_gamma, ANCHOR_K, "estimate", f"log10 Kow {row['log10_kow']}: {row['source']}")


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
    if row["family"] == "sesquiterpene":
        return "sesquiterpene"
    if anchor is not None:
        return anchor.kind
    if "surrogate" in data["groups_source"] or "atoms" in data["groups_source"]:
        return "surrogate"
    return "small" if float(row["molar_mass_g"]) <= SMALL_G else "groups"


def _standing(row: dict[str, str], data: dict[str, str]) -> str:
    if data["psat_method"] != "GRAIN_WATSON":
        return "fit"
    return "estimate" if row["confidence"] == "library value" else "guess"


def _groups(text: str) -> Groups:
    pairs = (pair.split(":") for pair in text.split())
    return tuple((int(group), int(count)) for group, count in pairs)


def _threshold(odour: dict[str, str]) -> Threshold | None:
    if not odour["threshold_ug_per_l"]:
        return None
    return Threshold(float(odour["threshold_ug_per_l"]), "water", odour["threshold_source"])


def _sources(row: dict[str, str], data: dict[str, str], anchor: WaterAnchor | None) -> str:
    parts = [f"boiling point: {row['tb_source']}"]
    if data["dortmund_groups"]:
        parts.append(f"groups: {data['groups_source']}")
        parts.append(f"vapour pressure: {data['psat_method']}")
    if anchor:
        parts.append(f"{anchor.kind}: {anchor.source}")
    return "; ".join(parts)


# --- Groups: modified UNIFAC (Dortmund) at infinite dilution in ethanol-water.
#
# The parameters are a copy of what the library needs, and those of ``thermo`` for all else: the copy saves
# loading it, a third of the time of a whole run.


ETHANOL: Groups = ((1, 1), (2, 1), (14, 1))
WATER: Groups = ((16, 1),)
POINTS_AT_ONCE = 500  # of composition and temperature; keeps the arrays below about 100 MB


class _Known(NamedTuple):
    subgroups: dict[int, tuple[int, float, float]]  # main group, R, Q
    pairs: dict[tuple[int, int], tuple[float, float, float]]  # of main groups


@cache
def _copied() -> _Known:
    groups, pairs = read_table("groups.csv"), read_table("group_interactions.csv")
    return _Known(
        {int(r["subgroup"]): (int(r["main"]), float(r["volume"]), float(r["surface"])) for r in groups},
        {(int(r["main"]), int(r["other"])): (float(r["a"]), float(r["b"]), float(r["c"])) for r in pairs},
    )


@cache
def _of_thermo() -> _Known:
    from thermo import unifac  # start-up: only for groups that are not copied

    return _Known(
        {number: (group.main_group_id, group.R, group.Q) for number, group in unifac.DOUFSG.items()},
        {(one, other): pair for one, row in unifac.DOUF2IP.items() for other, pair in row.items()},
    )


class GroupTable(NamedTuple):
    """What the group model needs of a set of compounds in ethanol-water."""

    counts: Array  # of each group in each compound, ethanol and water as the last two rows
    volume: Array  # van der Waals R and Q of the groups [-]
    surface: Array
    interaction: Array  # ``a, b, c`` of ``psi = exp(-(a + b T + c T^2) / T)``, shape (3, groups, groups)


@cache
def group_table(groups: tuple[Groups, ...]) -> GroupTable:
    """Return what the group model needs for compounds; refuses a group, or a pair, that it does not know."""
    members = [*groups, ETHANOL, WATER]
    numbers = sorted({number for each in members for number, _ in each})
    counts = np.array([[float(dict(each).get(number, 0)) for number in numbers] for each in members])
    known = _copied() if set(numbers) <= _copied().subgroups.keys() else _of_thermo()
    lost = [number for number in numbers if number not in known.subgroups]
    if lost:
        raise RequestError.of("no_such_group", "groups", given=lost[0])
    mains, volume, surface = zip(*(known.subgroups[number] for number in numbers), strict=True)
    interaction = np.zeros((3, len(numbers), len(numbers)))
    for i, one in enumerate(mains):
        for j, other in enumerate(mains):
            if one == other:
                continue
            if (one, other) not in known.pairs:
                raise RequestError.of("no_interaction", "groups", given=[numbers[i], numbers[j]])
            interaction[:, i, j] = known.pairs[one, other]
    return GroupTable(counts, np.array(volume), np.array(surface), interaction)


def from_groups(groups: Sequence[Groups], x: Array, temperature_k: Array) -> Array:
    """Return the logarithms of limiting activity coefficients by groups alone.

    Parameters
    ----------
    groups : sequence of tuple
        Subgroups and counts of each compound.
    x, temperature_k : ndarray, shape (n,)
        Mole fraction of ethanol and temperature [K].

    Returns
    -------
    ndarray, shape (number of compounds, n)
        ``ln gamma_inf``.

    Raises
    ------
    RequestError
        If a group, or its interaction with another, is not known.

    Notes
    -----
    Modified UNIFAC 2.0 (Hayer, Hasse & Jirasek, Ind. Eng. Chem. Res. 64 (2025) 10304): equations and
    subgroups of modified UNIFAC (Dortmund) with a complete set of interaction parameters. The equations are
    those of Weidlich & Gmehling, Ind. Eng. Chem. Res. 26 (1987) 1372, in the limit of no solute; written out
    because that is twenty times faster than the general mixture, to which the tests compare them.
    """
    table = group_table(tuple(groups))
    pieces = [slice(i, i + POINTS_AT_ONCE) for i in range(0, len(x), POINTS_AT_ONCE)]
    # Most of the work depends on the temperature alone: of one temperature it is done once.
    alike = len(x) > 0 and bool(np.all(temperature_k == temperature_k[0]))
    parts = [
        _infinite_dilution(table, x[at], temperature_k[:1] if alike else temperature_k[at]) for at in pieces
    ]
    return np.concatenate(parts, axis=1) if parts else np.zeros((len(groups), 0))


def _infinite_dilution(table: GroupTable, x: Array, temperature_k: Array) -> Array:
    solvents = np.stack([x, 1.0 - x])
    a, b, c = table.interaction
    t = temperature_k[:, None, None]
    psi = np.exp(-(a / t + b + c * t))
    solutes = table.counts[:-2]
    in_solvent = _group_activity(table, (solvents.T @ table.counts[-2:])[:, None, :], psi)
    alone = _group_activity(table, solutes, psi)
    residual = np.einsum("nsg,sg->sn", in_solvent - alone, solutes)
    return np.asarray(residual + _combinatorial(table, solvents))


def _group_activity(table: GroupTable, amounts: Array, psi: Array) -> Array:
    """Logarithm of each group's activity coefficient in liquids of those groups, (n, liquids, groups)."""
    q = table.surface
    theta = amounts * q
    theta = theta / theta.sum(axis=-1, keepdims=True)
    sums = theta @ psi
    return np.asarray(q * (1.0 - np.log(sums) - (theta / sums) @ psi.swapaxes(-1, -2)))


def _combinatorial(table: GroupTable, solvents: Array) -> Array:
    r, q = table.counts @ table.volume, table.counts @ table.surface
    modified, plain = r[:-2, None] ** 0.75 / (r[-2:] ** 0.75 @ solvents), r[:-2, None] / (r[-2:] @ solvents)
    ratio = plain / (q[:-2, None] / (q[-2:] @ solvents))
    return np.asarray(1.0 - modified + np.log(modified) - 5.0 * q[:-2, None] * (1.0 - ratio + np.log(ratio)))
