"""What each line of the bill comes to: dose by the litre, oil in the bottle, where the rest of it went."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from potsim.planning.flavours import BotanicalFlavour, Flavours
from potsim.planning.run import Run
from potsim.planning.timing import Klass, Timing
from potsim.planning.trials.trial import labels

Array = NDArray[np.float64]
MG_PER_G = 1000.0


@dataclass(frozen=True)
class Doses:
    """A dose by the litre, in the state it is put in.

    Parameters
    ----------
    mass_g : float
        Mass put in [g].
    g_per_l_charge, g_per_l_alcohol, g_per_l_bottled : float
        For each litre of charge, of pure alcohol in the charge, and of bottled spirit [g/L at 20 °C]. By
        alcohol 0 for a charge without any.
    """

    mass_g: float
    g_per_l_charge: float
    g_per_l_alcohol: float
    g_per_l_bottled: float


@dataclass(frozen=True)
class InBottle:
    """What one line of the bill comes to.

    Parameters
    ----------
    label, botanical_id, where : str
        What it is and where it lies.
    doses : Doses
        How much of it.
    oil_mg_per_l : float
        Its oil in a litre of bottled spirit [mg/L at 20 °C].
    klass : {'early', 'middle', 'late', 'stays'}
        When it comes over, see `potsim.planning.timing`.
    timing : Timing or None
        Start, peak and end; ``None`` for what stays.
    left_in_pot, left_in_plant : float
        Share of the releasable oil not over with 99 % of the alcohol, and the part of it still in the plant.
    kept, before, between, after : float
        Shares of what does come over: in the keep, before it (heads), in jars left out between, and after it
        (tails, and what would come after the stop); together 1, or all 0 if nothing comes over.
    cloud_share : float
        Its share in the oil that clouds the bottle, 0 to 1.
    """

    label: str
    botanical_id: str
    where: str
    doses: Doses
    oil_mg_per_l: float
    klass: Klass
    timing: Timing | None
    left_in_pot: float
    left_in_plant: float
    kept: float
    before: float
    between: float
    after: float
    cloud_share: float


def bottled_l(run: Run) -> float:
    """Return the volume bottled [L at 20 °C]: after proofing, or the keep as it is."""
    return run.keep.volume_l if run.proofing is None else run.proofing.volume_l


def bottled_abv(run: Run) -> float:
    """Return the strength bottled [% vol at 20 °C]: after proofing, or that of the keep."""
    return run.keep.abv if run.proofing is None else run.proofing.target_abv


def doses(run: Run) -> tuple[Doses, ...]:
    """Return the dose of each line of the bill, by the litre.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of Doses
        In the order of the bill.

    Examples
    --------
    >>> import potsim
    >>> juniper = doses(potsim.distil(potsim.example_plan()))[0]
    >>> round(juniper.g_per_l_charge, 2)
    5.88
    """
    charge, alcohol, bottled = run.charge.volume_l, run.charge.ethanol_l, bottled_l(run)
    return tuple(
        Doses(
            line.wet_mass_g,
            line.wet_mass_g / charge,
            line.wet_mass_g / alcohol if alcohol > 0.0 else 0.0,
            line.wet_mass_g / bottled,
        )
        for line in run.bill
    )


def in_bottle(run: Run) -> tuple[InBottle, ...]:
    """Return what each line of the bill comes to.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    tuple of InBottle
        In the order of the bill.

    Notes
    -----
    A rough guide, as all of `potsim.planning.flavours`: it compares trials better than it foretells one.
    Oil of unknown composition is not followed and not counted.
    """
    flavours = run.flavours
    names, each, found = labels(run.bill), doses(run), _flavour_of_each(flavours)
    grams, cloud = _grams_by_place(run), _cloud_shares(run)
    litres = bottled_l(run)
    lines = []
    for k, flavour in enumerate(found):
        there = grams[flavours.rows_of(k + 1)].sum(axis=0)
        over = float(there.sum())
        kept, before, between, after = (there / over if over > 0.0 else there).tolist()
        lines.append(
            InBottle(
                label=names[k],
                botanical_id=flavour.botanical_id,
                where=flavour.where,
                doses=each[k],
                oil_mg_per_l=float(there[0]) * MG_PER_G / litres,
                klass=flavour.klass,
                timing=flavour.timing,
                left_in_pot=flavour.left_in_pot,
                left_in_plant=flavour.left_in_plant,
                kept=kept,
                before=before,
                between=between,
                after=after,
                cloud_share=cloud[k],
            )
        )
    return tuple(lines)


def kept_g(run: Run) -> dict[str, float]:
    """Return what the keep holds of each compound [g]."""
    return run.flavours.over_g(run.kept_spans)


def _flavour_of_each(flavours: Flavours) -> tuple[BotanicalFlavour, ...]:
    """The flavours in the order of the bill, not of their coming over."""
    left = list(flavours.botanicals)
    amount = flavours.carried.rows.amount
    ordered = []
    for k, line in enumerate(flavours.bill):
        releasable = float(amount[flavours.rows_of(k + 1)].sum())
        of_it = [f for f in left if (f.botanical_id, f.where) == (line.botanical.id, line.dose.where)]
        # Two lines of one botanical in one place are told apart by their oil.
        nearest = min(of_it, key=lambda f: abs(f.releasable_g - releasable))
        left.remove(nearest)
        ordered.append(nearest)
    return tuple(ordered)


def _grams_by_place(run: Run) -> Array:
    """Grams of each row in the keep, before it, between its jars and after it; shape (rows, 4)."""
    spans = run.kept_spans
    end = max(run.flavours.alcohol_over, run.end.depletion)
    gaps = [(a[1], b[0]) for a, b in itertools.pairwise(spans) if b[0] > a[1]]
    groups: Sequence[Sequence[tuple[float, float]]] = (
        spans,
        [(0.0, spans[0][0])],
        gaps,
        [(spans[-1][1], end)],
    )
    return np.stack([run.flavours.over_by_row(group).sum(axis=1) for group in groups], axis=1)


def _cloud_shares(run: Run) -> list[float]:
    """Share of each line of the bill in the load that decides whether the bottle clouds."""
    flavours = run.flavours
    if run.cloud is None:
        return [0.0] * len(flavours.bill)
    by_row = flavours.over_by_row(run.kept_spans).sum(axis=1)
    total, blame = flavours.by_compound(by_row), run.cloud.limit.blame
    names = [flavours.compound_ids[k] for k in flavours.carried.rows.compound]
    share = np.array(
        [
            blame.get(n, 0.0) * g / total[n] if total[n] > 0.0 else 0.0
            for n, g in zip(names, by_row, strict=True)
        ]
    )
    return [float(share[flavours.rows_of(k + 1)].sum()) for k in range(len(flavours.bill))]
