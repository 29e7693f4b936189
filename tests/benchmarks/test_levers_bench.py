"""A tenth of the bench, held against what the ranges promise; see levers_bench.py for the tables themselves."""

import math
from collections import defaultdict

import pytest

from tests.benchmarks.levers_bench import SHOTS, Plan, rates, seconds

VISITS = 60  # of each number of shots
KINDS = ("driver", "iron")


def shares(kind: str, *, null: bool, lofts: bool) -> dict[str, tuple[float, float]]:
    """Share of all visits, whatever their number of shots, whose range held the truth, and that had it sayable.

    "any" has had any of the separate levers sayable.
    """
    held: defaultdict[str, float] = defaultdict(float)
    said: defaultdict[str, float] = defaultdict(float)
    for n in SHOTS:
        found, any_said = rates(Plan(kind, n, VISITS, seed=1000 + n, null=null, lofts=lofts))
        for lever, rate in found.items():
            assert rate.visits == VISITS
            held[lever] += rate.held / len(SHOTS)
            said[lever] += rate.sayable / len(SHOTS)
        said["any"] += any_said / len(SHOTS)
    return {lever: (held[lever], said[lever]) for lever in said}


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("lofts", [True, False])
def test_ranges_hold_the_truth_four_times_in_five(kind: str, *, lofts: bool) -> None:
    """Attack and fit with unknown lofts err on the safe side: the loft's doubt alone is as wide as most changes."""
    error = math.sqrt(0.8 * 0.2 / (VISITS * len(SHOTS)))
    found = shares(kind, null=False, lofts=lofts)
    del found["any"]
    assert {"club_speed", "strike", "attack", "fit", "attack_and_fit", "modelled"} == set(found)
    for lever, (held, _) in found.items():
        unsure = not lofts and lever in ("attack", "fit")
        assert 0.8 - 3 * error < held < 0.8 + (6 if unsure else 3) * error, lever


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("lofts", [True, False])
def test_of_visits_without_a_change_one_in_ten_names_any_lever(kind: str, *, lofts: bool) -> None:
    error = math.sqrt(0.1 * 0.9 / (VISITS * len(SHOTS)))
    for lever, (_, said) in shares(kind, null=True, lofts=lofts).items():
        assert said < 0.1 + 3 * error, lever


@pytest.mark.slow
def test_a_large_visit_costs_little_more_than_its_flights() -> None:
    whole, bare, _ = seconds(6, 12)
    assert whole < 4 * bare
