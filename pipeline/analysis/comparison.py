"""Is that build really longer? Welch intervals against the own club, made simultaneous over all builds compared."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

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


def widened(values: Floats, aside: int) -> float:
    """Say how many times the variance of a mean grows because shots were set aside as mishits.

    values: the shots that were left, shape (n,), finite, n >= 2; aside: how many were set aside, 0 or more.
    Returns a factor of 1 or more. Some of what was set aside were good shots at the short end, so the spread of the
    rest is too small: the sum of squares is taken with the shots set aside put back at the shortest carry left.
    Source: Yuen 1974, the winsorized sum of squares of a trimmed mean (textbook, from memory), one-sided and for a
    trimming that the data chose; without it 6 visits in 100 of equal clubs claim a difference, with it 4 to 5 (our
    simulation).
    """
    squares = float(((values - values.mean()) ** 2).sum())
    if aside == 0 or squares == 0:
        return 1.0
    back = np.concatenate([values, np.full(aside, values.min())])
    return float(((back - back.mean()) ** 2).sum()) / squares


def welch(a: Floats, b: Floats, aside: tuple[int, int] = (0, 0)) -> Difference:
    """Compare two samples of unequal spread.

    a, b: shape (n,), finite, n >= 2 each; aside: how many shots of each were set aside as mishits (see `widened`). Two
    samples without any spread give a standard error of 0 and the smaller freedom. Source: Welch 1947 with
    Satterthwaite's degrees of freedom (textbook form, from memory; checked against the published Welch test of the data
    set `sleep` and scipy.stats.ttest_ind).
    """
    va, vb = (values.var(ddof=1) / len(values) * widened(values, k) for values, k in zip((a, b), aside, strict=True))
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
    quantity: str,
    against: int,
    base: Floats,
    others: Sequence[tuple[int, Floats]],
    smallest_difference: float,
    aside: Mapping[int, int] = MappingProxyType({}),
) -> tuple[Comparison, ...]:
    """Compare builds with the own club in one quantity; sets with fewer than three shots are left out.

    base and others: counted values (n,) [m], finite; aside: index of a set → shots set aside as mishits. Intervals are
    Bonferroni-simultaneous over the builds compared, so that the chance of any false claim in a report stays at 5 %.
    """
    enough = [(index, values) for index, values in others if len(values) >= FEWEST_SHOTS]
    if len(base) < FEWEST_SHOTS:
        return ()
    return tuple(
        judged(
            quantity,
            (index, values),
            (against, base),
            welch(values, base, (aside.get(index, 0), aside.get(against, 0))),
            len(enough),
            smallest_difference,
        )
        for index, values in enough
    )


def judged(
    quantity: str,
    build: tuple[int, Floats],
    own: tuple[int, Floats],
    found: Difference,
    compared: int,
    smallest_difference: float,
) -> Comparison:
    """Judge a difference, and say how many more shots would tell it well; build, own: index and counted values."""
    wide, half = found.half_width(LEVEL, compared), found.half_width(0.5)
    said = verdict(found.mean - wide, found.mean + wide, smallest_difference)
    n_build, n_own = len(build[1]), len(own[1])
    more = None
    if said == "not_settled":
        sds = float(np.std(build[1], ddof=1)), float(np.std(own[1], ddof=1))
        wanted = shots_needed(*sds, smallest_difference, compared)
        more = None if wanted is None else max(wanted - min(n_build, n_own), 1)
    return Comparison(
        build=build[0],
        against=own[0],
        n_build=n_build,
        n_against=n_own,
        quantity=quantity,
        difference=found.mean,
        low=found.mean - wide,
        high=found.mean + wide,
        half_low=found.mean - half,
        half_high=found.mean + half,
        verdict=said,
        more_shots=more,
        compared=compared,
    )
