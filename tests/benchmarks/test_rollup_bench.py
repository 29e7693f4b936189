"""A small run of rollup_bench.py, with what it must give. All customers are invented.

Allowed is what is wished, less three binomial standard errors; the models of a season hang together, so a season counts
as two of its eight models.
"""

import math
import sys
from pathlib import Path
from typing import Final

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.analysis.drift import RULES
from tests.benchmarks import rollup_bench as bench
from tests.benchmarks.rollup_bench import Plan

pytestmark = pytest.mark.slow

SEASONS: Final = 120


def error(share: float, number: int) -> float:
    """Three standard errors of a share seen in so many."""
    return 3 * math.sqrt(share * (1 - share) / number)


@pytest.mark.parametrize(
    ("plan", "wrong"),
    [(Plan(15), 3.5), (Plan(40), 2.4), (Plan(150), 1.35), (Plan(40, uneven=0.6), 2.4), (Plan(40, model_sd=8.0), 2.9),
     (Plan(40, stops=True), 2.8), (Plan(40, own_loss=6.0, owned=0.4), 2.35)],
)  # fmt: skip
def test_effects_and_ranges_are_right_though_better_players_favour_some_models(plan: Plan, wrong: float) -> None:
    """The plain means of shots make the favoured models 15 yd and more too good here."""
    found = bench.errors(plan, SEASONS, 7 + plan.customers)
    assert found.cover >= 0.94 - error(0.94, 2 * SEASONS)
    assert found.done <= wrong
    assert found.done <= 1.02 * found.unpooled
    assert abs(found.favoured) <= 0.5
    assert found.favoured_plain > 10
    assert found.ranked >= 0.95


@pytest.mark.parametrize("fit_sd", [4.0, 0.0])
@pytest.mark.parametrize("customers", [15, 40])
def test_where_no_model_differs_none_is_called_better(customers: int, fit_sd: float) -> None:
    found = bench.errors(Plan(customers, model_sd=0.0, fit_sd=fit_sd), SEASONS, 3 + customers)
    assert found.better <= 0.05
    assert found.any_better <= 0.05 + error(0.05, SEASONS)
    assert found.done <= 0.5 * found.unpooled


def test_gains_over_own_clubs_are_right() -> None:
    found = bench.gain_errors(Plan(40, own_loss=6.0), 60, 5)
    assert found.cover >= 0.95 - error(0.95, 2 * 60)
    assert 0.8 <= found.spread <= 1.1 < found.spread_measured
    nothing = bench.gain_errors(Plan(40, own_loss=0.0, model_sd=0.0, fit_sd=0.0), 60, 6)
    assert abs(nothing.lift) <= 0.015


def test_false_alarms_are_rare_and_shifts_are_seen_in_time() -> None:
    false, _ = bench.alarms(RULES, 0.0, 0.0, 500, 11)
    assert false <= 0.095 + error(0.095, 500)
    late = bench.alarms(RULES, 1.0, 0.03, 300, 13)[1]
    assert 15 <= late <= 21
