import math
from typing import Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from pipeline.analysis.robust import mad_sigma, parts_from_median, scale_and_cut, stand_out

Floats = NDArray[np.float64]
EIGHT: Final = np.array([-3.0, -2.0, -1.0, -0.5, 0.5, 1.0, 2.0, 3.0])  # median 0, MAD 1.5
WHOLE: Final = st.integers(-40, 40).map(float)


def samples(fewest: int = 0, most: int = 12) -> st.SearchStrategy[Floats]:
    return st.lists(WHOLE, min_size=fewest, max_size=most).map(lambda values: np.array(values, dtype=np.float64))


# --- the spread ---------------------------------------------------------------------------------------------------
def test_spread_is_the_constant_times_the_median_deviation() -> None:
    assert mad_sigma(np.array([1.0, 2.0, 3.0, 4.0, 9.0])) == pytest.approx(1.803927, abs=1e-12)
    assert mad_sigma(EIGHT) == pytest.approx(1.671843 * 1.5, abs=1e-12)


def test_spread_is_zero_when_more_than_half_are_equal() -> None:
    assert mad_sigma(np.array([5.0, 5.0, 5.0, 9.0, -50.0])) == 0.0
    assert mad_sigma(np.array([5.0, 5.0, 4.0, 9.0, -50.0])) > 0.0


@pytest.mark.parametrize("n", [5, 8, 12, 30, 31, 45])
def test_spread_is_unbiased_on_normal_samples(n: int) -> None:
    estimates = [mad_sigma(sample) for sample in np.random.default_rng(n).standard_normal((3000, n))]
    error = float(np.std(estimates)) / math.sqrt(3000)
    assert abs(np.mean(estimates) - 1.0) < 4 * error + 0.002


def test_half_the_shots_gone_wild_leave_a_spread_that_ignores_how_wild() -> None:
    values = np.array([-2.0, -1.0, 0.0, 1.0, 2.0, 50.0, 60.0])
    assert mad_sigma(values) == mad_sigma(np.where(values > 40, values * 1000, values))


# --- scale and cut ------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("n", "two_sided", "low"),
    [(5, 6.55, 4.75), (8, 4.37, 3.60), (9, 4.60, 3.82), (20, 3.83, 3.43), (21, 3.5 + 7.5 / 21, 3.42)],
)
def test_a_set_alone_takes_the_simulated_cut(n: int, two_sided: float, low: float) -> None:
    values = np.arange(n, dtype=np.float64)
    assert scale_and_cut([values], 0, 2, 0.0) == pytest.approx((mad_sigma(values), two_sided), abs=1e-12)
    assert scale_and_cut([values], 0, 1, 0.0)[1] == pytest.approx(low, abs=1e-12)


@pytest.mark.parametrize("sides", [1, 2])
def test_one_other_set_lends_the_freedom_it_has(sides: int) -> None:
    scale, cut = scale_and_cut([EIGHT, 2 * EIGHT], 0, sides, 0.0)
    own = 1.5 * 1.671843
    assert scale == pytest.approx(math.sqrt((2.9 * own**2 + 2.9 * (2 * own) ** 2) / 5.8))
    assert cut == pytest.approx(stats.t.ppf(1 - 0.05 / (8 * sides), 5.8) * math.sqrt(1 + 0.1686 - 2 / 8))


def test_two_other_sets_lend_four_degrees_at_most() -> None:
    scale, cut = scale_and_cut([EIGHT, 2 * EIGHT, 3 * EIGHT], 0, 1, 0.0)
    own = 1.5 * 1.671843
    lent = (4 + 9) / 2 * own**2
    assert scale == pytest.approx(math.sqrt((2.9 * own**2 + 4 * lent) / 6.9))
    assert cut == pytest.approx(stats.t.ppf(1 - 0.05 / 8, 6.9) * math.sqrt(1 + 0.1686 - 2 / 8))
    assert scale_and_cut([EIGHT, *[2 * EIGHT] * 2], 0, 1, 0.0) == pytest.approx(
        scale_and_cut([EIGHT, *[2 * EIGHT] * 6], 0, 1, 0.0)
    )


def test_a_larger_other_set_weighs_more() -> None:
    wide = 3 * np.linspace(-1, 1, 12)
    scale, _ = scale_and_cut([EIGHT, EIGHT, wide], 0, 1, 0.0)
    own, other = mad_sigma(EIGHT) ** 2, mad_sigma(wide) ** 2
    assert scale == pytest.approx(math.sqrt((2.9 * own + 4 * (2.9 * own + 4.4 * other) / 7.3) / 6.9))


def test_others_below_five_shots_lend_nothing() -> None:
    few = np.array([0.0, 100.0, 200.0, 300.0])
    assert scale_and_cut([EIGHT, few], 0, 1, 0.0) == scale_and_cut([EIGHT], 0, 1, 0.0)
    assert scale_and_cut([EIGHT, np.append(few, 400.0)], 0, 1, 0.0) != scale_and_cut([EIGHT], 0, 1, 0.0)


@pytest.mark.parametrize(
    ("n", "freedom", "variance"),
    [
        (14, 5.1, math.pi / 2 / 15.4),
        (22, 0.37 * 22, math.pi / 2 / 23.4),
        (31, 0.37 * 31 - 0.4, math.pi / 2 / 31.57),
    ],
)
def test_freedom_and_median_beyond_their_lists(n: int, freedom: float, variance: float) -> None:
    many = np.linspace(-1.0, 1.0, n)
    _, cut = scale_and_cut([many, many], 0, 1, 0.0)
    assert cut == pytest.approx(stats.t.ppf(1 - 0.05 / n, freedom + 4) * math.sqrt(1 + variance - 2 / n))


@pytest.mark.parametrize("n", [13, 14, 22, 31])
def test_the_formulas_beyond_the_lists_agree_with_simulation(n: int) -> None:
    """Variance of the median within 3 %, freedom of the MAD within 6 % (its own simulation error is about 1 %)."""
    shots = np.random.default_rng(n).standard_normal((40_000, n))
    medians = np.median(shots, axis=1)
    deviations = np.median(np.abs(shots - medians[:, None]), axis=1)
    _, alone = scale_and_cut([shots[0], shots[1]], 0, 1, 0.0)
    freedom = float(deviations.mean() ** 2 / (2 * deviations.var()))
    expected = stats.t.ppf(1 - 0.05 / n, freedom + 4) * math.sqrt(1 + medians.var() - 2 / n)
    assert alone == pytest.approx(expected, rel=0.01)


def test_the_floor_stands_in_for_a_spread_of_nothing() -> None:
    same = np.full(6, 100.0)
    assert scale_and_cut([same], 0, 1, 0.3)[0] == 0.3
    assert scale_and_cut([same, same], 0, 1, 0.3)[0] == 0.3
    assert scale_and_cut([EIGHT, EIGHT], 0, 1, 0.3)[0] == pytest.approx(mad_sigma(EIGHT))


# --- who stands out -----------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("side", "cut", "signs"), [("low", 3.65, [-1]), ("high", 3.65, [1]), ("both", 4.63, [-1, 1])])
def test_just_inside_and_just_outside_the_cut(side: str, cut: float, signs: list[int]) -> None:
    """Six shots alone, five alike: the spread is the floor of 1, so the cut is the number in the table."""
    for sign in (-1, 1):
        inside = np.array([0.0, 0, 0, 0, 0, sign * cut])
        outside = np.array([0.0, 0, 0, 0, 0, sign * (cut + 1e-9)])
        assert not stand_out([inside], side, 1.0)[0].any()
        assert stand_out([outside], side, 1.0)[0].tolist() == [False] * 5 + [sign in signs]


def test_below_five_shots_nobody_stands_out() -> None:
    four = np.array([0.0, 0.0, 0.0, -1000.0])
    lending = np.zeros(8)
    assert [mask.tolist() for mask in stand_out([four, lending], "low", 1.0)] == [[False] * 4, [False] * 8]
    assert stand_out([np.append(four, 0.0)], "low", 1.0)[0].tolist() == [False] * 3 + [True, False]
    assert stand_out([np.array([]), EIGHT], "low", 1.0)[0].shape == (0,)


@settings(deadline=None)
@given(groups=st.lists(samples(), max_size=4), side=st.sampled_from(["low", "high", "both"]), data=st.data())
def test_order_shift_and_mirror(groups: list[Floats], side: str, data: st.DataObject) -> None:
    """Order of shots never matters, nor does a constant added to all; mirrored shots swap low and high."""
    plain = stand_out(groups, side, 0.25)
    orders = [np.array(data.draw(st.permutations(range(len(g)))), dtype=np.int64) for g in groups]
    shuffled = stand_out([g[o] for g, o in zip(groups, orders, strict=True)], side, 0.25)
    shifted = stand_out([g + 64.0 for g in groups], side, 0.25)
    mirrored = stand_out([-g for g in groups], {"low": "high", "high": "low", "both": "both"}[side], 0.25)
    for k, order in enumerate(orders):
        assert (shuffled[k] == plain[k][order]).all()
        assert (shifted[k] == plain[k]).all()
        assert (mirrored[k] == plain[k]).all()


@settings(deadline=None)
@given(values=samples(5), other=samples(5), further=st.floats(1.0, 1e6))
def test_who_stands_out_still_does_when_further_out(values: Floats, other: Floats, further: float) -> None:
    (before, _) = stand_out([values, other], "low", 0.25)
    lowest = int(np.argmin(values))
    moved = values.copy()
    moved[lowest] -= further
    (after, _) = stand_out([moved, other], "low", 0.25)
    assert after[lowest] >= before[lowest]


# --- measured rates -----------------------------------------------------------------------------------------------
def within(share: float, expected: float, runs: int, slack: float = 0.0) -> bool:
    """Four binomial standard errors, and slack for an expectation that is itself rounded or simulated."""
    return abs(share - expected) <= 4 * math.sqrt(expected * (1 - expected) / runs) + slack


@pytest.mark.parametrize("side", ["low", "both"])
@pytest.mark.parametrize("n", [5, 6, 8, 12, 20])
def test_a_clean_set_alone_is_marked_at_all_one_time_in_twenty(n: int, side: str) -> None:
    shots = np.random.default_rng(100 + n).standard_normal((1500, n))
    marked = np.mean([stand_out([sample], side, 1e-9)[0].any() for sample in shots])
    assert within(float(marked), 0.05, 1500, slack=0.004)


def _with_others(side: str, spread: float, runs: int) -> tuple[float, float]:
    """Share of sets of 8 with any false mark, and of 5-spread mishits found, beside three more sets of spread 1."""
    generator = np.random.default_rng(7)
    false = found = 0
    for _ in range(runs):
        groups = list(generator.standard_normal((4, 8)))
        groups[0] *= spread
        false += bool(stand_out(groups, side, 1e-9)[0].any())
        groups[0][3] -= 5.0 * spread
        found += bool(stand_out(groups, side, 1e-9)[0][3])
    return false / runs, found / runs


@pytest.mark.slow
@pytest.mark.parametrize(
    ("side", "spread", "false", "found"),
    [
        ("both", 1.0, 0.011, 0.66),
        ("both", 1.5, 0.049, 0.80),
        ("both", 2.0, 0.085, 0.825),
        ("low", 1.0, 0.014, 0.79),
        ("low", 1.5, 0.052, 0.88),
    ],
)
def test_rates_with_borrowed_spread(side: str, spread: float, false: float, found: float) -> None:
    """Regression values; a simulation apart from this code gave .011/.66, .049/.80 and .097/.83 for the first three."""
    rates = _with_others(side, spread, 3000)
    assert within(rates[0], false, 3000, slack=0.003)
    assert within(rates[1], found, 3000, slack=0.01)


def test_borrowing_finds_more_than_a_set_alone() -> None:
    generator = np.random.default_rng(8)
    alone = lending = 0
    for _ in range(400):
        groups = list(generator.standard_normal((4, 8)))
        groups[0][3] -= 5.0
        alone += stand_out(groups[:1], "low", 1e-9)[0][3]
        lending += stand_out(groups, "low", 1e-9)[0][3]
    assert lending / 400 > alone / 400 + 0.08


# --- mean and median ----------------------------------------------------------------------------------------------
def test_mean_and_median_part_by_half_a_spread_or_more() -> None:
    """Eight values around 10 with a spread of 2 lent by the others; the last is moved until the mean follows."""
    others = [(9, np.array([8.0, 12, 9, 11, 10, 7, 13, 10]))] * 3
    for pull, parted in ((0.0, ()), (6.0, ()), (20.0, (1,))):
        values = np.array([9.0, 11, 9.5, 10.5, 10, 10, 9.8, 10.2 + pull])
        assert parts_from_median([(1, values), *others]) == parted


def test_fewer_than_five_values_never_part() -> None:
    assert parts_from_median([(1, np.array([1.0, 1.0, 1.0, 90.0]))]) == ()


def test_a_printed_step_is_no_reason_to_part() -> None:
    values = np.array([200.0, 200, 200, 200, 200, 200, 200, 201])  # no spread but for one printed step
    assert parts_from_median([(1, values)], 0.5) == ()
    assert parts_from_median([(1, values)]) == (1,)  # without knowing the step: half the values show no spread


@pytest.mark.parametrize(("n", "sets"), [(5, 1), (8, 1), (12, 1), (6, 4), (12, 4)])
def test_clean_sets_seldom_part(n: int, sets: int) -> None:
    """At most 3 clean sets in 100, with three binomial errors of 600 sets."""
    generator = np.random.default_rng(n + sets)
    visits = 600 // sets
    found = sum(len(parts_from_median([(k, generator.normal(200, 8, n)) for k in range(sets)])) for _ in range(visits))
    assert found / 600 <= 0.03 + 3 * (0.03 * 0.97 / 600) ** 0.5
