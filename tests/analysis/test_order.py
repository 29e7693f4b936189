"""Warm-up and tiredness against the order of the shots. All carries are invented."""

import math
from typing import Final

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray
from scipy import stats

from pipeline.analysis.comparison import judged, welch
from pipeline.analysis.order import (
    MOST_INFLATION,
    adjusted_difference,
    allow_for_order,
    drift,
    hitting_places,
    inflation,
)
from pipeline.judgements import OrderEffect
from pipeline.records import Comparison

Floats = NDArray[np.float64]
NUMBERS: Final = np.arange(1.0, 21.0)
BLOCKS: Final = np.repeat([0.0, 1.0], 10)
TURNS: Final = np.tile([0.0, 1.0], 10)
FIVES: Final = np.repeat([0.0, 1.0, 0.0, 1.0], 5)


def split(values: Floats, of_build: Floats) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    return tuple((values[of_build == which], NUMBERS[of_build == which]) for which in (1, 0))  # type: ignore[return-value]


# --- inflation ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("order", [BLOCKS, TURNS, FIVES])
def test_inflation_is_what_a_fit_by_least_squares_pays(order: Floats) -> None:
    """Ratio of (X'X)^-1 for the difference with the shot number and without it."""
    with_number = np.stack([np.ones(20), order, NUMBERS], axis=1)
    paid = (
        np.linalg.inv(with_number.T @ with_number)[1, 1]
        / np.linalg.inv(with_number[:, :2].T @ with_number[:, :2])[1, 1]
    )
    assert inflation(order, NUMBERS) == pytest.approx(paid)


def test_inflation_of_blocks_of_ten() -> None:
    """r² = 0.75 * 20²/(20² - 1), so blocks pay four times the variance: twice the width."""
    assert inflation(BLOCKS, NUMBERS) == pytest.approx(1 / (1 - 0.75 * 400 / 399))
    assert inflation(TURNS, NUMBERS) < 1.01


@pytest.mark.parametrize(
    ("build", "number"),
    [([1.0, 1.0, 1.0], [1.0, 2.0, 3.0]), ([0.0, 1.0, 1.0], [2.0, 2.0, 2.0]), ([0.0, 1.0, 1.0], [1.0, 5.0, 5.0])],
)
def test_an_order_that_tells_nothing_apart_is_endless_inflation(build: list[float], number: list[float]) -> None:
    assert inflation(np.array(build), np.array(number)) == math.inf


# --- the fit ------------------------------------------------------------------------------------------------------
def test_without_a_slope_to_share_the_fit_is_welchs() -> None:
    """The same numbers with either club: the slope is apart from the difference, and costs its freedom alone."""
    values = np.random.default_rng(1).normal(200, 8, 24)
    build, own = values[:12], values[12:]
    numbers = np.tile([-1.0, 1.0], 6)
    level = [part - numbers * (numbers @ part) / 12 for part in (build, own)]  # no slope in either
    found, plain = adjusted_difference((level[0], numbers), (level[1], numbers)), welch(level[0], level[1])
    assert found.mean == pytest.approx(plain.mean)
    assert found.standard_error == pytest.approx(plain.standard_error * math.sqrt(11 / 10.5))
    assert found.freedom == pytest.approx(plain.freedom * 10.5 / 11)


def test_the_fit_takes_a_steady_drift_out() -> None:
    exact = 200 + 6 * FIVES - 0.7 * NUMBERS
    found = adjusted_difference(*split(exact, FIVES))
    assert found.mean == pytest.approx(6.0)
    assert found.standard_error == pytest.approx(0.0, abs=1e-9)
    assert welch(exact[FIVES == 1], exact[FIVES == 0]).mean == pytest.approx(6 - 0.7 * 5)


@pytest.mark.parametrize(("spread", "sizes"), [((8.0, 8.0), (10, 10)), ((16.0, 6.0), (6, 14)), ((5.0, 12.0), (6, 14))])
def test_the_adjusted_interval_holds_the_truth(spread: tuple[float, float], sizes: tuple[int, int]) -> None:
    generator = np.random.default_rng(2)
    held = 0
    for _ in range(1200):
        numbers = generator.permutation(NUMBERS)
        mine, theirs = numbers[: sizes[0]], numbers[sizes[0] :]
        build = 5 + generator.normal(0, spread[0], sizes[0]) - 0.5 * mine
        own = generator.normal(0, spread[1], sizes[1]) - 0.5 * theirs
        found = adjusted_difference((build, mine), (own, theirs))
        held += abs(found.mean - 5) <= found.half_width(0.95)
    assert abs(held / 1200 - 0.95) < 4 * math.sqrt(0.95 * 0.05 / 1200)


def test_the_adjusted_interval_is_widened_for_mishits_as_the_plain_one_is() -> None:
    build, own = split(np.random.default_rng(6).normal(200, 5, 20), TURNS)
    plain, wide = (adjusted_difference(build, own, aside) for aside in ((0, 0), (2, 1)))
    assert wide.mean == plain.mean
    mine = adjusted_difference(build, own, (2, 0)).standard_error ** 2 - plain.standard_error**2
    theirs = adjusted_difference(build, own, (0, 1)).standard_error ** 2 - plain.standard_error**2
    assert wide.standard_error**2 - plain.standard_error**2 == pytest.approx(mine + theirs)
    assert mine > 0 < theirs


# --- drift --------------------------------------------------------------------------------------------------------
def test_drift_is_the_shrunk_slope_times_the_shots_between() -> None:
    """Normal prior N(0, (spread/19)²) on the slope, worked with scipy's own regression inside each club."""
    values = np.random.default_rng(3).normal(200, 5, 20) - 0.6 * NUMBERS
    build, own = split(values, BLOCKS)
    middle, low, high = drift(build, own, spread_m=6.0)
    y = np.concatenate([v - v.mean() for v, _ in (build, own)])
    x = np.concatenate([n - n.mean() for _, n in (build, own)])
    slope = float(stats.linregress(x, y).slope)
    noise = float(((y - slope * x) ** 2).sum()) / 17
    precision, prior = float((x**2).sum()) / noise, (19 / 6.0) ** 2
    assert middle == pytest.approx(10 * slope * precision / (precision + prior))
    half = stats.t.ppf(0.9, 17) * 10 / math.sqrt(precision + prior)
    assert [low, high] == pytest.approx([middle - half, middle + half])


def test_drift_favours_whoever_was_hit_at_the_better_time() -> None:
    rising = 200 + 0.5 * NUMBERS + np.tile([0.1, -0.1, 0.0, 0.0], 5)
    build, own = split(rising, BLOCKS)
    assert drift(build, own)[0] == pytest.approx(5.0, abs=0.2)
    assert drift(own, build)[0] == pytest.approx(-5.0, abs=0.2)
    assert drift((build[0], own[1]), own)[0] == 0.0  # at the same time


def test_all_at_one_time_there_is_no_drift() -> None:
    same = np.ones(4)
    assert drift((np.array([1.0, 2.0, 3.0, 4.0]), same), (np.array([2.0, 2.0, 3.0, 4.0]), same)) == (0.0, 0.0, 0.0)


# --- together -----------------------------------------------------------------------------------------------------
Placed = tuple[Floats, Floats]


def settled(build: Placed, own: Placed) -> tuple[Comparison, Comparison, OrderEffect]:
    """Plain comparison of two builds in the report, the one that allows for the order, and the effect."""
    plain = judged("carry_m", (3, build[0]), (1, own[0]), welch(build[0], own[0]), 2, 5.0)
    return plain, *allow_for_order(plain, build, own, 5.0)


def test_turns_are_adjusted_and_blocks_are_not() -> None:
    values = np.random.default_rng(4).normal(200, 5, 20) - 0.5 * NUMBERS
    for order, adjusted in ((TURNS, True), (FIVES, True), (BLOCKS, False)):
        build, own = split(values + 12 * order, order)
        plain, said, effect = settled(build, own)
        assert (effect.build, effect.against, effect.n_build, effect.n_against) == (3, 1, 10, 10)
        assert effect.adjusted is adjusted
        assert effect.plain_difference == plain.difference
        assert effect.inflation == inflation(order, NUMBERS)
        assert (effect.drift, effect.drift_low, effect.drift_high) == drift(build, own)
        assert effect.could_be == max(abs(effect.drift_low), abs(effect.drift_high))
        if not adjusted:
            assert said == plain
            continue
        found = adjusted_difference(build, own)
        half = found.half_width(0.95, 2)
        assert [said.difference, said.low, said.high] == pytest.approx(
            [found.mean, found.mean - half, found.mean + half]
        )
        assert said.half_high - said.difference == pytest.approx(found.half_width(0.5))
        assert (said.method, said.verdict, said.compared) == ("welch_with_shot_number", "likely_real", 2)


def test_a_drift_that_makes_a_difference_makes_none_once_allowed_for() -> None:
    """The same club twice, the build always five shots later, the golfer warming up by two yards a shot."""
    build, own = split(200 + 2 * NUMBERS + np.tile([0.5, -0.5], 10), FIVES)
    plain, said, _ = settled(build, own)
    assert plain.verdict == "not_settled"
    assert plain.difference == pytest.approx(10.0, abs=0.5)
    assert said.difference == pytest.approx(0.0, abs=0.3)
    assert said.verdict == "same"


@pytest.mark.parametrize(("limit", "adjusted"), [(1.0, True), (0.999, False)])
def test_the_limit_of_inflation(monkeypatch: pytest.MonkeyPatch, limit: float, adjusted: bool) -> None:  # noqa: FBT001
    assert MOST_INFLATION == 1.3
    monkeypatch.setattr("pipeline.analysis.order.MOST_INFLATION", limit * inflation(FIVES, NUMBERS))
    *_, effect = settled(*split(np.random.default_rng(5).normal(200, 5, 20), FIVES))
    assert effect.adjusted is adjusted


def test_three_shots_with_either_club_are_enough_to_allow_for_the_order() -> None:
    build, own = split(np.arange(20.0), TURNS)
    *_, effect = settled((build[0][:3], build[1][:3]), (own[0][:3], own[1][:3]))
    assert effect.adjusted


# --- places -------------------------------------------------------------------------------------------------------
def placed(*times: str | None) -> list[float]:
    frame = pl.DataFrame({"number": range(1, len(times) + 1), "time": pl.Series(times, dtype=pl.String)})
    return [float(place) for place in hitting_places(frame)]


def test_places_go_by_time_where_every_shot_has_one() -> None:
    assert placed("2026-11-25T10:02:00", "2026-11-25T10:01:00", "2026-11-25T09:59:00") == [3, 2, 1]


def test_places_go_by_the_files_where_a_time_is_missing() -> None:
    assert placed("2026-11-25T10:02:00", None, "2026-11-25T09:59:00") == [1, 2, 3]


def test_shots_of_one_second_keep_the_files_order() -> None:
    assert placed("2026-11-25T10:02:00", "2026-11-25T10:01:00", "2026-11-25T10:02:00") == [2, 1, 3]
