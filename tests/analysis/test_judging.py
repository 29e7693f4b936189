"""What is said beyond the averages, from the shots of whole visits. All shots are invented."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.accuracy import accuracy
from pipeline.analysis.expectation import STATED, expect
from pipeline.analysis.judging import Worth, judge
from pipeline.analysis.strokes import exchange
from pipeline.judgements import BetweenClubs, History, Judged, KindHistory, TypicalSpread
from pipeline.records import Average, Build, Comparison, Fate, SetResult, ShotSet

MakeFrame = Callable[..., pl.DataFrame]
Said = tuple[tuple[Comparison, ...], Judged]
NAN: Final = math.nan
COUNTED, ASKED, MISHIT, BAD = Fate("counted"), Fate("asked"), Fate("mishit"), Fate("bad_read")
WORTH: Final = Worth(5.0, 30.0, 365.76)
CARRY: Final = {"carry_m": "measured"}
KNOWN: Final = {"carry_m": Average("carry_m", "measured", 4, 200.0, 200.0, 2.0, 198.0, 202.0, 200.0)}


def club(
    index: int,
    category: str | None = "driver",
    *,
    own: bool = False,
    uneven: bool = False,
    number: int | None = None,
) -> SetResult:
    build = Build(f"club {index}", category, number=number)
    which = ShotSet(index, "ABCDEFGH"[index], build.label, "", build, own)
    return SetResult(which, 0, 0, 0, 0, KNOWN, None, None, uneven)


def judged(
    results: Sequence[SetResult],
    shots: pl.DataFrame,
    fates: Sequence[Fate] | None = None,
    sources: dict[str, str] = CARRY,
    worth: Worth = WORTH,
) -> Said:
    return judge(results, shots, fates or [COUNTED] * shots.height, sources, worth)


def in_blocks(frame: MakeFrame, carries: Sequence[Sequence[float]], **columns: object) -> pl.DataFrame:
    """Sets hit one after the other."""
    index = [i for i, values in enumerate(carries) for _ in values]
    return frame(len(index), set=index, used_carry_m=[v for values in carries for v in values], **columns)


# --- comparisons --------------------------------------------------------------------------------------------------
BLOCKS: Final = [[200.0, 202, 198, 200], [210.0, 212, 208, 50], [90.0] * 4, [205.0, 207, 203, NAN]]


def four_sets() -> list[SetResult]:
    return [club(0, own=True), club(1), club(2, "wedge"), club(3)]


def test_only_clubs_that_do_the_own_clubs_job_are_compared_by_shots_that_count(frame: MakeFrame) -> None:
    shots = in_blocks(frame, BLOCKS)
    fates = [COUNTED] * 3 + [ASKED] + [COUNTED] * 3 + [MISHIT] + [COUNTED] * 8
    found, _ = judged(four_sets(), shots, fates)
    assert [(c.build, c.against, c.compared, c.difference) for c in found] == [(1, 0, 2, 10.0), (3, 0, 2, 5.0)]
    assert [(c.n_build, c.n_against, c.quantity, c.method) for c in found] == [
        (3, 4, "carry_m", "welch"),
        (3, 4, "carry_m", "welch"),
    ]
    fewer, _ = judged(four_sets(), shots, [COUNTED] * 13 + [BAD, COUNTED, COUNTED])
    assert [(c.build, c.compared) for c in fewer] == [(1, 1)]


LEARNED: Final = KindHistory("driver", 120, BetweenClubs(9.0, 60.0, "history"), TypicalSpread(2.0, 20.0))


def test_what_the_studio_has_learned_of_the_own_clubs_kind_is_believed(frame: MakeFrame) -> None:
    shots = in_blocks(frame, BLOCKS)
    fates = [COUNTED] * shots.height
    samples = [(1, np.array(BLOCKS[1])), (3, np.array(BLOCKS[3][:3]))]
    other = replace(LEARNED, kind="iron", between=BetweenClubs(1.0, 60.0, "history"))
    _, found = judge(four_sets(), shots, fates, CARRY, WORTH, History((other, LEARNED)))
    assert (found.prior, found.history_customers) == (LEARNED.between, 120)
    assert found.expectations == expect(0, np.array(BLOCKS[0]), samples, LEARNED.between, LEARNED.shots)
    for unknown in (None, History((other,))):
        _, stated = judge(four_sets(), shots, fates, CARRY, WORTH, unknown)
        assert (stated.prior, stated.history_customers) == (STATED, 0)
        assert stated.expectations == expect(0, np.array(BLOCKS[0]), samples)
        assert stated.expectations != found.expectations
    _, nothing = judge(four_sets()[:1], shots.head(4), fates[:4], CARRY, WORTH, History((LEARNED,)))
    assert (nothing.prior, nothing.history_customers) == (None, 0)


def test_mishits_widen_the_interval_of_their_set(frame: MakeFrame) -> None:
    values = [200.0, 202, 198, 200, 204]
    results = [club(0, own=True), replace(club(1), n_mishit=2)]
    for turns in (False, True):
        order = [0, 1] * 5 if turns else [0] * 5 + [1] * 5
        shots = frame(10, set=order, used_carry_m=[*values, *values] if not turns else np.repeat(values, 2).tolist())
        wide, plain = (judged(r, shots)[0][0] for r in (results, [club(0, own=True), club(1)]))
        assert wide.difference == pytest.approx(plain.difference)
        assert wide.high - wide.low > 1.1 * (plain.high - plain.low)


def test_another_number_is_another_club(frame: MakeFrame) -> None:
    sets = [club(0, "iron", own=True, number=7), club(1, "iron", number=7), club(2, "iron", number=8)]
    shots = in_blocks(frame, [[150.0, 152, 148], [151.0, 153, 149], [140.0, 142, 138]])
    assert [c.build for c in judged(sets, shots)[0]] == [1]


@pytest.mark.parametrize(("uneven", "compared"), [((), [1, 3]), ((1,), [3]), ((0,), [])])
def test_a_set_too_uneven_to_average_is_not_compared(
    frame: MakeFrame, uneven: Sequence[int], compared: list[int]
) -> None:
    sets = [club(i, "wedge" if i == 2 else "driver", own=i == 0, uneven=i in uneven) for i in range(4)]
    found, said = judged(sets, in_blocks(frame, [[200.0, 202, 198, 200, 201]] * 4))
    assert [c.build for c in found] == compared
    assert [e.build for e in said.expectations] == compared
    assert [e.build for e in said.orders] == compared


def test_the_smallest_difference_reaches_the_verdict(frame: MakeFrame) -> None:
    shots = in_blocks(frame, [[199.0, 201.0] * 4, [199.0, 201.0] * 4])
    sets = [club(0, own=True), club(1)]
    said = [judged(sets, shots, worth=Worth(worth, 30.0, 400.0))[0][0].verdict for worth in (1.0, 2.0)]
    assert said == ["not_settled", "same"]


def test_without_carry_nothing_is_said(frame: MakeFrame) -> None:
    shots = in_blocks(frame, BLOCKS, used_offline_m=1.0)
    assert judged(four_sets(), shots, sources={"offline_m": "measured"}) == ((), Judged())


def test_clubs_of_unknown_kind_are_compared_with_each_other(frame: MakeFrame) -> None:
    shots = in_blocks(frame, [[1.0, 2.0, 3.0, 4.0]] * 3)
    assert [c.build for c in judged([club(0, None, own=True), club(1, None), club(2)], shots)[0]] == [1]


def test_a_constant_added_to_a_build_shifts_its_difference_alone(frame: MakeFrame) -> None:
    moved = [BLOCKS[0], [v + 7 for v in BLOCKS[1]], *BLOCKS[2:]]
    before, after = (judged(four_sets(), in_blocks(frame, blocks))[0] for blocks in (BLOCKS, moved))
    assert after[0].difference == pytest.approx(before[0].difference + 7.0)
    assert [after[0].low, after[0].high] == pytest.approx([before[0].low + 7, before[0].high + 7])
    assert after[1] == before[1]


def test_expectations_are_those_of_the_compared_clubs_under_the_stated_prior(frame: MakeFrame) -> None:
    _, said = judged(four_sets(), in_blocks(frame, BLOCKS))
    own, first, _, third = (np.array([v for v in block if not math.isnan(v)]) for block in BLOCKS)
    assert said.expectations == expect(0, own, [(1, first), (3, third)])
    assert said.prior == STATED
    assert judged([club(0, own=True)], in_blocks(frame, BLOCKS[:1]))[1].prior is None


# --- order --------------------------------------------------------------------------------------------------------
def test_clubs_hit_in_turn_are_compared_with_the_place_allowed_for(frame: MakeFrame) -> None:
    """One yard lost a shot; own club and build in fives, so the plain difference is five shots too small."""
    order = np.repeat([0, 1, 0, 1], 5)
    carry = 200.0 + 8 * order - 0.9 * np.arange(20) + np.tile([0.3, -0.3], 10)
    shots = frame(20, set=order.tolist(), used_carry_m=carry.tolist())
    (found,), said = judged([club(0, own=True), club(1)], shots)
    assert found.difference == pytest.approx(8.0, abs=0.2)
    assert found.method == "welch_with_shot_number"
    assert said.orders[0].plain_difference == pytest.approx(8 - 4.5, abs=0.2)
    assert said.orders[0].adjusted


def test_the_clock_goes_before_the_order_of_the_files(frame: MakeFrame) -> None:
    """Two files, one club each; the times tell that the clubs were hit in turn."""
    times = [f"2026-11-25T10:{2 * i:02}:00" for i in range(6)] + [f"2026-11-25T10:{2 * i + 1:02}:00" for i in range(6)]
    carries = [[200.0, 201, 199, 202, 198, 200]] * 2
    sets = [club(0, own=True), club(1)]
    assert judged(sets, in_blocks(frame, carries, time=times))[1].orders[0].adjusted
    assert not judged(sets, in_blocks(frame, carries))[1].orders[0].adjusted


# --- accuracy -----------------------------------------------------------------------------------------------------
SIDES: Final = [3.0, -5.0, 4.0, NAN, 8.0, -2.0, 60.0, 1.0]


def test_accuracy_of_the_shots_with_a_side(frame: MakeFrame) -> None:
    carry = [200.0, 203.0, 198.0, 205.0, 196.0, 201.0, 150.0, NAN]
    shots = frame(8, used_carry_m=carry, used_offline_m=SIDES)
    result = SetResult(club(0, own=True).set, 7, 1, 0, 0, KNOWN, None, None, uneven=False)
    fates = [COUNTED] * 6 + [MISHIT, COUNTED]
    _, said = judged([result], shots, fates, {**CARRY, "offline_m": "measured"})
    kept = [0, 1, 2, 4, 5]
    both = np.array(carry)[kept], np.array(SIDES)[kept]
    assert said.accuracies == (accuracy(0, *both, 6, 30.0),)  # five with a side and one mishit


def test_without_sides_there_is_no_accuracy_but_the_depths_are_compared(frame: MakeFrame) -> None:
    shots = in_blocks(frame, [[200.0, 202, 198, 200]] * 2, used_offline_m=1.0)
    _, said = judged([club(0, own=True), club(1)], shots)
    assert said.accuracies == ()
    assert [(s.build, s.quantity) for s in said.spreads] == [(1, "carry_m")]


def test_spreads_are_compared_across_and_along(frame: MakeFrame) -> None:
    shots = in_blocks(frame, [[200.0, 202, 198, 200]] * 2, used_offline_m=[1.0, -1, 2, 3, -10.0, 9, 14, -3])
    _, said = judged([club(0, own=True), club(1)], shots, sources={**CARRY, "offline_m": "measured"})
    assert [(s.quantity, s.n_build, s.n_against) for s in said.spreads] == [("offline_m", 4, 4), ("carry_m", 4, 4)]
    assert said.spreads[0].ratio > 4
    assert said.spreads[1].ratio == 1.0


# --- exchange -----------------------------------------------------------------------------------------------------
def with_total(result: SetResult, total_m: float) -> SetResult:
    average = Average("total_m", "measured", 8, total_m, total_m, 5.0, total_m - 4, total_m + 4, total_m)
    return SetResult(result.set, 8, 0, 0, 0, {"total_m": average}, None, None, result.uneven)


def test_the_rate_of_exchange_is_for_what_the_own_drive_leaves(frame: MakeFrame) -> None:
    shots = in_blocks(frame, [[200.0, 202, 198, 200]])
    _, said = judged([with_total(club(0, own=True), 220.0)], shots)
    assert said.exchange == exchange(365.76, 220.0)
    assert said.exchange is not None


@pytest.mark.parametrize(
    "result",
    [
        club(0, own=True),  # no total
        with_total(club(0, "iron", own=True), 220.0),
        with_total(club(0, own=True, uneven=True), 220.0),
        with_total(club(0, own=True), 360.0),  # on the green
    ],
)
def test_no_rate_of_exchange(frame: MakeFrame, result: SetResult) -> None:
    assert judged([result], in_blocks(frame, [[200.0, 202, 198, 200]]))[1].exchange is None


# --- bag ----------------------------------------------------------------------------------------------------------
def irons(*numbers: int) -> list[SetResult]:
    return [club(i, "iron", own=i == 0, number=number) for i, number in enumerate(numbers)]


def test_three_clubs_of_different_jobs_are_a_bag(frame: MakeFrame) -> None:
    carries = [[150.0, 151, 149], [162.0, 163, 161], [138.0, 139, 137]]
    bag = judged(irons(7, 6, 8), in_blocks(frame, carries))[1].bag
    assert bag is not None
    assert [c.set_index for c in bag.clubs] == [1, 0, 2]
    assert [(g.longer, g.shorter, g.gap_m) for g in bag.gaps] == [(1, 0, 12.0), (0, 2, 12.0)]
    assert judged(irons(7, 6), in_blocks(frame, carries[:2]))[1].bag is None
    two_told = [*carries[:2], [138.0, 139, NAN]]
    told = judged(irons(7, 6, 8), in_blocks(frame, two_told))[1].bag
    assert told is not None
    assert told.left_out == (2,)
    assert judged(irons(7, 6, 8), in_blocks(frame, [carries[0], [162.0, 163], [138.0]]))[1].bag is None


def test_a_bag_names_the_jobs_it_cannot_average(frame: MakeFrame) -> None:
    """A hole may be filled by a club that was not averaged; one whose job is there, or of no kind, is not missed."""
    carries = [[150.0, 151, 149], [162.0, 163, 161], [138.0, 139, 137], [126.0, 127, 125], [160.0, 161, 162]]
    sets = [
        *irons(7, 6, 8),
        replace(club(3, "iron", number=9), uneven=True),
        replace(club(4, "iron", number=6), uneven=True),
    ]
    bag = judged([*sets, replace(club(5, None), uneven=True)], in_blocks(frame, [*carries, [99.0] * 3]))[1].bag
    assert bag is not None
    assert bag.left_out == (3,)


def test_a_set_without_an_average_carry_is_not_compared(frame: MakeFrame) -> None:
    """Three carries among many counted balls are not enough for an average, so there is nothing to print beside it."""
    shots = in_blocks(frame, [[200.0, 202, 198], [210.0, 212, 208], [205.0, 207, 203]])
    sets = [club(0, own=True), replace(club(1), averages={}), club(2)]
    assert [c.build for c in judged(sets, shots)[0]] == [2]


def test_of_clubs_with_one_job_the_first_speaks(frame: MakeFrame) -> None:
    carries = [[150.0, 151, 149], [162.0, 163, 161], [170.0, 171, 169], [138.0, 139, 137]]
    bag = judged(irons(7, 6, 6, 8), in_blocks(frame, carries))[1].bag
    assert bag is not None
    assert [c.set_index for c in bag.clubs] == [1, 0, 3]


def test_clubs_of_unknown_kind_are_no_bag(frame: MakeFrame) -> None:
    sets = [club(i, None, own=i == 0) for i in range(4)]
    assert judged(sets, in_blocks(frame, [[150.0, 151, 149]] * 4))[1].bag is None


# --- mean and middle ----------------------------------------------------------------------------------------------
def test_sets_whose_mean_and_middle_part_are_named_if_they_are_compared(frame: MakeFrame) -> None:
    even, pulled = [198.0, 199, 200, 201, 202, 200, 199, 201], [198.0, 199, 200, 201, 202, 200, 230, 229]
    sets = [club(0, own=True), club(1), club(2, "wedge")]
    assert judged(sets, in_blocks(frame, [even, pulled, pulled]))[1].parted == (1,)
