"""Where the next ball comes down: the prediction ellipse of a set."""

import math

import numpy as np
from scipy import special

from pipeline.analysis.ball_flight import Floats
from pipeline.records import Ellipse

FEWEST_SHOTS = 5  # below this the picture shows the balls alone
LEVEL = 0.75
_NO_SPREAD_M2 = 1e-6  # a millimetre: balls in a line, but for the rounding of the arithmetic


def prediction_ellipse(carry: Floats, offline: Floats, level: float = LEVEL) -> Ellipse | None:
    """Ellipse that holds the next ball with that chance; None below five balls or when they lie in one line.

    carry, offline: shape (n,), finite [m]. (x−m)' S⁻¹ (x−m) ≤ p(n²−1)/(n(n−p)) F(p, n−p; level) with p = 2.
    The plug-in ellipse promises too much for few shots: at n = 8 its nominal 90 % holds 75 %.
    Source: Hotelling's T² prediction form (textbook, from memory), confirmed by simulation in the tests.
    """
    n = len(carry)
    if n < FEWEST_SHOTS:
        return None
    points = np.stack([carry, offline])
    values, vectors = np.linalg.eigh(np.cov(points))
    if values[0] < _NO_SPREAD_M2:
        return None
    k = 2 * (n * n - 1) / (n * (n - 2)) * float(special.fdtri(2, n - 2, level))
    short, long = np.sqrt(k * values)
    angle = math.atan2(vectors[1, 1], vectors[0, 1])
    return Ellipse(level, n, float(carry.mean()), float(offline.mean()), float(long), float(short), angle)
