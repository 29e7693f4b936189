"""Flights as users call them: symmetry, wind, step, bad shots, chunks, flags and paths."""

from dataclasses import fields
from typing import Any, Final

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.physics import flight as module
from pipeline.physics import integrator
from pipeline.physics.atmosphere import Air
from pipeline.physics.flight import Flight, Launch, Wind, flight_paths, fly, paths_within
from pipeline.physics.ground import total_distance

MPH, YARD, RPM, DEGREE = 0.44704, 0.9144, 2.0 * np.pi / 60.0, np.pi / 180.0
AIR: Final = Air(1.225, 1.789e-5, within_range=True)
NUMBERS: Final = [field.name for field in fields(Flight) if field.name not in {"outside_range", "landed"}]
DRIVE: Final = (160.0 * MPH, 11.0 * DEGREE, 2600.0 * RPM)


def _clubs(count: int, seed: int = 5) -> Launch:
    rng = np.random.default_rng(seed)
    return Launch.of(
        rng.uniform(60.0, 190.0, count) * MPH,
        rng.uniform(2.0, 40.0, count) * DEGREE,
        rng.uniform(1500.0, 10_000.0, count) * RPM,
        rng.normal(0.0, 0.05, count),
        rng.normal(0.0, 0.15, count),
    )


def _one(launch: Launch, place: int) -> Launch:
    return Launch(*(getattr(launch, field.name)[place : place + 1] for field in fields(launch)))


def test_launch_broadcasts_scalars_and_arrays() -> None:
    launch = Launch.of([60.0, 70.0], 0.2, [200.0, 300.0], spin_axis_rad=[0.1, 0.2])
    assert [getattr(launch, field.name).tolist() for field in fields(launch)] == [
        [60.0, 70.0],
        [0.2, 0.2],
        [0.0, 0.0],
        [200.0, 300.0],
        [0.1, 0.2],
    ]
    assert Launch.of(60.0, 0.2, 200.0).ball_speed_mps.shape == (1,)


def test_launch_refuses_tables() -> None:
    with pytest.raises(ValueError, match="one dimension, got 2"):
        Launch.of([[60.0]], 0.2, 200.0)


def test_no_shots_give_no_flights() -> None:
    launch = Launch.of([], [], [])
    assert fly(launch, AIR).carry_m.shape == (0,)
    assert flight_paths(launch, AIR, points=3).height_m.shape == (0, 3)


def test_mirrored_launches_fly_mirrored() -> None:
    right = fly(Launch.of(*DRIVE, 3.0 * DEGREE, 8.0 * DEGREE), AIR, Wind(2.0, 4.0))
    left = fly(Launch.of(*DRIVE, -3.0 * DEGREE, -8.0 * DEGREE), AIR, Wind(2.0, -4.0))
    for name in NUMBERS:
        sign = -1.0 if name in {"offline_m", "landing_right_mps"} else 1.0
        np.testing.assert_allclose(getattr(left, name), sign * getattr(right, name), atol=1e-9, err_msg=name)


def test_straight_shot_stays_on_the_line() -> None:
    result = fly(Launch.of(*DRIVE), AIR)
    assert result.offline_m[0] == 0.0
    assert result.landing_right_mps[0] == 0.0
    assert result.forward_m[0] == result.carry_m[0]


def test_each_side_angle_sends_the_ball_right() -> None:
    assert fly(Launch.of(*DRIVE, 3.0 * DEGREE), AIR).offline_m[0] > 10.0
    tilted = fly(Launch.of(*DRIVE, 0.0, 10.0 * DEGREE), AIR)
    assert tilted.offline_m[0] / YARD == pytest.approx(19.0, abs=1.0)
    assert tilted.landing_right_mps[0] > 0.0, "it still curves when it lands"


def test_direction_only_turns_the_flight() -> None:
    straight, turned = (fly(Launch.of(*DRIVE, angle, 0.1), AIR) for angle in (0.0, 0.5))
    assert turned.carry_m[0] == pytest.approx(straight.carry_m[0], abs=1e-9)
    where = [np.arctan2(result.offline_m[0], result.forward_m[0]) for result in (straight, turned)]
    assert where[1] - where[0] == pytest.approx(0.5, abs=1e-12)


def test_uniform_wind_is_a_moving_frame() -> None:
    # A launch seen from the moving air: the same spin axis needs level flight of the axis, so a pure tail wind.
    speed, angle, spin = DRIVE
    tail = 6.0
    level, up = speed * np.cos(angle) - tail, speed * np.sin(angle)
    through_air = fly(Launch.of(np.hypot(level, up), np.arctan2(up, level), spin), AIR)
    windy = fly(Launch.of(speed, angle, spin), AIR, Wind(tail))
    time = windy.flight_time_s[0]
    assert time == pytest.approx(through_air.flight_time_s[0], abs=1e-10)
    assert windy.forward_m[0] == pytest.approx(through_air.forward_m[0] + tail * time, abs=1e-8)
    assert windy.landing_forward_mps[0] == pytest.approx(through_air.landing_forward_mps[0] + tail, abs=1e-10)
    assert windy.apex_m[0] == pytest.approx(through_air.apex_m[0], abs=1e-10)


def test_wind_pushes_the_way_it_says() -> None:
    calm = fly(Launch.of(*DRIVE), AIR)
    ten = 10.0 * MPH
    assert (fly(Launch.of(*DRIVE), AIR, Wind(ten)).carry_m - calm.carry_m)[0] / YARD == pytest.approx(10.9, abs=0.5)
    assert (fly(Launch.of(*DRIVE), AIR, Wind(-ten)).carry_m - calm.carry_m)[0] / YARD == pytest.approx(-14.8, abs=0.5)
    assert fly(Launch.of(*DRIVE), AIR, Wind(from_left_mps=ten)).offline_m[0] > 5.0


def test_a_tail_wind_as_fast_as_the_ball_spoils_nothing() -> None:
    result = fly(Launch.of([10.0, 70.0], [0.0, 0.2], 100.0), AIR, Wind(10.0))
    assert result.landed.all()
    assert result.carry_m[1] == fly(Launch.of(70.0, 0.2, 100.0), AIR, Wind(10.0)).carry_m[0]


def test_step_has_converged() -> None:
    launch = _clubs(2000)
    finest, finer, usual = (fly(launch, AIR, step_s=step).carry_m for step in (0.01, 0.03, module.STEP_S))
    # The kink of the coefficients at the end of their range costs a few of these shots an order.
    assert np.abs(finer - finest).max() < 2e-4
    assert np.abs(usual - finest).max() < 0.01 * YARD


def test_scales_multiply_the_coefficients() -> None:
    launch = Launch.of(*DRIVE)
    usual = fly(launch, AIR).carry_m[0]
    assert fly(launch, AIR, drag_scale=1.05).carry_m[0] < usual - 3.0
    assert fly(launch, AIR, lift_scale=1.05).apex_m[0] > fly(launch, AIR).apex_m[0] + 0.5
    denser = fly(launch, Air(1.225 * 1.05, 1.789e-5, within_range=True))
    both = fly(launch, AIR, drag_scale=1.05, lift_scale=1.05)
    assert both.carry_m[0] == pytest.approx(denser.carry_m[0], abs=1e-9), "the forces know only the products"


BAD: Final[dict[str, tuple[int, float]]] = {
    "speed is not a number": (0, np.nan),
    "speed is infinite": (0, np.inf),
    "speed is zero": (0, 0.0),
    "speed is negative": (0, -60.0),
    "speed is absurd": (0, 151.0),
    "angle is not a number": (1, np.nan),
    "straight up": (1, np.pi / 2.0),
    "straight down": (1, -np.pi / 2.0),
    "direction is infinite": (2, -np.inf),
    "spin is negative": (3, -1.0),
    "spin is absurd": (3, 20_001.0 * RPM),
    "axis is not a number": (4, np.nan),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_shot_is_nan_and_leaves_the_others_alone(case: str) -> None:
    row, value = BAD[case]
    columns = np.tile(np.array([[70.0], [0.2], [0.02], [280.0], [0.1]]), 3)
    columns[0] += [0.0, 1.0, 2.0]
    clean = fly(Launch(*columns), AIR)
    columns[row, 1] = value
    result = fly(Launch(*columns), AIR)
    assert result.landed.tolist() == [True, False, True]
    assert result.outside_range.tolist() == [False, True, False]
    for name in NUMBERS:
        assert np.isnan(getattr(result, name)).tolist() == [False, True, False], name
        np.testing.assert_array_equal(getattr(result, name)[[0, 2]], getattr(clean, name)[[0, 2]], err_msg=name)
    paths = flight_paths(Launch(*columns), AIR, points=5)
    assert np.isnan(paths.height_m).all(axis=1).tolist() == [False, True, False]
    assert np.isnan(total_distance(result).total_m).tolist() == [False, True, False]


def test_the_limits_themselves_are_good_shots() -> None:
    result = fly(Launch.of([150.0, 70.0, 70.0], [0.2, 0.2, 1.57], [300.0, 20_000.0 * RPM, 0.0]), AIR)
    assert result.landed.all()


def test_a_ball_still_up_after_the_longest_flight_is_not_landed(monkeypatch: pytest.MonkeyPatch) -> None:
    launch = Launch.of([70.0, 5.0], 0.2, 280.0)
    monkeypatch.setattr(integrator, "LONGEST_FLIGHT_S", 2.0)
    result = fly(launch, AIR)
    assert result.landed.tolist() == [False, True]
    assert np.isnan(result.carry_m).tolist() == [True, False]
    assert np.isnan(flight_paths(launch, AIR, points=3).height_m).all(axis=1).tolist() == [True, False]


@pytest.mark.parametrize("angle", [-0.3, 0.0])
def test_a_topped_ball_lands_where_it_started(angle: float) -> None:
    result = fly(Launch.of(30.0, angle, 0.0), AIR)
    assert result.landed[0]
    assert result.carry_m[0] == result.flight_time_s[0] == result.apex_m[0] == 0.0
    assert result.descent_angle_rad[0] == pytest.approx(-angle, abs=1e-12)
    assert result.landing_speed_mps[0] == pytest.approx(30.0, abs=1e-12)
    path = flight_paths(Launch.of(30.0, angle, 0.0), AIR, points=4)
    assert np.all(path.forward_m == 0.0)
    assert np.all(path.height_m == 0.0)


def test_a_ball_sent_downwards_does_not_climb_out_of_the_ground() -> None:
    assert fly(Launch.of(75.0, -0.005, 4000.0 * RPM), AIR).carry_m[0] == 0.0


def _ends(up_speed: tuple[float, float], height: tuple[float, float]) -> tuple[NDArray[np.float64], ...]:
    """State, slope, state and slope after a step of one shot that has 10 m/s² downwards."""
    state, after, slope = np.zeros((7, 1)), np.zeros((7, 1)), np.zeros((4, 1))
    state[2], after[2] = up_speed
    state[6], after[6] = height
    slope[2] = -10.0
    return state, slope, after, slope


@pytest.mark.parametrize("heights", [(30.0, 10.0), (10.0, 30.0)])
def test_of_two_tops_the_higher_one_is_the_apex(heights: tuple[float, float]) -> None:
    tops, landings = integrator._Crossings(), integrator._Crossings()
    only, here = np.array([True]), np.array([1])
    for height, time in zip(heights, (2.0, 3.0), strict=True):
        assert tops.keep(only, here, time, 0.2, _ends((1.0, -1.0), (height, height)))
    assert not tops.keep(~only, here, 5.0, 0.2, _ends((1.0, -1.0), (50.0, 50.0)))
    assert landings.keep(only, here, 6.0, 0.2, _ends((-9.0, -11.0), (1.0, -1.0)))
    landing = np.full((12, 2), np.nan)
    integrator._fill(landing, tops, landings)
    assert landing[integrator.APEX, 1] == pytest.approx(
        [0.0, 0.0, 30.05, 2.1 if heights[0] == 30.0 else 3.1], abs=1e-12
    )
    assert landing[6, 1] == pytest.approx(0.0, abs=1e-12)
    assert landing[7, 1] == pytest.approx(6.0 + (np.sqrt(101.0) - 9.0) / 10.0, abs=1e-9)  # 1 - 9 t - 5 t² = 0
    assert np.isnan(landing[:, 0]).all()


def test_a_shot_that_never_landed_has_no_apex() -> None:
    tops, landings = integrator._Crossings(), integrator._Crossings()
    both = np.array([True, True])
    tops.keep(both, np.arange(2), 2.0, 0.2, tuple(np.repeat(x, 2, axis=1) for x in _ends((1.0, -1.0), (30.0, 30.0))))
    landings.keep(both[:1], np.array([0]), 6.0, 0.2, _ends((-9.0, -11.0), (1.0, -1.0)))
    landing = np.full((12, 2), np.nan)
    integrator._fill(landing, tops, landings)
    assert landing[10, 0] == pytest.approx(30.05)
    assert np.isnan(landing[:, 1]).all()


def test_a_level_launch_with_lift_flies() -> None:
    result = fly(Launch.of(75.0, 0.0, 4000.0 * RPM), AIR)
    assert result.carry_m[0] > 50.0
    assert result.apex_m[0] > 0.5


def test_shots_in_chunks_equal_shots_one_by_one() -> None:
    launch = _clubs(module.CHUNK + 1)
    together = fly(launch, AIR, Wind(3.0, -2.0))
    assert together.landed.all()
    ends = np.argsort(together.flight_time_s)[[0, -1]]
    for place in (0, 1, 4000, module.CHUNK - 1, module.CHUNK, *ends):
        alone = fly(_one(launch, int(place)), AIR, Wind(3.0, -2.0))
        for name in NUMBERS:
            assert getattr(alone, name)[0] == pytest.approx(getattr(together, name)[place], rel=1e-12, abs=1e-12), name


def test_flag_of_launches_outside_the_measurements() -> None:
    # At 160 mph a spin ratio of 0.045 is 1,441 rpm; at 70 mph one of 1.2 is 16,800 rpm.
    # 183 mph is a launch of the distance standard to come; 198 mph in this air is a Reynolds number of 2.6e5.
    speed = np.array([160.0, 160.0, 160.0, 61.0, 59.0, 183.0, 200.0, 70.0, 70.0])
    spin = np.array([2600.0, 1470.0, 1420.0, 6000.0, 6000.0, 2220.0, 2500.0, 16_500.0, 17_000.0])
    result = fly(Launch.of(speed * MPH, 0.2, spin * RPM), AIR)
    assert result.outside_range.tolist() == [False, False, True, False, True, False, True, False, True]
    thin = fly(Launch.of(62.0 * MPH, 0.2, 6000.0 * RPM), Air(1.0, 1.789e-5, within_range=True))
    assert thin.outside_range[0], "a Reynolds number below the measurements"


WRONG: Final[list[tuple[str, dict[str, Any]]]] = [
    ("density", {"air": Air(-1.0, 1e-5, within_range=True)}),
    ("density", {"air": Air(np.nan, 1e-5, within_range=True)}),
    ("viscosity", {"air": Air(1.2, 0.0, within_range=True)}),
    ("wind must be finite", {"wind": Wind(np.nan, 0.0)}),
    ("wind must be finite", {"wind": Wind(0.0, np.inf)}),
    ("time step", {"step_s": 0.0}),
    ("time step", {"step_s": 0.51}),
    ("time step", {"step_s": np.nan}),
    ("scales", {"drag_scale": -0.1}),
    ("scales", {"lift_scale": np.nan}),
]


@pytest.mark.parametrize(("message", "given"), WRONG)
def test_impossible_conditions_are_refused(message: str, given: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=message):
        fly(Launch.of(*DRIVE), **({"air": AIR} | given))


@pytest.mark.parametrize("points", [2, 7, 41])
def test_paths_agree_with_the_flights(points: int) -> None:
    launch, wind = _clubs(60), Wind(-3.0, 2.0)
    result, path = (
        fly(launch, AIR, wind, lift_scale=1.1),
        flight_paths(launch, AIR, wind, points=points, lift_scale=1.1),
    )
    assert path.height_m.shape == (60, points)
    for start in (path.forward_m[:, 0], path.offline_m[:, 0], path.height_m[:, 0], path.height_m[:, -1]):
        np.testing.assert_array_equal(start, 0.0)
    np.testing.assert_array_equal(path.forward_m[:, -1], result.forward_m)
    np.testing.assert_array_equal(path.offline_m[:, -1], result.offline_m)
    if points == 41:
        assert np.all(path.height_m.max(axis=1) <= result.apex_m + 1e-4)
        assert np.all(path.height_m.max(axis=1) > result.apex_m * 0.998)


def test_paths_are_at_equal_times() -> None:
    launch = Launch.of(*DRIVE, 0.05, 0.1)
    long, short = (flight_paths(launch, AIR, points=points) for points in (101, 11))
    for name in ("forward_m", "offline_m", "height_m"):
        # Different steps of the integrator, the same times.
        np.testing.assert_allclose(getattr(short, name), getattr(long, name)[:, ::10], atol=1e-3, err_msg=name)
    time = fly(launch, AIR).flight_time_s[0]
    start = (long.height_m[0, 1] - long.height_m[0, 0]) / (time / 100)
    assert start == pytest.approx(DRIVE[0] * np.sin(DRIVE[1]), rel=0.03)


def test_without_air_wind_moves_no_path() -> None:
    launch, vacuum = Launch.of(*DRIVE, 0.3), Air(0.0, 1e-5, within_range=True)
    windy, calm = (flight_paths(launch, vacuum, wind, points=9) for wind in (Wind(5.0, -8.0), Wind()))
    for name in ("forward_m", "offline_m", "height_m"):
        np.testing.assert_allclose(getattr(windy, name), getattr(calm, name), atol=1e-9, err_msg=name)


def test_paths_of_known_times_are_those_of_the_flights() -> None:
    launch, wind = _clubs(6), Wind(3.0, -2.0)
    launch.spin_rate_radps[2] = np.nan
    times = fly(launch, AIR, wind, drag_scale=1.1).flight_time_s
    known, flown = (
        paths_within(launch, times, AIR, wind, points=9, drag_scale=1.1),
        flight_paths(launch, AIR, wind, points=9, drag_scale=1.1),
    )
    for name in ("forward_m", "offline_m", "height_m"):
        np.testing.assert_array_equal(getattr(known, name)[:, :-1], getattr(flown, name)[:, :-1], err_msg=name)
        np.testing.assert_allclose(getattr(known, name)[:, -1], getattr(flown, name)[:, -1], atol=0.01, err_msg=name)
    assert np.isnan(known.forward_m[2]).all()
    assert known.height_m[0, -1] == 0.0


def test_a_path_needs_two_points() -> None:
    with pytest.raises(ValueError, match="2 points"):
        flight_paths(Launch.of(*DRIVE), AIR, points=1)
