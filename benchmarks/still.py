"""One run and many, against scipy's integrator and numpy's interpolation."""

from __future__ import annotations

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from benchmarks.measure import Row, best_of
from potsim.liquid import strength
from potsim.liquid.boiling import volatilities
from potsim.liquid.equilibrium import excess
from potsim.still.course import course
from potsim.still.still import Conditions, Still
from potsim.still.tables import Curves, curves

CONDITIONS = Conditions(power_w=700.0)
PRESSURE_PA = CONDITIONS.pressure_pa
POINTS = 200


def vapour(x: float) -> float:
    """Vapour composition by a root search for the bubble point, activity coefficients on the fly."""
    model = excess()
    mixture = model.mixture(np.array(x))

    def partial(t: float) -> tuple[float, float]:
        v = volatilities(np.array(x), mixture, np.array(t), np.array(PRESSURE_PA), model)
        return x * float(np.exp(v.ethanol)), (1.0 - x) * float(np.exp(v.water))

    t = brentq(lambda t: sum(partial(t)) - PRESSURE_PA, 340.0, 380.0)
    return partial(t)[0] / PRESSURE_PA


def straightforward(x0: float, depletion: np.ndarray) -> np.ndarray:
    """Rayleigh's equation by solve_ivp, as its manual would have it."""
    solved = solve_ivp(
        lambda _, x: [x[0] - vapour(max(float(x[0]), 0.0))],
        (0.0, float(depletion[-1])),
        [x0],
        t_eval=depletion,
        rtol=1e-8,
        atol=1e-10,
    )
    return np.asarray(solved.y[0])


def rows() -> list[Row]:
    """One run in a tabulated still, the same with its table, and 20,000 charges at once."""
    mol, x0 = float(sum(strength.moles(2.4, 38.0))), float(strength.x_from_abv(38.0))
    still = Still(4.0, CONDITIONS, 1200.0)
    depletion = np.linspace(0.0, 1.2, POINTS)
    curves(CONDITIONS)
    theirs = straightforward(x0, depletion)
    off = float(np.abs(course(mol, x0, still).at(depletion).pot_x - theirs).max())
    assert off < 1e-6, f"the look-up is {off:.1e} from solve_ivp"
    slow = best_of(2, lambda: straightforward(x0, depletion))
    quick = best_of(200, lambda: course(mol, x0, still).at(depletion))
    table = best_of(5, lambda: Curves(CONDITIONS))
    agree = f"x to {off:.0e}"
    return [
        Row(
            f"one run of {POINTS} points, tabulated still, against solve_ivp",
            slow / quick,
            1000,
            True,
            "x",
            agree,
        ),
        Row("the same, building the table", slow / (quick + table), 10, True, "x", agree),
        _many(),
    ]


def _many() -> Row:
    table = curves(CONDITIONS)
    x, left = np.linspace(0.02, 0.5, 20_000), np.linspace(1.0, 0.05, POINTS)
    stream, pot = table.distil(x, left)
    for k in (0, 10_000, 19_999):
        one = course(1.0, x[k], Still(4.0, CONDITIONS, 1200.0)).at(-np.log(left))
        assert np.allclose(stream[k], one.stream_abv, atol=1e-9)
        assert np.allclose(pot[k], one.pot_abv, atol=1e-9)
    where = table.position(x)[:, None] + np.log(left)
    grid = np.linspace(table.first, table.last, 4096)
    column = np.sin(grid)
    ours = best_of(5, lambda: table.distil(x, left))
    plain = best_of(5, lambda: np.interp(where, grid, column))
    return Row(
        "20,000 charges at 200 shares, against one numpy.interp", ours / plain, 4, False, "x", "to 1e-9 % vol"
    )
