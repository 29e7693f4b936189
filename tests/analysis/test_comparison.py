import math
from typing import Final

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from pipeline.analysis.comparison import Difference, compare, shots_needed, verdict, welch, widened

Floats = NDArray[np.float64]
OWN: Final = np.array([200.0, 204.0, 196.0, 202.0, 198.0, 201.0, 199.0, 200.0])  # invented, mean 200
SAMPLES: Final = st.lists(st.integers(-50, 50).map(float), min_size=3, max_size=12).map(np.array)


# --- Welch --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("n", "m", "spread"), [(3, 3, 1.0), (8, 8, 1.0), (12, 5, 2.0), (5, 12, 0.4)])
@pytest.mark.parametrize("level", [0.5, 0.95])
def test_welch_agrees_with_the_reference(n: int, m: int, spread: float, level: float) -> None:
    generator = np.random.default_rng(n * m)
    a, b = generator.normal(3.0, 1.0, n), generator.normal(0.0, spread, m)
    found, reference = welch(a, b), stats.ttest_ind(a, b, equal_var=False)
    low, high = reference.confidence_interval(level)
    assert found.freedom == pytest.approx(reference.df)
    assert found.mean - found.half_width(level) == pytest.approx(low)
    assert found.mean + found.half_width(level) == pytest.approx(high)


@settings(deadline=None)
@given(a=SAMPLES, b=SAMPLES)
def test_welch_agrees_with_the_reference_on_any_samples(a: Floats, b: Floats) -> None:
    assume(a.var() > 0 < b.var())
    found, reference = welch(a, b), stats.ttest_ind(a, b, equal_var=False)
    assert found.mean / found.standard_error == pytest.approx(reference.statistic, abs=1e-12)
    assert found.freedom == pytest.approx(reference.df)
    low, high = reference.confidence_interval(0.95)
    half = found.half_width(0.95)
    assert [found.mean - half, found.mean + half] == pytest.approx([low, high], abs=1e-9)


def test_samples_without_spread_differ_by_exactly_that() -> None:
    found = welch(np.full(4, 7.0), np.full(6, 5.0))
    assert found == Difference(2.0, 0.0, 3.0)
    assert found.half_width(0.95) == 0.0


@pytest.mark.parametrize("comparisons", [1, 2, 5])
def test_simultaneous_intervals_share_the_error(comparisons: int) -> None:
    expected = stats.t.ppf(1 - 0.05 / 2 / comparisons, 9.5) * 2.0
    assert Difference(0.0, 2.0, 9.5).half_width(0.95, comparisons) == pytest.approx(expected)


@settings(deadline=None)
@given(a=SAMPLES, b=SAMPLES, shift=st.integers(-20, 20).map(float))
def test_welch_turns_and_shifts(a: Floats, b: Floats, shift: float) -> None:
    plain, turned, shifted, both = welch(a, b), welch(b, a), welch(a + shift, b), welch(a + shift, b + shift)
    assert turned.mean == pytest.approx(-plain.mean)
    assert shifted.mean == pytest.approx(plain.mean + shift, abs=1e-9)
    assert both.mean == pytest.approx(plain.mean, abs=1e-9)
    for other in (turned, shifted, both):
        assert other.standard_error == pytest.approx(plain.standard_error)
        assert other.freedom == pytest.approx(plain.freedom)
    assert min(len(a), len(b)) - 1 <= plain.freedom + 1e-9 <= len(a) + len(b) - 2 + 1e-6


# --- mishits set aside --------------------------------------------------------------------------------------------
def test_shots_set_aside_come_back_at_the_short_end_in_the_spread_alone() -> None:
    """Eight values with two put back at 196: squares 40 + 2 × 4² − 10 × 0.8² of 40."""
    values = OWN
    squares = float(((values - 200.0) ** 2).sum())
    back = squares + 2 * 16.0 - 10 * 0.8**2
    assert widened(values, 2) == pytest.approx(back / squares)
    plain, wide = welch(OWN + 3, OWN), welch(OWN + 3, OWN, (2, 0))
    assert wide.mean == plain.mean
    assert wide.standard_error**2 == pytest.approx(plain.standard_error**2 * (1 + back / squares) / 2)
    assert welch(OWN + 3, OWN, (0, 2)).standard_error == pytest.approx(wide.standard_error)


@given(values=SAMPLES, aside=st.integers(0, 4))
def test_setting_shots_aside_never_makes_a_set_surer(values: Floats, aside: int) -> None:
    assert widened(values, aside) >= 1.0
    assert widened(values, 0) == 1.0
    assert widened(np.full(4, 7.0), aside) == 1.0


def test_each_set_is_widened_for_its_own_mishits() -> None:
    found = compare("carry_m", 2, OWN, [(4, OWN + 6.0), (5, OWN + 6.0)], 5.0, {4: 1, 2: 2})
    for comparison, own_aside in zip(found, ((1, 2), (0, 2)), strict=True):
        half = welch(OWN + 6.0, OWN, own_aside).half_width(0.95, 2)
        assert comparison.high - comparison.difference == pytest.approx(half)


# --- the verdict --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (0.01, 9.0, "likely_real"),
        (0.0, 9.0, "not_settled"),
        (-9.0, -0.01, "likely_real"),
        (-9.0, 0.0, "not_settled"),
        (0.01, 0.02, "likely_real"),
        (-4.99, 4.99, "same"),
        (-5.0, 4.99, "not_settled"),
        (-4.99, 5.0, "not_settled"),
        (0.0, 0.0, "same"),
        (-20.0, 20.0, "not_settled"),
    ],
)
def test_verdict_at_its_limits(low: float, high: float, said: str) -> None:
    assert verdict(low, high, 5.0) == said


# --- shots needed -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("comparisons", [1, 3])
@pytest.mark.parametrize(("sd_a", "sd_b"), [(5.0, 5.0), (8.0, 8.0), (4.0, 9.0)])
def test_shots_needed_is_the_smallest_number_that_does(sd_a: float, sd_b: float, comparisons: int) -> None:
    def half(n: int) -> float:
        va, vb = sd_a**2 / n, sd_b**2 / n
        freedom = (va + vb) ** 2 * (n - 1) / (va**2 + vb**2)
        return float(stats.t.ppf(1 - 0.025 / comparisons, freedom)) * math.sqrt(va + vb)

    n = shots_needed(sd_a, sd_b, 6.0, comparisons)
    assert n is not None
    assert half(n) <= 6.0 < half(n - 1)


def test_shots_needed_ends_at_sixty() -> None:
    sixty = 1.0 / (stats.t.ppf(0.975, 118) * math.sqrt(2 / 60))  # the spread for which 60 shots just do
    assert shots_needed(sixty * 0.9999, sixty * 0.9999, 1.0, 1) == 60
    assert shots_needed(sixty * 1.0001, sixty * 1.0001, 1.0, 1) is None


def test_shots_needed_starts_at_three() -> None:
    assert shots_needed(0.001, 0.001, 5.0, 1) == 3
    assert shots_needed(0.0, 0.0, 5.0, 1) == 3


# --- comparisons of a visit ---------------------------------------------------------------------------------------
def test_each_figure_of_a_comparison() -> None:
    build = OWN[:6] + 6.0
    (found,) = compare("carry_m", 2, OWN, [(4, build)], 5.0)
    reference = stats.ttest_ind(build, OWN, equal_var=False)
    low, high = reference.confidence_interval(0.95)
    half_low, half_high = reference.confidence_interval(0.5)
    assert (found.build, found.against, found.quantity, found.compared) == (4, 2, "carry_m", 1)
    assert found.difference == pytest.approx(build.mean() - 200.0)
    assert [found.low, found.high] == pytest.approx([low, high])
    assert [found.half_low, found.half_high] == pytest.approx([half_low, half_high])
    assert (found.verdict, found.more_shots) == ("likely_real", None)


def test_intervals_widen_with_the_number_compared_and_half_intervals_do_not() -> None:
    builds = [(i, OWN + i) for i in (1, 2, 3)]
    alone, together = compare("carry_m", 0, OWN, builds[:1], 5.0)[0], compare("carry_m", 0, OWN, builds, 5.0)
    reference = stats.ttest_ind(OWN + 1, OWN, equal_var=False).confidence_interval(1 - 0.05 / 3)
    assert [c.build for c in together] == [1, 2, 3]
    assert {c.compared for c in together} == {3}
    assert [together[0].low, together[0].high] == pytest.approx(list(reference))
    assert (together[0].half_low, together[0].half_high) == (alone.half_low, alone.half_high)


def test_sets_below_three_shots_are_neither_compared_nor_counted() -> None:
    found = compare("carry_m", 0, OWN, [(1, OWN[:2]), (2, OWN[:3]), (3, np.array([]))], 5.0)
    assert [(c.build, c.compared) for c in found] == [(2, 1)]
    assert compare("carry_m", 0, OWN[:2], [(1, OWN)], 5.0) == ()
    assert len(compare("carry_m", 0, OWN[:3], [(1, OWN)], 5.0)) == 1
    assert compare("carry_m", 0, OWN, [], 5.0) == ()


def test_more_shots_are_those_beyond_the_smaller_set() -> None:
    wide = 200 + 4 * (OWN - 200)
    (found,) = compare("carry_m", 0, wide, [(1, wide[:5] + 1.0)], 5.0)
    wanted = shots_needed(float(np.std(wide[:5], ddof=1)), float(np.std(wide, ddof=1)), 5.0, 1)
    assert found.verdict == "not_settled"
    assert wanted is not None
    assert found.more_shots == wanted - 5


def test_more_shots_is_one_at_least_and_none_when_no_visit_is_long_enough() -> None:
    edge = np.concatenate([OWN, OWN, OWN])
    (near,) = compare("carry_m", 0, edge, [(1, edge + 1.2)], 2.0)
    wanted = shots_needed(float(np.std(edge, ddof=1)), float(np.std(edge, ddof=1)), 2.0, 1)
    assert wanted is not None
    assert wanted < len(edge)
    assert (near.verdict, near.more_shots) == ("not_settled", 1)
    (far,) = compare("carry_m", 0, 30 * OWN, [(1, 30 * OWN)], 1.0)
    assert (far.verdict, far.more_shots) == ("not_settled", None)


@pytest.mark.parametrize("shift", [-3.0, 0.0, 1.0, 3.0])
def test_planning_never_looks_at_the_difference_seen(shift: float) -> None:
    wide = 200 + 3 * (OWN - 200)
    (found,) = compare("carry_m", 0, wide, [(1, wide + shift)], 5.0)
    assert found.verdict == "not_settled"
    assert found.more_shots == compare("carry_m", 0, wide, [(1, wide)], 5.0)[0].more_shots


@settings(deadline=None)
@given(base=SAMPLES, other=SAMPLES)
def test_the_half_interval_lies_inside_and_words_follow_the_interval(base: Floats, other: Floats) -> None:
    (found,) = compare("carry_m", 0, base, [(1, other)], 5.0)
    assert found.low <= found.half_low <= found.difference <= found.half_high <= found.high
    assert found.verdict == verdict(found.low, found.high, 5.0)
    assert found.more_shots is None or (found.verdict == "not_settled" and found.more_shots >= 1)


# --- measured rates -----------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("spreads", "counts"),
    [pytest.param((10.0,) * 4, (8,) * 4, marks=pytest.mark.slow),
     pytest.param((10.0, 20.0, 10.0, 5.0), (8,) * 4, marks=pytest.mark.slow),
     ((10.0, 20.0, 10.0, 5.0), (12, 5, 8, 6))],
)  # fmt: skip
def test_no_false_claim_in_nineteen_visits_of_twenty(spreads: tuple[float, ...], counts: tuple[int, ...]) -> None:
    """Three builds, in truth 0, 3 and -3 off the own club: all three intervals hold the truth together.

    Sharing the own club makes the three alike, so the intervals err a little on the safe side: 95 to 97 %.
    """
    generator = np.random.default_rng(21)
    truth, runs, all_held = (0.0, 3.0, -3.0), 2500, 0
    for _ in range(runs):
        own, *builds = (
            generator.normal(mean, sd, n) for mean, sd, n in zip((0.0, *truth), spreads, counts, strict=True)
        )
        found = compare("carry_m", 0, own, list(enumerate(builds, 1)), 5.0)
        all_held += all(c.low <= true <= c.high for c, true in zip(found, truth, strict=True))
    error = math.sqrt(0.05 * 0.95 / runs)
    assert 0.95 - 4 * error < all_held / runs < 0.965 + 4 * error


def test_the_half_interval_holds_the_truth_one_time_in_two() -> None:
    shots = np.random.default_rng(22).normal(0.0, 10.0, (3000, 2, 8))
    held = [c.half_low <= 0.0 <= c.half_high for own, build in shots for c in compare("c", 0, own, [(1, build)], 5.0)]
    assert abs(np.mean(held) - 0.5) < 4 * math.sqrt(0.25 / 3000)
