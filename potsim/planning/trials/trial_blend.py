"""Bottled spirits of several trials poured together, and one run that would give the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from potsim.errors import RequestError, require
from potsim.liquid import strength
from potsim.liquid.clouding import ClearLimit, clear_limit
from potsim.planning.plan import Plan
from potsim.planning.run import Run, distil
from potsim.planning.trials.combined import combined
from potsim.planning.trials.in_bottle import MG_PER_G, InBottle, bottled_abv, bottled_l, in_bottle, kept_g
from potsim.planning.trials.trial import Trial

Line = tuple[str, str]  # botanical and place


@dataclass(frozen=True)
class Share:
    """One spirit of a blend.

    Parameters
    ----------
    trial : Trial
        Where it comes from.
    parts : float
        Parts by volume.
    run : Run
        Its predicted run.
    poured_l, bottled_l : float
        What of it is poured, and what there is [L at 20 °C].
    abv : float
        Its strength [% vol at 20 °C].
    """

    trial: Trial
    parts: float
    run: Run
    poured_l: float
    bottled_l: float
    abv: float


@dataclass(frozen=True)
class BlendOil:
    """Oil of one botanical in the blend, and in what one run would give.

    Parameters
    ----------
    label : str
        The botanical.
    each_mg_per_l : tuple of float
        In a litre of each spirit [mg/L at 20 °C].
    blend_mg_per_l, run_mg_per_l : float
        In a litre of the blend, and of the bottled spirit of the combined run.
    """

    label: str
    each_mg_per_l: tuple[float, ...]
    blend_mg_per_l: float
    run_mg_per_l: float


@dataclass(frozen=True)
class TrialBlend:
    """Bottled spirits poured together.

    Parameters
    ----------
    shares : tuple of Share
        The spirits.
    volume_l, abv, ethanol_l : float
        The blend [L, % vol, L of pure alcohol, all at 20 °C]; as much as the spirits allow.
    oils : tuple of BlendOil
        Each botanical.
    compounds_mg_per_l : mapping of str to float
        Compound id to its content in the blend [mg/L at 20 °C].
    plan : Plan
        One run of the combined recipe, as large as that of the first spirit.
    run : Run
        What it is predicted to do.
    notes : tuple of str
        What the combined recipe could not take from all, a sentence each.
    """

    shares: tuple[Share, ...]
    volume_l: float
    abv: float
    ethanol_l: float
    oils: tuple[BlendOil, ...]
    compounds_mg_per_l: dict[str, float]
    plan: Plan
    run: Run
    notes: tuple[str, ...]

    @property
    def clear_limit(self) -> ClearLimit | None:
        """Strength down to which the blend stays clear; ``None`` if there is no alcohol or no oil.

        Compounds of the distiller's own, whose solubility nobody knows, are left out.
        """
        if self.abv <= 0.0 or not any(share.run.bill for share in self.shares):
            return None
        own = {name for share in self.shares for name in share.run.flavours.own}
        held = {name: mg / MG_PER_G for name, mg in self.compounds_mg_per_l.items() if name not in own}
        return clear_limit(held, self.abv) if held else None

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries."""
        return {
            "spirits": [
                {
                    "name": s.trial.name,
                    "title": s.trial.plan.title,
                    "parts": s.parts,
                    "poured_l": s.poured_l,
                    "bottled_l": s.bottled_l,
                    "abv": s.abv,
                }
                for s in self.shares
            ],
            "volume_l": self.volume_l,
            "abv": self.abv,
            "ethanol_l": self.ethanol_l,
            "oils": [asdict(oil) for oil in self.oils],
            "compounds_mg_per_l": dict(self.compounds_mg_per_l),
            "one_run": {
                "title": self.plan.title,
                "charge_l": self.run.charge.volume_l,
                "charge_abv": self.run.charge.abv,
                "bottled_l": bottled_l(self.run),
                "bottled_abv": bottled_abv(self.run),
                "notes": list(self.notes),
            },
        }


def blend_trials(trials: Sequence[Trial], parts: Sequence[float]) -> TrialBlend:
    """Pour the bottled spirits of trials together.

    Parameters
    ----------
    trials : sequence of Trial
        At least one; the same may come twice.
    parts : sequence of float
        Parts by volume of each, above 0.

    Returns
    -------
    TrialBlend
        Volume, strength, oils, and a combined recipe for one run with what it is predicted to give.

    Raises
    ------
    RequestError
        If there is nothing to blend, or a trial cannot be run.

    Notes
    -----
    Mass, alcohol and oils add up; volumes do not quite. Spirit is what the plan bottles, or the keep as it is
    if it names no bottling strength. The combined run takes of each recipe the share whose spirit went into
    the blend. Its oils differ from those of the blend, since cuts and strengths then fall elsewhere.

    Examples
    --------
    >>> import potsim
    >>> trial = Trial("trial 1", potsim.example_plan())
    >>> made = blend_trials([trial, trial], [1, 1])
    >>> round(made.abv, 6), made.plan.botanicals == trial.plan.botanicals
    (42.0, True)
    """
    if not trials or len(trials) != len(parts):
        raise RequestError("There is nothing to blend.", "Name trials with their parts: A:1 B:1.")
    for part in parts:
        require("parts", part, 0, 1e6, open_low=True)
    shares = _shares(trials, parts)
    mixed = strength.mix([s.poured_l for s in shares], [s.abv for s in shares])
    abvs = {s.abv for s in shares}
    abv = abvs.pop() if len(abvs) == 1 else mixed.abv
    made = combined([s.run for s in shares], [s.poured_l / s.bottled_l for s in shares], abv)
    run = distil(made.plan)
    return TrialBlend(
        shares=shares,
        volume_l=mixed.volume_l,
        abv=abv,
        ethanol_l=mixed.ethanol_l,
        oils=_oils(shares, mixed.volume_l, run),
        compounds_mg_per_l=_compounds(shares, mixed.volume_l),
        plan=made.plan,
        run=run,
        notes=made.notes,
    )


def _shares(trials: Sequence[Trial], parts: Sequence[float]) -> tuple[Share, ...]:
    """As much of each as the one that runs out first allows; the same spirit named twice is one stock."""
    runs: dict[int, Run] = {}
    for trial in trials:
        if id(trial) not in runs:
            runs[id(trial)] = distil(trial.plan)
    wanted: dict[int, float] = {}
    for trial, part in zip(trials, parts, strict=True):
        wanted[id(trial)] = wanted.get(id(trial), 0.0) + part
    a_part_l = min(bottled_l(runs[known]) / total for known, total in wanted.items())
    return tuple(
        Share(
            trial=trial,
            parts=part,
            run=runs[id(trial)],
            poured_l=part * a_part_l,
            bottled_l=bottled_l(runs[id(trial)]),
            abv=bottled_abv(runs[id(trial)]),
        )
        for trial, part in zip(trials, parts, strict=True)
    )


def _lines(run: Run) -> dict[Line, list[InBottle]]:
    found: dict[Line, list[InBottle]] = {}
    for line in in_bottle(run):
        found.setdefault((line.botanical_id, line.where), []).append(line)
    return found


def _oils(shares: tuple[Share, ...], volume_l: float, run: Run) -> tuple[BlendOil, ...]:
    each = [_lines(share.run) for share in shares]
    once = _lines(run)

    def content(lines: dict[Line, list[InBottle]], line: Line) -> float:
        return sum((one.oil_mg_per_l for one in lines.get(line, [])), 0.0)

    found = []
    for line in dict.fromkeys(line for lines in each for line in lines):
        known = next(lines[line][0] for lines in each if line in lines)
        contents = tuple(content(lines, line) for lines in each)
        poured = sum(c * s.poured_l for c, s in zip(contents, shares, strict=True))
        found.append(BlendOil(known.label, contents, poured / volume_l, content(once, line)))
    return tuple(found)


def _compounds(shares: tuple[Share, ...], volume_l: float) -> dict[str, float]:
    found: dict[str, float] = {}
    for share in shares:
        for name, grams in kept_g(share.run).items():
            poured = grams * MG_PER_G * share.poured_l / share.bottled_l
            found[name] = found.get(name, 0.0) + poured / volume_l
    return found
