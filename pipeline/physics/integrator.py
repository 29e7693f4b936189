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
BoolArray = NDArray[np.bool_]
Coefficient = Callable[[FloatArray], FloatArray]

LONGEST_FLIGHT_S: Final = 60.0

# The ball slows down, and so do its accelerations: the step grows in proportion to time until it has doubled, after
# five seconds.
STEP_GROWS_S: Final = 5.0
LARGEST_GROWTH: Final = 2.0

# Landed shots fly on unnoticed until this share of the arrays or less is still up: moving the rest together costs about
# as much as a step.
FULL_ENOUGH: Final = 0.75

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
    speed = _length(ahead, right, up)
    spin_ratio = spin / speed
    drag, lift = model.drag(spin_ratio), model.lift(spin_ratio)
    drag = drag * speed
    drag *= -model.drag_per_m
    lift = lift * speed
    lift *= model.lift_per_m
    lift_right, lift_up = lift * axis_right, np.multiply(lift, axis_up, out=lift)
    slope = np.empty((4, spin.size))
    spare = spin_ratio  # its work is done; what fits into a fast cache is written over instead of made anew
    # Drag against the velocity u, lift along axis x u.
    np.multiply(state[:3], drag, out=slope[:3])
    slope[0] += np.multiply(lift_up, right, out=spare)
    slope[0] -= np.multiply(lift_right, up, out=spare)
    slope[1] -= np.multiply(lift_up, ahead, out=spare)
    slope[2] += np.multiply(lift_right, ahead, out=spare)
    slope[2] -= GRAVITY_MPS2
    speed *= -model.decay_per_m
    np.multiply(speed, spin, out=slope[3])
    return slope


def _length(ahead: FloatArray, right: FloatArray, up: FloatArray) -> FloatArray:
    """Length of vectors; hypot is several times slower."""
    length = ahead * ahead
    length += right * right
    length += up * up
    # Keeps a ball at rest in the air, which has no spin ratio, from spoiling the other shots.
    length += 1e-18
    return np.sqrt(length, out=length)


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
    moving, half = state[:4], 0.5 * step
    stage = half * slope
    stage += moving
    second = slope_of(stage, axis, model)
    np.multiply(second, half, out=stage)
    stage += moving
    third = slope_of(stage, axis, model)
    np.multiply(third, step, out=stage)
    stage += moving
    fourth = slope_of(stage, axis, model)
    middle = second
    middle += third
    fourth += slope
    fourth += middle
    fourth += middle
    fourth *= step / 6.0
    after = np.empty_like(state)
    np.add(moving, fourth, out=after[:4])
    middle += slope
    middle *= step / 6.0
    middle += moving
    middle *= step
    np.add(state[POSITION], middle[:3], out=after[POSITION])
    return after, slope_of(after, axis, model)


def integrate(state: FloatArray, axis: FloatArray, model: Model, step_s: float) -> FloatArray:
    """Flights until the first landing on level ground.

    Parameters: state at launch (7, n) [m/s, m]; axis (2, n) [1]; model; step_s, the first step, above 0 [s].
    Returns: landings (12, n): the state's rows at the landing, its time [s], the apex's position [m] and time [s].
    Valid range: a shot still up after 60 s is NaN; one sent downwards lands where it starts.
    Source: mathematics; landing and apex by cubic Hermite interpolation within the step.
    """
    landing = np.full((LANDING_ROWS, state.shape[1]), np.nan)
    slope = slope_of(state, axis, model)
    index = np.arange(state.shape[1])
    # Sent downwards, or level without the lift to rise: it lands where it starts.
    down = (state[UP_SPEED] < 0.0) | ((state[UP_SPEED] == 0.0) & (slope[UP_SPEED] <= 0.0))
    landing[:STATE_ROWS, down], landing[TIME:, down] = state[:, down], 0.0
    time, step = 0.0, step_s
    index = index[~down]
    state, slope, axis = _taken(index, state, slope, axis)
    aloft = np.ones(index.size, dtype=np.bool_)
    tops, landings = _Crossings(), _Crossings()
    while index.size and time < LONGEST_FLIGHT_S:
        after, slope_after = advance(state, slope, axis, model, step)
        ends = (state, slope, after, slope_after)
        tops.keep((state[UP_SPEED] > 0.0) & (after[UP_SPEED] <= 0.0) & aloft, index, time, step, ends)
        down = (after[UP] < 0.0) & (after[UP_SPEED] < 0.0) & aloft
        if landings.keep(down, index, time, step, ends):
            aloft &= ~down
            if np.count_nonzero(aloft) <= FULL_ENOUGH * index.size:
                keep = np.flatnonzero(aloft)
                index, aloft = index[keep], aloft[keep]
                after, slope_after, axis = _taken(keep, after, slope_after, axis)
        state, slope = after, slope_after
        time += step
        step = step_s * min(1.0 + time / STEP_GROWS_S, LARGEST_GROWTH)
    _fill(landing, tops, landings)
    return landing


def _taken(places: IntArray, *tables: FloatArray) -> list[FloatArray]:
    return [table.take(places, axis=1) for table in tables]


class _Crossings:
    """Steps within which shots reach their top or the ground; where exactly is worked out for all at once."""

    def __init__(self) -> None:
        self.index: list[IntArray] = []
        self.steps: list[FloatArray] = []  # time and step, (2, n)
        self.ends: list[FloatArray] = []  # state, slope, state and slope after the step, (22, n)

    def keep(self, which: BoolArray, index: IntArray, time: float, step: float, ends: tuple[FloatArray, ...]) -> bool:
        """Keep the step of the shots it concerns; tells whether there is any."""
        places = np.flatnonzero(which)
        if places.size:
            self.index.append(index[places])
            self.steps.append(np.repeat([[time], [step]], places.size, axis=1))
            self.ends.append(np.concatenate(_taken(places, *ends)))
        return bool(places.size)

    def all(self) -> tuple[IntArray, FloatArray, FloatArray, tuple[FloatArray, ...]]:
        """Give index (n,), time and step (n,), and state, slope and those after the step."""
        time, step = np.concatenate(self.steps, axis=1)
        ends = np.concatenate(self.ends, axis=1)
        return np.concatenate(self.index), time, step, tuple(np.split(ends, _ENDS))


_ENDS: Final = np.cumsum([STATE_ROWS, 4, STATE_ROWS])


def _fill(landing: FloatArray, tops: _Crossings, landings: _Crossings) -> None:
    """Work out landings and, of several tops of a flight, the highest."""
    if not landings.index:
        return
    index, time, step, (state, slope, after, slope_after) = landings.all()
    part = _falling_root(state[UP], after[UP], step * state[UP_SPEED], step * after[UP_SPEED])
    landing[:4, index] = _cubic(part, state[:4], after[:4], step * slope, step * slope_after)
    landing[POSITION, index] = _position(part, step, state, after)
    landing[TIME, index] = time + step * part
    landing[APEX, index] = 0.0
    if not tops.index:
        return
    index, time, step, (state, slope, after, slope_after) = tops.all()
    part = _falling_root(state[UP_SPEED], after[UP_SPEED], step * slope[UP_SPEED], step * slope_after[UP_SPEED])
    apex = np.concatenate((_position(part, step, state, after), (time + step * part)[None]))
    rising = np.argsort(apex[2], kind="stable")
    rising = rising[(apex[2, rising] > 0.0) & np.isfinite(landing[TIME, index[rising]])]
    landing[APEX, index[rising]] = apex[:, rising]  # of several of one flight the last one stays


def _position(part: FloatArray, step: FloatArray, state: FloatArray, after: FloatArray) -> FloatArray:
    """Position at a part of the step, from its ends and their velocities."""
    return _cubic(part, state[POSITION], after[POSITION], step * state[:3], step * after[:3])


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
