"""How often the statistics are right, on invented golfers whose truth is known; run it as a file: it prints tables.

Every golf constant, here and in invented_visits.py, is invented: the figures rank rules and catch a rule gone wrong,
they say nothing of golf.
Each table has its own seed, so the figures are the same on every run. `python statistics_bench.py 0.2` runs a fifth.
test_statistics_bench.py asserts what a small run must give, and says there which figures miss what was wished.
"""

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.analysis.ball_flight import column
from pipeline.analysis.comparison import compare
from pipeline.analysis.expectation import STATED, expect
from pipeline.analysis.fates import COUNTING
from pipeline.analysis.history import history_of
from pipeline.records import Comparison
from tests.benchmarks.invented_history import Customers, club_spread, own_loss, pieces, shot_spread
from tests.benchmarks.invented_visits import CLUBS, MISHITS, YARD, Floats, Plan, decided, true_gains


# --- the figures --------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Found:
    """Shares of planted shots set aside, of those called bad reads, and of good shots wrongly set aside."""

    aside: float
    bad: float
    lost: float


def found_and_lost(plan: Plan) -> Found:
    """Count what the rules make of the planted and of the good shots."""
    planted = aside = bad = good = lost = 0
    for _, meant, verdicts in decided(plan):
        for what, fate in zip(meant, verdicts, strict=True):
            out = fate.fate not in COUNTING
            planted += bool(what)
            aside += bool(what) and out
            bad += bool(what) and fate.fate == "bad_read"
            good += not what
            lost += not what and out
    return Found(aside / max(planted, 1), bad / max(planted, 1), lost / max(good, 1))


def wild_by_size(plan: Plan) -> tuple[Floats, NDArray[np.bool_]]:
    """Give how far off the set's middle each planted shot is, in true spreads of the visit, and whether it is found.

    The spread is the standard deviation of the shots that were not planted, pooled over the visit's sets.
    """
    sizes, found = [], []
    for frame, meant, verdicts in decided(plan):
        side = column(frame, "used_offline_m").reshape(plan.sets, plan.n)
        good = np.array([not what for what in meant]).reshape(plan.sets, plan.n)
        groups = [values[mask] for values, mask in zip(side, good, strict=True)]
        spread = math.sqrt(np.mean([group.var(ddof=1) for group in groups]))
        for k, group in enumerate(groups):
            for i in np.flatnonzero(~good[k]):
                sizes.append(abs(side[k, i] - np.median(group)) / spread)
                found.append(verdicts[k * plan.n + i].fate not in COUNTING)
    return np.array(sizes), np.array(found)


@dataclass(frozen=True, slots=True)
class Claims:
    """Shares of visits that claim a real difference, and of intervals that hold the truth: of one build and of all.

    kept: of the shots the rules leave; good: of the shots that were meant well, as if one knew.
    """

    claimed: float
    alone_kept: float
    alone_good: float
    together: float


def claims(plan: Plan) -> Claims:
    """Compare the first set of each visit with the others, and hold the intervals against the truth."""
    claimed, together, kept, good = [], [], [], []
    for (frame, meant, verdicts), truth in zip(decided(plan), true_gains(plan), strict=True):
        counts = np.array([fate.fate in COUNTING for fate in verdicts])
        well = np.array([not what for what in meant])
        mishit = np.array([fate.fate == "mishit" for fate in verdicts])
        all_compared = _compared(frame, counts, mishit, plan.sets, alone=False)
        claimed.append(any(c.verdict == "likely_real" for c in all_compared))
        together.append(all(c.low <= truth <= c.high for c in all_compared))
        kept += [c.low <= truth <= c.high for c in _compared(frame, counts, mishit, plan.sets, alone=True)]
        good += [c.low <= truth <= c.high for c in _compared(frame, well, np.zeros_like(well), plan.sets, alone=True)]
    return Claims(*(float(np.mean(values)) for values in (claimed, kept, good, together)))


def _compared(
    frame: pl.DataFrame, counts: NDArray[np.bool_], mishit: NDArray[np.bool_], sets: int, *, alone: bool
) -> list[Comparison]:
    carry, index = column(frame, "used_carry_m"), frame["set"].to_numpy()
    own, *builds = (carry[counts & (index == k) & np.isfinite(carry)] for k in range(sets))
    numbered = list(enumerate(builds, 1))
    for_each = [[build] for build in numbered] if alone else [numbered]
    aside = {k: int((mishit & (index == k)).sum()) for k in range(sets)}
    return [c for which in for_each for c in compare("carry_m", 0, own, which, 5 * YARD, aside)]


@dataclass(frozen=True, slots=True)
class Luck:
    """Means for the build that looked best [yd]: true, measured, expected gain, and how often its range held the truth.

    bias: expected less true gain, with its standard error; from the true gain to be expected of the means seen.
    """

    true: float
    measured: float
    expected: float
    held: float
    bias: float
    error: float


def luck(builds: int, n: int, visits: int, seed: int, spread: float | None = 3.0) -> Luck:
    """Pick the best of some builds by its measured gain, with shots of 10 yd spread.

    spread: true spread between clubs [yd]; None draws one for each visit from the prior the product states.
    Given the shots, the true gain is B × measured on average, B = tau²/(tau² + 10²/n). Its mean is that of the true
    gain itself, with far less noise, so the bias is counted from it.
    """
    generator = np.random.default_rng(seed)
    degrees = STATED.freedom
    rows = []
    for _ in range(visits):
        stated = STATED.spread_m / YARD
        tau = spread or stated * math.sqrt((degrees - 2) / generator.chisquare(degrees))
        true = generator.normal(0, tau * YARD, builds + 1)
        clubs = true[:, None] + 220 + 10 * YARD * generator.standard_normal((builds + 1, n))
        best = max(expect(0, clubs[0], list(enumerate(clubs[1:], 1))), key=lambda e: e.measured)
        gain = true[best.build] - true[0]
        due = best.measured * tau**2 / (tau**2 + 100 / n)
        rows.append((due, best.measured, best.expected, best.low <= gain <= best.high, best.expected - due))
    return _luck(rows)


def _luck(rows: Sequence[tuple[float, ...]]) -> Luck:
    table = np.array(rows, dtype=np.float64)
    due, measured, expected, held, bias = table.mean(axis=0)
    error = table[:, 4].std(ddof=1) / math.sqrt(len(rows))
    return Luck(due / YARD, measured / YARD, expected / YARD, held, bias / YARD, float(error) / YARD)


def luck_learned(golfers: Customers, behind: Customers | None, builds: int, n: int, visits: int) -> Luck:
    """Pick the best of some builds as `luck` does, and expect by what earlier customers told.

    golfers: whose visits these are; behind: the customers behind the history, None for the stated prior. The same
    visits either way. Of a golfer whose own club loses so much, the true gain is that and B × the rest, on average.
    """
    learned = history_of(pieces(behind, seed=round(10 * behind.spread))) if behind else None
    known = learned.of("driver") if learned else None
    prior, typical = (known.between, known.shots) if known else (STATED, None)
    generator = np.random.default_rng(100 * builds + n)
    rows = []
    for _ in range(visits):
        shots, apart, loss = (
            YARD * draw
            for draw in (
                shot_spread(golfers.shot, golfers.uneven, generator),
                club_spread(golfers, generator),
                own_loss(golfers, generator),
            )
        )
        true = generator.normal(0, apart, builds + 1)
        true[0] -= loss
        clubs = true[:, None] + 220 + shots * generator.standard_normal((builds + 1, n))
        found = expect(0, clubs[0], list(enumerate(clubs[1:], 1)), prior, typical)
        best = max(found, key=lambda e: e.measured)
        gain = true[best.build] - true[0]
        due = loss + (best.measured - loss) * apart**2 / (apart**2 + shots**2 / n)
        rows.append((due, best.measured, best.expected, best.low <= gain <= best.high, best.expected - due))
    return _luck(rows)


# --- the tables ---------------------------------------------------------------------------------------------------
FAULTS: Final = ("spin doubled", "carry off", "duplicate", "ball speed +6", "ball speed +15")


def print_found(scale: float) -> None:
    """Print how many planted faults and mishits are set aside, and how many good shots with them."""
    print("set aside of those planted, called bad reads, good shots lost (3 sets, one planted in the first)")
    for kind in CLUBS:
        for axis in (True, False):
            for what in (*FAULTS, *MISHITS, ""):
                for n in (8, 12):
                    plan = Plan(kind, int(300 * scale), 3, n, what, every_set=False, seed=len(what) + n, axis=axis)
                    found = found_and_lost(plan)
                    said = "" if axis else "no spin axis"
                    name = what or "nothing"
                    print(f"  {kind:7}{name:15} n={n:2}  {found.aside:5.2f} {found.bad:5.2f} {found.lost:6.3f} {said}")


def print_mishits(scale: float) -> None:
    """Print how many mishits are found with one in every set, and good shots lost; how size decides on wild ones."""
    print("mishits found, one in every set:", *MISHITS, "| good shots lost with them, and without any mishit")
    for kind in CLUBS:
        for sets, n in ((4, 8), (4, 12), (1, 8), (1, 12)):
            plans = [Plan(kind, int(300 * scale), sets, n, what, seed=5 + n) for what in (*MISHITS, "")]
            found = [found_and_lost(plan) for plan in plans]
            rates = " ".join(f"{f.aside:5.2f}" for f in found[:-1])
            print(f"  {kind:7} sets {sets} n={n:2}  {rates}  {max(f.lost for f in found):6.3f} {found[-1].lost:6.3f}")
    print("wild shots found (4 sets of 8) by their distance in true spreads: under 4, 4 to 5, 5 to 6, 6 and more")
    for kind in CLUBS:
        sizes, found_wild = wild_by_size(Plan(kind, int(300 * scale), 4, 8, "wild", seed=13))
        parts = [(sizes >= low) & (sizes < high) for low, high in ((0, 4), (4, 5), (5, 6), (6, 1e9))]
        print(f"  {kind:7}", *(f"{found_wild[part].mean():.2f} of {part.mean():.2f};" for part in parts))


def print_claims(scale: float) -> None:
    """Print how often clubs are called different, with 8 % mishits among the shots."""
    print(
        "reports that claim a difference; intervals that hold the truth: one build, as if mishits were known, together"
    )
    for kind, faster in (("driver", 0.0), ("iron", 0.0), ("driver", 0.03), ("iron", 0.03)):
        for builds in (1, 2, 3, 6):
            for n in (6, 8, 12):
                seed = 100 * builds + n
                found = claims(Plan(kind, int(400 * scale), builds + 1, n, mishit_share=0.08, faster=faster, seed=seed))
                figures = f"{found.claimed:6.3f} {found.alone_kept:6.3f} {found.alone_good:6.3f} {found.together:6.3f}"
                print(f"  {kind:7} +{faster:.0%} builds {builds}  n={n:2}  {figures}")


def print_luck(scale: float) -> None:
    """Print the winner's curse and what is left of it."""
    print("the build that looked best: true gain, measured, expected [yd], bias, 95 % range holds the truth")
    for spread in (3.0, None, 1.5, 6.0):
        print(f"  true spread between clubs: {f'{spread} yd' if spread else 'drawn from the stated prior'}")
        for builds in (1, 2, 4, 7):
            for n in (6, 12):
                is_ = luck(builds, n, int(500 * scale), n, spread)
                figures = f"{is_.true:5.2f} {is_.measured:5.2f} {is_.expected:5.2f}  {is_.bias:+.2f} ± {is_.error:.2f}"
                print(f"  builds {builds}  n={n:2}  {figures} {is_.held:6.3f}")


def print_learned(scale: float) -> None:
    """Print what is left of the winner's curse with the stated prior, and with what 200 customers told."""
    print("the build that looked best, stated prior | history of 200 customers: bias [yd], 95 % range holds the truth")
    misfits = Customers(200, 2.0, misfit=0.1)
    plans = {f"true spread {spread} yd": Customers(200, spread) for spread in (1.5, 3.0, 6.0)}
    plans["true spread 3 yd, differs between golfers"] = Customers(200, 3.0, differ=8.0)
    plans["2 yd, of one golfer in ten the own club loses 15 yd"] = misfits
    plans["the same: these golfers alone"] = replace(misfits, misfit=1.0)
    for name, golfers in plans.items():
        print(f"  {name}")
        behind = misfits if golfers.misfit else golfers
        for builds in (1, 2, 4, 7):
            for n in (6, 12):
                both = [luck_learned(golfers, known, builds, n, int(300 * scale)) for known in (None, behind)]
                said = (f"{one.bias:+.2f} ± {one.error:.2f} {one.held:.3f}" for one in both)
                print(f"  builds {builds}  n={n:2}  {' | '.join(said)}")


def main() -> None:
    """Print all tables."""
    scale = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    for table in (print_found, print_mishits, print_claims, print_luck, print_learned):
        table(scale)


if __name__ == "__main__":
    main()
