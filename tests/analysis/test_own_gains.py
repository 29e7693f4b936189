"""Gains over own clubs, and the range of a share against two other libraries."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from pipeline.analysis.own_gains import BY_CHANCE, Gains, gains_of, summary, wilson
from pipeline.analysis.rollup_cells import Cells

MakeCells = Callable[..., Cells]


# --- a share ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        # printed in a small library's description, to all its digits (read)
        (430, 474, 0.8776750858242243, 0.9301239839930541),
        (392, 436, 0.8672311846637769, 0.9239627360567735),
        (10, 14, 0.4535045882751561, 0.882788120898909),
    ],
)
def test_the_range_of_a_share_as_printed_elsewhere(count: int, of: int, low: float, high: float) -> None:
    """That library takes 1.96 for the quantile, which is 3.6e-5 more than it is."""
    found = wilson(count, of)
    assert (found.low, found.high) == pytest.approx((low, high), abs=2e-5)


@pytest.mark.parametrize(
    ("count", "of", "low", "high"), [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (1, 29, 0.0061, 0.1718)]
)
def test_the_range_of_a_share_as_in_newcombe(count: int, of: int, low: float, high: float) -> None:
    """Newcombe 1998, table I, method 3 (figures from memory; that these are its examples was read)."""
    found = wilson(count, of)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-5)


def test_the_range_of_a_share_as_other_libraries_have_it() -> None:
    from statsmodels.stats.proportion import proportion_confint  # noqa: PLC0415 - a second of import

    for of in (1, 2, 5, 8, 40, 500):
        for count in {0, 1, of // 3, of // 2, of - 1, of}:
            found = wilson(count, of)
            theirs = proportion_confint(count, of, 0.05, method="wilson")
            again = stats.binomtest(count, of).proportion_ci(0.95, method="wilson")
            assert (found.low, found.high) == pytest.approx(theirs, abs=1e-12)
            assert (found.low, found.high) == pytest.approx((again.low, again.high), abs=1e-12)
            assert 0 <= found.low <= found.share <= found.high <= 1


# --- one gain a customer ------------------------------------------------------------------------------------------
def test_a_gain_is_the_model_less_the_own_clubs_of_the_same_sitting(cells: MakeCells) -> None:
    """Sitting 0: two own clubs, counted shot by shot; sitting 1: no own club; sitting 2: nothing but own clubs."""
    made = cells(
        sitting=[0, 0, 0, 1, 1, 2],
        model=[0, 1, 2, 2, 3, 0],
        own=[True, True, False, False, False, True],
        mean=[200.0, 206.0, 210.0, 220.0, 230.0, 150.0],
        noise=[1.0] * 6,
    )
    shots = np.array([2.0, 4.0, 3.0, 5.0, 5.0, 5.0])
    found = gains_of(_with_shots(made, shots, 60.0))
    assert (found.customer.tolist(), found.model.tolist()) == ([0], [2])
    assert found.gain.tolist() == [pytest.approx(210 - (2 * 200 + 4 * 206) / 6)]
    assert found.noise.tolist() == [pytest.approx(60 / 3 + 60 / 6)]


def test_a_customer_who_comes_twice_counts_once(cells: MakeCells) -> None:
    made = cells(
        sitting=[0, 0, 1, 1], model=[0, 1, 0, 1], own=[True, False] * 2, mean=[200, 206, 200, 212], noise=[1.0] * 4
    )
    made = _with_shots(made, np.array([4.0, 4.0, 8.0, 8.0]), 60.0, customer_of=[0, 0])
    found = gains_of(made)
    assert found.gain.tolist() == [pytest.approx((6 * 1 + 12 * 2) / 3)]  # the second visit is twice as sure
    assert found.noise.tolist() == [pytest.approx(1 / (4 / 120 + 8 / 120))]


def _with_shots(made: Cells, n: np.ndarray, variance: float, customer_of: list[int] | None = None) -> Cells:
    who = made.customer_of if customer_of is None else np.array(customer_of)
    return Cells(
        made.sitting, made.model, made.own, n, made.mean, variance / n, made.freedom, who, made.models, 3, variance
    )


# --- all customers together ---------------------------------------------------------------------------------------
def gains(values: np.ndarray, noise: float, freedom: float = 30.0) -> Gains:
    k = len(values)
    index = np.arange(k)
    return Gains(
        index, np.zeros(k, dtype=np.int64), values, np.full(k, noise), np.full(k, freedom), math.sqrt(4 * noise)
    )


def test_with_equal_noise_the_mean_is_plain_and_its_range_that_of_t() -> None:
    values = np.random.default_rng(1).normal(4, 6, 12)
    found = summary(gains(values, 9.0))
    assert found is not None
    plain = stats.ttest_1samp(values, 0).confidence_interval(0.95)
    assert (found.mean, found.low, found.high) == pytest.approx((values.mean(), plain.low, plain.high))
    assert found.measured == pytest.approx(np.quantile(values, (0.1, 0.25, 0.5, 0.75, 0.9)))
    assert found.improved.count == (values > 0).sum()
    assert found.customers == found.improved.of == found.likely_longer.of == 12


def test_likely_longer_is_one_sided_and_less_what_chance_gives() -> None:
    limit = 3.0 * stats.t.ppf(0.95, 30)
    found = summary(gains(np.array([limit + 0.01, limit - 0.01, -9.0, 0.1]), 9.0))
    assert found is not None
    assert found.likely_longer.count == 1
    assert found.lift == pytest.approx(0.25 - BY_CHANCE)


def test_the_luck_is_taken_out_of_the_spread_of_gains() -> None:
    """Many customers whose true gains spread by 6 and whose measured ones by 10: the shown must spread by 6."""
    generator = np.random.default_rng(4)
    found = summary(gains(generator.normal(5, 6, 4000) + generator.normal(0, 8, 4000), 64.0))
    assert found is not None
    shown, measured = found.quantiles[4] - found.quantiles[0], found.measured[4] - found.measured[0]
    assert shown == pytest.approx(2 * 1.2816 * 6, rel=0.08)
    assert measured == pytest.approx(2 * 1.2816 * 10, rel=0.05)


def test_few_customers_who_gained_alike_are_not_said_to_be_all_alike() -> None:
    found = summary(gains(np.array([4.0, 4.1, 3.9, 4.2, 3.8]), 25.0))
    assert found is not None
    assert found.quantiles[4] > found.quantiles[0]


def test_no_gain_is_no_improvement() -> None:
    found = summary(gains(np.array([0.0, 1.0, -1.0]), 1.0))
    assert found is not None
    assert found.improved.count == 1


def test_one_customer_is_no_distribution() -> None:
    assert summary(gains(np.array([4.0]), 1.0)) is None
