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
    Valid range: as `doubt`.
    Source: `doubt`.
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


def doubt(figures: Floats, counts: tuple[int, int]) -> Doubt:
    """Tell how unsure a figure is.

    Parameters: figures, one number told from the two sets as they are, from RESAMPLES resamples, and with each shot of
    the base set and then of the final set left out, shape (1 + RESAMPLES + n0 + n1,) [any unit]; counts, n0 and n1, 3
    or more.
    Returns: Doubt.
    Valid range: any; figures that are all alike give an error of 0, and where no resample has a value there are none.
    A resample's variance is too small by (n - 1)/n; Welch's freedom comes from the variances with shots left out. What
    the resamples vary beyond the shots (loft following attack, a spin nobody read) has all freedoms.
    Source: expanded percentiles as in Hesterberg 2015 (from memory), the two-sample freedom derived here.
    """
    drawn, *left_out = np.split(figures, [1, 1 + RESAMPLES, 1 + RESAMPLES + counts[0]])[1:]
    drawn = np.sort(drawn[np.isfinite(drawn)])
    if not drawn.size:
        return Doubt(float(figures[0]), drawn, 0.0, math.inf, 1.0)
    spare = [n - 1 for n in counts]
    of_sets = [_variance(left) * n for left, n in zip(left_out, spare, strict=True)]
    resampled = sum(v * n / (n + 1) for v, n in zip(of_sets, spare, strict=True))
    beyond = max(float(drawn.var()) - resampled, 0.0)
    variance = sum(of_sets) + beyond
    spent = sum(v**2 / n for v, n in zip(of_sets, spare, strict=True))
    freedom = variance**2 / spent if spent > 0 else math.inf
    wider = math.sqrt(variance / (resampled + beyond)) if variance else 1.0
    return Doubt(float(figures[0]), drawn, math.sqrt(variance), freedom, wider)


def _variance(figures: Floats) -> float:
    known = figures[np.isfinite(figures)]
    return float(known.var()) if known.size else math.nan


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
