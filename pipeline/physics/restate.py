"""Distances restated to another air: what the same launches would do elsewhere or on another day."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.physics.atmosphere import Air
from pipeline.physics.flight import Launch, fly
from pipeline.physics.ground import total_distance

FloatArray = NDArray[np.float64]


class Ratios(NamedTuple):
    """Distances in one air over those in another, arrays of shape (n,).

    Parameters: carry, total and apex, modelled in the air wanted over modelled in the air measured in, above 0 [1].
    Returns: a named triple; NaN for bad shots and where either distance is not above 0.
    Valid range: as `carry_ratio`.
    Source: definition.
    """

    carry: FloatArray
    total: FloatArray
    apex: FloatArray


def carry_ratio(
    launch: Launch,
    from_air: Air,
    to_air: Air,
    *,
    firmness: float = 1.0,
    drag_scale: float = 1.0,
    lift_scale: float = 1.0,
) -> Ratios:
    """Factors that restate distances measured in one air to another.

    Parameters: launch, n shots; from_air, which they were measured in; to_air, which is wanted; firmness of the ground,
    the same in both, 0 or more [1]; drag_scale and lift_scale as for `fly`.
    Returns: Ratios; a measured carry, total or apex times its ratio is the distance in the other air.
    Valid range: as `fly` and `run`. A ratio errs much less than a distance, because what is wrong with a ball or a
    device is mostly wrong in both airs. Only the air changes: that a warm ball leaves the club faster isn't modelled.
    Source: ratio of two flights of `fly`; at 5,280 ft a driver gains 5 % of carry, a rule of thumb for all clubs
    (second-hand) says 6.1 %.
    """
    here, there = (_distances(launch, air, firmness, drag_scale, lift_scale) for air in (from_air, to_air))
    comparable = (here > 0.0) & (there > 0.0)
    ratios = np.full(here.shape, np.nan)
    np.divide(there, here, out=ratios, where=comparable)
    return Ratios(*ratios)


def _distances(launch: Launch, air: Air, firmness: float, drag_scale: float, lift_scale: float) -> FloatArray:
    """Carry, total and apex, (3, n)."""
    flight = fly(launch, air, drag_scale=drag_scale, lift_scale=lift_scale)
    return np.array((flight.carry_m, total_distance(flight, firmness).total_m, flight.apex_m))
