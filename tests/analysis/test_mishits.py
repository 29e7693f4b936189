"""Shots that stand out of their set. All shots are invented."""

import math
from collections.abc import Callable
from typing import Final

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.analysis.mishits import mishits
from pipeline.records import Fate

MakeFrame = Callable[..., pl.DataFrame]
NAN: Final = math.nan
SAME_FIXTURES: Final = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
# Median 100, MAD 1.5, so a spread of 1.671843 * 1.5 = 2.5078 for eight shots; a ninth would change it.
EIGHT: Final = np.array([97.0, 98.0, 99.0, 99.5, 100.5, 101.0, 102.0, 103.0])


def all_believed(frame: pl.DataFrame) -> dict[int, Fate]:
    return mishits(frame, [True] * frame.height)


# --- the five channels --------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("column", "odd", "fate", "code"),
    [
        ("ball_speed_mps", 80.0, "mishit", "slow_ball"),
        ("ball_speed_mps", 120.0, "asked", "fast_ball"),
        ("used_carry_m", 80.0, "mishit", "short_carry"),
        ("used_carry_m", 120.0, "asked", "long_carry"),
        ("used_offline_m", 80.0, "mishit", "far_offline"),
        ("used_offline_m", 120.0, "mishit", "far_offline"),
    ],
)
def test_each_channel_and_side(frame: MakeFrame, column: str, odd: float, fate: str, code: str) -> None:
    values = [*EIGHT[:7], odd]
    found = all_believed(frame(8, **{column: values}))
    name = column.removeprefix("used_")
    middle = float(np.median(values))
    assert found == {7: Fate(fate, code, {name: odd, f"middle_{name}": middle}, by="statistics")}


@pytest.mark.parametrize(
    ("column", "cut", "sign"),
    [
        ("ball_speed_mps", 3.60, -1),
        ("ball_speed_mps", 3.60, 1),
        ("used_carry_m", 3.60, -1),
        ("used_carry_m", 3.60, 1),
        ("used_offline_m", 4.37, -1),
        ("used_offline_m", 4.37, 1),
    ],
)
def test_just_inside_and_just_outside(frame: MakeFrame, column: str, cut: float, sign: int) -> None:
    """Eight around 100 with a MAD of 1.5 whatever the outermost does, so the limit is cut * 1.671843 * 1.5."""
    for beyond, marked in ((-0.01, False), (0.01, True)):
        values = 100 + sign * (EIGHT - 100)
        values[7] = 100 + sign * (cut * 1.671843 * 1.5 + beyond)
        assert (7 in all_believed(frame(8, **{column: values}))) is marked


def test_the_weak_side_speaks_before_the_strong_and_speed_before_carry(frame: MakeFrame) -> None:
    values = [*EIGHT[:7], 60.0]
    both = frame(8, ball_speed_mps=values, used_carry_m=values, used_offline_m=values)
    assert {row: fate.code for row, fate in all_believed(both).items()} == {7: "slow_ball"}
    hooked = frame(8, used_carry_m=[*EIGHT[:7], 150.0], used_offline_m=values)
    assert {row: fate.code for row, fate in all_believed(hooked).items()} == {7: "far_offline"}


# --- who is judged, and with whose spread -------------------------------------------------------------------------
def test_below_five_shots_nobody_is_judged(frame: MakeFrame) -> None:
    assert all_believed(frame(4, used_carry_m=[100.0, 101.0, 102.0, 5.0])) == {}
    assert all_believed(frame(5, used_carry_m=[100.0, 101.0, 102.0, 101.0, 5.0])).keys() == {4}
    # five shots, but one of them without the figure
    assert all_believed(frame(5, used_carry_m=[100.0, 101.0, NAN, 102.0, 5.0])) == {}


def test_a_bad_read_takes_no_part(frame: MakeFrame) -> None:
    carry = [*EIGHT[:7], 20.0, 10.0, 5.0]
    shots = frame(10, used_carry_m=carry)
    assert all_believed(shots).keys() == {7, 8, 9}
    assert mishits(shots, [True] * 8 + [False] * 2).keys() == {7}
    assert mishits(shots, [False] * 10) == {}
    assert mishits(shots, [True] * 3 + [False] * 6 + [True]) == {}  # four are left


def test_each_set_is_judged_by_its_own_middle(frame: MakeFrame) -> None:
    shots = frame(16, set=[0, 1] * 8, used_carry_m=[x for pair in zip(EIGHT, EIGHT + 60, strict=True) for x in pair])
    assert all_believed(shots) == {}
    assert all_believed(shots.with_columns(set=pl.lit(0))) == {}  # one uneven set, no gap to fall into


def test_only_sets_of_the_same_kind_lend_their_spread(frame: MakeFrame) -> None:
    """88 is out of the first set alone (limit 91.0) and beside wedges, but not beside an uneven set of its kind."""
    carry = np.concatenate([[88.0, *EIGHT[1:]], 100 + 8 * (EIGHT - 100)])
    one_kind = frame(16, set=[0] * 8 + [1] * 8, used_carry_m=carry)
    assert all_believed(one_kind) == {}
    other = one_kind.with_columns(category=pl.Series(["driver"] * 8 + ["wedge"] * 8))
    assert all_believed(other).keys() == {0}
    unnamed = one_kind.with_columns(category=pl.lit(None, pl.String))
    assert all_believed(unnamed) == {}


def test_rounded_data_have_a_spread_although_most_shots_are_alike(frame: MakeFrame) -> None:
    """Printed to the metre, five of six alike: the spread is 1 / sqrt 12 = 0.289, so the low limit is 1.05 m."""
    printed = [150.0] * 5
    assert all_believed(frame(6, used_carry_m=[*printed, 149.0])) == {}
    two_steps = frame(8, used_carry_m=[*printed, 151.0, 149.0, 148.0])
    assert all_believed(two_steps).keys() == {7}


def test_nothing_measured_nothing_found(frame: MakeFrame) -> None:
    assert all_believed(frame(6)) == {}
    assert all_believed(frame(0)) == {}


# --- properties ---------------------------------------------------------------------------------------------------
WHOLE: Final = st.lists(st.integers(60, 140).map(float), min_size=12, max_size=12)


@SAME_FIXTURES
@given(carry=WHOLE, speed=WHOLE, data=st.data())
def test_order_of_rows_never_matters(
    frame: MakeFrame, carry: list[float], speed: list[float], data: st.DataObject
) -> None:
    order = data.draw(st.permutations(range(12)))
    shots = frame(12, set=[0] * 6 + [1] * 6, used_carry_m=carry, ball_speed_mps=speed)
    plain, shuffled = all_believed(shots), all_believed(shots[list(order)])
    assert shuffled == {place: plain[row] for place, row in enumerate(order) if row in plain}


@SAME_FIXTURES
@given(carry=WHOLE, wild=st.integers(0, 400).map(float))
def test_one_wild_shot_moves_no_fate_of_another_kind(frame: MakeFrame, carry: list[float], wild: float) -> None:
    kinds = ["driver"] * 6 + ["wedge"] * 6
    shots = frame(12, set=[0] * 6 + [1] * 6, category=kinds, used_carry_m=carry)
    moved = frame(12, set=[0] * 6 + [1] * 6, category=kinds, used_carry_m=[wild, *carry[1:]])
    before, after = all_believed(shots), all_believed(moved)
    assert {i: f for i, f in before.items() if i > 5} == {i: f for i, f in after.items() if i > 5}


@SAME_FIXTURES
@given(carry=WHOLE, further=st.floats(1.0, 1e4))
def test_how_wild_a_mishit_is_moves_no_other_fate(frame: MakeFrame, carry: list[float], further: float) -> None:
    """The lowest of 12 is never in the middle, so the median and the spread do not see how far it goes."""
    carry[0] = 0.0
    near = frame(12, used_carry_m=carry)
    far = frame(12, used_carry_m=[-further, *carry[1:]])
    others = [{i: f for i, f in all_believed(shots).items() if i} for shots in (near, far)]
    assert others[0] == others[1]


# --- measured rates -----------------------------------------------------------------------------------------------
def invented_visits(frame: MakeFrame, runs: int, thin: int = 0) -> tuple[float, float, float]:
    """Visits of four sets of eight shots: sets with a clean shot called a mishit, shots asked about, thin shots found.

    Normal shots, the carry following the ball speed; a thin shot loses 5 % of ball speed and 12 % of carry.
    """
    generator = np.random.default_rng(11)
    sets, odd = np.repeat(np.arange(4), 8), np.arange(thin) * 8 + 3
    false = asked = found = 0
    for _ in range(runs):
        speed = generator.normal(66.0, 0.9, 32)
        carry = 220 + 3.2 * (speed - 66) + generator.normal(0, 4.0, 32)
        speed[odd] *= 0.95
        carry[odd] *= 0.88
        shots = frame(
            32, set=sets, ball_speed_mps=speed, used_carry_m=carry, used_offline_m=generator.normal(0, 12, 32)
        )
        fates = all_believed(shots)
        out = {i for i, fate in fates.items() if fate.fate == "mishit"}
        asked += len(fates) - len(out)
        found += len(out & set(odd.tolist()))
        false += len({i // 8 for i in out - set(odd.tolist())})
    return false / (4 * runs), asked / (32 * runs), found / max(thin * runs, 1)


def test_clean_sets_rarely_lose_a_shot(frame: MakeFrame) -> None:
    """Three channels of 1.4 % each: 4 % of sets of eight (regression)."""
    false, asked, _ = invented_visits(frame, 300)
    assert abs(false - 0.039) < 4 * math.sqrt(0.039 * 0.961 / 1200)
    assert abs(asked - 0.0036) < 4 * math.sqrt(0.0036 * 0.9964 / 9600)


@pytest.mark.parametrize(("thin", "expected"), [(1, 0.90), (4, 0.83)])
def test_planted_thin_shots_are_found(frame: MakeFrame, thin: int, expected: float) -> None:
    """One thin shot in the visit or one in each set, which widens the spread of them all (regression)."""
    false, _, found = invented_visits(frame, 200, thin)
    assert abs(found - expected) < 4 * math.sqrt(expected * (1 - expected) / (200 * thin))
    assert false < 0.045


@pytest.mark.parametrize(("odd", "found"), [(99.0, {}), (90.0, {19: "slow_ball"})])
def test_the_next_printed_value_alone_is_no_mishit(frame: MakeFrame, odd: float, found: dict[int, str]) -> None:
    """Nineteen shots that print alike have no spread of their own; half a printed step stands in for it."""
    values = [100.0] * 10 + [101.0] * 9 + [odd]
    marked = all_believed(frame(20, ball_speed_mps=values))
    assert {row: fate.code for row, fate in marked.items()} == found
