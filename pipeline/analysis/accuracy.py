"""Left, right and how far apart: bias, spreads and their comparison, and the share of balls on a fairway."""

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from pipeline.analysis.averages import average
from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.comparison import FEWEST_SHOTS, LEVEL
from pipeline.analysis.draws import generator_of, means_and_spreads, range_of
from pipeline.judgements import Accuracy, Spread, SpreadComparison

_LEAST_SPREAD_M = 1e-3  # balls that lie together to the millimetre


def spread_of(quantity: str, values: Floats) -> Spread:
    """Give the standard deviation of some values and its 95 % interval.

    values: shape (n,), finite, n >= 2 [any unit]. Returns s and s sqrt((n−1)/chi²) in that unit, exact for normal
    shots. Eight shots give 0.66 s to 2.04 s. Source: textbook, from memory; checked against scipy in the tests.
    """
    n, sd = len(values), float(values.std(ddof=1))
    low, high = (sd * math.sqrt((n - 1) / special.chdtri(n - 1, share)) for share in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    return Spread(quantity, n, sd, low, high)


def one_way(groups: Sequence[Floats]) -> tuple[float, float]:
    """Compare the means of several groups (one-way analysis of variance).

    groups: arrays of shape (n_k,), finite, two groups or more and more values than groups [any unit].
    Returns F and the chance of a larger one if the means are equal; without any spread within, F is inf, or nan where
    the means are equal as well. Source: textbook, from memory; checked against NIST's certified values.
    """
    counts = np.array([len(group) for group in groups])
    means = np.array([group.mean() for group in groups])
    level = float((counts * means).sum() / counts.sum())
    between = float((counts * (means - level) ** 2).sum())
    within = sum(float(((group - mean) ** 2).sum()) for group, mean in zip(groups, means, strict=True))
    above, below = len(groups) - 1, int(counts.sum()) - len(groups)
    if within == 0:
        return (math.inf, 0.0) if between > 0 else (math.nan, 1.0)
    f = between / above / (within / below)
    return f, float(special.fdtrc(above, below, f))


def brown_forsythe(a: Floats, b: Floats) -> float:
    """Give the chance of spreads so unlike if they are the same in truth.

    a, b: shape (n,), finite, n >= 3 each [any unit]. One-way analysis of variance of |x − median|; unlike the F test it
    stays honest with heavy tails. Valid from about five shots each; below, it hardly ever finds anything.
    Source: Brown & Forsythe 1974 (textbook form, from memory); checked against scipy.stats.levene in the tests.
    """
    return one_way([np.abs(values - np.median(values)) for values in (a, b)])[1]


def compare_spreads(
    quantity: str, against: int, own: Floats, builds: Sequence[tuple[int, Floats]]
) -> tuple[SpreadComparison, ...]:
    """Compare the spread of each build with that of the own club, the chance of any false claim held at 5 %.

    own, builds: counted values, shape (n,), finite [any unit]. Returns one record a build; sets below three shots are
    left out. p is multiplied by the number of builds (Bonferroni). With 8 shots each a spread half as large again is
    found one time in ten: not_settled means not known, never equal. Source: as brown_forsythe.
    """
    enough = [(index, values) for index, values in builds if len(values) >= FEWEST_SHOTS]
    if len(own) < FEWEST_SHOTS:
        return ()
    found = []
    for index, values in enough:
        p = min(1.0, len(enough) * brown_forsythe(values, own))
        base = max(float(own.std(ddof=1)), _LEAST_SPREAD_M)
        said = "likely_real" if p <= 1 - LEVEL else "not_settled"
        ratio = float(values.std(ddof=1)) / base
        found.append(SpreadComparison(index, against, len(values), len(own), quantity, ratio, p, said))
    return tuple(found)


def fairway_share(offline: Floats, valid: int, width_m: float) -> tuple[float, float, float]:
    """Say which share of all balls ends on a fairway of some width, aimed at its middle.

    offline: sides of the counted shots, shape (n,), finite, n >= 2 [m]; valid: counted shots and mishits, at least n;
    width_m: width of the fairway [m]. Returns the share and the ends of its 90 % range [1]. A mishit is taken to miss.
    Share = kept × (Phi((w/2 − m)/s) − Phi((−w/2 − m)/s)); the range is that of draws of what m, s and kept may be.
    Eight shots leave about 20 points either way. Normal sides assumed; the range holds .85 to .89 for nominal .90.
    Source: own form; bias and cover by simulation in the tests.
    """
    n, half = len(offline), width_m / 2
    generator = generator_of(offline, np.array([float(valid)]))
    means, spreads = means_and_spreads(offline, generator)
    kept = generator.beta(n + 0.5, valid - n + 0.5, len(means))
    point = n / valid * _between(float(offline.mean()), float(offline.std(ddof=1)), half)
    return float(point), *range_of(kept * _between(means, spreads, half))


def _between(mean: Floats | float, spread: Floats | float, half: float) -> Floats:
    spread = np.maximum(spread, _LEAST_SPREAD_M)
    return np.asarray(special.ndtr((half - mean) / spread) - special.ndtr((-half - mean) / spread))


def accuracy(set_index: int, carry: Floats, offline: Floats, valid: int, width_m: float) -> Accuracy | None:
    """Say where the balls of a set come down, with the range of each figure.

    carry, offline: counted shots that have both, shape (n,), finite [m], + right; valid: counted shots and mishits;
    width_m: the fairway the studio counts with [m]. Returns the record, None below three shots. A side is named only
    when the 95 % interval of the mean excludes the line: eight shots see a bias of 10 yd one time in three.
    Source: averages.average, spread_of and fairway_share.
    """
    side = average("offline_m", "measured", offline, offline)
    if side is None or side.n < FEWEST_SHOTS:
        return None
    said = "right" if side.low > 0 else "left" if side.high < 0 else "not_settled"
    share, low, high = fairway_share(offline, valid, width_m)
    return Accuracy(
        set_index=set_index,
        n=side.n,
        n_valid=valid,
        bias=side.mean,
        bias_low=side.low,
        bias_high=side.high,
        side=said,
        width=spread_of("offline_m", offline),
        depth=spread_of("carry_m", carry),
        fairway_width_m=width_m,
        fairway=share,
        fairway_low=low,
        fairway_high=high,
    )
