"""From the club as it was built to the face as it is delivered, and what the ball's place on the arc does.

Axes: x towards the target, y to its left where a right-handed golfer stands, z up.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.physics.impact import Face, angles

FloatArray = NDArray[np.float64]


class Arc(NamedTuple):
    """Direction of the head's motion where it meets the ball, arrays of the shape the inputs broadcast to.

    Parameters: attack_rad, upwards positive [rad]; path_rad, right of the direction at the low point positive [rad].
    Returns: a named pair.
    Valid range: as `arc`.
    Source: definition.
    """

    attack_rad: FloatArray
    path_rad: FloatArray


def delivered_face(
    static_loft_rad: ArrayLike,
    lie_rad: ArrayLike,
    lean_rad: ArrayLike = 0.0,
    lead_rad: ArrayLike = 0.0,
    opening_rad: ArrayLike = 0.0,
) -> Face:
    """Delivered loft and face angle of a club that was soled square, then turned.

    Parameters: static_loft_rad and lie_rad, 0 to pi/2 [rad]; lean_rad, handle ahead of the head positive [rad];
    lead_rad, what the shaft's forward bend at impact turns the head up by [rad]; opening_rad, turn about the shaft,
    to the right positive [rad]. The last three within a quarter turn either way.
    Returns: Face of the shape the inputs broadcast to. Square and with an upright shaft plane the loft is static loft -
    lean + lead.
    Valid range: exact rotations of a rigid head; NaN where an input is outside its domain or not finite.
    Source: geometry: Rodrigues' rotation about the shaft, then about the level axis across the target line.
    """
    given = (static_loft_rad, lie_rad, lean_rad, lead_rad, opening_rad)
    columns = np.array(np.broadcast_arrays(*(np.asarray(values, dtype=np.float64) for values in given)))
    inside = (np.abs(columns) < np.pi / 2.0).all(axis=0) & (columns[:2] >= 0.0).all(axis=0)
    loft, lie, lean, lead, opening = np.where(inside, columns, np.nan)
    turn, rest = np.sin(opening), 1.0 - np.cos(opening)
    # The normal (cos loft, 0, sin loft) turned about the shaft (0, cos lie, sin lie), clockwise from above.
    ahead = np.cos(loft) * (1.0 - rest) - np.cos(lie) * np.sin(loft) * turn
    left = -np.sin(lie) * np.cos(loft) * turn + np.sin(lie) * np.cos(lie) * np.sin(loft) * rest
    up = np.sin(loft) * (1.0 - rest) + np.cos(lie) * np.cos(loft) * turn + np.sin(lie) ** 2 * np.sin(loft) * rest
    down = lean - lead
    ahead, up = ahead * np.cos(down) + up * np.sin(down), up * np.cos(down) - ahead * np.sin(down)
    return Face(*angles(np.stack((ahead, left, up), axis=-1)))


def arc(ball_forward_m: ArrayLike, radius_m: ArrayLike, plane_rad: ArrayLike) -> Arc:
    """Attack angle and path of a head on a circle in an inclined plane, for a ball ahead of its low point.

    Parameters: ball_forward_m, of the low point, towards the target positive [m]; radius_m, of the circle, above 0 [m];
    plane_rad, its tilt against the ground, 0 to pi/2 [rad].
    Returns: Arc; a ball further forward is met further up and with a path more to the left.
    Valid range: NaN where the ball is a radius or more away from the low point, or an input is outside its domain or
    not finite. Exact for the circle; a swing's arc is one only near the ball. Nothing is said about the face, which may
    turn with the arc.
    Source: geometry: sin(b) = forward/radius, direction (cos b, sin b cos(plane), sin b sin(plane)).
    """
    given = (ball_forward_m, radius_m, plane_rad)
    forward, radius, plane = (np.asarray(values, dtype=np.float64) for values in given)
    inside = (np.abs(forward) < radius) & (plane >= 0.0) & (plane <= np.pi / 2.0) & np.isfinite(radius)
    with np.errstate(invalid="ignore", divide="ignore"):
        sine = np.where(inside, forward / radius, np.nan)
    cosine = np.sqrt(1.0 - sine * sine)
    return Arc(*angles(np.stack((cosine, sine * np.cos(plane), sine * np.sin(plane)), axis=-1)))
