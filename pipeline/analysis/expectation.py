"""What to expect of a build: its measured gain less the luck of having been picked, and how often it is the longer."""

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.comparison import FEWEST_SHOTS, LEVEL
from pipeline.analysis.draws import generator_of, means_and_spreads, range_of
from pipeline.judgements import BetweenClubs, Expectation, TypicalSpread

# Until a studio has a history: builds of a kind differ by 3 yd for one customer, a judgement worth 8 freedoms.
STATED = BetweenClubs(2.7432, 8.0, "stated")
_GRID = 60
_MOST_STEPS = 60  # some five do; halving alone would need 40
_CLOSE_M = 1e-11
_LEAST_VARIANCE = 1e-6  # m²: shots that print alike still differ by a millimetre


def _shrunk(spread: Floats, means: Floats, errors: Floats) -> tuple[Floats, Floats, Floats]:
    """Shrink the means for each believed spread between clubs.

    spread: (g,), means and errors (variances of the means): (k,). Returns the shrunk means (g, k), the variance of each
    one's difference from the first (g, k), and the log likelihood of each spread (g,), the common level integrated out.
    """
    between = spread[:, None] ** 2
    weight = 1 / (between + errors)
    total = weight.sum(axis=1)
    level = (weight * means).sum(axis=1) / total
    away = means - level[:, None]
    kept = between * weight  # B_k = tau²/(tau² + v_k)
    # what is left uncertain of two clubs, and of the common level they are drawn to unequally
    variance = between * (2 - kept - kept[:, :1]) + (kept - kept[:, :1]) ** 2 / total[:, None]
    likelihood = 0.5 * (np.log(weight).sum(axis=1) - np.log(total) - (weight * away**2).sum(axis=1))
    return level[:, None] + kept * away, variance, likelihood


def _quantiles(share: float, weights: Floats, centres: Floats, scales: Floats, freedom: float) -> Floats:
    """Find a quantile of k mixtures of t distributions, by Newton's method between bounds that close in.

    weights: (g,), centres and scales: (g, k). Returns (k,).
    """
    parts = centres + scales * special.stdtrit(freedom, share)
    low, high = parts.min(axis=0), parts.max(axis=0)  # the whole lies among the quantiles of its parts
    found = weights @ parts
    height = 1 / (math.sqrt(freedom) * special.beta(0.5, freedom / 2))  # of the t's density at its middle
    for _ in range(_MOST_STEPS):
        away = (found - centres) / scales
        excess = weights @ special.stdtr(freedom, away) - share
        low, high = np.where(excess < 0, found, low), np.where(excess < 0, high, found)
        density = weights @ (height * (1 + away**2 / freedom) ** (-(freedom + 1) / 2) / scales)
        with np.errstate(divide="ignore", invalid="ignore"):  # between two heaps there may be none; then it is halved
            last, found = found, found - excess / density
        found = np.where((found >= low) & (found <= high), found, (low + high) / 2)
        if np.abs(found - last).max() < _CLOSE_M:
            break
    return np.asarray(found)


def spread_grid(prior: BetweenClubs) -> Floats:
    """Give equally likely spreads between clubs under a scaled inverse chi-square prior (g,) [m].

    prior: spread_m is the spread of all true differences taken together, so the mean of tau² is spread_m²; freedom > 2,
    as below it that mean does not exist: ValueError. tau² ~ (freedom − 2) spread_m² / chi²(freedom). With freedom in
    place of freedom − 2 the mean of tau² is a third too high at 8 freedoms, and every expected gain with it.
    Source: mean of the inverse chi-square distribution (textbook, from memory), checked by integration in the tests.
    """
    if not prior.freedom > 2:
        message = f"a spread between clubs needs more than 2 degrees of freedom, not {prior.freedom}"
        raise ValueError(message)
    shares = (np.arange(_GRID) + 0.5) / _GRID
    return np.asarray(prior.spread_m * np.sqrt((prior.freedom - 2) / special.chdtri(prior.freedom, shares)))


def farther_share(build: Floats, own: Floats) -> tuple[float, float, float]:
    """Say how often one ball with the build flies farther than one with the own club, with a range.

    build, own: carries of the counted shots, shape (n,), finite, n >= 2 each [m].
    Returns the share and the ends of its 90 % range [1]; two samples without spread give 0, 0.5 or 1.
    share = mean of Phi((mu_b − mu_o)/sqrt(s_b² + s_o²)) over draws of what the two sets' truth may be, so it is drawn
    towards one half as few shots demand. Normal shots assumed.
    Source: own form of the textbook's posterior predictive comparison; cover by simulation in the tests.
    """
    generator = generator_of(build, own)
    mean_b, spread_b = means_and_spreads(build, generator)
    mean_o, spread_o = means_and_spreads(own, generator)
    apart = np.sqrt(np.maximum(spread_b**2 + spread_o**2, _LEAST_VARIANCE))
    shares = special.ndtr((mean_b - mean_o) / apart)
    return float(shares.mean()), *range_of(shares)


def expect(
    against: int,
    own: Floats,
    builds: Sequence[tuple[int, Floats]],
    prior: BetweenClubs = STATED,
    typical: TypicalSpread | None = None,
) -> tuple[Expectation, ...]:
    """Say what to expect of each build over the own club, allowing for the winner's curse.

    against: index of the own club's set; own and builds: carries of the counted shots, shape (n,), finite [m]; prior:
    how much builds of the kind truly differ for a customer, from the studio's history or as stated; typical: how the
    shots of the studio's customers spread, drawn to as s² = (nu0 s0² + SS)/(nu0 + d), None where nothing is known.
    Returns one record a build [m]; sets below three shots are left out, none without three of the own club.
    The best of several measured gains is too high on average: it was picked for its luck as well. Each mean is drawn
    to the common level of all clubs by B = tau²/(tau² + s²/n), averaged over the spreads tau that prior and visit make
    likely (a visit alone cannot tell tau), s² pooled over the clubs; the interval is that of the mixture, with the
    pooled degrees of freedom.
    Unbiased where clubs differ as the prior says. With the stated prior and two builds or more, a golfer whose clubs
    differ by half as much is promised 0.5 to 1.3 yd too much and one whose clubs differ by twice as much 0.9 to 2.5 yd
    too little (range holds the truth .83 to .92): a visit cannot tell them apart. With what 200 such customers
    told it is 0.1 to 0.2 yd too much at both (.94 to .98), give or take 0.3 yd as these customers fall out.
    Valid for builds picked by their carry; a build of very different spread is drawn too little or too much.
    Source: partial pooling of normal means (textbook, from memory); the prior is our own judgement; bias and cover by
    simulation in the tests.
    """
    clubs = [(against, own), *((index, values) for index, values in builds if len(values) >= FEWEST_SHOTS)]
    if len(own) < FEWEST_SHOTS or len(clubs) == 1:
        return ()
    counts = np.array([len(values) for _, values in clubs])
    means = np.array([values.mean() for _, values in clubs])
    freedom = float(counts.sum() - len(clubs))
    squares = sum(float(((values - values.mean()) ** 2).sum()) for _, values in clubs)
    if typical:
        freedom += typical.freedom
        squares += typical.freedom * typical.spread_m**2
    within = squares / freedom
    spread = spread_grid(prior)
    shrunk, variance, likelihood = _shrunk(spread, means, max(within, _LEAST_VARIANCE) / counts)
    weights = np.exp(likelihood - likelihood.max())
    weights /= weights.sum()
    believed = math.sqrt(float((weights * spread**2).sum()))
    gains, scales = shrunk[:, 1:] - shrunk[:, :1], np.sqrt(variance[:, 1:])
    low, high = (_quantiles(share, weights, gains, scales, freedom) for share in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    told = np.stack([means[1:] - means[0], weights @ gains, low, high], axis=1).tolist()
    found = []
    for (index, values), (measured, expected, least, most) in zip(clubs[1:], told, strict=True):
        shots, often = (len(values), len(own)), farther_share(values, own)
        found.append(Expectation(index, against, *shots, measured, expected, least, most, *often, believed))
    return tuple(found)
