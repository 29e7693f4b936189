"""What is asked of all groups of shots at once is what would be asked of each group alone."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.analysis.parts import by_size, codes, medians, renumbered, steps

VALUES = st.one_of(st.integers(-30, 30).map(lambda whole: whole / 4), st.floats(-1e6, 1e6))
GROUPED = st.lists(st.tuples(VALUES, st.integers(0, 6)), max_size=60)


@given(GROUPED)
def test_medians_are_those_of_numpy(rows: list[tuple[float, int]]) -> None:
    values, groups = np.array([v for v, _ in rows], dtype=np.float64), np.array([g for _, g in rows], dtype=np.intp)
    found = medians(values, groups, 8)
    for group in range(8):
        alone = values[groups == group]
        expected = float(np.median(alone)) if len(alone) else float("nan")
        assert str(found[group]) == str(np.float64(expected))  # to the last bit, and never -0.0


@given(GROUPED)
def test_steps_are_the_smallest_gaps_of_each_group(rows: list[tuple[float, int]]) -> None:
    values, groups = np.array([v for v, _ in rows], dtype=np.float64), np.array([g for _, g in rows], dtype=np.intp)
    found = steps(values, groups, 8)
    for group in range(8):
        gaps = np.diff(np.unique(values[groups == group]))
        assert found[group] == min((float(gap) for gap in gaps if gap > 1e-6), default=0.0)


def test_an_ulp_between_two_devices_is_no_step() -> None:
    one = np.nextafter(63.5, 64)
    assert steps(np.array([63.5, one, 64.0]), np.zeros(3, dtype=np.intp), 1).tolist() == [64.0 - one]
    assert steps(np.array([63.5, one]), np.zeros(2, dtype=np.intp), 1).tolist() == [0.0]


def test_groups_are_numbered_in_the_order_of_their_first_rows() -> None:
    shots = pl.DataFrame({"file": ["b", "a", "b", None, None], "set": [1, 1, 2, 0, 0]})
    assert codes(shots, "file").tolist() == [0, 1, 0, 2, 2]
    assert codes(shots, "file", "set").tolist() == [0, 1, 2, 3, 3]
    assert codes(shots).tolist() == [0] * 5
    of_two = shots.with_columns(visit=pl.Series([7, 7, 7, 7, 3]))
    assert codes(of_two, "file").tolist() == [0, 1, 0, 2, 3]
    assert codes(of_two).tolist() == [0, 0, 0, 0, 1]
    assert codes(shots.clear(), "file").tolist() == []


@given(st.lists(st.integers(0, 5), max_size=20))
def test_new_numbers_keep_groups_together_and_name_their_first_rows(given_groups: list[int]) -> None:
    groups = np.array(given_groups, dtype=np.intp)
    numbers, first = renumbered(groups)
    assert list(dict.fromkeys(numbers.tolist())) == list(range(len(set(given_groups))))
    assert [given_groups[row] for row in first] == list(dict.fromkeys(given_groups))
    assert groups[first][numbers].tolist() == given_groups


def test_a_function_of_sizes_is_asked_once_for_each() -> None:
    asked: list[int] = []

    def double(size: int) -> float:
        asked.append(size)
        return 2.0 * size

    assert by_size(double, np.array([3, 1, 3, 3])).tolist() == [6, 2, 6, 6]
    assert asked == pytest.approx([1, 3])
    assert by_size(double, np.zeros(0, dtype=np.intp)).tolist() == []
