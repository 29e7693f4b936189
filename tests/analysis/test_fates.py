"""Rules, then statistics among the believed, then staff's word. All shots are invented."""

import math
from collections.abc import Callable
from typing import Final

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.analysis.fates import COUNTING, fates
from pipeline.records import Fate, Overrule

MakeFrame = Callable[..., pl.DataFrame]
SAME_FIXTURES: Final = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
CARRY: Final = [99.0, 100.0, 101.0, 102.0, 98.0, 99.5, 70.0, 130.0]


@pytest.fixture
def mixed(frame: MakeFrame) -> pl.DataFrame:
    """Eight shots: the last but one short, the last long, the first with a total that cannot be."""
    return frame(8, used_carry_m=CARRY, carry_m=CARRY, total_m=[20.0, *[200.0] * 7])


def test_each_bin(mixed: pl.DataFrame) -> None:
    found = fates(mixed, ())
    assert [fate.fate for fate in found] == ["bad_read", *["counted"] * 5, "mishit", "asked"]
    assert [fate.code for fate in found] == ["total_below_carry", *[""] * 5, "short_carry", "long_carry"]
    assert found[1] == Fate("counted", "", {}, "", "rule")
    assert [fate.fate in COUNTING for fate in found] == [False, *[True] * 5, False, True]


def test_statistics_see_only_shots_believed(frame: MakeFrame) -> None:
    """With the four bad reads in, the last is in the crowd; without them it is out."""
    carry = [100.0, 101.0, 99.0, 100.5, 99.5, 70.0, 60.0, 61.0, 62.0, 63.0, 64.0]
    good = frame(11, used_carry_m=carry, carry_m=carry)
    assert {fate.fate for fate in fates(good, ())} == {"counted"}
    bad = good.with_columns(total_m=pl.Series([200.0] * 6 + [10.0] * 5))
    found = fates(bad, ())
    assert [fate.fate for fate in found] == ["counted"] * 5 + ["mishit"] + ["bad_read"] * 5


def test_a_bad_read_that_also_stands_out_is_a_bad_read(frame: MakeFrame) -> None:
    shots = frame(6, used_carry_m=[100.0] * 5 + [70.0], carry_m=[100.0] * 5 + [70.0], total_m=[200.0] * 5 + [20.0])
    assert fates(shots, ())[5].code == "total_below_carry"


@pytest.mark.parametrize(("line", "was"), [(2, "bad_read"), (3, "counted"), (8, "mishit"), (9, "asked")])
def test_staff_may_count_any_shot(mixed: pl.DataFrame, line: int, was: str) -> None:
    assert fates(mixed, ())[line - 2].fate == was
    found = fates(mixed, [Overrule("a.csv", line, counts=True, reason="seen by the fitter")])
    assert found[line - 2] == Fate("counted", "staff", {}, "seen by the fitter", "staff")
    plain = fates(mixed, ())
    assert [found[i] for i in range(8) if i != line - 2] == [plain[i] for i in range(8) if i != line - 2]


@pytest.mark.parametrize(("line", "bin_"), [(2, "bad_read"), (3, "mishit"), (8, "mishit"), (9, "mishit")])
def test_a_shot_set_aside_by_staff_keeps_its_bin_or_is_a_mishit(mixed: pl.DataFrame, line: int, bin_: str) -> None:
    found = fates(mixed, [Overrule("a.csv", line, counts=False, reason="slipped")])
    assert found[line - 2] == Fate(bin_, "staff", {}, "slipped", "staff")


def test_staffs_word_needs_the_file_and_the_line(mixed: pl.DataFrame) -> None:
    plain = fates(mixed, ())
    for elsewhere in (Overrule("b.csv", 3, counts=False, reason="x"), Overrule("a.csv", 99, counts=False, reason="x")):
        assert fates(mixed, [elsewhere]) == plain
    two = mixed.with_columns(file=pl.Series(["a.csv"] * 4 + ["b.csv"] * 4), line=pl.Series([2, 3, 4, 5] * 2))
    said = fates(two, [Overrule("b.csv", 3, counts=False, reason="x")])
    assert [i for i, fate in enumerate(said) if fate.by == "staff"] == [5]


def test_the_last_word_on_a_shot_holds(mixed: pl.DataFrame) -> None:
    words = [Overrule("a.csv", 8, counts=True, reason="first"), Overrule("a.csv", 8, counts=False, reason="second")]
    assert fates(mixed, words)[6].words == "second"


def test_no_shots_no_fates(frame: MakeFrame) -> None:
    assert fates(frame(0), ()) == []


@SAME_FIXTURES
@given(data=st.data(), carry=st.lists(st.integers(60, 140).map(float), min_size=14, max_size=14))
def test_order_of_rows_never_matters(frame: MakeFrame, data: st.DataObject, carry: list[float]) -> None:
    shots = frame(
        14,
        set=[0, 1] * 7,
        used_carry_m=carry,
        carry_m=carry,
        total_m=[10.0, *[300.0] * 13],
        ball_speed_mps=[math.nan if x == 77.0 else x for x in carry],
    )
    order = data.draw(st.permutations(range(14)))
    words = [Overrule("a.csv", 5, counts=True, reason="x")]
    plain = fates(shots, words)
    assert fates(shots[list(order)], words) == [plain[row] for row in order]


@SAME_FIXTURES
@given(wild=st.floats(-60.0, -1.0), row=st.integers(0, 5))
def test_one_wild_read_moves_no_fate_of_another_kind_of_club(frame: MakeFrame, wild: float, row: int) -> None:
    """Its total is impossible, so it is a bad read and lends nothing: every other fate is as if it were not there."""
    total = [300.0] * 12
    shots = frame(12, set=[0] * 6 + [1] * 6, used_carry_m=CARRY[:6] * 2, carry_m=CARRY[:6] * 2, total_m=total)
    carry = CARRY[:6] * 2
    carry[row] += wild
    total[row] = -200.0
    moved = frame(12, set=[0] * 6 + [1] * 6, used_carry_m=carry, carry_m=carry, total_m=total)
    plain, found = fates(shots, ()), fates(moved, ())
    assert found[row].fate == "bad_read"
    assert [found[i] for i in range(6, 12)] == [plain[i] for i in range(6, 12)]
    without = fates(shots.filter(pl.Series([i != row for i in range(12)])), ())
    assert [found[i] for i in range(12) if i != row] == without
