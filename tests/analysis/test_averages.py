import math
import tomllib
from pathlib import Path
from typing import Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pipeline.analysis.averages import average

FOUR = np.array([1.0, 2.0, 3.0, 10.0])
VALUES = st.lists(st.floats(-500, 500), min_size=2, max_size=15).map(np.array)


def test_each_figure_of_an_average() -> None:
    found = average("carry_m", "modelled", FOUR, np.array([1.0, 2.0, 3.0, 10.0, -6.0]))
    assert found is not None
    low, high = stats.t.interval(0.95, 3, 4.0, stats.sem(FOUR))
    assert (found.quantity, found.source, found.n) == ("carry_m", "modelled", 4)
    assert (found.mean, found.median, found.all_valid_mean) == (4.0, 2.5, 2.0)
    assert found.sd == pytest.approx(math.sqrt(50 / 3))  # squares 9, 4, 1 and 36 over n - 1
    assert [found.low, found.high] == pytest.approx([low, high])


def test_missing_values_are_left_out_of_both_means() -> None:
    gaps = np.array([math.nan, 1.0, 2.0, 3.0, 10.0, math.inf])
    assert average("carry_m", "measured", gaps, np.append(gaps, math.nan)) == average("carry_m", "measured", FOUR, FOUR)


def test_one_shot_has_a_mean_and_no_interval() -> None:
    found = average("carry_m", "measured", np.array([7.0]), np.array([7.0, 5.0]))
    assert found is not None
    assert (found.n, found.mean, found.median, found.all_valid_mean) == (1, 7.0, 7.0, 6.0)
    assert all(math.isnan(x) for x in (found.sd, found.low, found.high))


def test_two_shots_have_an_interval() -> None:
    found = average("carry_m", "measured", np.array([1.0, 3.0]), np.array([1.0, 3.0]))
    assert found is not None
    assert found.high - found.mean == pytest.approx(12.706, abs=5e-4)  # t(1; 0.975) * sqrt 2 / sqrt 2


@pytest.mark.parametrize("counted", [[], [math.nan], [math.nan, math.inf]])
def test_no_counted_value_no_average(counted: list[float]) -> None:
    assert average("carry_m", "measured", np.array(counted), np.array([1.0, 2.0])) is None


@settings(deadline=None)
@given(values=VALUES, shift=st.floats(-100, 100), data=st.data())
def test_shift_moves_the_average_and_order_does_not(
    values: np.ndarray[tuple[int], np.dtype[np.float64]], shift: float, data: st.DataObject
) -> None:
    plain = average("carry_m", "measured", values, values)
    order = data.draw(st.permutations(range(len(values))))
    moved = average("carry_m", "measured", values[order] + shift, values[order] + shift)
    assert plain is not None
    assert moved is not None
    for name in ("mean", "median", "low", "high", "all_valid_mean"):
        assert getattr(moved, name) == pytest.approx(getattr(plain, name) + shift, abs=1e-6)
    assert moved.sd == pytest.approx(plain.sd, abs=1e-6)
    assert plain.low <= plain.mean <= plain.high


# --- certified values ---------------------------------------------------------------------------------------------
NIST: Final = tomllib.loads(
    (Path(__file__).resolve().parent.parent / "check_values/nist_univariate.toml").read_text(encoding="utf-8")
)
# Built as NIST states: a first value, then 500 pairs a tenth below and above it; certified mean base + 0.2, sd 0.1.
NUMERIC_ACCURACY: Final = {"numacc2": (1.0, 14.0), "numacc3": (1e6, 9.4), "numacc4": (1e7, 8.2)}


def agreeing_digits(found: float, certified: float) -> float:
    """Count the digits that agree: minus log10 of the relative error, 15 at most."""
    error = abs(found / certified - 1)
    return 15.0 if error < 1e-15 else -math.log10(error)


@pytest.mark.parametrize("name", NIST)
def test_mean_and_spread_agree_with_the_certified_ones(name: str) -> None:
    row = NIST[name]
    values = np.array(row["values"], dtype=np.float64)
    found = average("carry_m", "measured", values, values)
    assert found is not None
    assert agreeing_digits(found.mean, row["mean"]) >= row["digits"]
    assert agreeing_digits(found.sd, row["sd"]) >= row["digits"]


@pytest.mark.parametrize("name", NUMERIC_ACCURACY)
def test_the_spread_survives_a_large_common_level(name: str) -> None:
    base, digits = NUMERIC_ACCURACY[name]
    values = np.array([base + 0.2, *[base + 0.1, base + 0.3] * 500])
    found = average("carry_m", "measured", values, values)
    assert found is not None
    assert agreeing_digits(found.mean, base + 0.2) >= 14.0
    assert agreeing_digits(found.sd, 0.1) >= digits
