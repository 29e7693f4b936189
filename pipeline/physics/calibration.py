"""Drag and lift multipliers that make the flight model agree with what a studio's device reports.

A device states carry, and often apex, for launches it measured; balls, air and the device's own model are in those
figures. Two multipliers of our coefficients take up what is common to all shots. The fit is Gauss-Newton on relative
residuals with Huber's weights, so that a few wild shots do not pull it.
"""

from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.physics.atmosphere import Air
from pipeline.physics.flight import Launch, fly

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Own choices: below the first no fit is made; below the second its errors rest on too few residuals to be settled.
LEAST_SHOTS: Final = 5
ENOUGH_SHOTS: Final = 12

# Production balls spread over about 7 % of carry (Lyu, Kensrud, Smith, Tosaya 2018, second-hand), some 10 % of drag;
# multipliers beyond this range speak of another fault: units, air, or a carry that contains the run. Own choice.
SANE_RANGE: Final = (0.8, 1.25)

# Larger errors leave the multipliers undetermined: one would be told from the other by chance. Own choice.
LARGEST_ERROR: Final = 0.05

# Carries farther off than this after the fit are not the model's carries times chance: they may hold the run, or carry
# and apex contradict each other. Own choice, twice the spread of production balls.
LARGEST_RESIDUAL: Final = 0.10

# Huber 1964: 95 % efficiency with normal errors (from memory).
HUBER: Final = 1.345
# Median absolute deviation of a normal distribution to its standard deviation (mathematics).
MAD_TO_DEVIATION: Final = 1.4826
# A perfect agreement has no spread to weigh by; a millionth is far below the last digit of any device.
LEAST_SPREAD: Final = 1e-6

# Shortest carry and apex that take part: below, a relative residual is mostly the device's rounding. Own choice.
LEAST_CARRY_M: Final = 20.0
LEAST_APEX_M: Final = 2.0

MOST_ROUNDS: Final = 30
CONVERGED: Final = 1e-6
DIFFERENCE: Final = 1e-3
LARGEST_MOVE: Final = 0.1
FIT_RANGE: Final = (0.4, 2.5)


@dataclass(frozen=True, slots=True)
class Calibration:
    """Multipliers found by `calibrate`, with their uncertainty.

    Parameters: drag_scale and lift_scale, for `fly` [1]; drag_error and lift_error, their standard errors [1];
    correlation of the two errors, -1 to 1 [1]; shots, how many took part; residual_share, typical size of the relative
    carry residuals after the fit, as a robust standard deviation about zero [1]; settled, see below.
    Returns: a frozen record. Without apex drag alone is fitted: lift_scale is 1, lift_error and correlation are NaN.
    Valid range: settled is True where the fit converged, 12 shots or more took part, the fitted multipliers lie in 0.8
    to 1.25, their errors are 0.05 or less and residual_share is 0.10 or less. The errors tell chance from shot to shot
    only, not what a device gets wrong in every shot alike (metres taken for yards may pass as another ball), and hold
    for shots like those fitted: a drag fitted to drivers alone is a driver's drag.
    Source: definition.
    """

    drag_scale: float
    lift_scale: float
    drag_error: float
    lift_error: float
    correlation: float
    shots: int
    residual_share: float
    settled: bool


@dataclass(frozen=True, slots=True)
class _Readings:
    """The shots that take part: launch, air and what the device reports, (1 or 2, n), apex second."""

    launch: Launch
    air: Air
    reported: FloatArray


@dataclass(frozen=True, slots=True)
class _Fit:
    """Where the rounds ended: multipliers (p,), their covariance (p, p), residuals of carry (n,), and if they met."""

    scales: FloatArray
    covariance: FloatArray
    carry_residuals: FloatArray
    converged: bool


def calibrate(launch: Launch, air: Air, carry_m: ArrayLike, apex_m: ArrayLike | None = None) -> Calibration | None:
    """Multipliers of drag and lift with which `fly` agrees best with a device's carries and apexes.

    Parameters: launch, n shots; air they were flown or computed in; carry_m, what the device reports [m]; apex_m,
    likewise, above the start [m]; both scalars or of shape (n,). None for apex_m where the device states none.
    Returns: a Calibration, or None with fewer than 5 usable shots. With carry alone only drag is fitted, because more
    drag and less lift shorten a carry alike: lift_scale stays 1.
    Valid range: a shot takes part if it is a good one to `fly` that starts upwards, its carry is 20 m or more and its
    apex 2 m or more, modelled and, where given, reported. Wild shots that all err to one side move the result by about
    its error where they are one in ten, by twice that where they are one in five. Another length of carry_m or apex_m
    than n: ValueError. Air without density has nothing to multiply: ValueError.
    Source: Gauss-Newton iteration with Huber's weights (Huber 1964, from memory) on the logarithm of reported over
    modelled distance; covariance as stated at `_covariance`.
    """
    if not air.density_kgpm3 > 0.0:
        message = f"there is no drag or lift to multiply without air, got {air!r}"
        raise ValueError(message)
    given = (carry_m,) if apex_m is None else (carry_m, apex_m)
    shape = launch.ball_speed_mps.shape
    reported = np.array([np.broadcast_to(np.asarray(values, dtype=np.float64), shape) for values in given])
    flight = fly(launch, air)
    usable = (
        flight.landed
        & (launch.launch_angle_rad > 0.0)
        & (flight.carry_m >= LEAST_CARRY_M)
        & (flight.apex_m >= LEAST_APEX_M)
    )
    for values, least in zip(reported, (LEAST_CARRY_M, LEAST_APEX_M), strict=False):
        usable &= np.isfinite(values) & (values >= least)
    if np.count_nonzero(usable) < LEAST_SHOTS:
        return None
    chosen = Launch(*(getattr(launch, field.name)[usable] for field in fields(launch)))
    return _result(_fit(_Readings(chosen, air, reported[:, usable])))


def _result(fit: _Fit) -> Calibration:
    errors = np.sqrt(np.diag(fit.covariance))
    both = fit.scales.size == 2
    sane = (fit.scales >= SANE_RANGE[0]) & (fit.scales <= SANE_RANGE[1]) & (errors <= LARGEST_ERROR)
    shots = fit.carry_residuals.size
    share = float(_scale(fit.carry_residuals)[0])
    return Calibration(
        drag_scale=float(fit.scales[0]),
        lift_scale=float(fit.scales[1]) if both else 1.0,
        drag_error=float(errors[0]),
        lift_error=float(errors[1]) if both else np.nan,
        correlation=float(fit.covariance[0, 1] / (errors[0] * errors[1])) if both else np.nan,
        shots=shots,
        residual_share=share,
        settled=bool(fit.converged and shots >= ENOUGH_SHOTS and sane.all() and share <= LARGEST_RESIDUAL),
    )


def _fit(readings: _Readings) -> _Fit:
    """Repeat weighted least squares until the multipliers stay; one for each row reported."""
    scales = np.ones(len(readings.reported))
    converged = False
    for _ in range(MOST_ROUNDS):
        residuals, slopes = _residuals(readings, scales), _slopes(readings, scales)
        weights = _weights(residuals)
        # Normal equations of the rows (distance, shot) against the multipliers.
        normal = np.einsum("pdn,dn,qdn->pq", slopes, weights, slopes)
        pull = np.einsum("pdn,dn,dn->p", slopes, weights, residuals)
        move = np.clip(np.linalg.pinv(normal, hermitian=True) @ pull, -LARGEST_MOVE, LARGEST_MOVE)
        moved = np.clip(scales + move, *FIT_RANGE)
        converged = bool(np.abs(moved - scales).max() < CONVERGED)
        scales = moved
        if converged:
            break
    residuals, slopes = _residuals(readings, scales), _slopes(readings, scales)
    return _Fit(scales, _covariance(residuals, slopes), residuals[0], converged)


def _modelled(readings: _Readings, scales: FloatArray) -> FloatArray:
    """Carry, and apex where it is asked for, with the given multipliers: (1 or 2, n)."""
    lift = float(scales[1]) if scales.size == 2 else 1.0
    flight = fly(readings.launch, readings.air, drag_scale=float(scales[0]), lift_scale=lift)
    return np.array((flight.carry_m, flight.apex_m)[: len(readings.reported)])


def _residuals(readings: _Readings, scales: FloatArray) -> FloatArray:
    """Logarithms of reported over modelled distance, (1 or 2, n)."""
    residuals: FloatArray = np.log(readings.reported / _modelled(readings, scales))
    return residuals


def _slopes(readings: _Readings, scales: FloatArray) -> FloatArray:
    """Change of the modelled logarithms with each multiplier, (p, 1 or 2, n), by central differences."""
    slopes = []
    for place in range(scales.size):
        shift = np.zeros(scales.size)
        shift[place] = DIFFERENCE
        above, below = (np.log(_modelled(readings, scales + sign * shift)) for sign in (1.0, -1.0))
        slopes.append((above - below) / (2.0 * DIFFERENCE))
    return np.array(slopes)


def _weights(residuals: FloatArray) -> FloatArray:
    """Huber's weights over the variance of carry and apex, each by its own spread, (1 or 2, n)."""
    scale = _scale(residuals)
    far = np.maximum(np.abs(residuals) / scale, HUBER)
    return (HUBER / far) / scale**2


def _scale(residuals: FloatArray) -> FloatArray:
    """Typical residual of carry and apex about zero, where the fit wants them: (1 or 2, 1)."""
    typical: FloatArray = MAD_TO_DEVIATION * np.median(np.abs(residuals), axis=-1, keepdims=True)
    return np.maximum(typical, LEAST_SPREAD)


def _covariance(residuals: FloatArray, slopes: FloatArray) -> FloatArray:
    """Covariance of the multipliers, (p, p).

    The sandwich of Huber 1967 (from memory): the curvature of the fit on the outside, inside the spread of what each
    shot adds to the pull. A shot's carry and apex count as one piece of evidence, because what the device gets wrong in
    its launch moves both. The small-sample factor is n / (n - p).
    """
    scale = _scale(residuals)
    within = (np.abs(residuals) <= HUBER * scale) / scale**2
    curvature = np.einsum("pdn,dn,qdn->pq", slopes, within, slopes)
    pulls = np.einsum("pdn,dn->pn", slopes, _weights(residuals) * residuals)
    parameters, shots = pulls.shape
    # No residual counts as surer than the least spread, or a perfect agreement would have no errors to divide by.
    least = np.einsum("pdn,d,qdn->pq", slopes, (LEAST_SPREAD / scale[:, 0] ** 2) ** 2, slopes)
    inverse = np.linalg.pinv(curvature, hermitian=True)
    covariance: FloatArray = inverse @ (pulls @ pulls.T + least) @ inverse * (shots / (shots - parameters))
    return covariance
