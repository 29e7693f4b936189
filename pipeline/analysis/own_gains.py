"""What club models brought over the customers' own clubs: one gain a customer, their spread, and how many improved."""

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.model_effects import CUSTOMERS_DIFFER, LEVEL
from pipeline.analysis.rollup_cells import Cells, Ints, sums
from pipeline.rollup_records import OwnGains, Share

_GRID, _LARGEST = 60, 3.0  # spreads of true gains looked at, up to so many spreads of a shot
QUANTILES = (0.1, 0.25, 0.5, 0.75, 0.9)
BY_CHANCE = 0.05  # a customer's gain is "likely" above 0 by a one-sided test at this level


@dataclass(frozen=True, slots=True)
class Gains:
    """One gain a customer and model; arrays (k,): its size, its variance from the shots, the freedoms behind that.

    shot_sd: spread of a customer's shots, over all customers.
    """

    customer: Ints
    model: Ints
    gain: Floats
    noise: Floats
    freedom: Floats
    shot_sd: float

    def of(self, model: int) -> "Gains":
        """Give the gains of one model."""
        kept = self.model == model
        noise, freedom = self.noise[kept], self.freedom[kept]
        return Gains(self.customer[kept], self.model[kept], self.gain[kept], noise, freedom, self.shot_sd)


def gains_of(cells: Cells) -> Gains:
    """Hold each model against the own clubs hit in the same sitting.

    cells: all of a category. A sitting without an own club gives nothing; several own clubs count as one, shot by
    shot. A customer's sittings with one model are averaged by their certainty.
    """
    sittings = len(cells.customer_of)
    shots = sums(cells.sitting[cells.own], cells.n[cells.own], sittings)
    total = sums(cells.sitting[cells.own], (cells.n * cells.mean)[cells.own], sittings)
    kept = ~cells.own & (shots[cells.sitting] > 0)
    seat = cells.sitting[kept]
    gain = cells.mean[kept] - total[seat] / shots[seat]
    noise = cells.noise[kept] * (1 + cells.n[kept] / shots[seat])
    pairs = np.stack([cells.customer_of[seat], cells.model[kept]])
    which, back = np.unique(pairs, axis=1, return_inverse=True)
    certainty = sums(back, 1 / noise, which.shape[1])
    gain = sums(back, gain / noise, which.shape[1]) / certainty
    freedom = np.zeros(which.shape[1])
    freedom[back] = cells.freedom[kept]
    return Gains(which[0], which[1], gain, 1 / certainty, freedom, math.sqrt(cells.shot_variance))


def wilson(count: int, of: int) -> Share:
    """Give the range of a share at 95 %.

    count: 0 to `of`; of: at least 1. (p + z²/2n ± z sqrt(p(1-p)/n + z²/4n²)) / (1 + z²/n). Holds the truth .95 on
    average and never leaves 0 to 1. Source: Wilson 1927 (formula read in several programs that quote it and Newcombe
    1998, and checked against Newcombe's printed example and statsmodels in the tests).
    """
    z = float(special.ndtri((1 + LEVEL) / 2))
    share = count / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(share * (1 - share) / of + (z / (2 * of)) ** 2)
    low = 0.0 if count == 0 else middle - half
    return Share(count, of, share, low, 1.0 if count == of else middle + half)


def _between(gains: Gains) -> float:
    """Give the variance of true gains between customers, averaged over the spreads the measured ones leave likely."""
    tau = gains.shot_sd * (np.arange(_GRID) + 0.5) / _GRID * _LARGEST
    weight = 1 / (tau[:, None] ** 2 + gains.noise)
    total = weight.sum(axis=1)
    mean = (weight * gains.gain).sum(axis=1) / total
    squares = (weight * (gains.gain - mean[:, None]) ** 2).sum(axis=1)
    logs = (np.log(weight).sum(axis=1) - np.log(total) - squares - (tau / (CUSTOMERS_DIFFER * gains.shot_sd)) ** 2) / 2
    likely = np.exp(logs - logs.max())
    return float((likely * tau**2).sum() / likely.sum())


def summary(gains: Gains) -> OwnGains | None:
    """Sum the customers' gains up; None below two customers.

    The mean weighs each customer by 1/(tau² + noise), tau²: how much true gains differ (averaged over what is
    likely, with a half-normal belief as in model_effects: its best value is often 0 with few customers, and would say
    that all gained alike); its range is Hartung and Knapp's, t with customers - 1. Quantiles: each gain is drawn to the
    mean by sqrt(tau²/(tau² + noise)), so that their spread is that of the true gains and not of luck (a full shrinkage
    would leave too little spread). improved counts measured gains above 0, so shots few and wild draw it to one half. A
    gain over the own club holds whatever else differs between the first club of a visit and the later ones, warm-up
    too. Source: Hartung and Knapp's random-effects mean (textbook, from memory); Louis 1984 for the spread of shrunk
    values (idea, from memory). Cover by simulation in the tests.
    """
    k = len(gains.gain)
    if k < 2:
        return None
    between = _between(gains)
    weight = 1 / (between + gains.noise)
    mean = float((weight * gains.gain).sum() / weight.sum())
    error = math.sqrt(float((weight * (gains.gain - mean) ** 2).sum()) / (k - 1) / float(weight.sum()))
    half = float(special.stdtrit(k - 1, (1 + LEVEL) / 2)) * error
    quiet = mean + np.sqrt(between * weight) * (gains.gain - mean)
    surely = gains.gain > special.stdtrit(gains.freedom, 1 - BY_CHANCE) * np.sqrt(gains.noise)
    likely = wilson(int(surely.sum()), k)
    spread, measured = (tuple(np.quantile(values, QUANTILES).tolist()) for values in (quiet, gains.gain))
    improved = wilson(int((gains.gain > 0).sum()), k)
    return OwnGains(k, mean, mean - half, mean + half, spread, measured, improved, likely, likely.share - BY_CHANCE)
