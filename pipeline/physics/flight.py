"""Flight of many golf balls at once, from launch to the first landing on level ground.

Directions: forward is towards the target, right is right of it, up is up. Inside, each shot is computed in its own
frame: ahead (the horizontal launch direction), right of that and up, moving with the wind. A uniform wind then needs no
term in the equations, because they know only the speed through the air; it is added to the distances at the end.
"""

from dataclasses import dataclass, fields
from typing import Final, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.physics.aerodynamics import REYNOLDS_RANGE, SPIN_RATIO_RANGE
from pipeline.physics.atmosphere import Air
from pipeline.physics.constants import (
    BALL_AREA_M2,
    BALL_DIAMETER_M,
    BALL_MASS_KG,
    BALL_RADIUS_M,
    SPIN_DECAY,
)
from pipeline.physics.integrator import (
    APEX,
    LANDING_ROWS,
    STATE_ROWS,
    TIME,
    UP,
    Model,
    advance,
    integrate,
    slope_of,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]

STEP_S: Final = 0.18
LARGEST_STEP_S: Final = 0.5
LARGEST_BALL_SPEED_MPS: Final = 150.0
LARGEST_SPIN_RADPS: Final = 20_000.0 * 2.0 * np.pi / 60.0  # 20,000 rpm

# Below these the coefficients rest on too few measurements: about 1,440 rpm on a 160 mph drive, and 60 mph.
LEAST_SPIN_RATIO: Final = 0.045
LEAST_BALL_SPEED_MPS: Final = 26.8224

# A launch is flagged above this Reynolds number, 198 mph at sea level and 15 °C, not where the measurements of modern
# balls end (2.3e5, 176 mph): an older ball was measured up to 88 m/s (Bearman and Harvey 1976, second-hand), the curves
# do not depend on the Reynolds number, and the ball is back below 2.3e5 after 0.15 s from 183 mph and 0.35 s from 198
# mph. Were drag up there a tenth higher, those drives would lose 1.2 and 3.5 yd, less than balls differ.
LARGEST_REYNOLDS: Final = 2.6e5

# Shots computed together: enough to hide the cost of a call, few enough for the working arrays to stay in cache.
CHUNK: Final = 16_384


@dataclass(frozen=True, slots=True)
class Launch:
    """How the balls of n shots leave the club.

    Parameters: ball_speed_mps, above 0 and up to 150 [m/s]; launch_angle_rad, above the horizontal, between -pi/2 and
    pi/2 [rad]; launch_direction_rad, right of the target positive [rad]; spin_rate_radps, total spin, 0 to 2,094
    (20,000 rpm) [rad/s]; spin_axis_rad, tilt of the spin axis, positive curves the ball to the right [rad].
    Returns: a frozen record of arrays of shape (n,).
    Valid range: a shot outside these domains, or with a value that is not finite, is a bad shot to `fly`: its results
    are NaN and the other shots are computed as if it were not there.
    Source: definition.
    """

    ball_speed_mps: FloatArray
    launch_angle_rad: FloatArray
    launch_direction_rad: FloatArray
    spin_rate_radps: FloatArray
    spin_axis_rad: FloatArray

    @classmethod
    def of(
        cls,
        ball_speed_mps: ArrayLike,
        launch_angle_rad: ArrayLike,
        spin_rate_radps: ArrayLike,
        launch_direction_rad: ArrayLike = 0.0,
        spin_axis_rad: ArrayLike = 0.0,
    ) -> Self:
        """Launch from scalars and arrays of shape (n,), broadcast against each other.

        Parameters: as for the class.
        Returns: a Launch of arrays of shape (n,), n = 1 for scalars alone.
        Valid range: as for the class; more than one dimension, or lengths that do not fit, are a ValueError.
        Source: definition.
        """
        given = (ball_speed_mps, launch_angle_rad, launch_direction_rad, spin_rate_radps, spin_axis_rad)
        columns = np.broadcast_arrays(*(np.atleast_1d(np.asarray(values, dtype=np.float64)) for values in given))
        if columns[0].ndim != 1:
            message = f"launch values must be scalars or have one dimension, got {columns[0].ndim}"
            raise ValueError(message)
        return cls(*columns)


@dataclass(frozen=True, slots=True)
class Wind:
    """Uniform horizontal wind, the same at every height.

    Parameters: tail_mps, from behind the player towards the target, negative for a head wind [m/s]; from_left_mps,
    pushes the ball to the right, negative from the right [m/s]. Both finite.
    Returns: a frozen record of scalars; the default is calm.
    Valid range: any finite value; others are a ValueError in `fly`. Real wind grows with height, so a wind read at the
    ground understates the effect.
    Source: definition.
    """

    tail_mps: float = 0.0
    from_left_mps: float = 0.0


@dataclass(frozen=True, slots=True)
class Flight:
    """What `fly` returns for n shots, arrays of shape (n,); a bad shot is NaN with landed False.

    Parameters: carry_m, straight from the start to the first landing [m]; forward_m and offline_m, the same split along
    the target line and to its right [m]; apex_m, greatest height [m]; apex_forward_m, distance along the target line
    there [m]; flight_time_s [s]; descent_angle_rad, below the horizontal [rad]; landing_speed_mps, over ground [m/s];
    landing_forward_mps, landing_right_mps and landing_down_mps, its components [m/s]; landing_spin_radps, total spin
    [rad/s]; outside_range, see below; landed, whether the ball came down.
    Returns: a frozen record.
    Valid range: outside_range is True where the launch, taken without wind, lies outside the measurements behind the
    coefficients by more than they bear: spin ratio below 0.045 or above 1.2, Reynolds number outside 0.69e5 to 2.6e5
    (198 mph at sea level; the measurements end at 176 mph), ball speed below 60 mph; also for bad shots.
    Source: definition.
    """

    carry_m: FloatArray
    forward_m: FloatArray
    offline_m: FloatArray
    apex_m: FloatArray
    apex_forward_m: FloatArray
    flight_time_s: FloatArray
    descent_angle_rad: FloatArray
    landing_speed_mps: FloatArray
    landing_forward_mps: FloatArray
    landing_right_mps: FloatArray
    landing_down_mps: FloatArray
    landing_spin_radps: FloatArray
    outside_range: BoolArray
    landed: BoolArray


@dataclass(frozen=True, slots=True)
class FlightPaths:
    """Positions along n flights, arrays of shape (n, points), at equal parts of each shot's flight time.

    Parameters: forward_m along the target line [m]; offline_m right of it [m]; height_m above the start [m].
    Returns: a frozen record; the first column is the start, the last the landing of `fly`; NaN rows for bad shots.
    Valid range: as `fly`.
    Source: definition.
    """

    forward_m: FloatArray
    offline_m: FloatArray
    height_m: FloatArray


@dataclass(frozen=True, slots=True)
class _Frames:
    """Shots in their own frames: state (7, n); spin axis, wind and the own frame's ahead over ground, all (2, n)."""

    state: FloatArray
    axis: FloatArray  # parts to the right and up; the axis has none along the launch direction
    wind: FloatArray  # parts ahead and to the right
    ahead: FloatArray  # forward and right parts of the unit vector


def fly(
    launch: Launch,
    air: Air,
    wind: Wind = Wind(),
    *,
    step_s: float = STEP_S,
    drag_scale: float = 1.0,
    lift_scale: float = 1.0,
) -> Flight:
    """Flights of n shots from launch to the first landing on level ground.

    Parameters: launch, n shots; air, density and viscosity; wind, uniform; step_s, first time step, above 0 and up to
    0.5, doubling over five seconds [s]; drag_scale and lift_scale, multipliers of both coefficients for a studio's own
    balls, 0 or more [1].
    Returns: a Flight of arrays of shape (n,); lengths [m], times [s], angles [rad], speeds [m/s], spin [rad/s].
    Valid range: coefficients are measured for spin ratios of 0.04 to 1.2 and Reynolds numbers of 0.69e5 to 2.3e5;
    outside they are held or run out smoothly, and outside_range is set as stated there. A bad shot (see Launch) gives
    NaN and landed False; a ball sent downwards lands where it started. Impossible air, wind, step or scale: ValueError.
    Absolute carries are good to about 3 % because balls differ. The default step costs less than 0.001 yd of a drive's
    carry, 0.01 yd of any shot from 40 to 200 mph with up to 10,000 rpm and 0.015 yd up to 215 mph and 14,000 rpm. The
    spin decays alike in thin and in thick air. Besides its results a million shots take less than 25 MB.
    Source: point mass with drag, lift along spin axis x velocity and exponential spin decay, as in Smits and Smith 1994
    and Penner 2001 (second-hand); classical Runge-Kutta method, landing and apex by cubic Hermite interpolation.
    """
    _check_conditions(air, wind, step_s)
    model = _model(air, drag_scale, lift_scale)
    good = _is_good(launch)
    landing = np.full((LANDING_ROWS, good.size), np.nan)
    places = _by_flight_time(launch, good)
    for first in range(0, places.size, CHUNK):
        part = places[first : first + CHUNK]
        frames = _own_frames(launch, wind, part)
        landing[:, part] = _over_ground(integrate(frames.state, frames.axis, model, step_s), frames)
    return _flight(landing, _is_outside(launch, air, good))


def flight_paths(
    launch: Launch,
    air: Air,
    wind: Wind = Wind(),
    *,
    points: int = 41,
    drag_scale: float = 1.0,
    lift_scale: float = 1.0,
) -> FlightPaths:
    """Positions along n flights, for drawing.

    Parameters: launch, air, wind, drag_scale and lift_scale as for `fly`; points, positions a flight, 2 or more.
    Returns: FlightPaths of arrays of shape (n, points) [m].
    Valid range: as `fly`; fewer than two points is a ValueError.
    Source: the same equations; each shot has its own step, a whole part of its flight time, so nothing is interpolated.
    """
    flight = fly(launch, air, wind, drag_scale=drag_scale, lift_scale=lift_scale)
    path = paths_within(
        launch, flight.flight_time_s, air, wind, points=points, drag_scale=drag_scale, lift_scale=lift_scale
    )
    # The landing that `fly` found ends the path, so the two agree to the last digit.
    path.forward_m[:, -1], path.offline_m[:, -1] = flight.forward_m, flight.offline_m
    return path


def paths_within(
    launch: Launch,
    flight_time_s: FloatArray,
    air: Air,
    wind: Wind = Wind(),
    *,
    points: int = 41,
    drag_scale: float = 1.0,
    lift_scale: float = 1.0,
) -> FlightPaths:
    """Positions along n flights that were flown before, for drawing.

    Parameters: flight_time_s, what `fly` found under the same conditions, NaN for a bad shot (n,) [s]; the others as
    for `flight_paths`.
    Returns: FlightPaths of arrays of shape (n, points) [m]; the last point is the traced one, on the ground.
    Valid range: as `flight_paths`.
    Source: as `flight_paths`.
    """
    if points < 2:
        message = f"a path needs 2 points or more, got {points}"
        raise ValueError(message)
    landed = np.isfinite(flight_time_s)
    path = np.full((3, landed.size, points), np.nan)
    if landed.any():
        frames = _own_frames(launch, wind, landed)
        path[:, landed] = _trace(frames, _model(air, drag_scale, lift_scale), flight_time_s[landed], points)
        path[2, landed, -1] = 0.0
    return FlightPaths(*path)


def _trace(frames: _Frames, model: Model, seconds: FloatArray, points: int) -> FloatArray:
    """Positions over ground (3, n, points) at equal parts of each flight time."""
    parts = points - 1
    steps = int(np.ceil(seconds.max() / (parts * STEP_S))) or 1
    step = seconds / (parts * steps)
    path = np.zeros((3, seconds.size, points))
    state, slope = frames.state, slope_of(frames.state, frames.axis, model)
    for part in range(1, points):
        for _ in range(steps):
            state, slope = advance(state, slope, frames.axis, model, step)
        forward, right = _turned(state[4:6] + frames.wind * (seconds * part / parts), frames.ahead)
        path[:, :, part] = forward, right, state[UP]
    return path


def _check_conditions(air: Air, wind: Wind, step_s: float) -> None:
    if not (0.0 <= air.density_kgpm3 < np.inf and 0.0 < air.viscosity_pas < np.inf):
        message = f"air needs a density of 0 or more and a viscosity above 0, got {air!r}"
        raise ValueError(message)
    if not (np.isfinite(wind.tail_mps) and np.isfinite(wind.from_left_mps)):
        message = f"wind must be finite, got {wind!r}"
        raise ValueError(message)
    if not 0.0 < step_s <= LARGEST_STEP_S:
        message = f"a time step must lie above 0 and up to {LARGEST_STEP_S} s, got {step_s!r}"
        raise ValueError(message)


def _model(air: Air, drag_scale: float, lift_scale: float) -> Model:
    if not (0.0 <= drag_scale < np.inf and 0.0 <= lift_scale < np.inf):
        message = f"drag and lift scales must be 0 or more, got {drag_scale!r} and {lift_scale!r}"
        raise ValueError(message)
    per_m = air.density_kgpm3 * BALL_AREA_M2 / (2.0 * BALL_MASS_KG)
    return Model(per_m * drag_scale, per_m * lift_scale, SPIN_DECAY / BALL_RADIUS_M)


def _columns(launch: Launch) -> tuple[FloatArray, ...]:
    return tuple(getattr(launch, field.name) for field in fields(launch))


def _is_good(launch: Launch) -> BoolArray:
    # A comparison with what is not a number is false.
    return (
        np.isfinite(launch.launch_direction_rad)
        & np.isfinite(launch.spin_axis_rad)
        & (launch.ball_speed_mps > 0.0)
        & (launch.ball_speed_mps <= LARGEST_BALL_SPEED_MPS)
        & (np.abs(launch.launch_angle_rad) < np.pi / 2.0)
        & (launch.spin_rate_radps >= 0.0)
        & (launch.spin_rate_radps <= LARGEST_SPIN_RADPS)
    )


def _by_flight_time(launch: Launch, good: BoolArray) -> IntArray:
    """Places of the good shots, about in order of flight time: a chunk of equals stays full until it lands."""
    places = np.flatnonzero(good)
    # Fits the flight times of drives to wedges to about 0.4 s; it only has to put like beside like.
    rises = np.sqrt(np.maximum(launch.launch_angle_rad[places], 0.0))
    return places[np.argsort(launch.ball_speed_mps[places] / 57.0 + rises)]


def _is_outside(launch: Launch, air: Air, good: BoolArray) -> BoolArray:
    outside = np.ones(good.size, dtype=np.bool_)
    speed = launch.ball_speed_mps[good]
    spin_ratio = BALL_RADIUS_M * launch.spin_rate_radps[good] / speed
    reynolds = air.density_kgpm3 * speed * BALL_DIAMETER_M / air.viscosity_pas
    outside[good] = (
        (spin_ratio < LEAST_SPIN_RATIO)
        | (spin_ratio > SPIN_RATIO_RANGE[1])
        | (reynolds < REYNOLDS_RANGE[0])
        | (reynolds > LARGEST_REYNOLDS)
        | (speed < LEAST_BALL_SPEED_MPS)
    )
    return outside


def _own_frames(launch: Launch, wind: Wind, chosen: BoolArray | IntArray) -> _Frames:
    speed, angle, direction, spin, tilt = (column[chosen] for column in _columns(launch))
    cosine, sine = np.cos(direction), np.sin(direction)
    wind_ahead = wind.tail_mps * cosine + wind.from_left_mps * sine
    wind_right = wind.from_left_mps * cosine - wind.tail_mps * sine
    state = np.zeros((STATE_ROWS, speed.size))
    state[:4] = speed * np.cos(angle) - wind_ahead, -wind_right, speed * np.sin(angle), BALL_RADIUS_M * spin
    # Backspin turns about the axis to the right; a tilt lowers its right end.
    axis = np.array((np.cos(tilt), -np.sin(tilt)))
    return _Frames(state, axis, np.array((wind_ahead, wind_right)), np.array((cosine, sine)))


def _turned(own: FloatArray, ahead: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Forward and right parts of vectors given in the shots' own frames."""
    return own[0] * ahead[0] - own[1] * ahead[1], own[0] * ahead[1] + own[1] * ahead[0]


def _over_ground(landing: FloatArray, frames: _Frames) -> FloatArray:
    """Landing rows turned from the shots' own frames, moving with the wind, into forward and right over ground."""
    apex = landing[APEX]
    over_ground = landing.copy()
    over_ground[:2] = _turned(landing[:2] + frames.wind, frames.ahead)
    over_ground[4:6] = _turned(landing[4:6] + frames.wind * landing[TIME], frames.ahead)
    over_ground[8:10] = _turned(apex[:2] + frames.wind * apex[3], frames.ahead)
    return over_ground


def _flight(landing: FloatArray, outside_range: BoolArray) -> Flight:
    speed_forward, speed_right, speed_up, spin, forward, right, _, time, apex_forward, _, apex, _ = landing
    speed_level = np.hypot(speed_forward, speed_right)
    return Flight(
        carry_m=np.hypot(forward, right),
        forward_m=forward,
        offline_m=right,
        apex_m=apex,
        apex_forward_m=apex_forward,
        flight_time_s=time,
        descent_angle_rad=np.arctan2(-speed_up, speed_level),
        landing_speed_mps=np.hypot(speed_level, speed_up),
        landing_forward_mps=speed_forward,
        landing_right_mps=speed_right,
        landing_down_mps=-speed_up,
        landing_spin_radps=spin / BALL_RADIUS_M,
        outside_range=outside_range,
        landed=np.isfinite(time),
    )
