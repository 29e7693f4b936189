"""Bad reads that only their set gives away, just inside and just outside each limit. All shots are invented."""

import math
from collections.abc import Callable
from typing import Any, Final

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.bad_reads import bad_reads
from pipeline.analysis.set_rules import sets_of_kinds, spin_unlike_set, too_fast_for_club
from pipeline.records import Fate

MakeFrame = Callable[..., pl.DataFrame]
NAN: Final = math.nan
# Median 0, median absolute deviation 0.015 whatever the last does, so a spread of 1.671843 * 0.015 for eight shots.
LOGS: Final = np.array([-0.03, -0.02, -0.01, -0.005, 0.005, 0.01, 0.02, 0.03])
SPREAD: Final = 1.671843 * 0.015


def fast(frame: MakeFrame, logs: object, **columns: object) -> list[int]:
    """Rows marked among shots whose ratios are 1.35 times exp(logs), at 40 m/s of club speed."""
    ratio = 1.35 * np.exp(np.asarray(logs))
    shots = frame(len(ratio), **{"ball_speed_mps": 40 * ratio, "club_speed_mps": 40.0, "category": "iron", **columns})
    mask, of, middle = too_fast_for_club(shots)
    assert of == pytest.approx(ratio, nan_ok=True)
    assert np.isfinite(middle[mask]).all()
    return np.flatnonzero(mask).tolist()


def spun(frame: MakeFrame, times: object, **columns: object) -> list[int]:
    """Rows marked among shots that spin 6000 rpm times `times`."""
    spin = 6000 * np.asarray(times, dtype=float)
    plain = {"spin_rate_rpm": spin, "ball_speed_mps": 54.0, "launch_angle_deg": 18.0, "category": "iron"}
    mask, of, _ = spin_unlike_set(frame(len(spin), **{**plain, **columns}))
    assert of[mask] == pytest.approx(spin[mask])
    return np.flatnonzero(mask).tolist()


# --- the ratio of the speeds --------------------------------------------------------------------------------------
@pytest.mark.parametrize(("over", "found"), [(1.0399, []), (1.0401, [4]), (0.8, [])])
def test_a_ratio_above_all_others(frame: MakeFrame, over: float, found: list[int]) -> None:
    assert fast(frame, [0.0] * 4 + [math.log(over)]) == found


@pytest.mark.parametrize(("beyond", "found"), [(-0.001, []), (0.001, [7])])
def test_uneven_ratios_are_judged_by_their_own_spread(frame: MakeFrame, beyond: float, found: list[int]) -> None:
    """The one-sided cut of eight shots alone is 3.60 spreads: 0.0903, more than the share of 4 %."""
    assert fast(frame, [*LOGS[:7], 3.60 * SPREAD + beyond]) == found
    assert fast(frame, [*LOGS[:7], -1.0]) == []


def test_another_set_of_the_kind_lends_its_spread_and_keeps_its_own_middle(frame: MakeFrame) -> None:
    logs = [*LOGS[:7], 0.11, *(4 * LOGS + 0.3)]
    sets = [0] * 8 + [1] * 8
    assert fast(frame, logs, set=sets) == []
    assert fast(frame, logs, set=sets, category=["iron"] * 8 + ["wedge"] * 8) == [7]
    assert fast(frame, [*LOGS, *(LOGS + 0.3)], set=sets) == []


@pytest.mark.parametrize("missing", ["ball_speed_mps", "club_speed_mps"])
@pytest.mark.parametrize("value", [NAN, 0.0])
def test_fewer_than_five_known_ratios_prove_nothing(frame: MakeFrame, missing: str, value: float) -> None:
    speeds: dict[str, Any] = {"ball_speed_mps": [54.0] * 4 + [70.0], "club_speed_mps": [40.0] * 5}
    shots = frame(5, **speeds)
    assert np.flatnonzero(too_fast_for_club(shots)[0]).tolist() == [4]
    speeds[missing] = [value, *speeds[missing][1:]]
    with np.errstate(divide="ignore", invalid="ignore"):
        assert not too_fast_for_club(frame(5, **speeds))[0].any()


@pytest.mark.parametrize(
    ("kind", "ratio", "code"), [("driver", 1.46, "speed_ratio"), ("iron", 1.34, "too_fast_for_club")]
)
def test_a_ball_speed_15_percent_high_is_caught_whatever_the_club_and_without_a_printed_ratio(
    frame: MakeFrame, kind: str, ratio: float, code: str
) -> None:
    generator = np.random.default_rng(4)
    club = generator.normal(40.0, 0.6, 8)
    ball = club * ratio * (1 + generator.normal(0, 0.008, 8))
    ball[5] *= 1.15
    printed = (ball / club).round(2)
    printed[5] = NAN  # out of the possible range, so reading has left it blank
    for smash in (printed, ball / club):
        found = bad_reads(frame(8, category=kind, ball_speed_mps=ball, club_speed_mps=club, smash_factor=smash))
        assert {row: fate.code for row, fate in found.items()} == {5: code}


def test_the_figures_behind_a_ball_too_fast(frame: MakeFrame) -> None:
    shots = frame(5, ball_speed_mps=[54.0] * 4 + [60.0], club_speed_mps=40.0)
    (found,) = bad_reads(shots).values()
    assert found == Fate("bad_read", "too_fast_for_club", found.figures)
    assert found.figures == pytest.approx({"ratio": 1.5, "middle_ratio": 1.35})


# --- spin ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("times", "found"), [(1.499, []), (1.501, [4]), (1 / 1.499, []), (1 / 1.501, [4])])
def test_spin_unlike_the_set(frame: MakeFrame, times: float, found: list[int]) -> None:
    assert spun(frame, [1.0] * 4 + [times]) == found


@pytest.mark.parametrize(("beyond", "found"), [(-0.001, []), (0.001, [7])])
@pytest.mark.parametrize("side", [1, -1])
def test_uneven_spins_are_judged_by_their_own_spread(
    frame: MakeFrame, side: int, beyond: float, found: list[int]
) -> None:
    """Five times as uneven as above, so the two-sided cut of 4.37 spreads is 0.548, more than log 1.5 = 0.405."""
    logs = 5 * side * LOGS
    logs[7] = side * (4.37 * 5 * SPREAD + beyond)
    assert spun(frame, np.exp(logs)) == found


@pytest.mark.parametrize(("speed", "found"), [(0.971, [4]), (0.969, []), (1.2, [4]), (NAN, []), (0.0, [])])
def test_a_slow_ball_may_spin_otherwise(frame: MakeFrame, speed: float, found: list[int]) -> None:
    """A thin or low strike spins more and costs speed; six shots know their speed even where one does not."""
    speeds = 54.0 * np.array([1.0, 1.0, 1.0, 1.0, speed, 1.0])
    assert spun(frame, [1.0] * 4 + [2.0, 1.0], ball_speed_mps=speeds) == found


@pytest.mark.parametrize(("launch", "found"), [(3.9, [4]), (4.1, []), (-3.9, [4]), (-4.1, []), (NAN, [4])])
def test_another_launch_may_spin_otherwise(frame: MakeFrame, launch: float, found: list[int]) -> None:
    assert spun(frame, [1.0] * 4 + [2.0], launch_angle_deg=[18.0] * 4 + [18.0 + launch]) == found


def test_spins_not_read_neither_count_nor_are_judged(frame: MakeFrame) -> None:
    assert spun(frame, [1.0, 1.0, 1.0, 2.0, 0.0]) == []
    assert spun(frame, [1.0, 1.0, 1.0, 1.0, 2.0, 0.0, NAN]) == [4]
    assert spun(frame, [NAN] * 6) == []


def test_the_figures_behind_a_spin(frame: MakeFrame) -> None:
    shots = frame(5, spin_rate_rpm=[2600.0] * 4 + [5200.0], ball_speed_mps=70.0, launch_angle_deg=13.0)
    assert bad_reads(shots).keys() == {4}
    found = bad_reads(shots)[4]
    assert found.code == "spin_unlike_set"
    assert found.figures == pytest.approx({"spin_rate_rpm": 5200.0, "middle_spin_rate_rpm": 2600.0})


# --- sets of kinds ------------------------------------------------------------------------------------------------
def test_shots_are_parted_by_kind_and_set(frame: MakeFrame) -> None:
    shots = frame(7, category=["driver", "iron", "driver", None, "iron", "driver", None], set=[0, 1, 2, 3, 1, 0, 3])
    sets, kinds = sets_of_kinds(shots, np.arange(6))
    assert sets.tolist() == [0, 1, 2, 3, 1, 0]
    assert kinds.tolist() == [0, 1, 0, 2]
    sets, kinds = sets_of_kinds(shots, np.array([3, 5, 6]))
    assert sets.tolist() == [0, 1, 0]
    assert len(set(kinds.tolist())) == 2


def test_sets_of_two_visits_are_different_ones(frame: MakeFrame) -> None:
    shots = frame(4, category=["driver"] * 4, set=[0, 0, 0, 0]).with_columns(visit=pl.Series([0, 0, 1, 1]))
    sets, kinds = sets_of_kinds(shots, np.arange(4))
    assert sets.tolist() == [0, 0, 1, 1]
    assert kinds.tolist() == [0, 1]
