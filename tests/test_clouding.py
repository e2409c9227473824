"""How much oil a spirit keeps clear."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from potsim.data import read_table
from potsim.errors import RangeError, UnknownNameError
from potsim.interfaces.evidence import clouding_practice
from potsim.liquid.clouding import (
    Solubility,
    clear_limit,
    limit_abv,
    load,
    shares,
    solubility,
    solubility_law,
    solubility_mol_per_l,
)

OILS = [row["compound_id"] for row in read_table("cosolvency.csv") if row["treatment"] == "law"]
GIN = {"alpha_pinene": 0.08, "myrcene": 0.03, "limonene": 0.02, "linalool": 0.04}
STRENGTH = st.floats(1.0, 99.0)
MIX = st.dictionaries(st.sampled_from(OILS), st.floats(1e-5, 10.0), min_size=1, max_size=5)
few = settings(max_examples=40, deadline=None)


def dilution(mix: dict[str, float], abv: float, to: float) -> dict[str, float]:
    return {name: c * to / abv for name, c in mix.items()}


def test_more_botanicals_cloud_a_gin_sooner_but_none_as_soon_as_in_practice() -> None:
    little, typical, much = (
        clouding_practice.limit(d)
        for d in (clouding_practice.LITTLE, clouding_practice.TYPICAL, clouding_practice.MUCH)
    )
    assert little.abv < typical.abv < much.abv < clouding_practice.CLEAR_TO_ABV
    assert all(found.verdict(clouding_practice.CLEAR_TO_ABV) == "clear" for found in (little, typical, much))


def test_law_by_hand() -> None:
    # linalool: 1590 mg/L in water, log Kow 2.97, so that s = 0.93 * 2.97 + 0.40 = 3.1621
    assert solubility("linalool", 0.0) == pytest.approx(1.59, rel=2e-3)
    assert solubility("linalool", 50.0) == pytest.approx(1.59 * 10**1.58105, rel=2e-3)
    assert solubility_mol_per_l("linalool", 0.0) == pytest.approx(1.59 / 154.249, rel=2e-3)
    assert load({"linalool": 0.795}, 0.0) == pytest.approx(0.5, rel=2e-3)


def test_every_compound_of_the_library_is_decided_on() -> None:
    rows = read_table("cosolvency.csv")
    assert [row["compound_id"] for row in rows] == [row["id"] for row in read_table("compounds.csv")]
    for row in rows:
        never = math.isinf(solubility(row["compound_id"], 40.0))
        assert never == (row["treatment"] == "freely soluble") == bool(row["note"])
        if row["source"] == "estimate":
            summed = float(row["crippen_log10_kow"]) + float(row["addition"])
            assert float(row["log10_kow"]) == pytest.approx(summed, abs=0.006)


def test_moles_and_milligrams_in_water_agree() -> None:
    masses = {row["id"]: float(row["molar_mass_g"]) for row in read_table("compounds.csv")}
    for row in read_table("water_solubility.csv"):
        moles = float(row["mg_per_l"]) / 1000.0 / masses[row["compound_id"]]
        assert float(row["solubility_mol_per_l"]) == pytest.approx(moles, rel=6e-3)


@few
@given(MIX, STRENGTH, st.floats(1.01, 100.0))
def test_more_oil_never_clears(mix: dict[str, float], abv: float, factor: float) -> None:
    more = {name: min(c * factor, 1000.0) for name, c in mix.items()}
    assert load(more, abv) > load(mix, abv)
    assert limit_abv(more, abv) >= limit_abv(mix, abv)


@few
@given(MIX, STRENGTH, STRENGTH)
def test_stronger_never_clouds(mix: dict[str, float], abv: float, other: float) -> None:
    weak, strong = sorted((abv, other))
    assert load(mix, strong) <= load(mix, weak) * (1.0 + 1e-12)


@few
@given(MIX, STRENGTH, STRENGTH)
def test_limit_belongs_to_the_ethanol_not_to_the_water(mix: dict[str, float], abv: float, to: float) -> None:
    assert limit_abv(dilution(mix, abv, to), to) == pytest.approx(limit_abv(mix, abv), abs=1e-6)


@few
@given(MIX, STRENGTH)
def test_load_is_one_at_the_limit_and_less_above(mix: dict[str, float], abv: float) -> None:
    limit = clear_limit(mix, abv)
    assert limit.low_abv <= limit.abv <= limit.high_abv
    assert sum(limit.blame.values()) == pytest.approx(1.0)
    if limit.state == "clouds below":
        assert load(dilution(mix, abv, limit.abv), limit.abv) == pytest.approx(1.0, rel=3e-4)
    for to in np.linspace(limit.abv + 0.3, 100.0, 20) if limit.abv < 99.0 else ():
        assert load(dilution(mix, abv, to), to) < 1.0


def test_band_is_the_limit_at_twice_and_half_the_solubility() -> None:
    limit = clear_limit(GIN, 45.0, error_log10=math.log10(2.0))
    half = {name: c / 2.0 for name, c in GIN.items()}
    twice = {name: c * 2.0 for name, c in GIN.items()}
    assert limit.low_abv == pytest.approx(limit_abv(half, 45.0), abs=1e-6)
    assert limit.high_abv == pytest.approx(limit_abv(twice, 45.0), abs=1e-6)
    assert clear_limit(GIN, 45.0, error_log10=0.0).low_abv == limit.abv


def test_states_without_a_limit() -> None:
    nothing = clear_limit({"limonene": 0.0, "methanol": 5.0}, 40.0)
    assert (nothing.state, nothing.abv, nothing.high_abv, nothing.blame) == ("always clear", 0.0, 0.0, {})
    assert load({}, 40.0) == 0.0
    assert clear_limit({}, 40.0).verdict(1.0) == "clear"
    full = clear_limit({"beta_farnesene": 900.0}, 20.0)
    assert (full.state, full.abv) == ("always cloudy", 100.0)
    assert full.verdict(100.0) != "clear"
    trace = clear_limit({"alpha_pinene": 1e-6, "linalool": 1e-6}, 40.0)
    assert trace.state == "always clear"
    assert list(trace.blame) == ["alpha_pinene", "linalool"]


def test_verdict_goes_from_clear_over_doubt_to_cloudy() -> None:
    limit = clear_limit({name: 10.0 * c for name, c in GIN.items()}, 45.0)
    assert 20.0 < limit.low_abv < limit.abv < limit.high_abv < 80.0
    middle = (limit.low_abv + limit.high_abv) / 2.0
    said = [limit.verdict(abv) for abv in (limit.high_abv + 1.0, middle, limit.low_abv - 1.0)]
    assert said == ["clear", "may cloud", "cloudy"]


def test_blame_names_the_oil_that_dissolves_worst() -> None:
    limit = clear_limit({"linalool": 0.5, "alpha_pinene": 0.5}, 45.0)
    assert next(iter(limit.blame)) == "alpha_pinene"
    assert limit.blame["alpha_pinene"] > 0.9


def test_arrays_equal_scalars() -> None:
    amounts, strengths = np.array([[0.1], [1.0]]), np.array([30.0, 45.0, 60.0])
    mix = {"limonene": amounts, "anethole": 0.5}
    loads, limits, part = load(mix, strengths), limit_abv(mix, strengths), shares(mix, strengths)
    assert loads.shape == limits.shape == part["anethole"].shape == (2, 3)
    for i, j in np.ndindex(2, 3):
        one = {"limonene": float(amounts[i, 0]), "anethole": 0.5}
        abv = float(strengths[j])
        assert load(one, abv) == pytest.approx(loads[i, j])
        assert limit_abv(one, abv) == pytest.approx(limits[i, j])
        assert shares(one, abv)["anethole"] == pytest.approx(part["anethole"][i, j])
        assert clear_limit(one, abv).abv == pytest.approx(limits[i, j])
        assert isinstance(load(one, abv), float)
    shifted = limit_abv({"limonene": 1.0}, 45.0, shift_log10=np.array([-0.3, 0.0, 0.3]))
    band = clear_limit({"limonene": 1.0}, 45.0)
    assert shifted == pytest.approx([band.high_abv, band.abv, band.low_abv])


def test_own_compounds_stand_beside_the_library() -> None:
    own = {"my_oil": Solubility(-3.0, 4.0, 200.0), "limonene": Solubility(math.inf, 0.0, 136.2)}
    assert solubility("my_oil", 50.0, own=own) == pytest.approx(200.0 * 10**-1.0)
    assert load({"my_oil": 10.0, "limonene": 900.0}, 50.0, own=own) == pytest.approx(0.5)
    assert clear_limit({"my_oil": 10.0}, 50.0, own=own).blame == {"my_oil": 1.0}
    assert "from memory" in solubility_law("limonene").source
    with pytest.raises(UnknownNameError, match="my_oil"):
        load({"my_oil": 1.0}, 50.0)


def test_refusals_say_what_was_given_and_what_to_do() -> None:
    with pytest.raises(UnknownNameError, match=r"Unknown compound 'limonen'.*Did you mean 'limonene'"):
        load({"limonen": 0.1}, 40.0)
    with pytest.raises(RangeError, match=r"abv is 140 % vol; allowed is 0 to 100 % vol\. Give % vol"):
        solubility("limonene", np.array([40.0, 140.0]))
    with pytest.raises(RangeError, match=r"concentration of limonene is -1 g/L; allowed is 0 to 1500 g/L"):
        load({"limonene": -1.0}, 40.0)
    with pytest.raises(RangeError, match=r"abv is 0 % vol; allowed is more than 0 .* ask `load`"):
        clear_limit({"limonene": 0.1}, 0.0)
    with pytest.raises(RangeError, match=r"error_log10 is 3; allowed is at least 0 and at most 2"):
        clear_limit({"limonene": 0.1}, 40.0, error_log10=3.0)
    with pytest.raises(RangeError, match=r"slope is -1; allowed is 0 to 15"):
        Solubility(-3.0, -1.0, 150.0)
    with pytest.raises(RangeError, match=r"log10_s_water_mol_l is nan; allowed is -15 to 3, or math\.inf"):
        Solubility(math.nan, 1.0, 150.0)
    with pytest.raises(RangeError, match=r"molar_mass_g is 0 g/mol; allowed is more than 0"):
        Solubility(-3.0, 1.0, 0.0)
    with pytest.raises(RangeError, match=r"abv is 0 % vol; allowed is more than 0"):
        clear_limit({"limonene": 0.1}, 40.0).verdict(0.0)
