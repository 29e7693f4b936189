"""Bounce, run and total distance."""

import numpy as np
import pytest

from pipeline.physics import ground as module
from pipeline.physics.atmosphere import Air
from pipeline.physics.constants import BALL_RADIUS_M
from pipeline.physics.flight import Launch, fly
from pipeline.physics.ground import FIRMNESS, restitution, run, total_distance

RPM, DEGREE = 2.0 * np.pi / 60.0, np.pi / 180.0


def test_without_friction_speed_along_and_spin_are_kept() -> None:
    ahead, up, spin = module._bounce(np.array([20.0]), np.array([10.0]), np.array([200.0]), np.array([0.0]), 0.0)
    assert ahead[0] == pytest.approx(20.0, abs=1e-12)
    assert spin[0] == pytest.approx(200.0, abs=1e-12)
    assert up[0] == pytest.approx(10.0 * float(restitution(10.0)), abs=1e-12)


def test_with_enough_friction_the_ball_leaves_rolling() -> None:
    # Daish 1972: a solid sphere without spin keeps 5/7 of its speed along a plane that grips it.
    ahead, _, spin = module._bounce(np.array([5.0]), np.array([10.0]), np.array([0.0]), np.array([0.0]), 10.0)
    assert ahead[0] == pytest.approx(25.0 / 7.0, abs=1e-12)
    assert spin[0] * BALL_RADIUS_M == pytest.approx(-25.0 / 7.0, abs=1e-12)


def test_a_sliding_ball_gets_the_friction_it_can() -> None:
    ahead, up, spin = module._bounce(np.array([30.0]), np.array([3.0]), np.array([400.0]), np.array([0.0]))
    impulse = 0.40 * (3.0 + up[0])  # Penner 2002's friction
    assert ahead[0] == pytest.approx(30.0 - impulse, abs=1e-12)
    assert spin[0] == pytest.approx(400.0 - 2.5 * impulse / BALL_RADIUS_M, abs=1e-9)


def test_tilted_plane_turns_the_landing() -> None:
    # Without friction and straight into the tilted plane, the ball leaves along the plane's normal, backwards and up.
    tilt = 0.3
    ahead, up, _ = module._bounce(
        np.array([10.0 * np.sin(tilt)]), np.array([10.0 * np.cos(tilt)]), np.array([0.0]), np.array([tilt]), 0.0
    )
    assert np.hypot(ahead, up)[0] == pytest.approx(10.0 * float(restitution(10.0)), abs=1e-12)
    assert ahead[0] / up[0] == pytest.approx(-np.tan(tilt), abs=1e-12)


def test_a_bounce_never_gains_energy() -> None:
    rng = np.random.default_rng(0)
    ahead, down, spin = rng.uniform(-35.0, 35.0, 5000), rng.uniform(0.0, 30.0, 5000), rng.uniform(-500.0, 1000.0, 5000)
    after = module._bounce_either_way(ahead, down, spin)

    def energy(along: np.ndarray, across: np.ndarray, turning: np.ndarray) -> np.ndarray:
        return np.asarray(0.5 * (along**2 + across**2) + 0.2 * (BALL_RADIUS_M * turning) ** 2)

    assert np.all(energy(*after) <= energy(ahead, down, spin) + 1e-9)


def test_bouncing_backwards_mirrors_bouncing_forwards() -> None:
    there = module._bounce_either_way(np.array([4.0]), np.array([3.0]), np.array([150.0]))
    back = module._bounce_either_way(np.array([-4.0]), np.array([3.0]), np.array([-150.0]))
    assert [float(value[0]) for value in back] == [-float(there[0][0]), float(there[1][0]), -float(there[2][0])]


@pytest.mark.parametrize(("speed", "descent", "degrees"), [(18.6, 45.6, 15.4), (9.3, 45.6, 7.7), (18.6, 67.8, 7.7)])
def test_turf_tilts_with_speed_and_angle_from_the_normal(
    monkeypatch: pytest.MonkeyPatch, speed: float, descent: float, degrees: float
) -> None:
    seen = _tilts(monkeypatch, speed, descent)
    assert seen[0] / DEGREE == pytest.approx(degrees, abs=1e-9)


def test_tilt_is_capped(monkeypatch: pytest.MonkeyPatch) -> None:
    assert _tilts(monkeypatch, 40.0, 20.0)[0] == pytest.approx(45.0 * DEGREE, abs=1e-12)
    assert _tilts(monkeypatch, 60.0, 80.0)[0] == pytest.approx(10.0 * DEGREE, abs=1e-12), "at most straight into it"


def _tilts(monkeypatch: pytest.MonkeyPatch, speed: float, descent: float) -> list[float]:
    seen: list[float] = []
    real = module._bounce

    def spy(
        ahead: np.ndarray, down: np.ndarray, spin: np.ndarray, tilt: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        seen.append(float(tilt[0]))
        return real(ahead, down, spin, tilt)

    monkeypatch.setattr(module, "_bounce", spy)
    run(speed, descent * DEGREE, 200.0)
    return seen


def test_steeper_landings_and_more_backspin_run_less() -> None:
    assert np.all(np.diff(run(28.0, np.arange(20.0, 56.0, 5.0) * DEGREE, 2500.0 * RPM).run_m) < 0.0)
    spins = np.array([2000.0, 4000.0, 6000.0, 8000.0, 10_000.0]) * RPM
    by_spin = run(22.0, 48.0 * DEGREE, spins).run_m
    assert np.all(np.diff(by_spin) < 0.0)
    assert by_spin[-1] < 0.0 < by_spin[0]


def test_rolling_stops_at_the_stated_deceleration() -> None:
    # A ball that drops from less than the lowest hop rolls at once: here without slip, so it keeps its 3 m/s.
    speed = np.array([3.0])
    assert module._roll(speed, -speed / BALL_RADIUS_M)[0] == pytest.approx(9.0 / 4.0, abs=1e-12)
    assert module._roll(-speed, speed / BALL_RADIUS_M)[0] == pytest.approx(-9.0 / 4.0, abs=1e-12)
    assert module._roll(speed, np.array([0.0]))[0] == pytest.approx((15.0 / 7.0) ** 2 / 4.0, abs=1e-12)


def test_firmness_multiplies_the_run_either_way() -> None:
    descent, spin = np.array([37.0, 50.0]) * DEGREE, np.array([2000.0, 11_000.0]) * RPM
    typical, firm = run(25.0, descent, spin), run(25.0, descent, spin, FIRMNESS["firm"])
    np.testing.assert_allclose(firm.run_m, 1.3 * typical.run_m, rtol=1e-14)
    assert typical.run_m[1] < 0.0
    assert list(FIRMNESS) == ["soft", "typical", "firm"]
    assert FIRMNESS["soft"] < FIRMNESS["typical"] == 1.0 < FIRMNESS["firm"]


@pytest.mark.parametrize("firmness", [-0.1, np.nan, np.inf])
def test_impossible_firmness_is_refused(firmness: float) -> None:
    with pytest.raises(ValueError, match="firmness"):
        run(28.0, 0.6, 200.0, firmness)


def test_flag_of_landings_outside_the_comparison() -> None:
    speed = np.array([28.0, 28.0, 28.0, 32.0, 32.1])
    descent = np.array([37.0, 25.1, 24.9, 37.0, 37.0]) * DEGREE
    result = run(speed, descent, 200.0)
    assert result.unreliable.tolist() == [False, False, True, False, True]
    assert np.isfinite(result.run_m).all()


def test_bad_landings_are_nan_and_leave_the_others_alone() -> None:
    speed = np.array([28.0, np.nan, -1.0, np.inf, 28.0, 28.0, 28.0, 28.0, 28.0])
    descent = np.array([0.6, 0.6, 0.6, 0.6, np.nan, -0.1, 1.6, 0.6, 0.6])
    spin = np.array([200.0, 200.0, 200.0, 200.0, 200.0, 200.0, 200.0, np.nan, 200.0])
    result = run(speed, descent, spin)
    assert np.isnan(result.run_m).tolist() == [False, *[True] * 7, False]
    assert result.unreliable.tolist() == [False, *[True] * 7, False]
    assert result.run_m[0] == result.run_m[-1] == run(28.0, 0.6, 200.0).run_m[0]


def test_a_ball_at_rest_does_not_run() -> None:
    assert run(0.0, 0.6, 0.0).run_m[0] == 0.0


def test_many_landings_equal_landings_one_by_one() -> None:
    rng = np.random.default_rng(1)
    count = module.CHUNK + 1
    speed, descent = rng.uniform(15.0, 32.0, count), rng.uniform(0.3, 1.0, count)
    spin = rng.uniform(100.0, 1000.0, count)
    together = run(speed, descent, spin).run_m
    for place in (0, 1, module.CHUNK - 1, module.CHUNK):
        alone = run(speed[place], descent[place], spin[place]).run_m[0]
        assert alone == pytest.approx(together[place], rel=1e-12)


def test_the_number_of_bounces_is_never_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    descent = np.linspace(20.0, 60.0, 30) * DEGREE
    usual = run(30.0, descent, 250.0).run_m
    monkeypatch.setattr(module, "MOST_BOUNCES", 600)
    np.testing.assert_array_equal(run(30.0, descent, 250.0).run_m, usual)
    monkeypatch.setattr(module, "MOST_BOUNCES", 3)
    assert np.isfinite(run(30.0, descent, 250.0).run_m).all()


def test_total_adds_the_run_along_the_landing_direction() -> None:
    flight = fly(Launch.of(70.0, 0.2, 280.0, 0.1, [0.0, 0.3]), Air(1.2, 1.8e-5, within_range=True))
    after = run(flight.landing_speed_mps, flight.descent_angle_rad, flight.landing_spin_radps, 1.3)
    total = total_distance(flight, 1.3)
    level = np.hypot(flight.landing_forward_mps, flight.landing_right_mps)
    forward = flight.forward_m + after.run_m * flight.landing_forward_mps / level
    offline = flight.offline_m + after.run_m * flight.landing_right_mps / level
    np.testing.assert_allclose(total.total_m, np.hypot(forward, offline), rtol=1e-12)
    np.testing.assert_allclose(total.total_offline_m, offline, rtol=1e-12)
    assert total.total_m[0] == pytest.approx(flight.carry_m[0] + after.run_m[0], abs=1e-9), "straight from the start"
    assert total.total_m[1] < flight.carry_m[1] + after.run_m[1], "a curve ends on another line"
