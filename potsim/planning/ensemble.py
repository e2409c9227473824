"""Means, spreads and what they hang on, gathered chunk by chunk in bounded memory."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Executor
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from potsim import faces
from potsim.errors import RequestError, UnknownNameError, require, require_sort
from potsim.planning.frames import Line, frame, read_only
from potsim.planning.many import (
    CURVES,
    EQUILIBRIUM,
    Doubts,
    answers,
    doubts_of,
    in_order,
    names,
    standard_numbers,
)
from potsim.planning.notes import Note, hint, plain_notes, sentences
from potsim.planning.plan import Plan
from potsim.planning.run import Run, distil
from potsim.records import dataclass, plain

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

BLOCK = 64  # draws in a product of matrices
COLUMNS = 16  # answers whose quantiles are taken together
STILL = 1e-6  # of a number's size; what spreads less does not spread


@dataclass(frozen=True)
class Moments:
    """Sums over draws; a draw without an answer is left out of that answer."""

    count: Array  # draws that have the answer
    mean: Array  # mean of the answer
    squares: Array  # sum of squared deviations from it
    z_mean: Array  # mean of the inputs over the same draws
    z_squares: Array  # sum of squared deviations from that
    products: Array  # sum of products of deviations of input and answer

    def merge(self, other: Moments) -> Moments:
        """Return the moments of both sets of draws together."""
        count = self.count + other.count
        safe = np.maximum(count, 1.0)
        pair = self.count * other.count / safe
        apart, z_apart = other.mean - self.mean, other.z_mean - self.z_mean
        return Moments(
            count=count,
            mean=self.mean + apart * other.count / safe,
            squares=self.squares + other.squares + apart**2 * pair,
            z_mean=self.z_mean + z_apart * other.count / safe,
            z_squares=self.z_squares + other.z_squares + z_apart**2 * pair,
            products=self.products + other.products + z_apart * apart * pair,
        )

    @property
    def sd(self) -> Array:
        """Standard deviations; 0 for what hardly spreads, NaN for what fewer than two draws have."""
        sd = np.sqrt(self.squares / np.where(self.count > 1.0, self.count - 1.0, np.nan))
        return np.where(sd <= STILL * np.abs(self.mean), 0.0, sd)

    @property
    def shares(self) -> Array:
        """Part of each answer's variance that goes straight with each input, shape (inputs, answers).

        Squared correlations; the inputs are independent, so they add up to 1 but for what is crooked. 0 for
        an answer that does not spread.
        """
        both = self.z_squares * self.squares
        spread = (self.sd > 0.0) & (both > 0.0)
        return np.divide(self.products**2, both, out=np.zeros_like(both), where=spread)


def moments(z: Array, answers: Array) -> Moments:
    """Return the moments of one chunk of draws."""
    finite = np.isfinite(answers)
    there = finite.astype(float)
    count = there.sum(axis=0)
    safe = np.maximum(count, 1.0)
    mean = np.where(finite, answers, 0.0).sum(axis=0) / safe
    away = np.where(finite, answers - mean, 0.0)
    z_mean = _products(z, there) / safe
    z_squares = _products(z**2, there) - z_mean**2 * count
    products = _products(z, away) - z_mean * away.sum(axis=0)
    return Moments(count, mean, (away**2).sum(axis=0), z_mean, z_squares, products)


def _products(z: Array, values: Array) -> Array:
    """Sums over draws of products, in blocks too small for a second thread, which would only wait."""
    out = np.zeros((z.shape[1], values.shape[1]))
    for k in range(0, z.shape[0], BLOCK):
        out += z[k : k + BLOCK].T @ values[k : k + BLOCK]
    return out


# --- Bands: a value, how sure it is, and what that hangs on, in numbers and in words.


CHARGE_STRENGTH = "strength of what goes into the charge"


@dataclass(frozen=True)
class Band:
    """One answer and how sure it is."""

    value: float  # the plan's own run
    sd: float  # standard deviation over the draws
    low: float  # quantile 0.05 of the draws
    high: float  # quantile 0.95 of the draws
    answered: float = 1.0  # share of the draws that have this answer at all, 0 to 1


@dataclass(frozen=True)
class CurveBand:
    """A quantity along the run and how sure it is; arrays of one shape."""

    collected_l: Array  # pooled distillate [L at 20 °C], from the first drop to the plan's own stop
    value: Array  # the plan's own run, in the unit that the quantity's name tells
    sd: Array  # standard deviation over the draws
    low: Array  # quantile 0.05 of the draws
    high: Array  # quantile 0.95 of the draws


@dataclass(frozen=True)
class Share:
    """What one input does to one answer."""

    name: str  # the input
    share: float  # part of the answer's variance that goes with it, 0 to 1
    of_spirit: bool = False  # whether it is the strength of one part of the charge


def advice(name: str, shares: Iterable[Share]) -> Note:
    """What would narrow an answer most: what it hangs on most, and what comes next."""
    ranked = [{"input": one.name, "share": one.share} for one in _grouped(shares)[:2]]
    return hint(
        "narrowed_by", name, inputs=ranked, vapour_data=bool(ranked) and ranked[0]["input"] == EQUILIBRIUM
    )


def _grouped(shares: Iterable[Share]) -> list[Share]:
    """Shares that are not nothing, with all strengths of the charge as one, the most important first."""
    found = list(shares)
    strengths = sum(one.share for one in found if one.of_spirit)
    rest = [one for one in found if not one.of_spirit]
    ranked = sorted([*rest, Share(CHARGE_STRENGTH, strengths, of_spirit=True)], key=lambda one: -one.share)
    return [one for one in ranked if one.share > 0.0]


# --- How sure a prediction is: thousands of runs of one plan, drawn from what is uncertain in it.


Progress = Callable[[int, int], None]

CHUNK = 256  # draws worked on at a time: half the memory of 512, and a tenth more time
KEPT = 16384  # draws of which every answer is kept for the quantiles; the first, as good as any
KEPT_NUMBERS = 4_000_000  # fewer where the answers are many
LOW, HIGH = 0.05, 0.95
MOST = 100_000_000
TRACE_FACTOR = 2.0  # one standard deviation of the amount of a trace: yields differ so between lots
TRACE_REACH = 1.645  # standard deviations from the median to either end of the band
PILOT = 512


@dataclass(frozen=True)
class Ensemble(Line):
    """Runs drawn from what is uncertain in a plan.

    Parameters
    ----------
    plan : Plan
        The plan.
    n, seed : int
        Number of draws, and what they were drawn from; given again, it draws the same.
    answers : mapping of str to Band
        Single answers, such as ``keep.abv``, ``stop.collected_l`` or ``jars.3.abv``.
    curves : mapping of str to CurveBand
        ``stream_abv``, ``pot_abv``, ``vapour_c``, ``recovered`` and ``elapsed_min`` along the run.
    traces : mapping of str to Band
        Grams of each compound in the keep, good to a factor of two.
    shares : mapping of str to tuple of Share
        For each answer that spreads, what it hangs on, the most important first.
    impossible : float
        Share of the draws that could not be run as planned; the bands are over the others.
    model_misfit : bool
        Whether the misfit of the vapour data counts.
    """

    plan: Plan
    n: int
    seed: int
    answers: Mapping[str, Band]
    curves: Mapping[str, CurveBand]
    traces: Mapping[str, Band]
    shares: Mapping[str, tuple[Share, ...]]
    impossible: float
    model_misfit: bool = True

    def draws(self) -> pd.DataFrame:
        """Draw all runs again, as they were drawn, and return what each came to.

        Returns
        -------
        pandas.DataFrame
            A row for each run: ``drawn.`` and the name of each uncertain number, in its standard deviations
            (of its logarithm for volumes, powers and losses); then the answers, missing where the run is
            impossible.
        """
        doubts = doubts_of(distil(self.plan), model_misfit=self.model_misfit)
        found = [
            (z, answers(doubts, z)[0])
            for size, own in _seeds(self.n if doubts.inputs else 0, self.seed)
            for z in (standard_numbers(doubts, size, own),)
        ]
        if not found:
            raise RequestError.of("nothing_uncertain", "uncertainty")
        z, told = (np.concatenate(each) for each in zip(*found, strict=True))
        columns = {f"drawn.{one.name}": z[:, k] for k, one in enumerate(doubts.inputs)}
        return frame(
            columns | {name: told[:, k] for k, name in enumerate(names(doubts))}, dict.fromkeys(columns, "")
        )

    def __repr__(self) -> str:
        keep = self.answers["keep.volume_l"]
        return f"<Ensemble {self.plan.title!r}: {self.n} runs, keep {keep.low:.3f} to {keep.high:.3f} L>"

    def __str__(self) -> str:
        return faces.text_of_ensemble(self)

    def advice(self, name: str = "keep.volume_l") -> str:
        """Say what would narrow an answer most.

        Parameters
        ----------
        name : str
            The answer.

        Returns
        -------
        str
            One or two sentences.

        Raises
        ------
        RequestError
            For an answer that is not there.
        """
        if name not in self.answers:
            raise UnknownNameError("answer", name, self.answers)
        return sentences([advice(name, self.shares.get(name, ()))])[0]

    def bands(self) -> dict[str, Any]:
        """Return all bands as plain data, nested like what ``potsim run --json`` prints.

        Returns
        -------
        dict
            ``value``, ``sd``, ``low``, ``high`` and ``answered`` in the place of each number.
        """
        out: dict[str, Any] = {"runs": self.n, "seed": self.seed, "quantiles": [LOW, HIGH]}
        jars: dict[str, dict[str, Any]] = {}
        for name, band in self.answers.items():
            *path, last = name.split(".")
            place = jars if path[:1] == ["jars"] else out
            for key in path[1:] if path[:1] == ["jars"] else path:
                place = place.setdefault(key, {})
            place[last] = plain(band)
        out["jars"] = [{"number": int(number), **jar} for number, jar in jars.items()]
        out["curve"] = {name: plain(curve) for name, curve in self.curves.items()}
        out["traces_g"] = {name: plain(band) for name, band in self.traces.items()}
        out["shares"] = {name: {s.name: s.share for s in shares} for name, shares in self.shares.items()}
        out["impossible"] = self.impossible
        out["words"] = list(self.sentences())
        out["notes"] = plain_notes(self.notes)
        return out

    @property
    def notes(self) -> tuple[Note, ...]:
        """What to heed, and what to measure better."""
        found = [advice(name, self.shares.get(name, ())) for name in ("keep.volume_l", "keep.abv")]
        if self.impossible > 0.0:
            found.append(hint("impossible_draws", share=self.impossible))
        return tuple(found)

    def sentences(self) -> tuple[str, ...]:
        """`notes` in words."""
        return tuple(dict.fromkeys(sentences(self.notes)))


def ensemble(
    plan: Plan,
    n: int = 2000,
    seed: int | np.random.Generator | None = 0,
    *,
    executor: Executor | None = None,
    progress: Progress | None = None,
    model_misfit: bool = True,
) -> Ensemble:
    """Run a plan many times, each with other numbers within their uncertainty.

    Parameters
    ----------
    plan : Plan
        The plan; its ``uncertainty`` tells the standard deviations.
    n : int
        Number of runs, 1 to 100 million; the ends of a band are good to 4 % of its width with 2,000.
    seed : int, numpy.random.Generator or None
        Equal seeds give equal numbers, whatever the executor. A generator is asked for a seed; ``None`` takes
        a fresh one, and the next call another. Either way `Ensemble.seed` is the seed that was taken, which
        repeats these very runs.
    executor : concurrent.futures.Executor, optional
        Where the runs are computed: threads, processes, Dask, MPI; here if left out. It is not shut down.
    progress : callable, optional
        Called with the runs done and the runs wanted.
    model_misfit : bool
        Whether the misfit of the vapour data to what is published counts.

    Returns
    -------
    Ensemble
        Bands of all answers, and what they hang on.

    Raises
    ------
    RequestError
        If the plan itself cannot be run, or so nearly cannot that the least doubt decides.
    RangeError
        For a number of runs out of range.

    Notes
    -----
    Normal numbers, independent, none beyond four standard deviations; volume and losses lognormal, one factor
    for the whole charge's volume. Stops are taken to be met as each drawn run meets them; jars are changed
    at the planned volumes, the last before a cut takes what comes; ``cloudy`` and ``over`` end a drawn run
    where they end the plan's own. What no model here knows, such as hold-up of the condenser, is not in the
    bands.

    Examples
    --------
    >>> from potsim.planning.ensemble import ensemble
    >>> import potsim
    >>> sure = ensemble(potsim.example_plan(), n=500)
    >>> sure.answers["keep.volume_l"].low < sure.answers["keep.volume_l"].value
    True
    """
    require_sort("n", n, (int, float, np.number), "int")
    require("n", n, 1, MOST, "runs")
    if n != int(n):
        raise RequestError.of("wrong_type", "n", given=repr(n), allowed="int")
    seed = _seed(seed)
    run = distil(plan)
    doubts = doubts_of(run, model_misfit=model_misfit)
    own = _own(doubts)
    drawn = int(n) if doubts.inputs else 0
    total: Moments | None = None
    sample, filled = np.empty((min(drawn, _most_kept(own.size)), own.size)), 0
    possible = done = 0
    for size, chunk in in_order(work, _tasks(doubts, drawn, seed), executor):
        total = chunk.moments if total is None else total.merge(chunk.moments)
        sample[filled : filled + len(chunk.kept)] = chunk.kept
        filled += len(chunk.kept)
        possible, done = possible + chunk.possible, done + size
        if progress is not None:
            progress(done, drawn)
    if possible == 0 and drawn:
        raise RequestError.of("none_possible", "uncertainty")
    columns = _columns(own, total, sample)
    return Ensemble(
        plan=plan,
        n=int(n),
        seed=seed,
        answers=_bands(doubts, columns),
        curves=_curves(doubts, columns),
        traces=_traces(run) if model_misfit else {},
        shares=_shares(doubts, total),
        impossible=1.0 - possible / drawn if drawn else 0.0,
        model_misfit=model_misfit,
    )


def _seed(given: int | np.random.Generator | None) -> int:
    """The seed to be taken; another kind of thing is refused."""
    if isinstance(given, np.random.Generator):
        return int(given.integers(2**63))
    if given is None:
        return int(np.random.SeedSequence().generate_state(1, np.uint64)[0] >> np.uint64(1))
    if isinstance(given, bool) or not isinstance(given, int | np.integer) or given < 0:
        raise RequestError.of("wrong_type", "seed", given=repr(given), allowed="seed")
    return int(given)


def _seeds(n: int, seed: int) -> Iterator[tuple[int, np.random.SeedSequence]]:
    """Size and seed of each chunk of draws."""
    root = np.random.SeedSequence(seed)
    for size in [CHUNK] * (n // CHUNK) + ([n % CHUNK] if n % CHUNK else []):
        yield size, root.spawn(1)[0]


def estimate_s(plan: Plan, n: int, workers: int = 1) -> float:
    """Tell how long an ensemble will take, from a pilot of 512 runs."""
    require("n", n, 1, MOST, "runs")
    require("workers", workers, 1, 1e6)
    doubts = doubts_of(distil(plan))
    begin = time.perf_counter()
    _own(doubts)
    tables_s = time.perf_counter() - begin
    begin = time.perf_counter()
    work(doubts, 0, PILOT, np.random.SeedSequence(0))
    return tables_s + (time.perf_counter() - begin) * n / (PILOT * workers)


@dataclass(frozen=True)
class Chunk:
    """What a chunk of draws came to."""

    possible: int  # draws that could be run
    moments: Moments  # of all answers, the curves' points last
    kept: Array  # answers of the first draws, for the quantiles


def work(doubts: Doubts, keep: int, size: int, seed: np.random.SeedSequence) -> Chunk:
    """Compute one chunk of draws; what an executor is given."""
    z = standard_numbers(doubts, size, seed)
    flat = _flat(*answers(doubts, z))
    ran = int(np.isfinite(flat[:, 0]).sum())
    return Chunk(ran, moments(z, flat), flat[:keep].copy())


def _most_kept(numbers: int) -> int:
    """Draws of which so many numbers are kept."""
    return min(KEPT, max(1, KEPT_NUMBERS // numbers))


def _tasks(doubts: Doubts, n: int, seed: int) -> Iterator[tuple[int, tuple[object, ...]]]:
    """What `work` is given, chunk by chunk, each with its size."""
    left = _most_kept(len(names(doubts)) + len(CURVES) * len(doubts.grid_l))
    for size, own in _seeds(n, seed):
        keep, left = min(size, left), max(0, left - size)
        yield size, (doubts, keep, size, own)


def _own(doubts: Doubts) -> Array:
    """The plan's own answers, by the same look-up."""
    own = np.asarray(_flat(*answers(doubts, np.zeros((1, len(doubts.inputs)))))[0])
    if not np.isfinite(own).any():
        raise RequestError.of("undecided")
    return own


def _flat(single: Array, curves: Array) -> Array:
    return np.concatenate([single, curves.reshape(curves.shape[0], -1)], axis=1)


def _columns(own: Array, total: Moments | None, sample: Array) -> Array:
    """Columns of `Band` for every answer, shape (answers, 5)."""
    if total is None:
        nothing = np.zeros_like(own)
        return np.stack([own, nothing, own, own, nothing + 1.0], axis=1)
    ends = np.full((2, own.size), np.nan)
    for k in range(0, own.size, COLUMNS):  # few at a time: quantiles sort a copy
        block = sample[:, k : k + COLUMNS]
        some = np.isfinite(block).any(axis=0)
        if some.any():
            ends[:, k : k + COLUMNS][:, some] = np.nanquantile(block[:, some], [LOW, HIGH], axis=0)
    ends = np.where(total.sd == 0.0, own, ends)
    answered = total.count / max(1.0, float(total.count.max()))
    return np.stack([own, total.sd, *ends, answered], axis=1)


def _bands(doubts: Doubts, columns: Array) -> dict[str, Band]:
    rows = zip(names(doubts), columns.tolist(), strict=False)
    return {name: Band(*row) for name, row in rows if np.isfinite(row[0])}


def _curves(doubts: Doubts, columns: Array) -> dict[str, CurveBand]:
    grid = np.array(doubts.grid_l)
    read_only([grid, columns])
    parts = columns[len(names(doubts)) :, :4].reshape(len(CURVES), grid.size, 4)
    return {name: CurveBand(grid, *part.T) for name, part in zip(CURVES, parts, strict=True)}


def _shares(doubts: Doubts, total: Moments | None) -> dict[str, tuple[Share, ...]]:
    if total is None:
        return {}
    table = total.shares
    out = {}
    for k, name in enumerate(names(doubts)):
        found = [Share(one.name, float(table[i, k]), one.of_spirit) for i, one in enumerate(doubts.inputs)]
        if any(s.share > 0.0 for s in found):
            out[name] = tuple(sorted(found, key=lambda s: -s.share))
    return out


def _traces(run: Run) -> dict[str, Band]:
    """Grams of each compound in the keep, within a factor of two of one standard deviation."""
    sigma = float(np.log(TRACE_FACTOR))
    spread = float(np.exp(0.5 * sigma**2) * np.sqrt(np.expm1(sigma**2)))
    reach = float(np.exp(TRACE_REACH * sigma))
    return {
        name: Band(grams, grams * spread, grams / reach, grams * reach)
        for name, grams in run.flavours.over_g(run.kept_spans).items()
    }
