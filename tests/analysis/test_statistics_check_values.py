"""Every entry of the check-value file of the statistics, by one runner."""

import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from scipy import stats

from pipeline.analysis.accuracy import one_way
from pipeline.analysis.comparison import Difference, shots_needed, welch
from pipeline.analysis.dispersion import prediction_ellipse
from pipeline.analysis.robust import mad_sigma, stand_out

FILE: Final = Path(__file__).parents[1] / "check_values" / "statistics.toml"
READINGS: Final = {"read", "second-hand", "from memory", "mathematics", "regression"}
ENTRIES: Final = tomllib.loads(FILE.read_text("utf-8"))["check"]

Found = dict[Any, float]


def _welch(a: list[float], b: list[float]) -> Found:
    first, second = np.array(a), np.array(b)
    found = welch(first, second)
    half = found.half_width(0.95)
    return {
        "t": found.mean / found.standard_error,
        "freedom": found.freedom,
        "low": found.mean - half,
        "high": found.mean + half,
        "mean_a": float(first.mean()),
        "mean_b": float(second.mean()),
    }


def _mad_constants(first: int, last: int) -> Found:
    """Read the constants off samples whose median absolute deviation is exactly 1 (half -1, half 1, a 0 if odd)."""
    samples = [np.array([-1.0] * (n // 2) + [0.0] * (n % 2) + [1.0] * (n // 2)) for n in range(first, last + 1)]
    return dict(enumerate(mad_sigma(sample) for sample in samples))


def _modified_z(values: list[float], of: int) -> Found:
    sample = np.array(values)
    deviation = mad_sigma(sample) / _mad_constants(len(values), len(values))[0]
    return {0: 0.6745 * float(sample[of] - np.median(sample)) / deviation}


def _stand_out(values: list[float], side: str) -> Found:
    (mask,) = stand_out([np.array(values)], side, 0.01 / math.sqrt(12))
    return {i: float(place) for i, place in enumerate(np.flatnonzero(mask))}


def _axis_factor(level: float, sizes: list[int]) -> Found:
    generator = np.random.default_rng(3)
    found = {}
    for i, n in enumerate(sizes):
        carry, offline = generator.normal(size=(2, n))
        ellipse = prediction_ellipse(carry, offline, level)
        assert ellipse is not None
        largest = np.linalg.eigvalsh(np.cov(carry, offline))[1]
        found[i] = ellipse.long_axis_m / math.sqrt(largest * stats.chi2.ppf(level, 2))
    return found


def _shots_needed(sd: float, worths: list[float]) -> Found:
    return {i: float(shots_needed(sd, sd, worth, 1) or 0) for i, worth in enumerate(worths)}


def _half_width(sizes: list[int]) -> Found:
    return {i: Difference(0.0, math.sqrt(2 / n), 2 * n - 2).half_width(0.95) for i, n in enumerate(sizes)}


def _one_way(groups: list[list[float]]) -> Found:
    return {0: one_way([np.array(group) for group in groups])[0]}


def _one_way_in_tenths(constant: int, middles: list[int], replicates: int) -> Found:
    """Build groups of a middle and as many middle - 0.1 as middle + 0.1; whole tenths first, so each value is exact."""
    tenths = [[middle, *[middle - 1, middle + 1] * ((replicates - 1) // 2)] for middle in middles]
    return {0: one_way([(10 * constant + np.array(group, dtype=np.float64)) / 10 for group in tenths])[0]}


FUNCTIONS: Final[dict[str, Callable[..., Found]]] = {
    "welch": _welch,
    "mad_constants": _mad_constants,
    "modified_z": _modified_z,
    "stand_out": _stand_out,
    "axis_factor": _axis_factor,
    "shots_needed": _shots_needed,
    "half_width": _half_width,
    "one_way": _one_way,
    "one_way_in_tenths": _one_way_in_tenths,
}


def _each(value: Any) -> Found:  # noqa: ANN401 - whatever the file holds
    if isinstance(value, dict):
        return value
    return dict(enumerate(value if isinstance(value, list) else [value]))


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: str(entry["id"]))
def test_value(entry: dict[str, Any]) -> None:
    assert entry["reading"] in READINGS
    assert entry["source"]
    assert entry["why_tolerance"]
    expected = _each(entry["expected"])
    found = FUNCTIONS[entry["function"]](**entry["inputs"])
    assert found.keys() == expected.keys()
    for name, value in expected.items():
        tolerance = entry["tolerance"][name] if isinstance(entry["tolerance"], dict) else entry["tolerance"]
        assert abs(found[name] - value) <= tolerance, f"{name} is {found[name]!r}"
