"""What a studio's own visits tell of the next one: how much builds of a kind differ for a customer, and shots."""

import math

import numpy as np
import polars as pl
from scipy import special

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.comparison import FEWEST_SHOTS
from pipeline.analysis.expectation import STATED
from pipeline.analysis.rollup_cells import Ints, moderated, sums
from pipeline.judgements import BetweenClubs, History, KindHistory, TypicalSpread

KINDS = ("driver", "wood", "hybrid", "iron", "wedge")
FEWEST_CUSTOMERS = 20  # with two builds or more, until what they tell replaces the stated judgement
MOST_FREEDOM = 60.0  # customers differ at least so much in what clubs do for them: no number of visits rules it out
MOST_SHOT_FREEDOM = 30.0  # a visit of 30 shots always counts for half
_WRONGLY_NAMED_M = 36.576  # 40 yd between two clubs of one job: another club's shots, or another device's
_GRID, _SMALLEST_M, _LARGEST_M = 90, 0.05, 30.0
_FREEDOMS = np.geomspace(5.0, MOST_FREEDOM, 9)  # mean and variance of tau² exist above 4
_TENTH_YARD_M, _TEN = 0.09144, 10
_VISIT = ("customer", "studio", "sitting", "category")


def history_of(pieces: pl.DataFrame) -> History | None:
    """Say what a studio's customers tell of builds and shots, kind by kind; None where too few tell anything.

    pieces: one row a customer, studio, sitting, category (job in the bag: driver, iron 7, …), model, loft, shaft and
    own-or-not with n, total and squares of the carry of the counted shots [m]; more columns do no harm. A job's kind is
    its first word. Rounded coarsely (spreads to 0.1 yd, customers down to tens), so that it changes seldom.
    A build that nobody named is left out, several may be put together in it; an unnamed own club is one club.
    """
    named = pieces.filter(pl.col("own") | (pl.col("model") != ""))
    kinds = (_kind_history(kind, named.filter(_kind() == kind)) for kind in KINDS)
    known = tuple(one for one in kinds if one)
    return History(known) if known else None


def _kind() -> pl.Expr:
    return pl.col("category").str.split(" ").list.first()


def _kind_history(kind: str, pieces: pl.DataFrame) -> KindHistory | None:
    builds = _builds(pieces)
    freedom, squares = builds["freedom"].to_numpy().astype(np.float64), builds["within"].to_numpy()
    who = builds["who"].to_numpy()
    customers = int(who.max()) + 1 if len(who) else 0
    d, total = sums(who, freedom, customers), sums(who, squares, customers)
    if customers < FEWEST_CUSTOMERS or total.sum() <= 0:
        return None
    variance, behind, pooled = moderated(d, total)
    expected = variance * behind / (behind - 2)  # not the likeliest one: else luck would be taken for true differences
    builds = builds.with_columns(pl.Series("noise", expected[who] / builds["n"].to_numpy()))
    span = pl.col("mean").max() - pl.col("mean").min()
    builds = builds.filter((pl.len() > 1).over("visit"), (span <= _WRONGLY_NAMED_M).over("visit"))
    hit = builds["who"].n_unique()
    if hit < FEWEST_CUSTOMERS:
        return None
    shots = _typical(variance, behind, pooled, d, total)
    return KindHistory(kind, hit // _TEN * _TEN, _between(builds), shots)


def _builds(pieces: pl.DataFrame) -> pl.DataFrame:
    """Sum the pieces up to builds hit in one visit, as many shots each as a comparison asks for."""
    within = (pl.col("squares") - pl.col("total") ** 2 / pl.col("n")).clip(lower_bound=0)
    return (
        pieces.with_columns(within.alias("within"), (pl.col("n") - 1).alias("freedom"))
        .group_by(*_VISIT, "model", "loft", "shaft", "own")
        .agg(pl.col("n", "total", "within", "freedom").sum())
        .filter(pl.col("n") >= FEWEST_SHOTS)
        .sort(*_VISIT, "model", "loft", "shaft", "own")
        .with_columns(
            (pl.col("total") / pl.col("n")).alias("mean"),
            pl.struct(_VISIT).rank("dense").cast(pl.Int64).sub(1).alias("visit"),
            pl.col("customer").rank("dense").cast(pl.Int64).sub(1).alias("who"),
        )
    )


# --- shots --------------------------------------------------------------------------------------------------------
def _typical(variance: Floats, behind: Floats, pooled: float, freedom: Floats, squares: Floats) -> TypicalSpread:
    """Read the spread that customers' spreads were drawn to, and its freedoms, off the first customer's.

    s² = (nu0 s0² + SS)/(nu0 + d); where all were given the pooled one, customers differ by no more than chance.
    """
    extra = float(behind[0] - freedom[0])
    alike = bool((behind == behind[0]).all() and (variance == variance[0]).all())
    centre = pooled if alike else float(variance[0] * behind[0] - squares[0]) / extra
    return TypicalSpread(_coarse(math.sqrt(centre)), float(math.floor(min(extra, MOST_SHOT_FREEDOM))))


# --- clubs --------------------------------------------------------------------------------------------------------
def log_likelihood(spread: Floats, mean: Floats, noise: Floats, visit: Ints) -> Floats:
    """Give the log likelihood of each true spread between the builds of a visit, its common level integrated out.

    spread: (g,) [m]; mean, noise: of each build its mean carry [m] and the variance of that from the shots [m²], (k,);
    visit: index of each one's visit (k,), from 0. Returns (visits, g). Builds normal about the visit's level. A visit
    with one build says nothing: 0.
    Source: the likelihood by which `expectation.expect` weighs spreads, visit by visit; equality with it in the tests.
    """
    visits = int(visit.max()) + 1
    found = np.empty((visits, len(spread)))
    for g, tau in enumerate(spread):
        weight = 1 / (tau**2 + noise)
        total = sums(visit, weight, visits)
        level = sums(visit, weight * mean, visits) / total
        squares = sums(visit, weight * (mean - level[visit]) ** 2, visits)
        found[:, g] = (sums(visit, np.log(weight), visits) - np.log(total) - squares) / 2
    return found


def _between(builds: pl.DataFrame) -> BetweenClubs:
    """Judge how much builds truly differ for a customer, the own club one of them, and how customers differ in it.

    builds: those of visits with two or more. What is wanted is the spread that `expect` draws all clubs of a visit to
    their common level by, so the own club counts as any other: if own clubs are shorter on the whole, that belongs to
    it. What warm-up adds between the first club and the last cannot be told from it and makes it a little too large.
    Each visit has a spread of its own, tau² ~ (f - 2) spread_m² / chi²(f), as `expect` takes it: f is low where most
    customers' clubs are alike and a few own one that does not fit them at all, whose large gains are then believed.
    spread_m and f are averaged over what all visits leave likely, with the stated judgement of spread_m and any f (by
    its logarithm) before them, and put together by mean and variance of tau²: f = 4 + 2 mean²/variance. A customer
    counts once, however often he came.
    Source: mixture over a customer's own variance (textbook, from memory), moments of the scaled inverse chi-square
    distribution (the same); recovery of known spreads by simulation in the tests and in
    tests/benchmarks/statistics_bench.py.
    """
    visit = builds["visit"].rank("dense").cast(pl.Int64).to_numpy() - 1
    _, first = np.unique(visit, return_index=True)
    who = builds["who"].to_numpy()[first]
    taus = np.geomspace(_SMALLEST_M, _LARGEST_M, _GRID)
    logs = log_likelihood(taus, builds["mean"].to_numpy(), builds["noise"].to_numpy(), visit)
    spread, freedom = (one.ravel() for one in np.meshgrid(taus[::2], _FREEDOMS, indexing="ij"))
    believed = np.exp(_density(taus, spread[:, None], freedom[:, None]))
    believed /= believed.sum(axis=1, keepdims=True)
    highest = logs.max(axis=1, keepdims=True)
    of_visit = np.log(np.exp(logs - highest) @ believed.T) + highest
    total = (of_visit / np.bincount(who)[who][:, None]).sum(axis=0) + _density(spread, STATED.spread_m, STATED.freedom)
    weights = np.exp(total - total.max())
    weights /= weights.sum()
    mean = float(weights @ spread**2)
    variance = float(weights @ (2 * spread**4 / (freedom - 4) + (spread**2 - mean) ** 2))
    return BetweenClubs(
        _coarse(math.sqrt(mean)), float(math.floor(min(4 + 2 * mean**2 / variance, MOST_FREEDOM))), "history"
    )


def _density(tau: Floats, spread: Floats | float, freedom: Floats | float) -> Floats:
    """Give the log density of tau under tau² ~ (f - 2) spread² / chi²(f), per step of a grid of logarithms of tau."""
    scaled = (freedom - 2) * spread**2 / tau**2
    return np.asarray(special.xlogy(freedom / 2, scaled / 2) - scaled / 2 - special.gammaln(freedom / 2))


def _coarse(spread_m: float) -> float:
    return round(max(round(spread_m / _TENTH_YARD_M), 1) * _TENTH_YARD_M, 6)
