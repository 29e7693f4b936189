"""The averages of a set: mean of the counted shots, the median beside it, spread and the range of the mean."""

import math

import numpy as np
from scipy import special

from pipeline.analysis.ball_flight import Floats
from pipeline.records import Average

LEVEL = 0.95


def average(quantity: str, source: str, counted: Floats, all_valid: Floats) -> Average | None:
    """Average one quantity; None when no counted shot has it.

    counted: values of the counted shots, all_valid: those of the mishits as well [any unit], NaN = missing.
    The interval is mean ± t(n−1, 0.975) s/√n, NaN below two shots. Source: any textbook; checked against scipy.
    """
    values, everything = counted[np.isfinite(counted)], all_valid[np.isfinite(all_valid)]
    n = len(values)
    if n == 0:
        return None
    mean, rising = float(values.mean()), np.sort(values)
    median = float((rising[(n - 1) // 2] + rising[n // 2]) / 2)  # as numpy.median, in a tenth of its time
    sd = float(values.std(ddof=1)) if n > 1 else math.nan
    half = float(special.stdtrit(n - 1, 0.5 + LEVEL / 2)) * sd / math.sqrt(n) if n > 1 else math.nan
    return Average(quantity, source, n, mean, median, sd, mean - half, mean + half, float(everything.mean()))
