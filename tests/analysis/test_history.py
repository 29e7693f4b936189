"""What a studio's customers tell of the next visit. All customers are invented."""

import math
from dataclasses import replace
from typing import Any, Final

import numpy as np
import polars as pl
import pytest

from pipeline.analysis import history
from pipeline.analysis.expectation import STATED, _shrunk
from pipeline.analysis.history import history_of, log_likelihood
from pipeline.judgements import KindHistory
from tests.benchmarks.invented_history import YARD, Customers, pieces

MANY: Final = Customers(200, 3.0)


def learned(table: pl.DataFrame, kind: str = "driver") -> KindHistory:
    found = history_of(table)
    assert found is not None
    one = found.of(kind)
    assert one is not None
    return one


def shifted(table: pl.DataFrame) -> pl.DataFrame:
    """Make other customers of them."""
    return table.with_columns(pl.col("customer") + 10_000, pl.col("sitting") + 10_000)


# --- spreads ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("spread", "mean"), [(1.5, 1.80), (3.0, 3.00), (6.0, 5.96)])
def test_the_true_spread_between_clubs_is_found(spread: float, mean: float) -> None:
    """Of 60 studios the mean is found so, with a spread of 0.2 yd; a small one is drawn up by what was stated."""
    found = [learned(pieces(replace(MANY, spread=spread), seed)).between for seed in range(4)]
    assert np.mean([one.spread_m / YARD for one in found]) == pytest.approx(mean, abs=0.3)
    assert max(abs(one.spread_m / YARD - mean) for one in found) < 0.6
    assert {one.source for one in found} == {"history"}
    assert all(4 < one.freedom <= history.MOST_FREEDOM for one in found)


def test_how_customers_differ_in_it_is_found() -> None:
    """Clubs alike for most and far apart for some give few freedoms, golfers all of one kind many."""
    alike = learned(pieces(Customers(800, 6.0), 1)).between.freedom
    some = pl.concat([pieces(Customers(80, 15.0), 2), shifted(pieces(Customers(720, 1.5), 3))])
    assert alike >= 25
    assert learned(some).between.freedom <= 6
    drawn = learned(pieces(Customers(800, 3.0, differ=8.0), 4)).between
    assert 5 <= drawn.freedom <= 14
    assert drawn.spread_m / YARD == pytest.approx(3.0, abs=0.4)


def test_own_clubs_that_lose_belong_to_the_spread() -> None:
    plain, losing = (learned(pieces(replace(MANY, own_loss=loss), 1)).between.spread_m for loss in (0.0, 6.0))
    assert losing > plain + 0.8 * YARD


def test_uneven_shots_of_customers_are_not_taken_for_differences_of_clubs() -> None:
    even, uneven = (learned(pieces(Customers(300, 1.5, uneven=u), 3)).between.spread_m for u in (0.0, 0.6))
    assert uneven == pytest.approx(even, abs=0.5 * YARD)


def test_luck_of_few_shots_is_not_taken_for_differences_of_clubs() -> None:
    """Four to six shots with each of two clubs: with the likeliest variance in place of the expected one, 3.4 yd."""
    few = Customers(400, 3.0, shots=(4, 6), builds=(1, 1))
    found = [learned(pieces(few, seed)).between.spread_m / YARD for seed in range(6)]
    assert np.mean(found) == pytest.approx(3.0, abs=0.2)


def test_the_typical_spread_of_shots_is_that_of_the_customers() -> None:
    """With shot spreads s exp(u z - u²): freedoms nu0 from the variance of log s², 4 u² = trigamma(nu0/2)."""
    found = learned(pieces(Customers(600, 3.0), 2)).shots
    assert found.spread_m / YARD == pytest.approx(8.4, abs=0.4)
    assert 4.5 <= found.freedom <= 8
    alike = learned(pieces(Customers(600, 3.0, uneven=0.0), 2)).shots
    assert alike.spread_m / YARD == pytest.approx(10, abs=0.2)
    assert alike.freedom == history.MOST_SHOT_FREEDOM


def test_few_customers_leave_more_of_what_was_stated() -> None:
    few, many = (learned(pieces(Customers(n, 0.3), 5)).between for n in (25, 400))
    assert few.spread_m > many.spread_m
    assert few.spread_m < STATED.spread_m


def test_the_likelihood_is_the_one_a_visit_is_judged_by() -> None:
    mean, noise = np.array([200.0, 207, 203, 150, 158]), np.array([4.0, 9, 6, 5, 5])
    spread = np.array([0.5, 2.0, 7.0])
    found = log_likelihood(spread, mean, noise, np.array([0, 0, 0, 1, 1]))
    assert found.shape == (2, 3)
    for visit, rows in enumerate((slice(0, 3), slice(3, 5))):
        assert found[visit] == pytest.approx(_shrunk(spread, mean[rows], noise[rows])[2])
    assert log_likelihood(spread, mean[:1], noise[:1], np.array([0])) == pytest.approx(np.zeros((1, 3)))


def test_two_clubs_by_a_closed_form() -> None:
    """The difference of two is normal with 2 tau² + both noises."""
    (found,) = log_likelihood(np.array([1.0, 4.0]), np.array([0.0, 6.0]), np.array([3.0, 5.0]), np.array([0, 0]))
    variance = np.array([2.0 * 1 + 8, 2.0 * 16 + 8])
    due = -0.5 * (np.log(variance) + 36 / variance)
    assert found[1] - found[0] == pytest.approx(due[1] - due[0])


def test_the_stated_judgement_stands_before_the_data() -> None:
    """Its mean of tau² over a grid of logarithms, and its variance, are those of 8 freedoms."""
    spread = np.geomspace(0.05, 60, 4000)
    weights = np.exp(history._density(spread, STATED.spread_m, STATED.freedom))
    assert weights.sum() * math.log(spread[1] / spread[0]) == pytest.approx(0.5, rel=0.01)  # tau² steps twice as far
    weights /= weights.sum()
    mean = float(weights @ spread**2)
    assert mean == pytest.approx(STATED.spread_m**2, rel=0.01)
    assert 4 + 2 * mean**2 / float(weights @ (spread**2 - mean) ** 2) == pytest.approx(STATED.freedom, rel=0.03)


# --- who counts ---------------------------------------------------------------------------------------------------
def test_nothing_is_said_of_fewer_than_twenty_customers() -> None:
    assert history_of(pieces(Customers(19, 3.0), 1)) is None
    assert learned(pieces(Customers(20, 3.0), 1)).customers == 20
    assert learned(pieces(Customers(39, 3.0), 1)).customers == 30
    assert history_of(pieces(MANY, 1).clear()) is None


def test_only_customers_with_two_builds_or_more_count() -> None:
    table = pieces(Customers(40, 3.0), 1)
    alone = table.filter(pl.col("own") | (pl.col("customer") < 19))
    assert history_of(alone) is None
    assert learned(table.filter(pl.col("own") | (pl.col("customer") < 25))).customers == 20


def test_a_build_of_too_few_shots_does_not_count() -> None:
    table = pieces(Customers(30, 3.0, builds=(1, 1)), 1)
    short = pl.when(pl.col("own")).then(pl.col("n")).otherwise(2)
    scaled = {name: pl.col(name) * short / pl.col("n") for name in ("total", "squares")}
    assert history_of(table.with_columns(n=short.cast(pl.Int64), **scaled)) is None


def test_builds_that_nobody_named_do_not_count_and_own_clubs_do() -> None:
    table = pieces(Customers(40, 3.0), 1)
    assert history_of(table.with_columns(model=pl.lit(""))) is None
    own_named = table.with_columns(model=pl.when(pl.col("own")).then(pl.lit("theirs")).otherwise(pl.col("model")))
    assert learned(own_named) == learned(table)


def test_kinds_are_learned_apart_and_jobs_compared_apart() -> None:
    driver, seven = pieces(MANY, 1), pieces(replace(MANY, spread=6.0, job="iron 7"), 2)
    eight = pieces(replace(MANY, spread=6.0, job="iron 8"), 3).with_columns(
        pl.col("total") - 40 * pl.col("n"), pl.col("squares") - 80 * pl.col("total") + 1600 * pl.col("n")
    )
    found = history_of(pl.concat([driver, seven, eight]))
    assert found is not None
    assert [one.kind for one in found.kinds] == ["driver", "iron"]
    assert found.of("driver") == learned(driver)
    assert found.of("iron") is not None
    assert learned(pl.concat([seven, eight]), "iron").between.spread_m == pytest.approx(6 * YARD, abs=0.6 * YARD)
    assert history_of(driver.with_columns(category=pl.lit("unknown"))) is None


def test_lofts_and_shafts_are_builds_of_their_own() -> None:
    """One head with two lofts in each visit is two builds; put together they would be one, and nothing to compare."""
    table = pieces(Customers(30, 3.0, builds=(1, 1)), 1)
    head = table.with_columns(own=pl.lit(value=False), model=pl.lit("A"))
    for name, value in (("loft", pl.Series([9, 10] * 30, dtype=pl.Int32)), ("shaft", pl.Series(["x", "y"] * 30))):
        assert learned(head.with_columns(value.alias(name))).customers == 30
    assert history_of(head) is None


def test_pieces_of_one_build_are_put_together() -> None:
    table = pieces(MANY, 1).with_columns(pl.col("n").cast(pl.Int64))
    half = {name: pl.col(name) / 2 for name in ("total", "squares")}
    even = table.with_columns(
        n=2 * pl.col("n"), total=2 * pl.col("total"), squares=2 * pl.col("squares"), period=pl.lit("2026-01")
    )
    halves = even.with_columns(pl.col("n") // 2, **half)
    # the spread counts within each piece, so of two halves one freedom less
    assert learned(pl.concat([halves, halves])).between.spread_m == pytest.approx(
        learned(even).between.spread_m, abs=0.1 * YARD + 1e-6
    )


def test_a_club_named_wrongly_is_left_out_with_its_visit() -> None:
    table = pieces(MANY, 1)
    wrong = pl.col("customer").is_in([3, 4, 5]) & ~pl.col("own")
    total = pl.when(wrong).then(pl.col("total") - 90 * pl.col("n")).otherwise(pl.col("total"))
    squares = pl.when(wrong).then(pl.col("squares") - 180 * pl.col("total") + 8100 * pl.col("n"))
    moved = table.with_columns(total, squares.otherwise(pl.col("squares")))
    assert learned(moved).between.spread_m == pytest.approx(learned(table).between.spread_m, abs=0.1 * YARD + 1e-6)


def test_a_customer_counts_once_however_often_he_came() -> None:
    """One who came 300 times and whose clubs differ by 12 yd moves the others' 1.5 yd by little."""
    often = shifted(pieces(Customers(300, 12.0), 9)).with_columns(customer=pl.lit(10_000, pl.Int64))
    others = pieces(Customers(200, 1.5), 1)
    alone, both = (learned(table) for table in (others, pl.concat([others, often])))
    assert both.between.spread_m - alone.between.spread_m < 0.6 * YARD


# --- figures ------------------------------------------------------------------------------------------------------
def test_figures_are_coarse_and_the_order_of_pieces_changes_nothing() -> None:
    table = pieces(MANY, 4)
    found = learned(table)
    for spread in (found.between.spread_m, found.shots.spread_m):
        assert round(spread / 0.09144, 4) == round(spread / 0.09144)
    assert found.between.freedom == math.floor(found.between.freedom)
    assert found.shots.freedom == math.floor(found.shots.freedom)
    assert learned(table.sample(fraction=1.0, shuffle=True, seed=1)) == found


def test_shots_that_all_print_alike_tell_nothing() -> None:
    table = pieces(MANY, 1).with_columns(total=200.0 * pl.col("n"), squares=40000.0 * pl.col("n"))
    assert history_of(table) is None


@pytest.mark.parametrize("changes", [{"builds": (1, 1)}, {"builds": (7, 7), "shots": (3, 3)}, {"spread": 0.0}])
def test_odd_studios_give_usable_figures(changes: dict[str, Any]) -> None:
    found = learned(pieces(replace(MANY, **changes), 1))
    assert 0 < found.between.spread_m < 15
    assert 4 < found.between.freedom <= history.MOST_FREEDOM
    assert 0 < found.shots.freedom <= history.MOST_SHOT_FREEDOM
