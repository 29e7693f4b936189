"""What a club's delivery makes of the ball, and back, in the upright plane through the target line.

One short impulse acts on the ball where the face touches it. Its part along the face normal gives the ball the speed
v_n, its part down the face the speed v_t and the spin. Two numbers stand for the club and the contact: the efficiency
(ball speed over club speed along the normal) and the grip (ball speed over sliding speed along the face). They are read
off a golfer's own shots with `invert` and put back into `launch` with another delivery. Both hold for one club and one
device: what a device calls club speed is not the speed of the same point of the head everywhere.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.physics.constants import (
    BALL_INERTIA_SHARE,
    BALL_MASS_KG,
    BALL_RADIUS_M,
    COR_SLOPE_SPM,
    COR_TEST_SPEED_MPS,
)

FloatArray = NDArray[np.float64]

# 0.4 R: by what the spin is multiplied to be a speed in the equations of the impulse [m].
SPIN_ARM_M: Final = BALL_INERTIA_SHARE * BALL_RADIUS_M

# Relative fall of the efficiency (1 + e) / (1 + m/M) with the normal speed, at a restitution of 0.80: real heads lie
# between 0.78 and 0.83, which changes the fall by 1.7 % of itself [s/m].
EFFICIENCY_SLOPE_SPM: Final = COR_SLOPE_SPM / 1.80


class Launched(NamedTuple):
    """How the ball leaves, arrays of the shape the inputs broadcast to.

    Parameters: ball_speed_mps, above 0 [m/s]; launch_rad, above the horizontal [rad]; spin_radps, backspin positive
    [rad/s].
    Returns: a named triple.
    Valid range: as `launch`.
    Source: definition.
    """

    ball_speed_mps: FloatArray
    launch_rad: FloatArray
    spin_radps: FloatArray


class Delivered(NamedTuple):
    """What the club brought, arrays of the shape the inputs broadcast to.

    Parameters: loft_rad, of the face at the contact point [rad]; efficiency, at the reference normal speed of 40.5 m/s,
    above 0 [1]; grip [1].
    Returns: a named triple.
    Valid range: as `invert`.
    Source: definition.
    """

    loft_rad: FloatArray
    efficiency: FloatArray
    grip: FloatArray


def launch(
    club_speed_mps: ArrayLike,
    attack_rad: ArrayLike,
    loft_rad: ArrayLike,
    efficiency: ArrayLike,
    grip: ArrayLike,
    drop_m: ArrayLike = 0.0,
) -> Launched:
    """Ball speed, launch angle and backspin of a delivery.

    Parameters: club_speed_mps, above 0 [m/s]; attack_rad, upwards positive [rad]; loft_rad, delivered loft at the
    contact point [rad]; efficiency, v_n over the club speed along the normal when that is 40.5 m/s, above 0 [1]; grip,
    v_t over the sliding speed, about 0.2 to 0.4 [1]; drop_m, how far the squashed ball's centre of mass lies below the
    line of the normal force, less than the ball's radius either way [m].
    Returns: Launched; scalars and arrays broadcast.
    Valid range: a spin loft (loft less attack) within a quarter turn either way; outside it, or with another input
    outside its domain or not finite, all three results are NaN. The grip is taken as given: on steep lofts, where the
    ball slides until it leaves, a real one falls with the spin loft. With a drop of 0.5 mm the efficiency of two rigid
    bodies rises by 0.3 % from 12 to 30 degrees of spin loft; that is left out.
    Source: momentum of two rigid bodies; at rolling Penner 2001 (second-hand), v_n = E V cos(th), v_t = G V sin(th);
    fall of restitution as `COR_SLOPE_SPM`; offset of the ball derived from the moment of the normal force.
    """
    speed, attack, loft, at_reference, hold, drop = _floats(
        club_speed_mps, attack_rad, loft_rad, efficiency, grip, drop_m
    )
    spin_loft = loft - attack
    inside = (speed > 0.0) & (at_reference > 0.0) & (np.abs(spin_loft) < np.pi / 2.0) & (np.abs(drop) < BALL_RADIUS_M)
    with np.errstate(invalid="ignore", over="ignore"):
        along_normal = speed * np.cos(spin_loft)
        normal = at_reference * _fall(along_normal) * along_normal
        tangential = hold * (speed * np.sin(spin_loft) + drop * normal / SPIN_ARM_M)
        spin = (tangential - drop * normal / BALL_RADIUS_M) / SPIN_ARM_M
        results = np.hypot(normal, tangential), loft - np.arctan2(tangential, normal), spin
    return Launched(*_nan_outside(results, inside & (normal > 0.0) & np.isfinite(spin)))


def invert(
    club_speed_mps: ArrayLike,
    attack_rad: ArrayLike,
    ball_speed_mps: ArrayLike,
    launch_rad: ArrayLike,
    spin_radps: ArrayLike,
    drop_m: ArrayLike = 0.0,
) -> Delivered:
    """Delivered loft, efficiency and grip that make `launch` give this ball: its exact inverse.

    Parameters: club_speed_mps, above 0 [m/s]; attack_rad, upwards positive [rad]; ball_speed_mps, above 0 [m/s];
    launch_rad, above the horizontal [rad]; spin_radps, backspin positive [rad/s]; drop_m, as for `launch` [m].
    Returns: Delivered; scalars and arrays broadcast.
    Valid range: all three are NaN where an input is outside its domain or not finite, where `delivered_loft` is NaN,
    and where the spin loft found is a quarter turn or more. The grip alone is NaN where nothing slides (no spin loft
    and no drop); near that it is ill determined.
    Source: the equations of `launch`, solved.
    """
    speed, attack, ball_speed, angle, spin, drop = _floats(
        club_speed_mps, attack_rad, ball_speed_mps, launch_rad, spin_radps, drop_m
    )
    loft = delivered_loft(ball_speed, angle, spin, drop)
    spin_loft = loft - attack
    inside = (speed > 0.0) & np.isfinite(speed) & (np.abs(spin_loft) < np.pi / 2.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        normal, tangential = ball_speed * np.cos(loft - angle), ball_speed * np.sin(loft - angle)
        along_normal = speed * np.cos(spin_loft)
        at_reference = normal / (along_normal * _fall(along_normal))
        sliding = speed * np.sin(spin_loft) + drop * normal / SPIN_ARM_M
        hold = np.where(sliding == 0.0, np.nan, tangential / sliding)
    return Delivered(*_nan_outside((loft, at_reference, hold), inside & (at_reference > 0.0)))


def delivered_loft(
    ball_speed_mps: ArrayLike,
    launch_rad: ArrayLike,
    spin_radps: ArrayLike,
    drop_m: ArrayLike = 0.0,
) -> FloatArray:
    """Loft of the face at the contact point, from the ball alone, whatever the club did.

    Parameters: ball_speed_mps, above 0 [m/s]; launch_rad, above the horizontal [rad]; spin_radps, backspin positive
    [rad/s]; drop_m, as for `launch` [m].
    Returns: delivered loft [rad], the inputs' broadcast shape.
    Valid range: NaN where an input is outside its domain or not finite, and where the spin is more than one impulse on
    the face can give at this ball speed: v_n would be 0 or less. Which drop is right is not known shot by shot: 0.5 mm
    moves every loft by the same 1.34 degrees, so differences between lofts are surer than the lofts.
    Source: spin and v_t come from one impulse: v_t - v_n drop/R = 0.4 R w, so with tan(t) = drop/R the loft is
    launch + t + asin(0.4 R w cos(t) / ball speed) (derived).
    """
    ball_speed, angle, spin, drop = _floats(ball_speed_mps, launch_rad, spin_radps, drop_m)
    tilt = np.arctan(drop / BALL_RADIUS_M)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = SPIN_ARM_M * spin * np.cos(tilt) / ball_speed
        from_normal = tilt + np.arcsin(share)
    inside = (ball_speed > 0.0) & np.isfinite(ball_speed) & (np.abs(drop) < BALL_RADIUS_M)
    return _nan_outside((angle + from_normal,), inside & np.isfinite(angle) & (np.abs(from_normal) < np.pi / 2.0))[0]


def central_efficiency(restitution: ArrayLike, head_mass_kg: ArrayLike) -> FloatArray:
    """Efficiency of a rigid head struck in line with its centre of gravity: ball speed over club speed without loft.

    Parameters: restitution, at the normal speed in question, 0 to 1 [1]; head_mass_kg, above 0 [kg].
    Returns: (1 + e) / (1 + m/M), 0 to 2 [1], the inputs' broadcast shape.
    Valid range: NaN outside the domains. A bound of mechanics for the head's own speed; what a device calls club speed
    may give 2 to 3 % more.
    Source: momentum and restitution of two bodies, as in Penner 2001 (second-hand).
    """
    bounce, mass = _floats(restitution, head_mass_kg)
    inside = (bounce >= 0.0) & (bounce <= 1.0) & (mass > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return _nan_outside(((1.0 + bounce) / (1.0 + BALL_MASS_KG / mass),), inside)[0]


def _fall(along_normal: FloatArray) -> FloatArray:
    """Efficiency at a speed along the normal over efficiency at the reference speed."""
    return 1.0 + EFFICIENCY_SLOPE_SPM * (along_normal - COR_TEST_SPEED_MPS)


def _floats(*given: ArrayLike) -> list[FloatArray]:
    return [np.asarray(values, dtype=np.float64) for values in given]


def _nan_outside(results: tuple[FloatArray, ...], inside: NDArray[np.bool_]) -> list[FloatArray]:
    return [np.where(inside, values, np.nan) for values in results]
