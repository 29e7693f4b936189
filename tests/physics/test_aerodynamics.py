"""Coefficient curves against the published measurements they were fitted to."""

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from pipeline.physics.aerodynamics import REYNOLDS_RANGE, SPIN_RATIO_RANGE, drag_coefficient, lift_coefficient

FloatArray = NDArray[np.float64]
FILE: Final = Path(__file__).parents[1] / "check_values" / "aerodynamic_coefficients.csv"
# Sources of modern balls; a patent's second pair of balls and two early sources aren't among them.
MODERN: Final = (
    "US patent 6729976 ball a",
    "US patent 6729976 ball b",
    "US patent 7238121",
    "Naruo 2004",
    "Aoki 2011",
    "Governing bodies 2006",
    "Lyu 2018",
    "Lyu 2020",
    "Ferguson 2022",
)


def _drag_form(p: FloatArray, s: FloatArray) -> FloatArray:
    return np.asarray(p[0] + p[1] * s**2 / (s**2 + p[2] ** 2))


def _lift_form(p: FloatArray, s: FloatArray) -> FloatArray:
    return np.asarray(p[0] * (1.0 - np.exp(-s / p[1])) + p[2] * s / (s + p[3]))


Case = tuple[str, Callable[[Any], FloatArray], Callable[[FloatArray, FloatArray], FloatArray], list[float], float]
CURVES: Final[list[Case]] = [
    ("drag_coefficient", drag_coefficient, _drag_form, [0.2, 0.3, 0.4], 0.0165),
    ("lift_coefficient", lift_coefficient, _lift_form, [0.1, 0.05, 0.5, 0.6], 0.0148),
]


def _measurements(column: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Spin ratios, coefficients and weights that give each source the same say."""
    with FILE.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row[column] and row["source"].startswith(MODERN)]
    names = [next(name for name in MODERN if row["source"].startswith(name))[:17] for row in rows]
    ratios = np.array([float(row["spin_ratio"]) for row in rows])
    values = np.array([float(row[column]) for row in rows])
    return ratios, values, np.array([names.count(name) ** -0.5 for name in names])


@pytest.mark.parametrize(("column", "curve", "form", "start", "rms"), CURVES)
def test_curve_is_the_fit_to_the_measurements(
    column: str,
    curve: Callable[[Any], FloatArray],
    form: Callable[[FloatArray, FloatArray], FloatArray],
    start: list[float],
    rms: float,
) -> None:
    ratios, values, weights = _measurements(column)
    assert ratios.size == 67
    assert np.sqrt(np.mean((curve(ratios) - values) ** 2)) < rms

    def misfit(parameters: FloatArray) -> FloatArray:
        return weights * (form(parameters, ratios) - values)

    fitted = least_squares(misfit, start, loss="soft_l1", f_scale=0.01, x_scale=np.abs(start)).x
    inside = np.linspace(*SPIN_RATIO_RANGE, 200)
    # The curve's parameters are this fit's, rounded to three digits.
    np.testing.assert_allclose(curve(inside), form(fitted, inside), atol=7e-4)


def test_stated_range_is_that_of_the_measurements() -> None:
    with FILE.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["source"].startswith(MODERN)]
    reynolds = [float(row["reynolds"]) for row in rows if row["reynolds"]]
    assert (min(reynolds), max(reynolds)) == REYNOLDS_RANGE
    spinning = [float(row["spin_ratio"]) for row in rows if float(row["spin_ratio"]) > 0.0]
    assert SPIN_RATIO_RANGE[0] == pytest.approx(min(spinning), abs=0.006)
    assert SPIN_RATIO_RANGE[1] == max(spinning)


@pytest.mark.parametrize("curve", [drag_coefficient, lift_coefficient])
def test_edges(curve: Callable[[Any], FloatArray]) -> None:
    rising = curve(np.linspace(0.0, 1.2, 500))
    assert np.all(np.diff(rising) > 0.0)
    assert float(curve(3.0)) == float(curve(1.2)), "held above the range"
    assert float(curve(-0.2)) == float(curve(0.0)), "no spin is the least"
    assert np.isnan(curve([np.nan, 0.2])).tolist() == [True, False]


def test_ball_without_spin() -> None:
    assert float(lift_coefficient(0.0)) == 0.0
    assert float(drag_coefficient(0.0)) == pytest.approx(0.195, abs=1e-15)
