"""Where compounds come over: a published order in time, and the practice of the trade."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from potsim.data import read_table
from potsim.interfaces.evidence.core import Comparison, compare
from potsim.liquid import strength
from potsim.liquid.compounds import Compound
from potsim.liquid.pure import Array
from potsim.planning.flavours import predict
from potsim.planning.release import release_rates
from potsim.still.carry import Source, carry
from potsim.still.course import Course, course
from potsim.still.still import Conditions, Still

PRACTICE = "common practice, no source"
SEMERDJIEVA = "Semerdjieva et al., Molecules 24 (2019) 986 (water_distillation_semerdjieva_2019.csv)"
LAST_MIN = 240.0
# A laboratory flask: 2 L of water, 250 W; the paper's own heat is not known and matters little to the order.
FLASK = Still(2.8, Conditions(power_w=250.0), 1000.0)
POT = Still(4.0, Conditions(power_w=700.0, neck_loss_w_per_k=0.6, pot_loss_w_per_k=1.0), 1200.0)
# Groups of both: DDBST's assignments as shipped with thermo. Boiling points: cedrol 559.15 K, Wikidata as
# shipped in chemicals; elemol 562 K, from memory.
OWN = {
    "elemol": Compound.own(
        "elemol", 222.37, groups={1: 4, 4: 1, 5: 1, 7: 1, 78: 3, 79: 2, 80: 1, 82: 1}, tb_k=562.0
    ),
    "cedrol": Compound.own("cedrol", 222.37, groups={1: 4, 78: 5, 79: 3, 80: 3, 82: 1}, tb_k=559.15),
}
# Which comes over before which when both are dissolved in a charge of 40 % vol.
BEFORE = (
    ("limonene", "linalool"),
    ("alpha_pinene", "linalool"),
    ("cineole", "linalool"),
    ("limonene", "anethole"),
    ("linalool", "anethole"),
    ("linalool", "eugenol"),
    ("anethole", "eugenol"),
    ("linalool", "cinnamaldehyde"),
    ("eugenol", "vanillin"),
)
# (compound, strength of the charge, +1 half over before half of the alcohol is, -1 after it)
BESIDE_ALCOHOL = (
    ("methylbutanol_3", 10.0, 1.0),
    ("methylbutanol_3", 60.0, -1.0),
    ("methanol", 10.0, -1.0),
    ("ethyl_acetate", 40.0, 1.0),
    ("acetic_acid", 10.0, -1.0),
    ("acetic_acid", 60.0, -1.0),
    ("phenylethanol_2", 40.0, -1.0),
    ("furfural", 40.0, -1.0),
)
STAY = ("vanillin", "piperine", "glycyrrhizin")


def comparisons() -> list[Comparison]:
    """Return every comparison of this subject."""
    return [water_distillation(), order_at_40(), beside_alcohol(), what_stays()]


def water_distillation() -> Comparison:
    """Pairs of compounds whose published windows do not overlap, in water distillation."""
    rows = read_table("published/water_distillation_semerdjieva_2019.csv")
    window = {r["compound_id"]: (float(r["peak_from_min"]), float(r["peak_to_min"])) for r in rows}
    pairs = [(a, b) for a, b in itertools.permutations(window, 2) if window[a][1] <= window[b][0]]
    half = half_over_min(tuple(window))
    names, middle = list(window), [sum(window[name]) for name in window]
    rho = float(np.corrcoef(_ranks([half[name] for name in names]), _ranks(middle))[0, 1])
    times = ", ".join(f"{name} {half[name]:.1f}" for name in sorted(half, key=half.__getitem__))
    return _pairs(
        "order of compounds in water distillation",
        SEMERDJIEVA,
        pairs,
        half,
        f"rank correlation with the published order {rho:.2f}, so part of it only; half over at minute: "
        f"{times}. Monoterpenes first is met; the alcohols of sesquiterpenes come hours too early: groups "
        "alone are a poor guide to them, and film of oil and plant hold back what the dilute law lets go",
        "tested",
    )


def order_at_40() -> Comparison:
    """Pairs dissolved in a charge of 40 % vol."""
    half = half_over(40.0, tuple(dict.fromkeys(itertools.chain(*BEFORE))))
    return _pairs("order from a charge of 40 % vol", PRACTICE, BEFORE, half, "", "practice")


def beside_alcohol() -> Comparison:
    """What comes over before and after the alcohol itself."""
    signs = []
    for name, abv, _ in BESIDE_ALCOHOL:
        there = half_over(abv, (name,))
        signs.append(np.sign(there["ethanol"] - there[name]))
    return compare(
        "volatiles of the base spirit, before or after the alcohol",
        PRACTICE,
        "-",
        [sign for _, _, sign in BESIDE_ALCOHOL],
        signs,
        0.5,
        role="practice",
        note="3-methylbutanol early from weak charges and late from strong ones; acetic acid always late",
    )


def what_stays() -> Comparison:
    """What hardly comes over at all from 40 % vol."""
    over = predict(_pot(40.0), (), dict.fromkeys(STAY, 1.0)).base
    return compare(
        "vanillin, piperine and glycyrrhizin stay in the pot",
        PRACTICE,
        "share over",
        np.zeros(len(STAY)),
        [one.over_g for one in over],
        0.05,
        role="practice",
    )


@cache
def half_over_min(names: tuple[str, ...]) -> Mapping[str, float]:
    """Minute from the first drop at which half of what comes over in 240 min of water is over."""
    run = course(float(strength.moles(2.0, 0.0)[1]), 0.0, FLASK)
    per_min = release_rates()["leaf", "whole"].per_min.typical
    carried = carry(run, [Source(dict.fromkeys(names, 1.0), 0.0, per_min / 60.0)], OWN)
    minutes = (carried.states.elapsed_s - run.first_drop_s) / 60.0
    return {
        name: float(np.interp(0.5 * np.interp(LAST_MIN, minutes, over), over, minutes))
        for name, over in zip(names, carried.grid.over, strict=True)
    }


def half_over(abv: float, names: tuple[str, ...]) -> dict[str, float]:
    """Depletion at which half of what comes over with 99 % of the alcohol is over, for ethanol too."""
    found = predict(_pot(abv), (), dict.fromkeys(names, 1.0))
    carried, end = found.carried, found.alcohol_over
    s = np.linspace(0.0, end, 2001)
    columns = dict(zip(names, carried.at(s).over, strict=True))
    columns["ethanol"] = found.course.at(s).over_ethanol_mol
    return {name: float(np.interp(0.5 * over[-1], over, s)) for name, over in columns.items()}


def _pot(abv: float) -> Course:
    ethanol, water = (float(amount) for amount in strength.moles(2.4, abv))
    return course(ethanol + water, ethanol / (ethanol + water), POT)


def _pairs(
    subject: str,
    source: str,
    pairs: Sequence[tuple[str, str]],
    at: Mapping[str, float],
    note: str,
    role: str,
) -> Comparison:
    signs = [float(np.sign(at[late] - at[early])) for early, late in pairs]
    wrong = [f"{a} before {b}" for (a, b), sign in zip(pairs, signs, strict=True) if sign <= 0]
    missed = f"not met: {', '.join(wrong)}" if wrong else "all met"
    return compare(
        subject,
        source,
        "-",
        np.ones(len(pairs)),
        signs,
        0.5,
        role="tested" if role == "tested" else "practice",
        criterion="share",
        share=least_share(len(pairs)),
        note="; ".join(part for part in (missed, note) if part),
    )


def least_share(n: int) -> float:
    """Share of n pairs in order that tossing a coin for each reaches in at most 5 % of cases."""
    chances = np.array([1.0])
    for _ in range(n):
        chances = 0.5 * (np.append(chances, 0.0) + np.append(0.0, chances))
    at_least = np.cumsum(chances[::-1])[::-1]
    return float(np.argmax(at_least <= 0.05) / n)


def _ranks(values: Sequence[float]) -> Array:
    return np.asarray(np.argsort(np.argsort(values)), dtype=float)
