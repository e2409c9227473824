"""What came of a run in a dozen numbers, so that runs can stand side by side."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

from potsim.planning.cautions import ALWAYS
from potsim.planning.run import Run


@dataclass(frozen=True)
class Outcome:
    """What came of a run; all volumes at 20 °C.

    Parameters
    ----------
    charge_l, charge_abv : float
        What was in the pot [L, % vol].
    distillate_l, distillate_abv : float
        All collected to the stop, heads included [L, % vol].
    recovered : float
        Share of the charged alcohol in it, 0 to 1.
    minutes : float
        From switch-on to the stop [min].
    stop : str
        What ended the run: a key of the plan file, ``"min_level"`` or ``"exhausted"``.
    keep_l, keep_abv : float
        The keep [L, % vol].
    kept : float
        Share of the charged alcohol in the keep, 0 to 1.
    water_l, bottled_l : float or None
        Water to bottling strength, and what it comes to [L]; ``None`` if the plan names no strength.
    bottles : int or None
        Full bottles; ``None`` if the plan names no bottle.
    clouds_l : float or None
        Distillate collected when the stream clouds [L]; ``None`` if it stays clear to the stop.
    bottle_clouds : {'clear', 'may cloud', 'cloudy'} or None
        The bottled spirit; ``None`` if none is bottled, or nothing in it can cloud.
    """

    charge_l: float
    charge_abv: float
    distillate_l: float
    distillate_abv: float
    recovered: float
    minutes: float
    stop: str
    keep_l: float
    keep_abv: float
    kept: float
    water_l: float | None
    bottled_l: float | None
    bottles: int | None
    clouds_l: float | None
    bottle_clouds: str | None


@dataclass(frozen=True)
class Place:
    """Where one botanical comes over; all volumes pooled distillate at 20 °C.

    Parameters
    ----------
    botanical : str
        Which.
    klass : {'early', 'middle', 'late', 'stays'}
        When, see `potsim.planning.timing`.
    start_l, peak_l : float or None
        It begins to come, and comes fastest [L]; ``None`` for what stays.
    """

    botanical: str
    klass: str
    start_l: float | None
    peak_l: float | None

    def to_dict(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "botanical": self.botanical,
            "class": self.klass,
            "start_l": self.start_l,
            "peak_l": self.peak_l,
        }


NAMES = tuple(field.name for field in fields(Outcome))


def outcome(run: Run) -> Outcome:
    """Return what came of a run.

    Parameters
    ----------
    run : Run
        The run.

    Returns
    -------
    Outcome
        Its numbers.

    Examples
    --------
    >>> import potsim
    >>> outcome(potsim.distil(potsim.example_plan())).stop
    'stream_abv'
    """
    stop, made = run.stop, run.proofing
    alcohol = run.charge.ethanol_l
    return Outcome(
        charge_l=run.charge.volume_l,
        charge_abv=run.charge.abv,
        distillate_l=stop.collected_l,
        distillate_abv=stop.mean_abv,
        recovered=stop.recovered,
        minutes=stop.elapsed_min,
        stop=run.end.reason,
        keep_l=run.keep.volume_l,
        keep_abv=run.keep.abv,
        kept=run.keep.ethanol_l / alcohol if alcohol > 0.0 else 0.0,
        water_l=made.water_l if made else None,
        bottled_l=made.volume_l if made else None,
        bottles=made.bottles if made else None,
        clouds_l=run.cloud.stream_l if run.cloud and run.cloud.within_run else None,
        bottle_clouds=run.cloud.verdict if run.cloud else None,
    )


def places(run: Run) -> tuple[Place, ...]:
    """Return where each botanical comes over, in the order of the bill."""
    order = [dose.botanical.id for dose in run.bill]
    ranked = sorted(run.flavours, key=lambda flavour: order.index(flavour.botanical_id))
    return tuple(
        Place(
            flavour.botanical,
            flavour.klass,
            flavour.timing.start_l if flavour.timing else None,
            flavour.timing.peak_l if flavour.timing else None,
        )
        for flavour in ranked
    )


def particular(run: Run) -> tuple[str, ...]:
    """Cautions that this run calls for, without those said with every run."""
    return tuple(text for text in run.cautions if text not in ALWAYS)


def plain(of: Outcome | None) -> dict[str, Any]:
    """Outcome as plain data; every value ``None`` where there is no run."""
    return {name: getattr(of, name, None) for name in NAMES}
