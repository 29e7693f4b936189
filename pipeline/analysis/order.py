"""Who was hit when: how much of a difference between two clubs may be warm-up or tiredness."""

import math
from dataclasses import replace

import numpy as np
import polars as pl
from scipy import special

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.comparison import Difference, judged, widened
from pipeline.judgements import OrderEffect
from pipeline.records import Comparison

MOST_INFLATION = 1.3  # above it an adjusted interval is no longer worth its width; source: our simulation
# What a golfer gains or loses from the first shot compared to the last one: within 5 yd for two of three (a judgement)
DRIFT_SPREAD_M = 4.572
DRIFT_RANGE = 0.80
_LEAST_VARIANCE = 1e-6  # m²


def inflation(is_build: Floats, number: Floats) -> float:
    """Say how much the order of the shots inflates the variance of an adjusted difference (VIF).

    is_build: 1 for a shot with the build, else 0; number: place in the visit; both shape (n,), finite, n >= 3.
    Returns 1/(1 − r²) >= 1 with their correlation r; inf where one follows from the other, or one never changes.
    Source: textbook (variance inflation factor), from memory; checked against a fit by least squares in the tests.
    """
    if np.ptp(is_build) == 0 or np.ptp(number) == 0:
        return math.inf
    r = float(np.corrcoef(is_build, number)[0, 1])
    return 1 / (1 - r * r) if 1 - r * r > 1e-12 else math.inf


def adjusted_difference(
    build: tuple[Floats, Floats], own: tuple[Floats, Floats], aside: tuple[int, int] = (0, 0)
) -> Difference:
    """Fit carry = level + difference × build + slope × shot number, each club with a spread of its own.

    build, own: values [m] and shot numbers, shape (n,), finite, n >= 3 each; the numbers must not follow from the club.
    aside: how many shots of each were set aside as mishits (see comparison.widened).
    Returns the difference with its standard error [m] and Satterthwaite's degrees of freedom. Least squares; a club's
    variance is its share of squared residuals over its share of the trace of I − H, so that with the slope left out
    this is Welch's comparison. Source: own generalisation of Welch's; cover by simulation in the tests.
    """
    design, values, of_build = _design(build, own)
    inverse = np.linalg.pinv(design)
    residual = values - design @ (inverse @ values)
    free = 1 - (design * inverse.T).sum(axis=1)
    weight = inverse[1] ** 2
    shares, freedoms = [], []
    for mine, (club, _), k in zip((of_build, ~of_build), (build, own), aside, strict=True):
        freedom = float(free[mine].sum())
        variance = widened(club, k) * float((residual[mine] ** 2).sum()) / freedom
        shares.append(float(weight[mine].sum()) * variance)
        freedoms.append(freedom)
    total = sum(shares)
    spent = sum(share**2 / freedom for share, freedom in zip(shares, freedoms, strict=True))
    return Difference(float(inverse[1] @ values), math.sqrt(total), total**2 / spent if spent > 0 else min(freedoms))


def _design(build: tuple[Floats, Floats], own: tuple[Floats, Floats]) -> tuple[Floats, Floats, np.ndarray]:
    values, number = (np.concatenate(pair) for pair in zip(build, own, strict=True))
    of_build = np.arange(len(values)) < len(build[0])
    return np.stack([np.ones(len(values)), of_build, number - number.mean()], axis=1), values, of_build


def drift(
    build: tuple[Floats, Floats], own: tuple[Floats, Floats], spread_m: float = DRIFT_SPREAD_M
) -> tuple[float, float, float]:
    """Say what warm-up or tiredness adds to the plain difference, with its range at 80 % [m].

    build, own: values [m] and shot numbers, shape (n,), finite, n >= 3 each; spread_m: what a golfer gains or loses
    from the first shot to the last, as a standard deviation, when the shots do not tell.
    Returns drift, low and high: positive where it favours the build. The slope within the clubs, drawn to none as far
    as it is uncertain, times the mean number of shots between the two. Valid for a drift that is steady over the visit:
    a warm-up over the first five shots is seen in part only.
    Source: textbook (least squares with a normal prior on one coefficient), from memory; the prior is our judgement.
    """
    within = [(values - values.mean(), number - number.mean()) for values, number in (build, own)]
    values, number = (np.concatenate(pair) for pair in zip(*within, strict=True))
    freedom = len(values) - 3
    squares = float((number**2).sum())
    span = float(np.ptp(np.concatenate([build[1], own[1]])))
    apart = float(build[1].mean() - own[1].mean())
    slope = float((number * values).sum()) / squares if squares > 0 else 0.0
    noise = max(float(((values - slope * number) ** 2).sum()) / freedom, _LEAST_VARIANCE)
    prior = (spread_m / span) ** 2 if span > 0 else 0.0
    kept = prior * squares / (prior * squares + noise)
    error = math.sqrt(prior * (1 - kept)) * abs(apart)
    half = float(special.stdtrit(freedom, (1 + DRIFT_RANGE) / 2)) * error
    return kept * slope * apart, kept * slope * apart - half, kept * slope * apart + half


def hitting_places(frame: pl.DataFrame) -> Floats:
    """Give each shot's place in the visit (n,): by its time where every shot has one, else by the files' order.

    frame: columns `number` and `time` (ISO text or null). Shots of the same second keep the files' order.
    """
    if frame["time"].null_count():
        return frame["number"].to_numpy().astype(np.float64)
    by_time = np.lexsort((frame["number"].to_numpy(), frame["time"].rank("dense").to_numpy()))
    places = np.empty(frame.height)
    places[by_time] = np.arange(1.0, frame.height + 1)
    return places


def allow_for_order(
    comparison: Comparison,
    build: tuple[Floats, Floats],
    own: tuple[Floats, Floats],
    smallest_difference: float,
    aside: tuple[int, int] = (0, 0),
) -> tuple[Comparison, OrderEffect]:
    """Allow for the order of the shots as far as the order lets us.

    comparison: the plain one, of these shots; build, own: counted values [m] and their places in the visit, shape (n,),
    finite, n >= 3 each; smallest_difference that matters [m]; aside: shots of each set aside as mishits.
    Returns the comparison adjusted for the shot number when that inflates its variance by 1.3 at most, else as it came;
    and how much of the plain difference may be drift.
    Source: our simulation of drifts and orders: with clubs in turn the adjustment costs nothing and removes the drift,
    with one club after the other it doubles the interval.
    """
    is_build = np.repeat([1.0, 0.0], [len(build[0]), len(own[0])])
    vif = inflation(is_build, np.concatenate([build[1], own[1]]))
    adjusted = vif <= MOST_INFLATION
    middle, least, most = drift(build, own)
    effect = OrderEffect(
        build=comparison.build,
        against=comparison.against,
        n_build=comparison.n_build,
        n_against=comparison.n_against,
        inflation=vif,
        adjusted=adjusted,
        plain_difference=comparison.difference,
        drift=middle,
        drift_low=least,
        drift_high=most,
        could_be=max(abs(least), abs(most)),
    )
    if not adjusted:
        return comparison, effect
    found = adjusted_difference(build, own, aside)
    pairs = (comparison.build, build[0]), (comparison.against, own[0])
    said = judged(comparison.quantity, *pairs, found, comparison.compared, smallest_difference)
    return replace(said, method="welch_with_shot_number"), effect
