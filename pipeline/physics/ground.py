"""Bounces and roll of a ball on level turf after its landing.

Everything happens in the upright plane of the horizontal landing direction, and all spin counts as backspin about the
level axis across it. A tilted spin axis therefore does not turn the run sideways.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.physics.constants import BALL_RADIUS_M, GRAVITY_MPS2
from pipeline.physics.flight import Flight

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Multipliers of the run: own judgement, no source.
FIRMNESS: Final = {"soft": 0.6, "typical": 1.0, "firm": 1.3}

# Friction between ball and turf: Penner 2002 (second-hand).
FRICTION: Final = 0.40

# The turf gives way like a rigid plane tilted towards the ball: 15.4 degrees at 18.6 m/s and 44.4 degrees from the
# surface normal, in proportion to both, Penner 2002 (second-hand; three public codes read the angle from the normal,
# one note from the surface, which makes a drive run twice as far as measured).
TILT_RAD: Final = np.radians(15.4)
TILT_SPEED_MPS: Final = 18.6
TILT_INCIDENCE_RAD: Final = np.radians(44.4)
LARGEST_TILT_RAD: Final = np.radians(45.0)

# Hops below this height count as rolling; own choice, part of the model: at 1 mm a drive runs 3 yd further.
LOWEST_HOP_M: Final = 0.005
MOST_BOUNCES: Final = 60

# Deceleration in rolling: own choice between a green (about 1) and rough fairway (about 5), worth +1.1 to -0.7 yd.
ROLLING_MPS2: Final = 2.0

# Outside these the model runs too far; the measurements on natural turf end there (Biber et al. 2023, second-hand).
LEAST_DESCENT_RAD: Final = np.radians(25.0)
LARGEST_LANDING_SPEED_MPS: Final = 32.0

CHUNK: Final = 8192


class Run(NamedTuple):
    """Run after the landing, arrays of shape (n,).

    Parameters: run_m, along the horizontal landing direction, negative when the ball comes back [m]; unreliable, True
    where the landing lies outside what the model was compared with, or is NaN.
    Returns: a named pair.
    Valid range: as `run`.
    Source: definition.
    """

    run_m: FloatArray
    unreliable: BoolArray


class Total(NamedTuple):
    """Where the ball comes to rest, arrays of shape (n,).

    Parameters: total_m, straight from the start [m]; total_offline_m, to the right of the target line [m]; unreliable,
    as in Run.
    Returns: a named triple.
    Valid range: as `run`.
    Source: definition.
    """

    total_m: FloatArray
    total_offline_m: FloatArray
    unreliable: BoolArray


def restitution(normal_speed_mps: ArrayLike) -> FloatArray:
    """Coefficient of restitution of a golf ball on turf.

    Parameters: normal_speed_mps, speed of approach along the normal of the turf, 0 or more [m/s].
    Returns: speed along the normal after over before, 0.12 to 0.51 [1], shape of the input.
    Valid range: 0 to 20 m/s; above it 0.120 is held. The curve's value at 20 m/s is 0.1212, so it drops a little there.
    Source: Penner 2002 (second-hand).
    """
    speed = np.asarray(normal_speed_mps, dtype=np.float64)
    return np.where(speed <= 20.0, 0.510 - 0.0375 * speed + 0.000903 * speed * speed, 0.120)


def run(
    landing_speed_mps: ArrayLike,
    descent_angle_rad: ArrayLike,
    landing_spin_radps: ArrayLike,
    firmness: float = 1.0,
) -> Run:
    """Distance the ball bounces and rolls after its landing.

    Parameters: landing_speed_mps, 0 or more [m/s]; descent_angle_rad, below the horizontal, 0 to pi/2 [rad];
    landing_spin_radps, backspin positive [rad/s]; firmness, multiplier of the run, 0 or more [1] (see FIRMNESS).
    Returns: a Run of arrays of shape (n,), scalars and arrays broadcast.
    Valid range: descents of 25 degrees and more, landing speeds up to 32 m/s; outside a run is computed and marked
    unreliable. Values outside the domains or not finite give NaN, marked unreliable. Impossible firmness: ValueError.
    Source: bounces of Penner 2002 (second-hand) with the angle of incidence from the surface normal; a run of 27 yd
    from 28.5 m/s, 37.3 degrees and 2,094 rpm, against 25 yd with the turf measured by Biber et al. 2023 (second-hand).
    Rolling, smallest hop and firmness are own choices.
    """
    if not 0.0 <= firmness < np.inf:
        message = f"a firmness must be 0 or more, got {firmness!r}"
        raise ValueError(message)
    given = (landing_speed_mps, descent_angle_rad, landing_spin_radps)
    speed, descent, spin = np.broadcast_arrays(*(np.atleast_1d(np.asarray(x, dtype=np.float64)) for x in given))
    good = np.isfinite(speed) & (speed >= 0.0) & (descent >= 0.0) & (descent <= np.pi / 2.0) & np.isfinite(spin)
    distance = np.full(speed.shape, np.nan)
    places = np.flatnonzero(good)
    for first in range(0, places.size, CHUNK):
        part = places[first : first + CHUNK]
        ahead, down = speed[part] * np.cos(descent[part]), speed[part] * np.sin(descent[part])
        distance[part] = firmness * _bounce_and_roll(ahead, down, spin[part])
    reliable = good & (descent >= LEAST_DESCENT_RAD) & (speed <= LARGEST_LANDING_SPEED_MPS)
    return Run(distance, ~reliable)


def total_distance(flight: Flight, firmness: float = 1.0) -> Total:
    """Where the ball comes to rest: flight, then run along the horizontal landing direction.

    Parameters: flight, n shots; firmness, multiplier of the run, 0 or more [1].
    Returns: a Total of arrays of shape (n,) [m].
    Valid range: as `run`; a bad shot is NaN and unreliable. A ball that falls straight down has no direction: its run
    points forward.
    Source: geometry.
    """
    distance, unreliable = run(flight.landing_speed_mps, flight.descent_angle_rad, flight.landing_spin_radps, firmness)
    direction = np.arctan2(flight.landing_right_mps, flight.landing_forward_mps)
    forward = flight.forward_m + distance * np.cos(direction)
    offline = flight.offline_m + distance * np.sin(direction)
    return Total(np.hypot(forward, offline), offline, unreliable)


def _bounce_and_roll(ahead: FloatArray, down: FloatArray, spin: FloatArray) -> FloatArray:
    """Run of landings with speeds ahead and down and backspin, until every ball rolls."""
    distance = np.zeros_like(ahead)
    index, gone = np.arange(ahead.size), np.zeros_like(ahead)  # of the balls that hop, and how far they have come
    slowest_hop = np.sqrt(2.0 * GRAVITY_MPS2 * LOWEST_HOP_M)
    for _ in range(MOST_BOUNCES):
        ahead, down, spin = _bounce_either_way(ahead, down, spin)  # down: it falls as fast as it rises
        hops = down > slowest_hop
        if not hops.all():
            rolls = ~hops
            distance[index[rolls]] = gone[rolls] + _roll(ahead[rolls], spin[rolls])
            index, gone, ahead, down, spin = (values[hops] for values in (index, gone, ahead, down, spin))
        if not index.size:
            break
        gone += ahead * down * (2.0 / GRAVITY_MPS2)
    distance[index] = gone + _roll(ahead, spin)
    return distance


def _bounce_either_way(
    ahead: FloatArray, down: FloatArray, spin: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """One bounce of balls that may be coming back: the turf gives way in the direction of travel."""
    sense = np.where(ahead < 0.0, -1.0, 1.0)
    ahead, spin = np.abs(ahead), sense * spin
    incidence = np.arctan2(ahead, down)  # from the surface normal
    tilt = TILT_RAD * (np.sqrt(ahead * ahead + down * down) / TILT_SPEED_MPS) * (incidence / TILT_INCIDENCE_RAD)
    tilt = np.minimum(tilt, np.minimum(incidence, LARGEST_TILT_RAD))
    ahead, up, spin = _bounce(ahead, down, spin, tilt)
    return sense * ahead, up, sense * spin


def _bounce(
    ahead: FloatArray,
    down: FloatArray,
    spin: FloatArray,
    tilt: FloatArray,
    friction: float = FRICTION,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Speed ahead, speed up and backspin after contact with a rigid plane tilted towards the ball."""
    # By the tangent: sine and cosine of arrays take several times as long.
    tangent = np.tan(tilt)
    cosine = 1.0 / np.sqrt(1.0 + tangent * tangent)
    sine = tangent * cosine
    along = ahead * cosine - down * sine
    into = ahead * sine + down * cosine
    rebound = restitution(into) * into
    # The friction's impulse over the mass: what stops the slip of a solid sphere, or as much as the friction can give.
    slip = along + BALL_RADIUS_M * spin
    limit = friction * (into + rebound)
    impulse = np.minimum(np.maximum((2.0 / 7.0) * slip, -limit), limit)  # np.clip takes several times as long
    along = along - impulse
    spin = spin - (5.0 / 2.0) * impulse / BALL_RADIUS_M
    return along * cosine - rebound * sine, along * sine + rebound * cosine, spin


def _roll(ahead: FloatArray, spin: FloatArray) -> FloatArray:
    """Distance of rolling from the end of the last hop, with the speed left once the ball stops slipping."""
    rolling = (5.0 * ahead - 2.0 * BALL_RADIUS_M * spin) / 7.0
    return rolling * np.abs(rolling) / (2.0 * ROLLING_MPS2)
