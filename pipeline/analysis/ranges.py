"""How sure a figure told from one or two sets of shots is: its range, and whether a sentence may rest on it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import special

from pipeline.analysis.ball_flight import Floats

RESAMPLES: Final = 400
SHOWN_LEVEL: Final = 0.80
SAYABLE_LEVEL: Final = 0.90


@dataclass(frozen=True, slots=True)
class Doubt:
    """How unsure a figure told from two sets is.

    Parameters: figure [any unit]; drawn, its value in each resample that has one, rising, in that unit; error, its
    standard error; freedom, of the t that goes with it; wider, that error over the resamples' own spread [1].
    Returns: a frozen record.
    Valid range: as `doubts`.
    Source: `doubts`.
    """

    figure: float
    drawn: Floats
    error: float
    freedom: float
    wider: float

    def range(self, level: float) -> tuple[float, float]:
        """Give the range that holds the truth with that chance, fit for a handful of shots.

        Parameters: level, 0 to 1.
        Returns: low and high in the figure's unit; NaN where no resample has a value.
        Valid range: any; a figure that never varies gives itself twice.
        Percentiles of the resamples, with tails as far out as the freedom's t lies beyond the normal.
        Source: expanded percentiles as in Hesterberg 2015 (from memory); place p (B + 1) of B rising values holds p;
        cover by simulation in tests/benchmarks/levers_bench.py.
        """
        if not self.drawn.size:
            return math.nan, math.nan
        if not self.error:
            return self.figure, self.figure
        tail = float(special.ndtr(-self.wider * special.stdtrit(self.freedom, (1 + level) / 2)))
        places = np.array([tail, 1 - tail]) * (self.drawn.size + 1) - 1
        low, high = np.interp(places, np.arange(self.drawn.size), self.drawn)
        return float(low), float(high)

    def chance(self) -> float:
        """Give the chance of a figure this far from 0 where the truth is 0, 0 to 1, by a two-sided t test."""
        if not self.drawn.size or self.figure == 0:
            return 1.0
        return float(2 * special.stdtr(self.freedom, -abs(self.figure) / self.error)) if self.error else 0.0


def doubts(figures: Floats, counts: tuple[int, int]) -> list[Doubt]:
    """Tell how unsure some figures are.

    Parameters: figures, k numbers told from the two sets as they are, from RESAMPLES resamples, and with each shot of
    the base set and then of the final set left out, shape (k, 1 + RESAMPLES + n0 + n1) [any unit]; counts, n0 and n1, 3
    or more.
    Returns: a Doubt of each figure.
    Valid range: any; figures that are all alike give an error of 0, and where no resample has a value there are none.
    A resample's variance is too small by (n - 1)/n; Welch's freedom comes from the variances with shots left out. What
    the resamples vary beyond the shots (loft following attack, a spin nobody read) has all freedoms.
    Source: expanded percentiles as in Hesterberg 2015 (from memory), the two-sample freedom derived here.
    """
    places = [1, 1 + RESAMPLES, 1 + RESAMPLES + counts[0]]
    drawn, *left_out = np.split(np.where(np.isfinite(figures), figures, np.nan), places, axis=1)[1:]
    sizes = np.isfinite(drawn).sum(axis=1)
    spare = np.array([[n - 1] for n in counts])
    of_sets = np.stack([_variance(left) for left in left_out]) * spare
    resampled = (of_sets * spare / (spare + 1)).sum(axis=0)
    beyond = np.maximum(_variance(drawn) - resampled, 0.0)
    variance, spent = of_sets.sum(axis=0) + beyond, (of_sets**2 / spare).sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        freedom = np.where(spent > 0, variance**2 / spent, np.inf)
        wider = np.where(variance == 0, 1.0, np.sqrt(variance / (resampled + beyond)))
    told = np.stack([np.sqrt(variance), freedom, wider], axis=1)
    told[sizes == 0] = 0.0, np.inf, 1.0
    rising = np.sort(drawn, axis=1)  # what has no value comes last
    rows = zip(figures[:, 0].tolist(), rising, sizes.tolist(), told.tolist(), strict=True)
    return [Doubt(figure, row[:size], *numbers) for figure, row, size, numbers in rows]


def _variance(figures: Floats) -> Floats:
    """Give the variance of each row's values that are known, NaN without one."""
    known = np.isfinite(figures)
    count = known.sum(axis=1, keepdims=True)
    with np.errstate(invalid="ignore"):
        away = figures - np.where(known, figures, 0.0).sum(axis=1, keepdims=True) / count
        return np.asarray((np.where(known, away, 0.0) ** 2).sum(axis=1) / count[:, 0])


def sayable(family: Sequence[Doubt]) -> list[bool]:
    """Say which of several levers a sentence may name, so that one time in ten at most it names any that did nothing.

    Parameters: family, of each lever that is printed.
    Returns: one bool a lever: its own range at SAYABLE_LEVEL leaves 0 out, and it stands up among all of them.
    Valid range: any; a figure that never varies is sayable unless it is 0, one without a value never.
    Source: Holm 1979 (from memory) over two-sided t tests; how often nothing is called something, by simulation, in
    tests/benchmarks/levers_bench.py.
    """
    passed, open_ones = [False] * len(family), len(family)
    for place in sorted(range(len(family)), key=lambda i: family[i].chance()):
        if family[place].chance() > (1 - SAYABLE_LEVEL) / open_ones:
            break
        low, high = family[place].range(SAYABLE_LEVEL)
        passed[place] = low > 0 or high < 0
        open_ones -= 1
    return passed
