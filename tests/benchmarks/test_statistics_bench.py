"""A small run of statistics_bench.py, with what it must give. All golfers are invented: see invented_visits.py.

Allowed is what was wished, less three binomial standard errors of the number of visits (`error`): the shots of a visit
are alike, so a visit counts once.
"""

import functools
import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks import statistics_bench as bench
from tests.benchmarks.invented_history import Customers
from tests.benchmarks.invented_visits import MISHITS, Plan

pytestmark = pytest.mark.slow

KINDS: Final = ("driver", "iron")
SIZES: Final = (6, 8, 12)
claims = functools.cache(bench.claims)
found_and_lost = functools.cache(bench.found_and_lost)
luck = functools.cache(bench.luck)


def error(share: float, visits: int) -> float:
    """Three standard errors of a share seen in so many visits."""
    return 3 * math.sqrt(share * (1 - share) / visits)


# --- intervals and verdicts ---------------------------------------------------------------------------------------
TWO_CLUBS: Final = 200


def two_clubs(n: int, faster: float) -> list[bench.Claims]:
    """One build against the own club, 8 % mishits, driver and iron."""
    return [
        claims(Plan(kind, TWO_CLUBS, 2, n, mishit_share=0.08, faster=faster, seed=40 + n + round(100 * faster)))
        for kind in KINDS
    ]


@pytest.mark.parametrize("faster", [0.0, 0.03])
@pytest.mark.parametrize("n", SIZES)
def test_the_interval_of_two_clubs_holds_the_truth(n: int, faster: float) -> None:
    """Clubs alike in truth, and one struck 3 % faster (10 yd of a driver, 6 of an iron: both are flown).

    Measured with 3200 visits a size, ± .004: .960, .957 and .958 of six, eight and twelve shots. Without the widening
    for shots set aside (comparison.widened) it was .944, .938 and .934: small mishits stay in, good extremes go.
    """
    visits = 2 * TWO_CLUBS
    kept = np.mean([found.alone_kept for found in two_clubs(n, faster)])
    assert 0.94 - error(0.94, visits) <= kept <= 0.96 + error(0.96, visits)


def test_the_intervals_of_two_clubs_hold_the_truth_over_all_sizes() -> None:
    found = [one for n in SIZES for faster in (0.0, 0.03) for one in two_clubs(n, faster)]
    visits = TWO_CLUBS * len(found)
    for held in ([one.alone_kept for one in found], [one.alone_good for one in found]):
        assert 0.94 - error(0.94, visits) <= np.mean(held) <= 0.96 + error(0.96, visits)


SEVERAL: Final = 120


def several(builds: int, n: int, faster: float = 0.0) -> bench.Claims:
    plan = Plan("driver", SEVERAL, builds + 1, n, mishit_share=0.08, faster=faster, seed=100 * builds + n)
    return claims(plan)


@pytest.mark.parametrize("builds", [2, 3, 6])
def test_the_intervals_of_several_builds_hold_the_truth_together(builds: int) -> None:
    together = np.mean([several(builds, n).together for n in SIZES])
    assert together >= 0.95 - error(0.95, SEVERAL * len(SIZES))


def test_the_intervals_of_several_longer_builds_hold_the_truth_together() -> None:
    together = np.mean([several(3, n, 0.03).together for n in SIZES])
    assert together >= 0.95 - error(0.95, SEVERAL * len(SIZES))


@pytest.mark.parametrize("builds", [1, 2, 3, 6])
def test_equal_clubs_are_seldom_called_different(builds: int) -> None:
    """Measured: .041 with one build (± .003, 4800 visits); .06 without the widening for shots set aside."""
    alone = [one for n in SIZES for one in two_clubs(n, 0.0)]
    found, visits = (alone, TWO_CLUBS) if builds == 1 else ([several(builds, n) for n in SIZES], SEVERAL)
    assert np.mean([one.claimed for one in found]) <= 0.05 + error(0.05, visits * len(found))


@pytest.mark.parametrize("n", SIZES)
def test_a_longer_club_is_called_so_more_often(n: int) -> None:
    """The interval must not hold the truth by being wide alone: 3 % of speed is found in a third of visits or more."""
    assert np.mean([one.claimed for one in two_clubs(n, 0.03)]) >= 0.30


# --- bad reads and good shots -------------------------------------------------------------------------------------
FAULTY: Final = 100


def planted(kind: str, what: str, *, axis: bool = True, computed: bool = False) -> list[bench.Found]:
    """Three sets, one planted in the first, of 8 and of 12 shots."""
    plans = [
        Plan(kind, FAULTY, 3, n, what, every_set=False, seed=len(what) + n, axis=axis, computed=computed)
        for n in (8, 12)
    ]
    return [found_and_lost(plan) for plan in plans]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("what", "share"),
    [
        ("spin doubled", 0.95),
        ("carry off", 0.95),
        ("duplicate", 0.95),
        ("ball speed +6", 0.75),
        ("ball speed +15", 0.95),
    ],
)
def test_planted_bad_reads_are_found(kind: str, what: str, share: float) -> None:
    found = planted(kind, what)
    assert np.mean([one.bad for one in found]) >= share - error(share, FAULTY * len(found))
    assert max(one.lost for one in found) <= 0.02


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("what", "share"), [("spin doubled", 0.95), ("ball speed +6", 0.75), ("ball speed +15", 0.95)])
def test_they_are_found_although_the_flight_was_computed_from_them(kind: str, what: str, share: float) -> None:
    """The flight then agrees with the fault, and the set alone gives it away: .94, .88 and 1.00 measured."""
    found = planted(kind, what, computed=True)
    assert np.mean([one.bad for one in found]) >= share - error(share, FAULTY * len(found))
    assert max(one.lost for one in found) <= 0.02


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("axis", [True, False])
def test_good_shots_are_left_alone(kind: str, *, axis: bool) -> None:
    """Measured .010 with a spin axis and without; no allowance is made."""
    assert max(one.lost for one in planted(kind, "", axis=axis)) <= 0.02


@pytest.mark.parametrize("kind", KINDS)
def test_good_shots_of_a_set_alone_are_lost_more_often(kind: str) -> None:
    """Nobody lends a set alone its spread: .029 of eight shots, .020 of twelve (regression); 2 % are not reached."""
    for n, wished in ((8, 0.034), (12, 0.027)):
        assert found_and_lost(Plan(kind, 200, 1, n, seed=77 + n)).lost <= wished


# --- mishits ------------------------------------------------------------------------------------------------------
MISSED: Final = 75
# sets, shots, then the rates wished of thin, fat, toe and wild: a simulation apart from this code, with other golfers
RATES: Final = {
    (4, 8): (0.70, 0.87, 0.52, 0.87),
    (4, 12): (0.74, 0.90, 0.58, 0.91),
    (1, 8): (0.57, 0.78, 0.48, 0.68),
}
# Wild shots are found less often than wished: .77 in sets of eight, .83 of twelve (regression). Of those planted one in
# five lies within 5 true spreads of the middle, where one in four is found; from 6 spreads on .98 are. The rule is as
# good as the one wished for at the same price: that one calls 13 % of clean sets uneven, ours 5 % of those of these
# golfers, who are less lopsided. At a chance of 10 % in place of 5 % ours does so with 13 % as well, loses .018 of good
# shots and finds .87; but a chance that holds for lopsided golfers is kept. Looking again without the mishits found
# gives .03 more and loses up to twice as many good shots (.044 of a set alone), so it is not done.
WILD: Final = {(4, 8): 0.77, (4, 12): 0.83, (1, 8): 0.68}


@pytest.mark.parametrize(("sets", "n"), RATES)
@pytest.mark.parametrize("what", MISHITS)
def test_mishits_are_found(sets: int, n: int, what: str) -> None:
    """One planted in every set, so that each widens the spread it is judged by."""
    visits = MISSED * (2 if sets == 1 else 1)
    found = [found_and_lost(Plan(kind, visits, sets, n, what, seed=5 + n)) for kind in KINDS]
    wished = WILD[sets, n] if what == "wild" else RATES[sets, n][MISHITS.index(what)]
    assert np.mean([one.aside for one in found]) >= wished - error(wished, visits * len(found))
    assert max(one.lost for one in found) <= (0.02 if sets > 1 else 0.034)


@pytest.mark.parametrize("kind", KINDS)
def test_a_wild_shot_six_spreads_off_is_found(kind: str) -> None:
    sizes, found = bench.wild_by_size(Plan(kind, MISSED, 4, 8, "wild", seed=13))
    far = sizes >= 6
    assert far.mean() > 0.4
    assert found[far].mean() >= 0.95


# --- what to expect -----------------------------------------------------------------------------------------------
PICKED: Final = 250
DESIGN: Final = [(builds, n) for builds in (1, 2, 4, 7) for n in (6, 12)]


@pytest.mark.parametrize(("builds", "n"), DESIGN)
def test_the_expected_gain_of_the_best_is_unbiased(builds: int, n: int) -> None:
    """True spread as the prior states, 3 yd. The measured gain is 2 to 5 yd too high as soon as there is a choice."""
    found = luck(builds, n, PICKED, n)
    assert abs(found.bias) <= 0.3
    assert found.held >= 0.93 - error(0.93, PICKED)
    if builds > 1:
        assert found.measured - found.true > 1.0


def test_the_expected_gain_is_unbiased_over_the_design() -> None:
    found = [luck(builds, n, PICKED, n) for builds, n in DESIGN]
    assert abs(np.mean([one.bias for one in found])) <= 0.1
    assert np.mean([one.held for one in found]) >= 0.93 - error(0.93, PICKED * len(found))


# --- what to expect once the studio has learned ---------------------------------------------------------------------
@pytest.mark.parametrize(("spread", "allowed"), [(1.5, 0.5), (3.0, 0.2), (6.0, 0.4)])
def test_what_two_hundred_customers_told_takes_most_of_the_bias_away(spread: float, allowed: float) -> None:
    """Four builds of eight shots; the stated prior is off by +0.9, -0.1 and -1.6 yd and holds the truth .85 at 6 yd."""
    golfers = Customers(200, spread)
    stated, learned = (bench.luck_learned(golfers, behind, 4, 8, PICKED) for behind in (None, golfers))
    assert abs(learned.bias) <= allowed + 3 * learned.error
    assert learned.held >= 0.95 - error(0.95, PICKED)
    if spread != 3.0:
        assert abs(stated.bias) > abs(learned.bias) + 0.3
    if spread > 3.0:
        assert stated.held < learned.held


def test_golfers_whose_own_club_fits_badly_are_believed_sooner() -> None:
    """One in ten loses 15 yd with the own club: a history that knows of such golfers draws their gain down less."""
    misfits = Customers(200, 2.0, misfit=0.1)
    golfers = replace(misfits, misfit=1.0)
    stated, learned = (bench.luck_learned(golfers, behind, 4, 8, PICKED) for behind in (None, misfits))
    assert stated.bias + 0.4 < learned.bias < 0
    assert learned.held > stated.held
