"""Each rule just inside and just outside its limit. The shots are invented; limits are written out here on purpose."""

import math
from collections.abc import Callable
from typing import Final

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.analysis import bad_reads as module
from pipeline.analysis.bad_reads import bad_reads, resolution
from pipeline.records import Fate
from pipeline.resources import table

MakeFrame = Callable[..., pl.DataFrame]
NAN: Final = math.nan
SAME_FIXTURES: Final = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


def codes(frame: pl.DataFrame) -> dict[int, str]:
    found = bad_reads(frame)
    assert all(fate.fate == "bad_read" and fate.by == "rule" for fate in found.values())
    return {row: fate.code for row, fate in found.items()}


def test_every_rule_of_the_file_has_its_function_and_every_function_its_rule() -> None:
    assert list(table("flags")) == list(module._RULES)


def test_good_shots_are_not_in_the_result(drives: MakeFrame) -> None:
    assert bad_reads(drives(12)) == {}


# --- the ball was not seen ----------------------------------------------------------------------------------------
@pytest.mark.parametrize("missing", [None, NAN, math.inf])
def test_no_ball_speed_among_shots_that_have_it(frame: MakeFrame, missing: float | None) -> None:
    assert bad_reads(frame(3, ball_speed_mps=[60.0, missing, 61.0])) == {1: Fate("bad_read", "no_ball_speed", {})}


def test_a_device_that_never_reads_ball_speed_has_not_missed_it(frame: MakeFrame) -> None:
    assert codes(frame(3)) == {}
    two_files = frame(4, file=["a.csv", "a.csv", "b.csv", "b.csv"], ball_speed_mps=[60.0, NAN, NAN, NAN])
    assert codes(two_files) == {1: "no_ball_speed"}


def test_zero_spin_among_shots_with_spin(frame: MakeFrame) -> None:
    assert bad_reads(frame(3, spin_rate_rpm=[2500.0, 0.0, NAN])) == {1: Fate("bad_read", "zero_spin", {})}


def test_a_device_that_writes_zero_for_every_spin_does_not_read_it(frame: MakeFrame) -> None:
    assert codes(frame(3, spin_rate_rpm=0.0)) == {}
    two_files = frame(4, file=["a.csv", "a.csv", "b.csv", "b.csv"], spin_rate_rpm=[2500.0, 0.0, 0.0, 0.0])
    assert codes(two_files) == {1: "zero_spin"}


# --- speeds -------------------------------------------------------------------------------------------------------
def test_speed_ratio_limit(frame: MakeFrame) -> None:
    fast = frame(3, ball_speed_mps=[77.9, 78.1, 78.1], club_speed_mps=[50.0, 50.0, NAN])  # 1.558, 1.562
    found = bad_reads(fast)
    assert found.keys() == {1}
    assert found[1].code == "speed_ratio"
    assert found[1].figures == pytest.approx({"ball_speed_mps": 78.1, "club_speed_mps": 50.0, "ratio": 1.562})


@pytest.mark.parametrize(("printed", "flagged"), [(1.361, False), (1.359, True), (1.439, False), (1.441, True)])
def test_printed_ratio_limit_on_both_sides(frame: MakeFrame, printed: float, flagged: bool) -> None:  # noqa: FBT001
    found = bad_reads(frame(1, ball_speed_mps=70.0, club_speed_mps=50.0, smash_factor=printed))  # speeds say 1.40
    assert {row: fate.code for row, fate in found.items()} == ({0: "ratio_disagrees"} if flagged else {})
    if flagged:
        assert found[0].figures == pytest.approx({"printed_ratio": printed, "speeds_ratio": 1.4})


def test_a_ratio_alone_cannot_disagree(frame: MakeFrame) -> None:
    assert codes(frame(2, ball_speed_mps=70.0, club_speed_mps=[NAN, 50.0], smash_factor=[1.9, NAN])) == {}


# --- geometry -----------------------------------------------------------------------------------------------------
def test_launch_below_attack_limit(frame: MakeFrame) -> None:
    shots = frame(3, launch_angle_deg=[2.01, 1.99, 2.0], attack_angle_deg=3.0, spin_rate_rpm=2500.0)
    assert codes(shots) == {1: "launch_below_attack", 2: "launch_below_attack"}
    assert bad_reads(shots)[1].figures == {"launch_angle_deg": 1.99, "attack_angle_deg": 3.0}


@pytest.mark.parametrize("spin", [NAN, 0.0])
def test_launch_below_attack_needs_a_spin(frame: MakeFrame, spin: float) -> None:
    assert codes(frame(1, launch_angle_deg=-9.0, attack_angle_deg=3.0, spin_rate_rpm=spin)) == {}


def test_total_below_carry_limit(frame: MakeFrame) -> None:
    shots = frame(4, total_m=[90.01, 89.99, 120.0, NAN], carry_m=100.0)
    assert codes(shots) == {1: "total_below_carry"}
    assert bad_reads(shots)[1].figures == {"total_m": 89.99, "carry_m": 100.0}


# --- flight -------------------------------------------------------------------------------------------------------
def flights(frame: MakeFrame, name: str, odd: float, **columns: object) -> pl.DataFrame:
    """Six shots of which five are 1.00 times the model and the last is `odd` times it."""
    return frame(6, **{name: [100.0] * 5 + [100.0 * odd], f"model_{name}": 100.0, "spin_axis_deg": 1.0, **columns})


@pytest.mark.parametrize(
    ("name", "limit"),
    [("carry_m", 0.045), ("apex_m", 0.09), ("flight_time_s", 0.09), ("descent_angle_deg", 0.09)],
)
@pytest.mark.parametrize("sign", [-1, 1])
def test_flight_limit(frame: MakeFrame, name: str, limit: float, sign: int) -> None:
    assert codes(flights(frame, name, 1 + sign * (limit - 0.001))) == {}
    found = bad_reads(flights(frame, name, 1 + sign * (limit + 0.001)))
    assert found.keys() == {5}
    assert found[5].code == "flight_disagrees"
    assert found[5].figures == pytest.approx({name: 100 * (1 + sign * (limit + 0.001)), f"expected_{name}": 100.0})


@pytest.mark.parametrize(("name", "narrow", "wide"), [("carry_m", 0.045, 0.10), ("apex_m", 0.09, 0.20)])
def test_a_flight_may_fall_shorter_without_a_spin_axis(frame: MakeFrame, name: str, narrow: float, wide: float) -> None:
    unknown = {"spin_axis_deg": NAN}
    assert codes(flights(frame, name, 1 - wide + 0.001, **unknown)) == {}
    assert codes(flights(frame, name, 1 - wide - 0.001, **unknown)) == {5: "flight_disagrees"}
    assert codes(flights(frame, name, 1 + narrow - 0.001, **unknown)) == {}
    assert codes(flights(frame, name, 1 + narrow + 0.001, **unknown)) == {5: "flight_disagrees"}


@pytest.mark.parametrize(
    ("curve", "found"), [(4.9, {5: "flight_disagrees"}), (5.1, {}), (-4.9, {5: "flight_disagrees"})]
)
def test_a_ball_that_came_down_near_its_starting_line_did_not_curve(
    frame: MakeFrame, curve: float, found: dict[int, str]
) -> None:
    """Carry 92 where 100 is expected: only a curve explains it, and where the ball came down tells of one."""
    seen = {"launch_direction_deg": 3.0, "offline_m": 92 * math.tan(math.radians(3.0 + curve)), "spin_axis_deg": NAN}
    assert codes(flights(frame, "carry_m", 0.92, **seen)) == found
    assert codes(flights(frame, "carry_m", 0.92, **{**seen, "launch_direction_deg": NAN})) == {}
    assert codes(flights(frame, "carry_m", 0.92, **{**seen, "spin_axis_deg": 1.0})) == {5: "flight_disagrees"}


def test_flight_is_judged_against_the_visits_own_middle_ratio(frame: MakeFrame) -> None:
    """A range whose balls all fly 12 % short is no fault; the one shot that flies as the model says is."""
    short = frame(6, carry_m=[88.0] * 5 + [100.0], model_carry_m=100.0, spin_axis_deg=1.0)
    found = bad_reads(short)
    assert found.keys() == {5}
    assert found[5].figures == pytest.approx({"carry_m": 100.0, "expected_carry_m": 88.0})


def test_flight_of_uneven_ratios_is_judged_by_their_spread(frame: MakeFrame) -> None:
    """Ratios .96 .98 1 1.02 1.04 and the odd one: MAD .03, so 4.63 * 1.763788 * .03 = .2450 from the middle 1.01."""
    ratios = [96.0, 98.0, 100.0, 102.0, 104.0]
    inside, outside = 101 + 24.4, 101 + 24.6
    for odd, expected in ((inside, {}), (outside, {5: "flight_disagrees"})):
        assert codes(frame(6, carry_m=[*ratios, odd], model_carry_m=100.0, spin_axis_deg=1.0)) == expected


def test_flight_of_many_uneven_ratios_is_judged_by_four_spreads(frame: MakeFrame) -> None:
    """Six each of .97, 1 and 1.03, and the odd one: middle 1, MAD .03 of 19 shots, whose constant is 1.547206."""
    for beyond, expected in ((-0.1, {}), (0.1, {18: "flight_disagrees"})):
        ratios = [97.0, 100.0, 103.0] * 6
        odd = 100 + 4.0 * 1.547206 * 3.0 + beyond
        assert codes(frame(19, carry_m=[*ratios, odd], model_carry_m=100.0, spin_axis_deg=1.0)) == expected


def test_flight_needs_five_shots_of_a_kind(frame: MakeFrame) -> None:
    five = {"carry_m": [100.0] * 4 + [50.0], "model_carry_m": 100.0}
    assert codes(frame(5, **five)) == {4: "flight_disagrees"}
    assert codes(frame(5, **{**five, "model_carry_m": [100.0, NAN, 100.0, 100.0, 100.0]})) == {}


def test_kinds_of_club_are_judged_apart(frame: MakeFrame) -> None:
    """The model may be off by 10 % for wedges and by nothing for drivers, in one visit."""
    kinds = ["driver"] * 5 + ["wedge"] * 5 + [None] * 5
    carry = [100.0] * 5 + [90.0] * 5 + [120.0] * 4 + [100.0]
    shots = frame(15, category=kinds, carry_m=carry, model_carry_m=100.0, spin_axis_deg=0.0)
    assert codes(shots) == {14: "flight_disagrees"}


def test_each_file_has_its_own_pattern_and_small_files_share_one(frame: MakeFrame) -> None:
    """One device reads 10 % short of the other: right for each of its shots, wrong for a shot of the other."""
    files = ["a.csv"] * 6 + ["b.csv"] * 6
    shots = frame(
        12, file=files, carry_m=[100.0] * 5 + [90.0] + [90.0] * 5 + [100.0], model_carry_m=100.0, spin_axis_deg=0.0
    )
    assert codes(shots) == {5: "flight_disagrees", 11: "flight_disagrees"}
    few = ["a.csv"] * 3 + ["b.csv"] * 3
    joined = frame(6, file=few, carry_m=[100.0] * 5 + [80.0], model_carry_m=100.0, spin_axis_deg=0.0)
    assert codes(joined) == {5: "flight_disagrees"}


def test_the_carry_speaks_before_the_apex(frame: MakeFrame) -> None:
    shots = flights(frame, "apex_m", 0.5, carry_m=[100.0] * 5 + [50.0], model_carry_m=100.0)
    assert bad_reads(shots)[5].figures == pytest.approx({"carry_m": 50.0, "expected_carry_m": 100.0})


def test_a_misread_launch_is_found_through_its_flight(drives: MakeFrame) -> None:
    """The carry of the drive is kept while the spin of one shot is doubled after the fact."""
    good = drives(8)
    spin = good["spin_rate_rpm"].to_list()
    spin[4] *= 2
    wrong = drives(8, spin_rate_rpm=spin)
    kept = {name: good[name] for name in ("carry_m", "total_m", "apex_m", "flight_time_s", "descent_angle_deg")}
    assert codes(wrong.with_columns(**kept)) == {4: "flight_disagrees"}


# --- repeats ------------------------------------------------------------------------------------------------------
def fine(count: int = 8) -> dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Invented shots printed to 0.01 m/s, 0.1 degrees and 1 rpm: a chance match is next to impossible."""
    generator = np.random.default_rng(4)
    return {
        "ball_speed_mps": np.round(generator.normal(60, 1.1, count), 2),
        "launch_angle_deg": np.round(generator.normal(14, 1.5, count), 1),
        "spin_rate_rpm": np.round(generator.normal(3000, 250, count)),
    }


def test_a_repeated_row_is_found_and_names_the_first(frame: MakeFrame) -> None:
    columns = {name: np.append(values, values[[2, 2]]) for name, values in fine().items()}
    found = bad_reads(frame(10, **columns))
    assert found == {
        8: Fate("bad_read", "duplicate", {"first_number": 3.0}),
        9: Fate("bad_read", "duplicate", {"first_number": 3.0}),
    }


@pytest.mark.parametrize("name", ["ball_speed_mps", "launch_angle_deg", "spin_rate_rpm"])
def test_one_different_figure_makes_it_another_shot(frame: MakeFrame, name: str) -> None:
    columns = {key: np.append(values, values[2]) for key, values in fine().items()}
    assert codes(frame(9, **columns)) == {8: "duplicate"}
    columns[name][8] += 1.0
    assert codes(frame(9, **columns)) == {}


def test_the_same_figures_with_another_club_are_another_shot(frame: MakeFrame) -> None:
    columns = {key: np.append(values, values) for key, values in fine().items()}
    assert codes(frame(16, set=[0] * 8 + [1] * 8, **columns)) == {}


def test_coarse_rounding_makes_a_chance_match_believable(frame: MakeFrame) -> None:
    """Printed to 1, 1 and 100 the same shots may well print alike: no repeat without more evidence."""
    coarse = {
        "ball_speed_mps": [60.0, 61.0, 59.0, 60.0, 62.0, 60.0],
        "launch_angle_deg": [14.0, 13.0, 15.0, 16.0, 12.0, 14.0],
        "spin_rate_rpm": [3000.0, 2900.0, 3200.0, 2700.0, 3300.0, 3000.0],
    }
    assert codes(frame(6, **coarse)) == {}


@pytest.mark.parametrize(("rarer", "expected"), [(1.03, {4: "duplicate"}), (0.97, {})])
def test_chance_limit(frame: MakeFrame, rarer: float, expected: dict[int, str]) -> None:
    """The chance is prod res / (2 sqrt(pi) sd): steps and spreads are chosen to put it just below or above 1e-4."""
    shape = np.array([0.0, 1.0, 3.0, 7.0, 7.0])  # step 1
    one = 1 / (2 * math.sqrt(math.pi) * float(np.std(shape, ddof=1)))
    wanted = 1e-4 / one**2 / rarer
    reach = brought_to(wanted)
    spin = np.array([0.0, 1.0, reach, 2 * reach, 2 * reach])
    columns = {"ball_speed_mps": 60 + shape, "launch_angle_deg": 5 + shape, "spin_rate_rpm": 2000 + spin}
    assert codes(frame(5, **columns)) == expected


def brought_to(chance: float) -> float:
    """Give r so that (0, 1, r, 2r, 2r) with its step of 1 has that chance of a match, by halving."""
    low, high = 2.0, 1e6
    for _ in range(80):
        middle = (low + high) / 2
        sd = float(np.std([0.0, 1.0, middle, 2 * middle, 2 * middle], ddof=1))
        low, high = (middle, high) if 1 / (2 * math.sqrt(math.pi) * sd) > chance else (low, middle)
    return low


def test_a_figure_that_never_changes_proves_nothing(frame: MakeFrame) -> None:
    """Three shots at 44.7 have a spread of 9e-15 in floating point; a chance match stays believable."""
    shots = frame(3, ball_speed_mps=44.7, launch_angle_deg=12.3, spin_rate_rpm=[3000.0, 3000.0, 3100.0])
    assert codes(shots) == {}
    assert codes(frame(3, ball_speed_mps=44.7, launch_angle_deg=12.3, spin_rate_rpm=3000.0)) == {}


def test_a_missing_figure_is_never_a_repeat(frame: MakeFrame) -> None:
    columns = {key: np.append(values, values[2]) for key, values in fine().items()}
    columns["spin_rate_rpm"][[2, 8]] = NAN
    assert codes(frame(9, **columns)) == {}
    # two known shots say nothing of the rounding
    assert codes(frame(2, ball_speed_mps=44.71, launch_angle_deg=12.3, spin_rate_rpm=3011.0)) == {}


@pytest.mark.parametrize(
    ("values", "step"),
    [
        ([], 0.0),
        ([NAN, 3.0], 0.0),
        ([2.0, 2.0], 0.0),
        ([5.0, 1.0, 2.5, 1.0, NAN], 1.5),
        ([3.0, 1.0, 2.75], 0.25),
        ([0.3, 0.1 + 0.2, 1.3], 1.0),  # the same printed value from two units
    ],
)
def test_resolution_is_the_smallest_step(values: list[float], step: float) -> None:
    assert resolution(np.array(values, dtype=np.float64)) == pytest.approx(step)


# --- together -----------------------------------------------------------------------------------------------------
def test_the_first_rule_of_the_file_gives_the_reason(frame: MakeFrame) -> None:
    shots = frame(
        2,
        ball_speed_mps=[80.0, 60.0],
        club_speed_mps=[45.0, 45.0],
        smash_factor=[1.2, 1.2],
        total_m=50.0,
        carry_m=150.0,
    )
    assert codes(shots) == {0: "speed_ratio", 1: "ratio_disagrees"}


@SAME_FIXTURES
@given(data=st.data())
def test_order_of_rows_never_matters(drives: MakeFrame, data: st.DataObject) -> None:
    """Except to which of two equal rows is the repeat, so there is none here."""
    speeds = drives(9)["ball_speed_mps"].to_list()
    shots = drives(9, ball_speed_mps=[*speeds[:8], NAN], total_m=[100.0, *[260.0] * 8], set=[0, 1] * 4 + [0])
    order = data.draw(st.permutations(range(9)))
    plain, shuffled = codes(shots), codes(shots[list(order)])
    assert shuffled == {place: plain[row] for place, row in enumerate(order) if row in plain}
    assert plain == {0: "total_below_carry", 8: "no_ball_speed"}


@SAME_FIXTURES
@given(wild=st.floats(0.0, 400.0), row=st.integers(0, 11))
def test_one_wild_carry_condemns_no_other_shot(drives: MakeFrame, wild: float, row: int) -> None:
    """The tolerance never falls below 4.5 %, and one of twelve cannot move the middle ratio that far."""
    carry = drives(12)["carry_m"].to_list()
    carry[row] = wild
    total = [400.0] * 12
    assert codes(drives(12, carry_m=carry, total_m=total)).keys() <= {row}
