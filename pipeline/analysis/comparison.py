"""Is that build really longer? Welch intervals against the own club, made simultaneous over all builds compared."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from pipeline.analysis.ball_flight import Floats
from pipeline.records import Comparison

LEVEL = 0.95
FEWEST_SHOTS = 3  # with two shots a club the spread is not known at all
MOST_SHOTS = 60  # more than this a club will not be hit in one visit


@dataclass(frozen=True, slots=True)
class Difference:
    """Mean of a minus mean of b, its standard error and Welch's degrees of freedom."""

    mean: float
    standard_error: float
    freedom: float

    def half_width(self, level: float, comparisons: int = 1) -> float:
        """Half the interval that holds the true difference with that chance, for all comparisons together."""
        return float(special.stdtrit(self.freedom, 1 - (1 - level) / (2 * comparisons))) * self.standard_error


def welch(a: Floats, b: Floats) -> Difference:
    """Compare two samples of unequal spread.

    a, b: shape (n,), finite, n >= 2 each. Two samples without any spread give a standard error of 0 and the smaller
    freedom. Source: Welch 1947 with Satterthwaite's degrees of freedom (textbook form, from memory; checked against
    the published Welch test of the data set `sleep` and scipy.stats.ttest_ind).
    """
    va, vb = a.var(ddof=1) / len(a), b.var(ddof=1) / len(b)
    smaller = min(len(a), len(b)) - 1
    freedom = (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1)) if va + vb > 0 else smaller
    return Difference(float(a.mean() - b.mean()), math.sqrt(va + vb), float(freedom))


def verdict(low: float, high: float, smallest_difference: float) -> str:
    """Read the verdict off the interval, so that words and interval never clash."""
    if low > 0 or high < 0:
        return "likely_real"
    if -smallest_difference < low and high < smallest_difference:
        return "same"
    return "not_settled"


def shots_needed(sd_a: float, sd_b: float, smallest_difference: float, comparisons: int) -> int | None:
    """Smallest number of shots with each club whose interval is no wider than ± the smallest difference that matters.

    Planned on the spread alone, never on the difference seen. None above MOST_SHOTS.
    """
    for n in range(FEWEST_SHOTS, MOST_SHOTS + 1):
        va, vb = sd_a**2 / n, sd_b**2 / n
        if va + vb == 0:
            return n
        freedom = (va + vb) ** 2 / ((va**2 + vb**2) / (n - 1))
        if Difference(0.0, math.sqrt(va + vb), freedom).half_width(LEVEL, comparisons) <= smallest_difference:
            return n
    return None


def compare(
    quantity: str, against: int, base: Floats, others: Sequence[tuple[int, Floats]], smallest_difference: float
) -> tuple[Comparison, ...]:
    """Compare builds with the own club in one quantity; sets with fewer than three shots are left out.

    base and others: counted values (n,) [m], finite. Intervals are Bonferroni-simultaneous over the builds compared,
    so that the chance of any false claim in a report stays at 5 %.
    """
    enough = [(index, values) for index, values in others if len(values) >= FEWEST_SHOTS]
    if len(base) < FEWEST_SHOTS:
        return ()
    return tuple(_one(quantity, (against, base), other, len(enough), smallest_difference) for other in enough)


def _one(
    quantity: str, base: tuple[int, Floats], other: tuple[int, Floats], compared: int, smallest_difference: float
) -> Comparison:
    index, values = other
    difference = welch(values, base[1])
    wide, half = difference.half_width(LEVEL, compared), difference.half_width(0.5)
    said = verdict(difference.mean - wide, difference.mean + wide, smallest_difference)
    more = None
    if said == "not_settled":
        sds = float(np.std(values, ddof=1)), float(np.std(base[1], ddof=1))
        wanted = shots_needed(*sds, smallest_difference, compared)
        more = None if wanted is None else max(wanted - min(len(values), len(base[1])), 1)
    return Comparison(
        build=index,
        against=base[0],
        quantity=quantity,
        difference=difference.mean,
        low=difference.mean - wide,
        high=difference.mean + wide,
        half_low=difference.mean - half,
        half_high=difference.mean + half,
        verdict=said,
        more_shots=more,
        compared=compared,
    )
