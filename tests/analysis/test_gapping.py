"""The steps of a bag. All carries are invented."""

from typing import Final

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from pipeline.analysis.averages import average
from pipeline.analysis.comparison import shots_needed
from pipeline.analysis.expectation import farther_share
from pipeline.analysis.gapping import HOLE_M, OVERLAP_M, gapping

Floats = NDArray[np.float64]
SHAPE: Final = np.array([-3.0, -1.0, 0.0, 1.0, 3.0, 0.0])


def bag(*carries: float, spread: float = 1.0) -> list[tuple[int, Floats]]:
    return [(i + 10, carry + spread * SHAPE) for i, carry in enumerate(carries)]


def test_clubs_stand_by_carry_with_their_interval() -> None:
    sets = [*bag(150.0, 170.0, 160.0), (20, np.array([99.0, 98.0])), (21, np.array([]))]
    found = gapping(sets, 4.0)
    assert [club.set_index for club in found.clubs] == [11, 12, 10]
    assert found.left_out == (20, 21)
    mean = average("carry_m", "measured", sets[1][1], sets[1][1])
    assert mean is not None
    first = found.clubs[0]
    assert (first.n, first.carry_m, first.low, first.high, first.sd) == (6, 170.0, mean.low, mean.high, mean.sd)
    assert [(gap.longer, gap.shorter) for gap in found.gaps] == [(11, 12), (12, 10)]


def test_each_figure_of_a_gap() -> None:
    """Three clubs, two gaps: each interval at 97.5 %."""
    sets = bag(170.0, 158.0, 149.0, spread=2.0)
    gap = gapping(sets, 4.0).gaps[0]
    low, high = stats.ttest_ind(sets[0][1], sets[1][1], equal_var=False).confidence_interval(0.975)
    assert gap.gap_m == pytest.approx(12.0)
    assert [gap.low, gap.high] == pytest.approx([low, high])
    assert gap.shorter_farther == farther_share(sets[1][1], sets[0][1])[0]
    assert 0.0 < gap.shorter_farther < 0.1


@pytest.mark.parametrize(
    ("step", "looks"),
    [(OVERLAP_M - 0.1, "overlap"), (OVERLAP_M + 0.1, "even"), (HOLE_M - 0.1, "even"), (HOLE_M + 0.1, "hole")],
)
def test_what_a_gap_looks_like(step: float, looks: str) -> None:
    assert pytest.approx([6 * 0.9144, 20 * 0.9144]) == [OVERLAP_M, HOLE_M]
    (gap,) = gapping(bag(150.0 + step, 150.0, spread=0.001), 4.0).gaps
    assert (gap.looks, gap.may_be, gap.settled, gap.more_shots) == (looks, (looks,), True, None)


@pytest.mark.parametrize(("step", "looks"), [(4.0, "overlap"), (7.0, "even"), (17.0, "even"), (20.0, "hole")])
def test_a_gap_whose_interval_crosses_a_limit_is_not_settled(step: float, looks: str) -> None:
    sets = bag(150.0 + step, 150.0, spread=2.0)
    (gap,) = gapping(sets, 4.0).gaps
    sd = float(np.std(sets[0][1], ddof=1))
    wanted = shots_needed(sd, sd, 4.0, 1)
    assert wanted is not None
    assert (gap.looks, gap.settled) == (looks, False)
    assert gap.more_shots == (wanted - 6 if wanted > 6 else None)


def test_a_gap_may_be_all_its_interval_reaches() -> None:
    assert gapping(bag(154.0, 150.0, spread=2.0), 4.0).gaps[0].may_be == ("overlap", "even")
    assert gapping(bag(167.0, 150.0, spread=2.0), 4.0).gaps[0].may_be == ("even", "hole")
    assert gapping(bag(160.0, 150.0, spread=9.0), 4.0).gaps[0].may_be == ("overlap", "even", "hole")


def test_more_shots_are_counted_from_the_smaller_set_and_none_where_they_tell_no_more_or_are_out_of_reach() -> None:
    near = gapping(bag(154.0, 150.0), 50.0).gaps[0]
    assert (near.settled, near.more_shots) == (False, None)  # narrow enough already: the step lies near a limit
    far = gapping(bag(154.0, 150.0, spread=9.0), 1.0).gaps[0]
    assert (far.settled, far.more_shots) == (False, None)
    few = [(0, 154.0 + 2 * np.tile(SHAPE, 2)), (1, 150.0 + 2 * SHAPE[:4])]
    wanted = shots_needed(float(np.std(few[0][1], ddof=1)), float(np.std(few[1][1], ddof=1)), 3.0, 1)
    assert wanted is not None
    assert gapping(few, 3.0).gaps[0].more_shots == wanted - 4


def test_gaps_share_the_error_of_the_whole_bag() -> None:
    two, five = gapping(bag(170.0, 158.0), 4.0), gapping(bag(170.0, 158.0, 146.0, 134.0, 122.0), 4.0)
    assert five.gaps[0].high - five.gaps[0].low > 1.2 * (two.gaps[0].high - two.gaps[0].low)


def test_a_gap_is_less_sure_where_mishits_were_set_aside() -> None:
    plain, wide = (gapping(bag(170.0, 158.0), 4.0, aside).gaps[0] for aside in ({}, {11: 2}))
    assert wide.gap_m == plain.gap_m
    assert wide.high - wide.low > 1.1 * (plain.high - plain.low)


def test_limits_are_the_studios() -> None:
    (gap,) = gapping(bag(158.0, 150.0, spread=0.01), 4.0, overlap_m=9.0, hole_m=30.0).gaps
    assert (gap.looks, gap.settled) == ("overlap", True)
    (gap,) = gapping(bag(158.0, 150.0, spread=0.01), 4.0, overlap_m=1.0, hole_m=7.0).gaps
    assert (gap.looks, gap.settled) == ("hole", True)


def test_one_club_or_none_has_no_gap() -> None:
    assert gapping(bag(150.0), 4.0).gaps == ()
    empty = gapping([], 4.0)
    assert (empty.clubs, empty.gaps, empty.left_out) == ((), (), ())
