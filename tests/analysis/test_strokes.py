"""Strokes to hole out: cells of the published table, written out here, and what is made of them."""

import math

import pytest
from scipy import stats

from pipeline.analysis.strokes import exchange, expected_strokes, strokes
from pipeline.resources import table

YARD = 0.9144


@pytest.mark.parametrize(
    ("yards", "lie", "expected"),
    [
        (100, "tee", 2.92), (600, "tee", 4.82), (460, "tee", 4.17),
        (10, "fairway", 2.18), (160, "fairway", 2.98), (600, "fairway", 4.89),
        (10, "rough", 2.34), (160, "rough", 3.23), (200, "sand", 3.55),
        (160, "recovery", 3.81), (600, "recovery", 5.70),
        (150, "fairway", (2.91 + 2.98) / 2), (105, "tee", 2.92 + 0.07 / 4),
    ],
)  # fmt: skip
def test_cells_and_the_lines_between(yards: float, lie: str, expected: float) -> None:
    assert strokes(yards * YARD, lie) == pytest.approx(expected)


@pytest.mark.parametrize(("yards", "lie"), [(9.9, "fairway"), (600.1, "rough"), (99.0, "tee"), (math.nan, "sand")])
def test_outside_the_table_nothing_is_known(yards: float, lie: str) -> None:
    assert math.isnan(strokes(yards * YARD, lie))


def test_every_list_ends_at_six_hundred_yards_and_no_lie_beats_the_fairway() -> None:
    rows = {name: row["values"] for name, row in table("expected_strokes").items()}
    assert {name: len(values) for name, values in rows.items() if name != "tee"} == dict.fromkeys(
        ("distance_yd", "fairway", "rough", "sand", "recovery"), 35
    )
    assert len(rows["tee"]) == 26
    for lie in ("rough", "sand", "recovery"):
        assert all(there > fairway for there, fairway in zip(rows[lie], rows["fairway"], strict=True))


@pytest.mark.parametrize(
    ("yards", "ten_nearer", "rough", "recovery", "points"),
    [
        (140, 0.030, 0.24, 0.89, 13),
        (160, 0.035, 0.25, 0.83, 14),
        (180, 0.050, 0.23, 0.74, 22),
        (200, 0.055, 0.23, 0.68, 24),
    ],
)
def test_the_rate_of_exchange(yards: float, ten_nearer: float, rough: float, recovery: float, points: int) -> None:
    """Ten yards nearer and the price of the rough, subtracted by hand from the table."""
    found = exchange(yards * YARD)
    assert found.left_m == yards * YARD
    assert found.nearer * 10 * YARD == pytest.approx(ten_nearer)
    assert found.rough == pytest.approx(rough)
    assert found.recovery == pytest.approx(recovery)
    assert found.fairway_share == pytest.approx(ten_nearer / rough)
    assert abs(100 * found.fairway_share - points) < 0.51


def test_outside_the_table_there_is_no_rate() -> None:
    assert math.isnan(exchange(19 * YARD).nearer)
    assert math.isnan(exchange(601 * YARD).rough)


@pytest.mark.parametrize(
    ("total", "spread", "side", "expected"), [(258, 14, 20, 4.146), (246, 11, 14, 4.118), (258, 14, 14, 4.066)]
)
def test_shorter_and_straighter_may_be_better(total: float, spread: float, side: float, expected: float) -> None:
    """A hole of 420 yd, a fairway of 32 yd: figures of another program (regression)."""
    found = expected_strokes(420 * YARD, (total * YARD, spread * YARD), (0.0, side * YARD), 32 * YARD)
    assert found == pytest.approx(expected, abs=1e-3)


def test_strokes_without_spread_are_those_of_one_place() -> None:
    for side, lie in ((0.0, "fairway"), (20 * YARD, "rough"), (-34 * YARD, "rough"), (36 * YARD, "recovery")):
        found = expected_strokes(400 * YARD, (240 * YARD, 0.0), (side, 0.0), 32 * YARD)
        assert found == pytest.approx(1 + strokes(160 * YARD, lie))


def test_a_bias_is_counted_on_its_own_side() -> None:
    """Middle 10 yd right, 15 yd of spread: chances of the three lies by the normal distribution."""
    found = expected_strokes(400 * YARD, (240 * YARD, 0.0), (10 * YARD, 15 * YARD), 30 * YARD)
    fairway = stats.norm.cdf(15, 10, 15) - stats.norm.cdf(-15, 10, 15)
    playable = stats.norm.cdf(35, 10, 15) - stats.norm.cdf(-35, 10, 15)
    by_hand = 1 + fairway * 2.98 + (playable - fairway) * 3.23 + (1 - playable) * 3.81
    assert found == pytest.approx(by_hand)


def test_a_fairway_wider_than_the_trouble_has_no_rough() -> None:
    found = expected_strokes(400 * YARD, (240 * YARD, 0.0), (0.0, 25 * YARD), 80 * YARD)
    inside = stats.norm.cdf(40 / 25) - stats.norm.cdf(-40 / 25)
    assert found == pytest.approx(1 + inside * 2.98 + (1 - inside) * 3.81)


def test_a_hole_that_leaves_the_table_has_no_answer() -> None:
    assert math.isnan(expected_strokes(240 * YARD, (240 * YARD, 5.0), (0.0, 5.0), 30.0))
