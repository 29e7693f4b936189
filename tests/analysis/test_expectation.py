"""The winner's curse and the single ball. All carries are invented."""

import math
from typing import Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, stats

from pipeline.analysis.draws import DRAWS, generator_of, means_and_spreads, range_of
from pipeline.analysis.expectation import STATED, _quantiles, expect, farther_share, spread_grid
from pipeline.judgements import BetweenClubs, TypicalSpread

Floats = NDArray[np.float64]
OWN: Final = np.array([200.0, 206.0, 194.0, 203.0, 197.0, 200.0])
KNOWN: Final = 1e9  # so many degrees of freedom that the spread between clubs is as good as known
SAMPLES: Final = st.lists(st.integers(150, 250).map(float), min_size=3, max_size=10).map(np.array)


# --- quantiles ----------------------------------------------------------------------------------------------------
@given(
    share=st.floats(0.001, 0.999),
    freedom=st.floats(1.0, 1e6),
    parts=st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(-9.0, 9.0), st.floats(1e-3, 50.0)), min_size=1, max_size=6),
)
def test_below_a_quantile_of_a_mixture_lies_its_share(
    share: float, freedom: float, parts: list[tuple[float, float, float]]
) -> None:
    weights, centres, scales = np.array(parts).T
    weights = (weights + 0.01) / (weights + 0.01).sum()
    found = _quantiles(share, weights, np.stack([centres, -centres], 1), np.stack([scales, scales], 1), freedom)
    for place, sign in zip(found, (1, -1), strict=True):
        apart = 1e-9 * max(1.0, float(scales.max()))
        below, above = (weights @ stats.t.cdf((place + d - sign * centres) / scales, freedom) for d in (-apart, apart))
        assert below <= share + 1e-12
        assert above >= share - 1e-12


def test_a_quantile_between_two_heaps_is_found() -> None:
    """Where a mixture has next to no density, a step by its slope alone would leave the world."""
    found = _quantiles(0.5, np.array([0.5, 0.5]), np.array([[-8.0], [8.0]]), np.array([[1e-2], [1e-2]]), 200.0)
    assert abs(found[0]) < 8.0
    three = _quantiles(0.4, np.array([0.3, 0.7]), np.array([[-8.0], [8.0]]), np.array([[1e-2], [1e-2]]), 200.0)
    assert three[0] == pytest.approx(8.0 + 1e-2 * stats.t.ppf(1 / 7, 200), abs=1e-10)


# --- draws --------------------------------------------------------------------------------------------------------
def test_the_same_shots_give_the_same_draws_in_any_order_and_unit() -> None:
    first = generator_of(OWN, OWN[:3]).random(4)
    assert generator_of(OWN[::-1], OWN[:3]).random(4) == pytest.approx(first, abs=0)
    assert generator_of(OWN + 1e-9, OWN[:3]).random(4) == pytest.approx(first, abs=0)
    for other in ([OWN[:3], OWN], [OWN + 0.01, OWN[:3]], [OWN], [np.concatenate([OWN, OWN[:3]])]):
        assert generator_of(*other).random() != first[0]


def test_draws_are_those_of_the_posterior() -> None:
    means, spreads = means_and_spreads(OWN, np.random.default_rng(1))
    s = float(OWN.std(ddof=1))
    assert means.shape == spreads.shape == (DRAWS,)
    assert stats.kstest((means - 200) / (s / math.sqrt(6)), "t", args=(5,)).pvalue > 1e-4
    assert stats.kstest(5 * s**2 / spreads**2, "chi2", args=(5,)).pvalue > 1e-4


def test_a_range_holds_nine_draws_in_ten() -> None:
    assert range_of(np.arange(101.0)) == pytest.approx((5.0, 95.0))


# --- expect about -------------------------------------------------------------------------------------------------
def by_integration(means: Floats, errors: Floats, prior: BetweenClubs, k: int) -> float:
    """Shrunk gain of club k by numerical integration over log tau, from the model's own formulas one club at a time."""

    def at(log_tau: float) -> tuple[float, float]:
        tau2 = math.exp(2 * log_tau)
        cov = np.diag(tau2 + errors)
        weight = np.linalg.inv(cov)
        one = np.ones(len(means))
        level = one @ weight @ means / (one @ weight @ one)
        post = level + tau2 * weight @ (means - level)
        rest = means - level
        log_lik = -0.5 * (np.linalg.slogdet(cov)[1] + math.log(one @ weight @ one) + rest @ weight @ rest)
        log_prior = -prior.freedom * log_tau - (prior.freedom - 2) * prior.spread_m**2 / (2 * tau2)
        return math.exp(log_lik + log_prior), float(post[k] - post[0])

    bottom = integrate.quad(lambda x: at(x)[0], -3, 5, limit=200)[0]
    top = integrate.quad(lambda x: math.prod(at(x)), -3, 5, limit=200)[0]
    return float(top / bottom)


@pytest.mark.parametrize("sizes", [(6, 6, 6), (6, 3, 6)])
def test_the_expected_gain_is_that_of_partial_pooling(sizes: tuple[int, ...]) -> None:
    clubs = [OWN[: sizes[0]], OWN[: sizes[1]] + 7.0, OWN[: sizes[2]] + 2.0]
    found = expect(4, clubs[0], [(5, clubs[1]), (6, clubs[2])])
    freedom = sum(sizes) - 3
    within = sum(((c - c.mean()) ** 2).sum() for c in clubs) / freedom
    means, errors = np.array([c.mean() for c in clubs]), np.array([within / len(c) for c in clubs])
    assert [(e.build, e.against) for e in found] == [(5, 4), (6, 4)]
    for k, one in enumerate(found, 1):
        assert one.measured == pytest.approx(means[k] - means[0])
        assert one.expected == pytest.approx(by_integration(means, errors, STATED, k), abs=0.03)


def test_a_known_spread_shrinks_two_clubs_by_a_closed_form() -> None:
    """B = 9/(9 + 18/6) = 3/4 for both; the gain is as uncertain as 2 tau² (1 − B), with 10 degrees of freedom."""
    build = OWN + 8.0
    (found,) = expect(0, OWN, [(1, build)], BetweenClubs(3.0, KNOWN, "stated"))
    assert float(OWN.var(ddof=1)) == 18.0
    assert found.expected == pytest.approx(6.0, abs=1e-3)
    half = stats.t.ppf(0.975, 10) * math.sqrt(2 * 9 * 0.25)
    assert [found.low, found.high] == pytest.approx([6 - half, 6 + half], abs=2e-3)
    assert found.between_m == pytest.approx(3.0, abs=1e-3)


def test_unequal_numbers_leave_the_common_level_in_the_interval() -> None:
    """Own club 6 shots, build 3: B = 3/4 and 3/5; weights 1/12 and 1/15, so the level has variance 1/0.15."""
    build = np.array([210.0 - 18.0**0.5, 210.0, 210.0 + 18.0**0.5])
    (found,) = expect(0, OWN, [(1, build)], BetweenClubs(3.0, KNOWN, "stated"))
    level = (200 / 12 + 210 / 15) / (1 / 12 + 1 / 15)
    gain = 0.6 * (210 - level) - 0.75 * (200 - level)
    variance = 9 * (0.25 + 0.4) + 0.15**2 / (1 / 12 + 1 / 15)
    assert found.expected == pytest.approx(gain, abs=1e-3)
    assert found.high - found.expected == pytest.approx(stats.t.ppf(0.975, 7) * math.sqrt(variance), abs=2e-3)


def test_shots_are_drawn_to_the_typical_spread() -> None:
    """s² = (20 · 72 + 10 · 18)/(20 + 10) = 54 with 30 freedoms: B = 9/(9 + 9) = 1/2."""
    build, known = OWN + 8.0, BetweenClubs(3.0, KNOWN, "history")
    (found,) = expect(0, OWN, [(1, build)], known, TypicalSpread(math.sqrt(72), 20.0))
    assert found.expected == pytest.approx(4.0, abs=1e-3)
    half = stats.t.ppf(0.975, 30) * math.sqrt(2 * 9 * 0.5)
    assert [found.low, found.high] == pytest.approx([4 - half, 4 + half], abs=2e-3)
    (nearly,), (plain,) = (expect(0, OWN, [(1, build)], known, one) for one in (TypicalSpread(50.0, 1e-9), None))
    assert nearly.expected == pytest.approx(plain.expected, abs=1e-6)


def test_the_visit_moves_the_stated_prior_both_ways() -> None:
    alike = expect(0, OWN, [(i, OWN) for i in range(1, 5)])[0].between_m
    apart = expect(0, OWN, [(i, OWN + 12 * i) for i in range(1, 5)])[0].between_m
    assert alike < 2.4
    assert apart > 5.0


def test_the_prior_grid_has_the_quantiles_of_its_distribution() -> None:
    """tau² ~ 6 · 3² / chi²(8), whose mean is 3²."""
    grid = spread_grid(BetweenClubs(3.0, 8.0, "stated"))
    assert 6 * 9 / grid**2 == pytest.approx(stats.chi2.isf((np.arange(60) + 0.5) / 60, 8))
    assert np.median(grid) == pytest.approx(3.0 * math.sqrt(6 / stats.chi2.median(8)), rel=0.02)


@pytest.mark.parametrize("freedom", [6.0, 8.0, 30.0])
def test_the_stated_spread_is_that_of_all_true_differences(freedom: float) -> None:
    """Sixty quantiles miss a little of the long tail, the more the fewer the freedoms."""
    grid = spread_grid(BetweenClubs(3.0, freedom, "stated"))
    assert math.sqrt(float((grid**2).mean())) == pytest.approx(3.0, rel=0.02)


def test_no_prior_below_the_freedom_where_its_mean_ends() -> None:
    assert spread_grid(BetweenClubs(3.0, 2.01, "stated")).min() > 0
    with pytest.raises(ValueError, match="more than 2 degrees of freedom"):
        spread_grid(BetweenClubs(3.0, 2.0, "stated"))


def test_sets_below_three_shots_expect_nothing() -> None:
    assert [e.build for e in expect(0, OWN, [(1, OWN[:2]), (2, OWN[:3])])] == [2]
    assert expect(0, OWN[:2], [(1, OWN)]) == ()
    assert len(expect(0, OWN[:3], [(1, OWN)])) == 1
    assert expect(0, OWN, [(1, OWN[:2])]) == ()
    assert expect(0, OWN, []) == ()


@settings(deadline=None, max_examples=25)
@given(own=SAMPLES, build=SAMPLES, other=SAMPLES)
def test_two_clubs_are_drawn_together_and_never_past_each_other(own: Floats, build: Floats, other: Floats) -> None:
    (two,) = expect(0, own, [(1, build)])
    assert abs(two.expected) <= abs(two.measured) + 1e-9
    assert two.expected * two.measured >= -1e-9
    for one in expect(0, own, [(1, build), (2, other)]):
        assert one.low <= one.expected <= one.high
        assert 0 <= one.farther_low <= one.farther_high <= 1


def test_shots_without_spread_are_believed() -> None:
    (found,) = expect(0, np.full(4, 200.0), [(1, np.full(4, 206.0))])
    assert found.expected == pytest.approx(6.0, abs=1e-3)
    assert (found.farther, found.farther_low, found.farther_high) == (1.0, 1.0, 1.0)


# --- one ball against one ball ------------------------------------------------------------------------------------
def test_a_share_is_drawn_towards_one_half_by_few_shots() -> None:
    """Against the plug-in Phi(6 / sqrt(36)) = 0.84 of two sets whose spread is sqrt 18."""
    share, low, high = farther_share(OWN + 6.0, OWN)
    assert 0.70 < share < stats.norm.cdf(1.0)
    assert low < share < high
    many = np.tile(OWN, 40)
    apart = 6 / math.sqrt(2 * many.var(ddof=1))
    near, near_low, near_high = farther_share(many + 6.0, many)
    assert near == pytest.approx(stats.norm.cdf(apart), abs=0.004)
    assert near_high - near_low < 0.1 < high - low


def test_alike_clubs_share_the_balls_evenly() -> None:
    assert farther_share(OWN, OWN)[0] == pytest.approx(0.5, abs=0.02)
    assert farther_share(OWN, OWN + 6)[0] == pytest.approx(1 - farther_share(OWN + 6, OWN)[0], abs=0.02)
    assert farther_share(np.full(3, 7.0), np.full(3, 7.0)) == (0.5, 0.5, 0.5)


# --- measured rates -----------------------------------------------------------------------------------------------
def best_of(clubs: int, n: int, runs: int, tau: float, prior: BetweenClubs) -> Floats:
    """Best of some clubs by measured gain: measured and expected less true gain, and whether the intervals hold."""
    generator = np.random.default_rng(31)
    rows = []
    for _ in range(runs):
        true = generator.normal(0, tau, clubs)
        shots = true[:, None] + generator.normal(0, 9.0, (clubs, n))
        best = max(expect(0, shots[0], list(enumerate(shots[1:], 1)), prior), key=lambda e: e.measured)
        gain = true[best.build] - true[0]
        chance = stats.norm.cdf(gain / (9.0 * math.sqrt(2)))
        rows.append(
            (
                best.measured - gain,
                best.expected - gain,
                best.low <= gain <= best.high,
                best.farther_low <= chance <= best.farther_high,
            )
        )
    return np.array(rows, dtype=np.float64)


@pytest.mark.parametrize(("prior", "allowed"), [(BetweenClubs(2.7432, KNOWN, "stated"), 0.0), (STATED, 0.15)])
def test_the_measured_gain_of_the_best_is_too_high_and_the_expected_is_not(prior: BetweenClubs, allowed: float) -> None:
    rows = best_of(5, 8, 250, 2.7432, prior)
    error = rows[:, 1].std() / math.sqrt(len(rows))
    assert rows[:, 0].mean() > 1.5
    assert abs(rows[:, 1].mean()) < allowed + 3 * error
    assert rows[:, 2].mean() > 0.95 - 4 * math.sqrt(0.05 * 0.95 / 250)


def test_the_range_of_the_share_holds_the_truth_nine_times_in_ten() -> None:
    generator = np.random.default_rng(32)
    held = []
    for _ in range(500):
        gain, build, own = generator.normal(0, 5), generator.normal(0, 9, 8), generator.normal(0, 6, 8)
        _, low, high = farther_share(build + gain, own)
        held.append(low <= stats.norm.cdf(gain / math.hypot(9, 6)) <= high)
    assert 0.90 - 4 * math.sqrt(0.09 / 500) < np.mean(held) < 0.98
