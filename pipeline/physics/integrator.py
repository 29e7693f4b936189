"""Integrator of the flight: classical Runge-Kutta steps over many shots, each in its own frame.

A frame looks along the shot's horizontal launch direction: ahead, right of that and up, moving with the wind. A state
has seven rows: velocity through the air [m/s], surface speed of the spin, radius times rate [m/s], position [m]. The
spin axis has two, its parts to the right and up; it has none along the launch direction.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from pipeline.physics.aerodynamics import drag_coefficient, lift_coefficient
from pipeline.physics.constants import GRAVITY_MPS2

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
Coefficient = Callable[[FloatArray], FloatArray]

LONGEST_FLIGHT_S: Final = 60.0

# Rows of a state; a landing adds its time and the apex (position, time).
UP_SPEED: Final = 2
POSITION: Final = slice(4, 7)
UP: Final = 6
STATE_ROWS: Final = 7
TIME: Final = 7
APEX: Final = slice(8, 12)
LANDING_ROWS: Final = 12


@dataclass(frozen=True, slots=True)
class Model:
    """Right-hand side of the equations of motion.

    Parameters: drag_per_m and lift_per_m, force over mass, squared speed and coefficient [1/m]; decay_per_m, relative
    loss of spin a metre of way through the air [1/m]; drag and lift, coefficients as functions of the spin ratio [1].
    Returns: a frozen record.
    Valid range: any; nothing is checked here.
    Source: definition.
    """

    drag_per_m: float
    lift_per_m: float
    decay_per_m: float
    drag: Coefficient = drag_coefficient
    lift: Coefficient = lift_coefficient


def slope_of(state: FloatArray, axis: FloatArray, model: Model) -> FloatArray:
    """Rates of change of the first four rows of a state; the position's rate is the velocity.

    Parameters: state (4 or 7, n) [m/s, m]; axis (2, n) [1]; model.
    Returns: accelerations and rate of the spin's surface speed, (4, n) [m/s²].
    Valid range: any finite state, also at rest in the air.
    Source: drag, lift along axis x velocity, gravity and spin decay as in Smits and Smith 1994 and Penner 2001
    (second-hand).
    """
    ahead, right, up, spin = state[:4]
    axis_right, axis_up = axis
    # The last term keeps a ball at rest in the air, which has no spin ratio, from spoiling the other shots.
    speed = np.sqrt(ahead * ahead + right * right + up * up + 1e-18)
    spin_ratio = spin / speed
    drag = model.drag(spin_ratio) * speed * (-model.drag_per_m)
    lift = model.lift(spin_ratio) * speed * model.lift_per_m
    lift_right, lift_up = lift * axis_right, lift * axis_up
    slope = np.empty((4, spin.size))
    # Drag against the velocity u, lift along axis x u.
    np.add(drag * ahead, lift_up * right - lift_right * up, out=slope[0])
    np.subtract(drag * right, lift_up * ahead, out=slope[1])
    np.add(drag * up, lift_right * ahead - GRAVITY_MPS2, out=slope[2])
    np.multiply(speed * spin, -model.decay_per_m, out=slope[3])
    return slope


def advance(
    state: FloatArray,
    slope: FloatArray,
    axis: FloatArray,
    model: Model,
    step: float | FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """State after one classical Runge-Kutta step, and the slope there, which is the first one of the next step.

    Parameters: state (7, n) [m/s, m]; slope there (4, n) [m/s²]; axis (2, n) [1]; model; step, one for all or (n,) [s].
    Returns: state (7, n) and slope (4, n) after the step.
    Valid range: steps well below the time in which drag halves the speed, about 3 s.
    Source: mathematics. No slope depends on the position, so the position's four stages collapse into velocity, step
    and the first three slopes.
    """
    moving, half, sixth = state[:4], 0.5 * step, step / 6.0
    second = slope_of(moving + half * slope, axis, model)
    third = slope_of(moving + half * second, axis, model)
    fourth = slope_of(moving + step * third, axis, model)
    after = np.empty_like(state)
    total = second + third
    total += slope
    after[POSITION] = state[POSITION] + step * (moving[:3] + sixth * total[:3])
    total += second + third
    total += fourth
    after[:4] = moving + sixth * total
    return after, slope_of(after, axis, model)


def integrate(state: FloatArray, axis: FloatArray, model: Model, step_s: float) -> FloatArray:
    """Flights until the first landing on level ground.

    Parameters: state at launch (7, n) [m/s, m]; axis (2, n) [1]; model; step_s, above 0 [s].
    Returns: landings (12, n): the state's rows at the landing, its time [s], the apex's position [m] and time [s].
    Valid range: a shot still up after 60 s is NaN; one sent downwards lands where it starts.
    Source: mathematics; landing and apex by cubic Hermite interpolation within the step.
    """
    landing = np.full((LANDING_ROWS, state.shape[1]), np.nan)
    slope = slope_of(state, axis, model)
    apex = np.zeros((4, state.shape[1]))
    index = np.arange(state.shape[1])
    # Sent downwards, or level without the lift to rise: it lands where it starts.
    down = (state[UP_SPEED] < 0.0) | ((state[UP_SPEED] == 0.0) & (slope[UP_SPEED] <= 0.0))
    landing[:STATE_ROWS, down], landing[TIME:, down] = state[:, down], 0.0
    time = 0.0
    index = index[~down]
    state, slope, axis, apex = _taken(index, state, slope, axis, apex)
    while index.size and time < LONGEST_FLIGHT_S:
        after, slope_after = advance(state, slope, axis, model, step_s)
        _raise_apex(apex, time, step_s, (state, slope, after, slope_after))
        down = (after[UP] < 0.0) & (after[UP_SPEED] < 0.0)
        if down.any():
            ends = tuple(values[:, down] for values in (state, slope, after, slope_after))
            landing[:, index[down]] = _land(ends, apex[:, down], time, step_s)
            keep = np.flatnonzero(~down)
            index = index[keep]
            after, slope_after, axis, apex = _taken(keep, after, slope_after, axis, apex)
        state, slope = after, slope_after
        time += step_s
    return landing


def _taken(places: IntArray, *tables: FloatArray) -> list[FloatArray]:
    return [table.take(places, axis=1) for table in tables]


def _raise_apex(apex: FloatArray, time: float, step_s: float, ends: tuple[FloatArray, ...]) -> None:
    """Update the apex (ahead, right, height, time) of the shots that stop rising within this step."""
    state, _, after, _ = ends
    top = np.flatnonzero((state[UP_SPEED] > 0.0) & (after[UP_SPEED] <= 0.0))
    if top.size:
        ends = tuple(values[:, top] for values in ends)
        state, slope, after, slope_after = ends
        part = _falling_root(state[2], after[2], step_s * slope[2], step_s * slope_after[2])
        position = _between(part, step_s, ends)[POSITION]
        higher = position[2] > apex[2, top]
        apex[:3, top[higher]] = position[:, higher]
        apex[3, top[higher]] = time + step_s * part[higher]


def _land(ends: tuple[FloatArray, ...], apex: FloatArray, time: float, step_s: float) -> FloatArray:
    """Landing rows of the shots that cross the ground within this step."""
    state, _, after, _ = ends
    part = _falling_root(state[UP], after[UP], step_s * state[UP_SPEED], step_s * after[UP_SPEED])
    return np.concatenate((_between(part, step_s, ends), (time + step_s * part)[None], apex))


def _between(part: FloatArray, step_s: float, ends: tuple[FloatArray, ...]) -> FloatArray:
    """State at a part of the step: the position from its velocities, the rest from its slopes."""
    state, slope, after, slope_after = ends
    moving = _cubic(part, state[:4], after[:4], step_s * slope, step_s * slope_after)
    position = _cubic(part, state[POSITION], after[POSITION], step_s * state[:3], step_s * after[:3])
    return np.concatenate((moving, position))


def _cubic(part: FloatArray, start: FloatArray, end: FloatArray, rise: FloatArray, end_rise: FloatArray) -> FloatArray:
    """Cubic Hermite polynomial through two values with their slopes over the step."""
    rest = 1.0 - part
    bend = (1.0 + 2.0 * part) * start + part * rise
    return rest * rest * bend + part * part * ((3.0 - 2.0 * part) * end - rest * end_rise)


def _falling_root(start: FloatArray, end: FloatArray, rise: FloatArray, end_rise: FloatArray) -> FloatArray:
    """Part of the step where the cubic Hermite polynomial falls through zero, 0 to 1.

    Newton's method from the end, where the polynomial is negative: it comes down from the right, so a ball that starts
    on the ground isn't found to land at its start.
    """
    square = 3.0 * (end - start) - 2.0 * rise - end_rise
    cube = 2.0 * (start - end) + rise + end_rise
    part = np.ones_like(start)
    for _ in range(60):
        value = start + part * (rise + part * (square + part * cube))
        gradient = rise + part * (2.0 * square + part * (3.0 * cube))
        change = value / np.where(gradient < 0.0, gradient, -np.abs(rise) - 1e-12)
        part = np.clip(part - change, 0.0, 1.0)
        if np.abs(change).max() < 1e-14:
            break
    return part
