"""Strokes to hole out: cells of the published table, written out here, and what is made of them."""

import math

import pytest

from pipeline.analysis.strokes import exchange, strokes
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
    found = exchange(400 * YARD, (400 - yards) * YARD)
    assert found is not None
    assert found.hole_m == 400 * YARD
    assert found.left_m == pytest.approx(yards * YARD)
    assert found.nearer * 10 * YARD == pytest.approx(ten_nearer)
    assert found.rough == pytest.approx(rough)
    assert found.recovery == pytest.approx(recovery)
    assert found.fairway_share == pytest.approx(ten_nearer / rough)
    assert abs(100 * found.fairway_share - points) < 0.51


def test_outside_the_table_there_is_no_rate() -> None:
    assert exchange(400 * YARD, 381 * YARD) is None
    assert exchange(400 * YARD, 379 * YARD) is not None
    assert exchange(600 * YARD, -1 * YARD) is None
