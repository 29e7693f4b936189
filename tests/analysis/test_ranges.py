"""Ranges of figures whose truth is known: means of normal values, and spreads written here."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from pipeline.analysis.comparison import welch
from pipeline.analysis.ranges import RESAMPLES, Doubt, doubts, sayable

Floats = NDArray[np.float64]


def doubt(figures: Floats, counts: tuple[int, int]) -> Doubt:
    return doubts(figures[None], counts)[0]


def interval(figures: Floats, counts: tuple[int, int], level: float) -> tuple[float, float]:
    return doubt(figures, counts).range(level)


def mean_figures(base: Floats, final: Floats, seed: int = 1) -> Floats:
    """The difference of two means, laid out as `doubts` takes it."""
    generator = np.random.default_rng(seed)
    drawn = [generator.choice(v, (RESAMPLES, len(v))).mean(axis=1) for v in (base, final)]
    left = [(v.sum() - v) / (len(v) - 1) for v in (base, final)]
    whole = final.mean() - base.mean()
    return np.concatenate([[whole], drawn[1] - drawn[0], final.mean() - left[0], left[1] - base.mean()])


@pytest.mark.parametrize(("n", "m"), [(6, 6), (10, 10), (20, 20), (6, 20)])
@pytest.mark.parametrize("level", [0.5, 0.8, 0.9])
def test_of_a_mean_the_interval_is_about_welchs(n: int, m: int, level: float) -> None:
    widths = []
    for seed in range(30):
        generator = np.random.default_rng(seed)
        base, final = generator.normal(0.0, 4.0, n), generator.normal(3.0, 2.0, m)
        low, high = interval(mean_figures(base, final, seed), (n, m), level)
        widths.append((high - low) / (2 * welch(final, base).half_width(level)))
    assert np.mean(widths) == pytest.approx(1.0, abs=0.03)


def test_figures_without_spread_are_their_own_range() -> None:
    assert interval(np.full(1 + RESAMPLES + 8, 3.0), (4, 4), 0.8) == (3.0, 3.0)


def test_what_varies_beyond_the_shots_is_in_the_range() -> None:
    figures = np.concatenate([[0.0], np.random.default_rng(2).normal(0.0, 2.0, RESAMPLES), np.zeros(8)])
    low, high = interval(figures, (4, 4), 0.8)
    assert [low, high] == pytest.approx([-1.2816 * 2, 1.2816 * 2], rel=0.1)


def test_resamples_without_a_value_take_no_part() -> None:
    figures = mean_figures(np.arange(8.0), np.arange(8.0) + 1)
    holed = figures.copy()
    holed[1:40:2] = np.nan
    assert interval(holed, (8, 8), 0.8) == pytest.approx(interval(figures, (8, 8), 0.8), abs=0.5)
    holed[1 : 1 + RESAMPLES] = np.nan
    assert np.isnan(interval(holed, (8, 8), 0.8)).all()


def test_without_any_freedom_spent_the_range_is_the_normals() -> None:
    unsure = doubt(np.concatenate([[0.0], stats.norm.ppf((np.arange(400) + 0.5) / 400), np.zeros(6)]), (3, 3))
    assert unsure.freedom == np.inf
    assert unsure.error == pytest.approx(1.0, abs=0.02)


# --- may a sentence rest on it? -----------------------------------------------------------------------------------
def spread_around(centre: float) -> Doubt:
    """A figure with a normal spread of 1 beyond the shots."""
    drawn = centre + stats.norm.ppf((np.arange(RESAMPLES) + 0.5) / RESAMPLES)
    return doubt(np.concatenate([[centre], drawn, np.full(8, centre)]), (4, 4))


# Two-sided normal points, any table: 1.645 at 90 %, 1.960 at 95 %, 2.128 at 96.7 %, 2.241 at 97.5 %.
@pytest.mark.parametrize(
    ("centres", "expected"),
    [
        ((1.70,), (True,)),
        ((1.60,), (False,)),
        ((-1.70,), (True,)),
        ((0.0,), (False,)),
        ((1.90, 0.0), (False, False)),
        ((2.02, 0.0), (True, False)),
        ((2.20, 0.1, 0.2, 0.3), (False,) * 4),
        ((0.1, 2.30, 0.2, 0.3), (False, True, False, False)),
        ((2.30, 2.10, 0.2, 0.3), (True, False, False, False)),
        ((2.30, 0.2, 2.17, 0.3), (True, False, True, False)),
        ((2.30, -2.17, 2.02, 1.70), (True, True, True, True)),
        ((2.30, -2.17, 2.02, 1.60), (True, True, True, False)),
        ((2.17, 2.17, 2.17, 2.17), (False,) * 4),
    ],
)
def test_each_lever_must_stand_up_among_those_printed_with_it(
    centres: tuple[float, ...], expected: tuple[bool, ...]
) -> None:
    assert tuple(sayable([spread_around(c) for c in centres])) == expected


@given(centres=st.lists(st.floats(-4.0, 4.0), min_size=1, max_size=4), more=st.floats(-4.0, 4.0))
def test_another_lever_on_the_page_makes_none_more_sayable(centres: list[float], more: float) -> None:
    alone = sayable([spread_around(c) for c in centres])
    among = sayable([spread_around(c) for c in [*centres, more]])[:-1]
    assert all(before or not after for before, after in zip(alone, among, strict=True))


def test_a_skewed_figure_needs_its_own_range_off_zero_as_well() -> None:
    """A long tail to one side: the t test alone would name it."""
    drawn = np.concatenate([np.full(360, 3.0), np.full(40, -0.5)])
    figures = np.concatenate([[2.65], drawn, np.full(8, 2.65)])
    unsure = doubt(figures, (4, 4))
    assert 2.65 / unsure.error > 1.7
    assert sayable([unsure]) == [False]


def test_a_figure_that_never_varies_is_sayable_unless_it_is_nothing() -> None:
    sure, nothing = np.full(1 + RESAMPLES + 8, 3.0), np.zeros(1 + RESAMPLES + 8)
    lost = np.full(1 + RESAMPLES + 8, np.nan)
    assert sayable([doubt(figures, (4, 4)) for figures in (sure, nothing, lost)]) == [True, False, False]


def test_figures_told_together_are_told_as_each_alone() -> None:
    """One with gaps, one that never varies and one without a value between two plain ones: none touches another."""
    generator, counts = np.random.default_rng(3), (5, 7)
    figures = generator.normal(1.0, 0.5, (5, 1 + RESAMPLES + 12))
    figures[1, [0, 3, 200, -2]], figures[2], figures[3] = np.nan, 4.0, np.nan
    together = doubts(figures, counts)
    for row, found in zip(figures, together, strict=True):
        alone = doubt(row, counts)
        assert (found.error, found.freedom, found.wider) == (alone.error, alone.freedom, alone.wider)
        assert found.drawn.tolist() == alone.drawn.tolist()
    known = figures[1, 1 : 1 + RESAMPLES][np.isfinite(figures[1, 1 : 1 + RESAMPLES])]
    assert together[1].drawn.tolist() == sorted(known)
    assert [each.error > 0 for each in together] == [True, True, False, False, True]
