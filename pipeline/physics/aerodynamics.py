"""Drag and lift of a spinning golf ball as functions of its spin ratio.

The spin ratio is surface speed over air speed, radius times spin rate over speed. Both curves were fitted to published
measurements of modern balls with the same weight for each source; the measurements and the fit's scatter are in the
tests. Balls differ by more than the scatter: thirteen production balls spread over 18 m of carry (Lyu, Kensrud, Smith,
Tosaya 2018, second-hand). The Reynolds number is left out because no published dependence holds for more than one ball.
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Span of the measurements both curves were fitted to.
SPIN_RATIO_RANGE: Final = (0.04, 1.2)
REYNOLDS_RANGE: Final = (0.69e5, 2.3e5)


def drag_coefficient(spin_ratio: ArrayLike) -> FloatArray:
    """Drag coefficient on the ball's frontal area.

    Parameters: spin_ratio, 0 or more [1].
    Returns: drag coefficient, 0.195 to about 0.49 [1], shape of the input; NaN stays NaN.
    Valid range: spin ratio 0.04 to 1.2, Reynolds number 0.69e5 to 2.3e5. Above 1.2 the value at 1.2 is held, below 0.04
    the curve runs on smoothly to 0.195 without spin; a negative ratio counts as none.
    Source: own least-squares curve through published wind-tunnel and in-flight values (second-hand), rms 0.016.
    """
    squared = _held(spin_ratio)
    squared = squared * squared
    return 0.195 + 0.321 * (squared / (squared + 0.359**2))


def lift_coefficient(spin_ratio: ArrayLike) -> FloatArray:
    """Lift coefficient on the ball's frontal area.

    Parameters: spin_ratio, 0 or more [1].
    Returns: lift coefficient, 0 to about 0.48 [1], shape of the input; NaN stays NaN.
    Valid range: spin ratio 0.04 to 1.2, Reynolds number 0.69e5 to 2.3e5. Above 1.2 the value at 1.2 is held, below 0.04
    the curve falls smoothly to 0 without spin; a negative ratio counts as none. Below a Reynolds number of about 0.7e5
    single balls lose lift (Lyu et al. 2020, second-hand); that is not modelled (1 to 3 yd of a drive, none of an iron).
    Source: own least-squares curve through published wind-tunnel and in-flight values (second-hand), rms 0.014.
    """
    ratio = _held(spin_ratio)
    return 0.053 * (1.0 - np.exp(ratio * (-1.0 / 0.027))) + 0.564 * (ratio / (ratio + 0.392))


def _held(spin_ratio: ArrayLike) -> FloatArray:
    held = np.maximum(np.asarray(spin_ratio, dtype=np.float64), 0.0)  # np.clip takes several times as long
    return np.asarray(np.minimum(held, SPIN_RATIO_RANGE[1]))
