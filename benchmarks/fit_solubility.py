"""The regression behind ``BEND`` and ``WARMING_PER_K`` of potsim/liquid/traces.py.

``BEND`` from the cloud points at 25 °C; ``WARMING_PER_K`` then from toluene at 0 °C. Run it after any change
of the groups or of the data; it prints the constants and how well each hydrocarbon is met when left out.
"""

from __future__ import annotations

import numpy as np

from potsim.interfaces.evidence.clouding import RING, Titration, log10_s, ring_hydrocarbons
from potsim.liquid import traces
from potsim.liquid.pure import Array

COLD_K = 280.0


def fitted(points: list[Titration]) -> float:
    """Return the bend, to two decimals."""
    tried = np.arange(0.0, 5.0, 0.01)
    return float(tried[int(np.argmin([rms(off(points, bend, 0.0)) for bend in tried]))])


def off(points: list[Titration], bend: float, warming: float) -> Array:
    """Return model less measurement [decades]."""
    traces.WARMING_PER_K = warming
    return np.asarray(log10_s(points, bend) - np.array([point.log10_s for point in points]))


def main() -> None:
    """Print the constants."""
    every = ring_hydrocarbons()
    room, cold = ([p for p in every if (p.temperature_k > COLD_K) == warm] for warm in (True, False))
    bend = fitted(room)
    per_kelvin = [4.0 * p.f * (1.0 - p.f) * (p.temperature_k - traces.ROOM_K) for p in cold]
    warming = float(np.mean(-off(cold, bend, 0.0) / np.array(per_kelvin)))
    print(f"BEND = {bend:.2f}; WARMING_PER_K = {warming:.4f}")
    print(f"all {len(every)}: rms {rms(off(every, bend, warming)):.3f}")
    for oil in RING:
        mine = [p for p in every if p.oil == oil]
        without = fitted([p for p in room if p.oil != oil])
        inside, outside = rms(off(mine, bend, warming)), rms(off(mine, without, warming))
        print(f"{oil}: rms {inside:.3f}, left out {outside:.3f}")


def rms(values: Array) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(values**2)))


if __name__ == "__main__":
    main()
