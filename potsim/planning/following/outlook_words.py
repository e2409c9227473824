"""A forecast in short, and as plain data for programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from potsim.planning.following.outlook import BAND, Band, Forecast
from potsim.planning.following.readings import Reading
from potsim.planning.volume_words import measured
from potsim.still.fit import LOGARITHMS, Fit
from potsim.still.problem import NAMES

BANDS = (
    *("stream_abv", "mean_abv", "to_come_l", "to_come_min", "to_come_abv"),
    *("stop_l", "stop_min", "stop_mean_abv"),
)

CURVE = ("collected_l", "abv", "low_abv", "high_abv")


def in_short(forecast: Forecast) -> str:
    """Return what to do now, in one sentence.

    Parameters
    ----------
    forecast : Forecast
        The forecast.

    Returns
    -------
    str
        Such as ``"Collect 85 mL more, about 14 min."``.
    """
    if forecast.over:
        return f"Stop now: {forecast.stop_words}."
    volume, minutes = forecast.to_come_l, forecast.to_come_min
    return (
        f"Collect {measured(volume.value)} more, about {minutes.value:.0f} min "
        f"({measured(volume.low)} to {measured(volume.high)}, {minutes.low:.0f} to {minutes.high:.0f} min), "
        f"until {forecast.stop_words}."
    )


def document(forecast: Forecast) -> dict[str, Any]:
    """Return a forecast as plain data.

    Parameters
    ----------
    forecast : Forecast
        The forecast.

    Returns
    -------
    dict
        Numbers, texts, lists and dictionaries only.
    """
    curve = forecast.curve
    return {
        "title": forecast.run.plan.title,
        "in_short": in_short(forecast),
        "now": {"collected_l": forecast.collected_l, "elapsed_min": forecast.elapsed_min},
        "band": BAND,
        **{name: _band(getattr(forecast, name)) for name in BANDS},
        "stop": {"reason": forecast.stop_reason, "words": forecast.stop_words, "reached": forecast.over},
        "jar": None if forecast.jar is None else asdict(forecast.jar),
        "next_jar": None if forecast.next_jar is None else asdict(forecast.next_jar),
        "flavours_now": [asdict(one) for one in forecast.flavours_now],
        "flavours_next": [asdict(one) for one in forecast.flavours_next],
        "element_bare": None if forecast.bare is None else asdict(forecast.bare),
        "still": _still(forecast.fit),
        "readings": [_reading(one, forecast.fit, k) for k, one in enumerate(forecast.readings)],
        "odd": list(forecast.odd),
        "verdicts": list(forecast.verdicts),
        "curve": {
            name: getattr(curve, name).tolist() for name in ("collected_l", "abv", "low_abv", "high_abv")
        },
    }


def _band(band: Band) -> dict[str, float]:
    return {"value": band.value, "low": band.low, "high": band.high}


def _still(fit: Fit) -> dict[str, Any]:
    learnt = {
        name: {
            "value": fit.value(name),
            "standard_error": fit.error(name),
            "relative_error": name in LOGARITHMS,
            "told_by_readings": fit.told(name),
        }
        for name in NAMES
    }
    return {
        "neck_loss_w_per_k": fit.neck_loss_w_per_k,
        "neck_loss_error_w_per_k": fit.loss_errors[0],
        "pot_loss_w_per_k": fit.pot_loss_w_per_k,
        "pot_loss_error_w_per_k": fit.loss_errors[1],
        "net_power_w": fit.net_power_w,
        "learnt": learnt,
        "correlation": fit.correlation.tolist(),
        "names": list(NAMES),
        "widened": fit.widened,
    }


def _reading(reading: Reading, fit: Fit, line: int) -> dict[str, Any]:
    """A reading raw and corrected, and how far it lies from the fit."""
    return {
        "number": reading.number,
        "line": reading.line,
        "as_read": reading.entry.to_dict(),
        "collected_l": reading.collected_l,
        "mass_g": reading.mass_g,
        "from_l": reading.from_l,
        "abv": reading.abv,
        "against_fit": [
            {"kind": r.kind, "read": r.read, "fitted": r.fitted, "error": r.error, "left_out": r.left_out}
            for r in fit.residuals
            if r.line == line
        ],
    }
