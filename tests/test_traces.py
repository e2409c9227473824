"""Volatility of trace compounds: against measurements, in its limits, in its order."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from refusals import refused

from potsim.data import read_table
from potsim.errors import RangeError
from potsim.interfaces.evidence.traces import comparisons
from potsim.liquid import compounds as library
from potsim.liquid import strength, traces
from potsim.liquid.compounds import compounds, from_groups, group_table
from potsim.liquid.equilibrium import bubble_point, limiting_volatility

ROWS = comparisons()
ETHANOL = traces.Compound.own("ethanol", 46.07, relative_to_ethanol=1.0)
VOLATILE = [one for one in compounds() if not one.stays]
WEAK, HALF, STRONG = 0.033, 0.16, 0.55  # 10, 41 and 80 % vol


@pytest.mark.parametrize("t", [298.15, 352.0])
def test_groups_agree_with_the_general_mixture_of_the_library(t):
    from thermo import unifac

    groups = [one.groups for one in VOLATILE]
    mixture = unifac.UNIFAC.from_subgroups(
        T=t,
        xs=[0.0] * len(groups) + [0.3, 0.7],
        chemgroups=[dict(each) for each in [*groups, library.ETHANOL, library.WATER]],
        subgroups=unifac.DOUFSG,
        interaction_data=unifac.DOUF2IP,
        version=1,
    )
    ours = from_groups(groups, np.array([0.3]), np.array([t]))[:, 0]
    assert ours == pytest.approx(np.log(mixture.gammas()[:-2]), abs=1e-10)


def test_one_mole_fraction_at_a_time_or_all_at_once():
    x, p = np.array([[0.0, 0.1], [0.4, 0.86]]), np.array([101325.0, 60e3])
    together = traces.volatilities(["linalool", "piperine", ETHANOL], x, p)
    assert together.shape == (3, 2, 2)
    alone = traces.volatility("linalool", 0.4, 101325.0)
    assert isinstance(alone, float)
    assert alone == pytest.approx(together[0, 1, 0], rel=1e-12)
    assert traces.volatility("linalool", x, p) == pytest.approx(together[0], rel=1e-12)
    many = traces.volatility("linalool", np.linspace(0.0, 0.8, library.POINTS_AT_ONCE + 7))
    assert many[-1] == pytest.approx(traces.volatility("linalool", 0.8), rel=1e-12)
    assert traces.volatilities([], [0.1, 0.2]).shape == (0, 2)
    assert traces.volatility("linalool", np.array([])).shape == (0,)


@pytest.mark.parametrize(
    ("argument", "x", "p"),
    [
        ("x", -1e-9, 101325.0),
        ("x", [0.1, 0.87], 101325.0),
        ("x", math.nan, 101325.0),
        ("pressure_pa", 0.1, 1013.25),
        ("pressure_pa", 0.1, 120e3),
    ],
)
def test_refuses_what_lies_outside(argument, x, p):
    with pytest.raises(RangeError) as caught:
        traces.volatility("limonene", x, p)
    assert caught.value.path == argument


def test_unknown_names_are_answered_with_near_ones():
    with refused("unknown_name", "", "limonen", None, "limonene"):
        traces.volatility("limonen", 0.1)


def test_every_compound_is_complete_and_smooth():
    x = np.asarray(strength.x_from_abv(np.linspace(0.0, 96.0, 97)))
    k = traces.volatilities(compounds(), x)
    assert np.isfinite(k).all()
    for one, row in zip(compounds(), k, strict=True):
        if one.stays:
            assert (row == 0.0).all()
            continue
        assert (row > 0.0).all(), one.id
        assert 1.0 < one.expected_factor < 12.0
        bends = np.diff(np.log(row), 2)
        assert np.abs(np.diff(bends)).max() < 0.35 * np.abs(bends).max() + 1e-3, one.id


def test_tables_join():
    ids = [row["id"] for row in read_table("compounds.csv")]
    assert len(ids) == len(set(ids))
    assert ids == [row["compound_id"] for row in read_table("compound_volatility.csv")]
    for table in ("water_henry.csv", "water_solubility.csv", "melting.csv"):
        assert {row["compound_id"] for row in read_table(table)} <= set(ids)


def test_groups_add_up_to_the_molar_mass():
    from thermo import unifac

    mass = {"C": 12.011, "H": 1.008, "O": 15.999, "N": 14.007, "S": 32.06}
    for one in VOLATILE:
        sources = [row for row in read_table("compound_volatility.csv") if row["compound_id"] == one.id]
        if "surrogate" in sources[0]["groups_source"] or "atoms" in sources[0]["groups_source"]:
            continue
        atoms = [(unifac.DOUFSG[group].atoms, count) for group, count in one.groups]
        if any(each is None for each, _ in atoms):
            continue
        total = sum(mass[a] * n * count for each, count in atoms for a, n in each.items())
        assert total == pytest.approx(one.molar_mass_g, abs=0.1), one.id


@pytest.mark.parametrize("name", ["alpha_pinene", "limonene", "linalool", "geranial", "linalool_oxide"])
def test_terpenes_lose_volatility_as_ethanol_rises(name):
    k = traces.volatility(name, np.linspace(0.0, 0.8, 161))
    assert (np.diff(k) < 0.0).all()
    assert k[0] > 200.0 * k[-1]


def test_order_of_a_charge_at_41_percent():
    """By Rayleigh: the share of the ethanol that is over when half of each compound is."""
    half = _half_over()
    early = ["alpha_pinene", "sabinene", "limonene"]
    assert max(half[name] for name in early) < 0.1
    assert half["limonene"] < half["cineole"] < half["linalool"] < 0.5
    assert half["ethyl_hexanoate"] < half["linalool"]
    for name in ("terpinen_4_ol", "geranial", "camphor"):
        assert half["cineole"] < half[name] < half["cinnamaldehyde"]
    assert half["cinnamaldehyde"] < half["phenylethanol_2"] < half["eugenol"] + 0.2
    assert half["acetaldehyde"] < 0.2
    assert half["acetic_acid"] > 0.9
    assert half["vanillin"] == math.inf


def _half_over() -> dict[str, float]:
    names = [one.id for one in VOLATILE]
    ln_w = np.linspace(0.0, -1.6, 1601)
    x = np.empty_like(ln_w)
    x[0] = HALF
    grid = np.linspace(0.0, HALF, 401)
    vapour = np.asarray(bubble_point(grid).y)
    for i in range(1, ln_w.size):
        y = np.interp(x[i - 1], grid, vapour)
        x[i] = x[i - 1] + (y - x[i - 1]) * (ln_w[i] - ln_w[i - 1])
    over = 1.0 - x * np.exp(ln_w) / HALF
    k = traces.volatilities(names, x)
    steps = 0.5 * (k[:, 1:] + k[:, :-1]) - 1.0
    ln_left = np.cumsum(steps * np.diff(ln_w), axis=1) + ln_w[1:]
    return {
        name: float(over[1:][np.argmax(row < math.log(0.5))]) if row[-1] < math.log(0.5) else math.inf
        for name, row in zip(names, ln_left, strict=True)
    }


def test_the_law_meets_water_and_ethanol_at_its_ends():
    cineole = traces.compound("cineole")
    assert cineole.anchor is not None
    t = np.array([cineole.anchor.temperature_k])
    water = traces.ln_gamma([cineole], np.zeros(1), t)
    assert water[0, 0] == pytest.approx(cineole.anchor.ln_gamma, abs=1e-12)
    pure = traces.ln_gamma([cineole], np.ones(1), t)
    assert pure == pytest.approx(from_groups([cineole.groups], np.ones(1), t), abs=1e-3)
    assert traces.bend([0.0, 0.5, 1.0], 4.0) == pytest.approx(0.0, abs=1e-12)
    assert traces.warming([0.0, 1.0], 273.15, 4.0) == pytest.approx(0.0, abs=1e-12)


def test_what_is_known_twice_in_water_is_met_halfway():
    one = traces.compound("limonene")
    assert one.anchor is not None
    assert one.vapour_pressure is not None
    assert one.anchor.kind == "both"
    henry = math.log(1.621e8) - float(one.vapour_pressure.ln_pa(298.15))  # Sander 2015
    soluble = math.log(55.34 / 1.01e-4)  # 13.8 mg/L, from memory of Massaldi & King 1973
    assert one.anchor.ln_gamma == pytest.approx((henry + soluble) / 2.0, abs=1e-3)


def test_solubility_of_crystals_is_corrected_for_melting():
    solid = {row["compound_id"] for row in read_table("water_solubility.csv") if row["phase"] == "solid"}
    anchor = traces.compound("menthol").anchor
    assert "menthol" in solid
    assert anchor is not None
    naive = math.log(55.34 / 0.00292)
    assert anchor.ln_gamma == pytest.approx(naive - 16198.0 / 8.314463 * (1 / 298.15 - 1 / 316.15), abs=1e-3)


def test_ratio_to_ethanol_gives_ethanol():
    x = np.array([1e-6, 0.05, 0.5])
    assert traces.volatility(ETHANOL, x) == pytest.approx(bubble_point(x).y / x, rel=1e-6)
    assert traces.volatility(ETHANOL, 0.0) == pytest.approx(limiting_volatility(), rel=1e-6)


def test_compound_of_ones_own_lies_among_its_homologues():
    pentanal = traces.Compound.own("pentanal", 86.13, groups={1: 1, 2: 3, 20: 1}, tb_k=376.2)
    x = [0.05, 0.3]
    assert (traces.volatility(pentanal, x) > traces.volatility("hexanal", x) * 0.4).all()
    assert (traces.volatility(pentanal, x) < traces.volatility("propanal", x) * 3.0).all()


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, ("volatility_open", "", "mine")),
        ({"groups": {1: 2}}, ("volatility_open", "", "mine")),
        ({"groups": {1: 2}, "tb_k": 300.0, "relative_to_ethanol": 1.0}, ("volatility_open", "", "mine")),
        ({"groups": {1: 2}, "tb_k": 95.0}, ("range", "tb_k", 95, [250, 700])),
        ({"relative_to_ethanol": -1.0}, ("range", "relative_to_ethanol", -1)),
    ],
)
def test_compound_of_ones_own_must_be_determined(given, words):
    with refused(*words):
        traces.Compound.own("mine", 100.0, **given)


def test_unknown_group_is_refused():
    odd = traces.Compound.own("mine", 100.0, groups={1: 2, 9999: 1}, tb_k=400.0)
    with refused("no_such_group", "groups", 9999):
        traces.volatility(odd, 0.1)


def test_copied_parameters_are_those_of_the_library_they_come_from():
    copied, original = library._copied(), library._of_thermo()
    needed = {number for one in compounds() for number, _ in one.groups} | {1, 2, 14, 16}
    assert needed <= copied.subgroups.keys(), "run `python -m benchmarks.copy_groups`"
    assert len(copied.pairs) == 420
    for number, group in copied.subgroups.items():
        assert group == original.subgroups[number], number
    for pair, values in copied.pairs.items():
        assert values == original.pairs[pair], pair


def test_a_group_outside_the_copy_is_looked_up_in_thermo():
    assert 45 not in library._copied().subgroups
    _, volume, surface = library._of_thermo().subgroups[45]
    table = group_table((((1, 1), (45, 1)),))
    assert (table.volume[-1], table.surface[-1]) == (volume, surface)


def test_many_compounds_share_one_evaluation(monkeypatch):
    calls = []
    original = library._infinite_dilution
    monkeypatch.setattr(library, "_infinite_dilution", lambda *a: calls.append(1) or original(*a))
    names = [one.id for one in VOLATILE[:40]]
    x = np.linspace(0.0, 0.8, 60)
    traces.volatilities(names, x)
    calls.clear()
    table = group_table.cache_info().misses
    traces.volatilities(names, x)
    assert len(calls) == 3  # at the boil, at 25 °C and in pure ethanol, whatever the number of compounds
    assert group_table.cache_info().misses == table


def test_import_is_cheap():
    code = "import sys, potsim.liquid.traces; print({'thermo', 'scipy', 'pandas'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


def test_a_run_with_botanicals_loads_neither_thermo_nor_scipy():
    code = (
        "import sys, potsim; potsim.distil(potsim.example_plan()).to_dict();"
        "print({'thermo', 'scipy'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


@settings(max_examples=50, deadline=None)
@given(st.floats(1e-4, 1e4), st.floats(1e-4, 1e4), st.floats(0.0, 0.9), st.floats(0.0, 0.09))
def test_reflux_holds_back_what_is_less_volatile_than_the_mixture(k_pot, k_reflux, share, more):
    one, two = traces.escape(k_pot, k_reflux, share), traces.escape(k_pot, k_reflux, share + more)
    assert isinstance(one, float)
    if k_reflux > 1.0:
        assert two >= one * (1 - 1e-12)
    else:
        assert two <= one * (1 + 1e-12)


def test_escape_in_its_limits():
    assert traces.escape(3.0, 0.5, 0.0) == 3.0
    assert traces.escape(3.0, 1.0, 0.4) == pytest.approx(3.0)
    assert traces.escape(3.0, 0.0, 0.1) == 0.0
    assert traces.escape(0.0, 0.0, 0.0) == 0.0
    assert traces.escape([1.0, 2.0], 0.5, [0.0, 0.1]).tolist() == pytest.approx([1.0, 2.0 / 1.1])
    with refused("no_share", "reflux_share", 1.0, error=RangeError):
        traces.escape(1.0, 1.0, 1.0)
    with refused("range", "k_pot", -1):
        traces.escape(-1.0, 1.0, 0.5)


def test_sesquiterpene_hydrocarbons_stay_behind_pinene_and_limonene():
    late = [one.id for one in compounds() if one.family == "sesquiterpene"]
    x = np.asarray(strength.x_from_abv(np.linspace(20.0, 60.0, 9)))
    k = traces.volatilities(["alpha_pinene", "limonene", *late], x)
    assert len(late) == 10
    assert (k[2:] < k[:2].min(axis=0)).all()


def test_what_leaves_the_pot_is_what_clouds_the_spirit():
    from potsim.liquid.solubility import solubility_mol_per_l

    x = np.asarray(strength.x_from_abv(np.array([0.0, 15.0, 40.0, 62.0, 90.0])))
    t = np.full(x.size, 278.15)
    for name in ("limonene", "linalool", "anethole", "humulene", "ethyl_hexadecanoate"):
        gamma = np.exp(traces.ln_gamma([traces.compound(name)], x, t)[0])
        held = solubility_mol_per_l(name, strength.abv_from_x(x), at_c=5.0)
        moles = traces.solvent_mol_per_l(np.asarray(strength.abv_from_x(x)) / 100.0)
        assert held * gamma / moles == pytest.approx(1.0, rel=0.02)


def test_warmth_helps_most_in_half_and_half_and_not_at_the_ends() -> None:
    share = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
    told = traces.warming(share, traces.ROOM_K + 10.0, 10.0)
    assert told == pytest.approx(10.0 * traces.WARMING_PER_K * np.array([0.0, 0.75, 1.0, 0.75, 0.0]))
    assert traces.warming(0.5, traces.ROOM_K, 10.0) == 0.0
