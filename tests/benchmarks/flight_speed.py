"""Speed of flight and run against a general integrator, one shot at a time; run it as a file: it prints figures.

Two references, both of eighth order with a relative tolerance of 1e-8: one with the equations in bare Python numbers,
the fastest way to write them for one shot, and one that calls the same coefficient functions as the product.
"""

import math
import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.physics.aerodynamics import drag_coefficient, lift_coefficient
from pipeline.physics.atmosphere import Air
from pipeline.physics.constants import BALL_AREA_M2, BALL_MASS_KG, BALL_RADIUS_M, GRAVITY_MPS2, SPIN_DECAY
from pipeline.physics.flight import STEP_S, Launch, fly
from pipeline.physics.ground import total_distance

SHOTS: Final = 100_000
SAMPLE: Final = 200
MPH, YARD, RPM, DEGREE = 0.44704, 0.9144, 2.0 * np.pi / 60.0, np.pi / 180.0
AIR: Final = Air(1.225, 1.789e-5, within_range=True)
PER_M: Final = AIR.density_kgpm3 * BALL_AREA_M2 / (2.0 * BALL_MASS_KG)
Rates = Callable[..., Any]


def _launch() -> Launch:
    rng = np.random.default_rng(1)
    return Launch.of(
        rng.uniform(60.0, 190.0, SHOTS) * MPH,
        rng.uniform(2.0, 40.0, SHOTS) * DEGREE,
        rng.uniform(1500.0, 10_000.0, SHOTS) * RPM,
        0.0,
        rng.normal(0.0, 0.15, SHOTS),
    )


def _bare_rates(_: float, y: NDArray[np.float64], axis_right: float, axis_up: float) -> tuple[float, ...]:
    _, _, _, ahead, right, up, spin = y.tolist()
    speed = math.sqrt(ahead * ahead + right * right + up * up)
    ratio = min(BALL_RADIUS_M * spin / speed, 1.2)
    drag = PER_M * speed * (0.195 + 0.321 * ratio * ratio / (ratio * ratio + 0.359**2))
    lift = PER_M * speed * (0.053 * (1.0 - math.exp(-ratio / 0.027)) + 0.564 * ratio / (ratio + 0.392))
    return (
        ahead,
        right,
        up,
        lift * (axis_up * right - axis_right * up) - drag * ahead,
        -lift * axis_up * ahead - drag * right,
        lift * axis_right * ahead - drag * up - GRAVITY_MPS2,
        -SPIN_DECAY / BALL_RADIUS_M * speed * spin,
    )


def _shared_rates(_: float, y: NDArray[np.float64], axis_right: float, axis_up: float) -> NDArray[np.float64]:
    velocity = y[3:6]
    speed = np.linalg.norm(velocity)
    ratio = BALL_RADIUS_M * y[6] / speed
    # Lift along axis x velocity, both in ahead, right, up, which is a left-handed set.
    across = -np.cross((0.0, axis_right, axis_up), velocity)
    force = lift_coefficient(ratio) * across - drag_coefficient(ratio) * velocity
    decay = -SPIN_DECAY / BALL_RADIUS_M * speed * y[6]
    return np.concatenate((velocity, PER_M * speed * force - (0.0, 0.0, GRAVITY_MPS2), (decay,)))


def _height(_: float, y: NDArray[np.float64], *_axis: float) -> float:
    return float(y[2])


def _reference(launch: Launch, places: NDArray[np.int64], rates: Rates) -> tuple[NDArray[np.float64], float]:
    """Carries of the sampled shots and seconds a shot."""
    event: Any = _height
    event.terminal, event.direction = True, -1
    speed, angle, spin = launch.ball_speed_mps, launch.launch_angle_rad, launch.spin_rate_radps
    carries = []
    begin = time.perf_counter()
    for place in places:
        v, a, tilt = float(speed[place]), float(angle[place]), float(launch.spin_axis_rad[place])
        start = (0.0, 0.0, 0.0, v * math.cos(a), 0.0, v * math.sin(a), float(spin[place]))
        axis = (math.cos(tilt), -math.sin(tilt))
        found = solve_ivp(rates, (0.0, 30.0), start, "DOP853", events=event, args=axis, rtol=1e-8, atol=1e-8)
        carries.append(np.hypot(found.y[0, -1], found.y[1, -1]))
    return np.array(carries), (time.perf_counter() - begin) / places.size


def _memory(count: int) -> str:
    rng = np.random.default_rng(3)
    launch = Launch.of(rng.uniform(27.0, 85.0, count), rng.uniform(0.03, 0.7, count), rng.uniform(150.0, 1000.0, count))
    tracemalloc.start()
    flight = fly(launch, AIR)
    kept, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return (
        f"{flight.landed.sum()} shots: results {kept / 1e6:.0f} MB, at most {(peak - kept) / 1e6:.0f} MB beside them\n"
    )


def main() -> None:
    launch = _launch()
    fly(launch, AIR)  # once before the clock runs
    rounds = []
    for _ in range(5):
        begin = time.perf_counter()
        flight = fly(launch, AIR)
        in_the_air = time.perf_counter() - begin
        total_distance(flight)
        rounds.append((time.perf_counter() - begin, in_the_air))
    # The median round: the references below are means of a longer time.
    seconds, share = (float(np.median(times)) / SHOTS for times in zip(*rounds, strict=True))
    flight = fly(launch, AIR)
    sys.stdout.write(f"{SHOTS} shots, step {STEP_S} s: {1e6 * seconds:.2f} us a shot ({1e6 * share:.2f} in the air)\n")
    places = np.random.default_rng(2).choice(SHOTS, SAMPLE, replace=False)
    for name, rates in (("bare numbers", _bare_rates), ("shared coefficients", _shared_rates)):
        carries, each = _reference(launch, places, rates)
        miss = np.abs(carries - flight.carry_m[places]).max() / YARD
        sys.stdout.write(
            f"reference with {name}: {1e3 * each:.2f} ms a shot, {each / seconds:.0f} times as long "
            f"(flight alone {each / share:.0f}), largest carry difference {miss:.1e} yd\n"
        )
    for count in (SHOTS, 10 * SHOTS):
        sys.stdout.write(_memory(count))


if __name__ == "__main__":
    main()
