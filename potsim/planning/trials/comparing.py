"""Two trials side by side: what was decided otherwise, and what that is predicted to change."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, fields
from typing import Any

from potsim.planning.asking.outcome import outcome
from potsim.planning.run import Run, distil
from potsim.planning.trials.differences import Difference, Value, differences, same, unit_of
from potsim.planning.trials.in_bottle import InBottle, in_bottle
from potsim.planning.trials.trial import Trial

NOTICEABLE = 0.005  # relative; predictions closer than this count as the same, far below what is known
_TOLD = ("g_per_l_charge", "g_per_l_alcohol", "g_per_l_bottled")


@dataclass(frozen=True)
class Pair:
    """One line of the bill in two runs.

    Parameters
    ----------
    label : str
        What it is.
    a, b : InBottle or None
        What it comes to in each; ``None`` where it is not in the bill.
    """

    label: str
    a: InBottle | None
    b: InBottle | None

    @property
    def change(self) -> float | None:
        """Oil in the bottle, b over a; ``None`` where a has none of it."""
        if self.a is None or self.a.oil_mg_per_l == 0.0:
            return None
        return 0.0 if self.b is None else self.b.oil_mg_per_l / self.a.oil_mg_per_l

    @property
    def differs(self) -> bool:
        """Whether dose, oil in the bottle or timing differ noticeably."""
        if self.a is None or self.b is None:
            return True
        one, other = self.a, self.b
        if not same(one.doses.mass_g, other.doses.mass_g):
            return True
        pairs = [(one.oil_mg_per_l, other.oil_mg_per_l), (one.left_in_pot, other.left_in_pot)]
        pairs += [(getattr(one.doses, name), getattr(other.doses, name)) for name in _TOLD]
        if one.timing and other.timing:
            pairs += [(one.timing.start_l, other.timing.start_l), (one.timing.end_l, other.timing.end_l)]
        return one.klass != other.klass or any(noticeable(x, y) for x, y in pairs)

    def to_dict(self) -> dict[str, Any]:
        """Return plain data."""
        return {
            "botanical": self.label,
            "a": None if self.a is None else asdict(self.a),
            "b": None if self.b is None else asdict(self.b),
            "change": self.change,
        }


@dataclass(frozen=True)
class Comparison:
    """Two trials side by side; only what differs.

    Parameters
    ----------
    a, b : Trial
        The two.
    run_a, run_b : Run
        Their predicted runs.
    decided : tuple of Difference
        What the plans say differently.
    predicted : tuple of Difference
        What the runs are predicted to do differently.
    measured : tuple of Difference
        What the results say differently.
    botanicals : tuple of Pair
        Lines of the bill that come to something else, those of a first.
    unchanged : int
        Lines of the bill that do not.
    """

    a: Trial
    b: Trial
    run_a: Run
    run_b: Run
    decided: tuple[Difference, ...]
    predicted: tuple[Difference, ...]
    measured: tuple[Difference, ...]
    botanicals: tuple[Pair, ...]
    unchanged: int

    @property
    def empty(self) -> bool:
        """Whether nothing differs."""
        return not (self.decided or self.predicted or self.measured or self.botanicals)

    def to_dict(self) -> dict[str, Any]:
        """Return plain numbers, texts, lists and dictionaries."""

        def rows(found: Iterable[Difference]) -> list[dict[str, Any]]:
            return [{"key": d.key, "unit": d.unit, "a": d.a, "b": d.b} for d in found]

        return {
            "a": {"name": self.a.name, "title": self.a.plan.title},
            "b": {"name": self.b.name, "title": self.b.plan.title},
            "decided": rows(self.decided),
            "predicted": rows(self.predicted),
            "measured": rows(self.measured),
            "botanicals": [pair.to_dict() for pair in self.botanicals],
            "unchanged": self.unchanged,
        }


def compare(a: Trial, b: Trial) -> Comparison:
    """Put two trials side by side.

    Parameters
    ----------
    a, b : Trial
        The two.

    Returns
    -------
    Comparison
        Only what differs; all empty if nothing does. Predictions that differ by less than 0.5 % are left out.

    Examples
    --------
    >>> import potsim
    >>> trial = Trial("trial 1", potsim.example_plan())
    >>> compare(trial, trial).empty
    True
    """
    run_a = distil(a.plan)
    run_b = distil(b.plan)
    every = pairs(run_a, run_b)
    differing = tuple(pair for pair in every if pair.differs)
    return Comparison(
        a=a,
        b=b,
        run_a=run_a,
        run_b=run_b,
        decided=differences(a.plan, b.plan),
        predicted=predicted(run_a, run_b),
        measured=_measured(a, b),
        botanicals=differing,
        unchanged=len(every) - len(differing),
    )


def pairs(a: Run, b: Run) -> tuple[Pair, ...]:
    """Match the lines of two bills: by botanical, and by place where it has several lines.

    Parameters
    ----------
    a, b : Run
        The runs.

    Returns
    -------
    tuple of Pair
        Those of a in its order, then those that only b has.
    """
    first, second = _by_place(in_bottle(a)), _by_place(in_bottle(b))
    found = []
    for place in dict.fromkeys([*first, *second]):
        one, other = first.get(place), second.get(place)
        known = one or other
        found.append(Pair(known.label if known else "", one, other))
    return tuple(found)


def predicted(a: Run, b: Run) -> tuple[Difference, ...]:
    """Return what two runs are predicted to do differently.

    Parameters
    ----------
    a, b : Run
        The runs.

    Returns
    -------
    tuple of Difference
        Fields of `potsim.planning.asking.outcome.Outcome`, the strength down to which the bottle stays
        clear and whether it is; numbers within 0.5 % are left out.
    """
    one, other = _numbers(a), _numbers(b)
    return tuple(
        Difference("", "", name, "" if name == "bottles" else unit_of(name), one[name], other[name])
        for name in one
        if _apart(one[name], other[name])
    )


def noticeable(a: float, b: float) -> bool:
    """Whether two predictions differ by more than 0.5 %."""
    return abs(a - b) > NOTICEABLE * max(abs(a), abs(b))


def _apart(a: Value, b: Value) -> bool:
    if isinstance(a, float) and isinstance(b, float):
        return noticeable(a, b)
    return a != b


def _numbers(run: Run) -> dict[str, Value]:
    of = outcome(run)
    found: dict[str, Value] = {}
    for field in fields(of):
        value = getattr(of, field.name)
        name = "run_min" if field.name == "minutes" else field.name
        found[name] = value if value is None or isinstance(value, str) else float(value)
    cloud = run.cloud
    found["oil_mg_per_l"] = None if cloud is None else float(cloud.oil_mg_per_l)
    found["clear_down_to_abv"] = None if cloud is None else float(cloud.limit.abv)
    found["bottle"] = None if cloud is None else cloud.verdict
    return found


def _by_place(lines: tuple[InBottle, ...]) -> dict[tuple[str, str], InBottle]:
    several = Counter(line.botanical_id for line in lines)
    found: dict[tuple[str, str], InBottle] = {}
    for line in lines:
        where = line.where if several[line.botanical_id] > 1 else ""
        place, n = (line.botanical_id, where), 1
        while place in found:
            n += 1
            place = (line.botanical_id, f"{where} {n}")
        found[place] = line
    return found


def _measured(a: Trial, b: Trial) -> tuple[Difference, ...]:
    one, other = _results(a), _results(b)
    return tuple(
        Difference("result", "", name, unit_of(name), one.get(name), other.get(name))
        for name in dict.fromkeys([*one, *other])
        if not same(one.get(name), other.get(name))
    )


def _results(trial: Trial) -> dict[str, Value]:
    result = trial.result
    if result is None:
        return {}
    jars = ",".join(map(str, result.jars_kept))
    found: dict[str, Value] = {
        "date": None if result.date is None else str(result.date),
        "collected_l": result.collected_l,
        "abv": result.abv,
        "jars_kept": jars,
        "bottled": result.bottled,
        "words": result.words,
    }
    return {name: value for name, value in found.items() if value not in (None, "")}
