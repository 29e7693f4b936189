"""The upright-plane form of the impact, and its inverse."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.physics.constants import (
    BALL_DIAMETER_M,
    BALL_DROP_M,
    BALL_MASS_KG,
    BALL_RADIUS_M,
    COR_TEST_SPEED_MPS,
)
from pipeline.physics.strike import central_efficiency, delivered_loft, invert, launch
from pipeline.resources import table

DEGREE, RPM = np.pi / 180.0, np.pi / 30.0


def test_the_ball_is_the_one_the_rules_allow() -> None:
    limits = table("equipment_limits")
    assert limits["ball_mass"]["limit"] == BALL_MASS_KG
    assert limits["ball_diameter"]["limit"] == BALL_DIAMETER_M


@given(
    club_speed=st.floats(5.0, 70.0),
    attack=st.floats(-0.3, 0.3),
    spin_loft=st.floats(0.01, 1.3),
    efficiency=st.floats(0.7, 1.6),
    grip=st.floats(0.05, 0.5),
    drop=st.floats(-0.001, 0.001),
)
def test_invert_is_the_exact_inverse(
    *, club_speed: float, attack: float, spin_loft: float, efficiency: float, grip: float, drop: float
) -> None:
    ball = launch(club_speed, attack, attack + spin_loft, efficiency, grip, drop)
    sliding = club_speed * np.sin(spin_loft) + drop * ball.ball_speed_mps / (0.4 * BALL_RADIUS_M)
    found = invert(club_speed, attack, *ball, drop)
    assert found.loft_rad == pytest.approx(attack + spin_loft, abs=1e-9)
    assert found.efficiency == pytest.approx(efficiency, rel=1e-9)
    if abs(sliding) > 0.01 * club_speed:  # else the grip is 0/0
        assert found.grip == pytest.approx(grip, rel=1e-9)
    assert delivered_loft(*ball, drop) == found.loft_rad


def test_a_usual_drive_by_hand() -> None:
    # V = 45, spin loft 14 - 2 = 12 degrees: along the normal 44.0166, E = 1.45 (1 - 0.0028 * 3.5166 / 1.8).
    ball = launch(45.0, 2.0 * DEGREE, 14.0 * DEGREE, 1.45, 0.25)
    normal, tangential = 1.45 * (1.0 - 0.0028 * 3.5166419 / 1.8) * 44.0166419, 0.25 * 45.0 * 0.2079117
    assert ball.ball_speed_mps == pytest.approx(np.hypot(normal, tangential), rel=1e-7)
    assert ball.launch_rad / DEGREE == pytest.approx(14.0 - np.degrees(np.arctan(tangential / normal)), rel=1e-7)
    assert ball.spin_radps == pytest.approx(tangential / (0.4 * BALL_RADIUS_M), rel=1e-6)


def test_the_lower_ball_spins_less_and_starts_lower() -> None:
    high, low = (launch(45.0, 0.0, 14.0 * DEGREE, 1.45, 0.255, drop) for drop in (0.0, BALL_DROP_M))
    assert low.spin_radps < 0.9 * high.spin_radps
    assert low.launch_rad < high.launch_rad


def test_drop_moves_every_loft_alike() -> None:
    spins = np.array([0.0, 1500.0, 3000.0, 9000.0]) * RPM
    moved = delivered_loft(65.0, 0.2, spins, BALL_DROP_M) - delivered_loft(65.0, 0.2, spins)
    assert moved[0] / DEGREE == pytest.approx(1.3425, abs=1e-4)
    np.testing.assert_allclose(moved / DEGREE, moved[0] / DEGREE, rtol=0.0, atol=0.003)


def test_efficiency_belongs_to_the_speed_of_the_rules_test() -> None:
    at_test = launch(COR_TEST_SPEED_MPS, 0.0, 0.0, 1.45, 0.25).ball_speed_mps / COR_TEST_SPEED_MPS
    faster = launch(COR_TEST_SPEED_MPS + 10.0, 0.0, 0.0, 1.45, 0.25).ball_speed_mps / (COR_TEST_SPEED_MPS + 10.0)
    assert at_test == pytest.approx(1.45, rel=1e-14)
    assert faster == pytest.approx(1.45 * (1.0 - 0.028 / 1.8), rel=1e-14)


def test_arrays_and_scalars_broadcast() -> None:
    ball = launch(np.array([[40.0], [45.0]]), 0.0, np.array([0.2, 0.25, 0.3]), 1.45, 0.25)
    assert {values.shape for values in ball} == {(2, 3)}
    assert {values.shape for values in launch(40.0, 0.0, 0.2, 1.45, 0.25)} == {()}
    found = invert(np.array([[40.0], [45.0]]), 0.0, *ball)
    assert {values.shape for values in found} == {(2, 3)}
    one = invert(45.0, 0.0, *(values[1, 2] for values in ball))
    assert [values[1, 2] for values in found] == [float(value) for value in one]


BAD_DELIVERIES = [
    (0.0, 0.0, 0.2, 1.45, 0.25, 0.0),
    (-45.0, 0.0, 0.2, 1.45, 0.25, 0.0),
    (np.inf, 0.0, 0.2, 1.45, 0.25, 0.0),
    (45.0, np.nan, 0.2, 1.45, 0.25, 0.0),
    (45.0, 0.0, 1.6, 1.45, 0.25, 0.0),
    (45.0, 0.0, 0.2, 0.0, 0.25, 0.0),
    (45.0, 0.0, 0.2, np.inf, 0.25, 0.0),
    (45.0, 0.0, 0.2, 1.45, np.inf, 0.0),
    (45.0, 0.0, 0.2, 1.45, np.nan, 0.0),
    (45.0, 0.0, 0.2, 1.45, 0.25, BALL_RADIUS_M),
    (700.0, 0.0, 0.0, 1.45, 0.25, 0.0),  # the fall of restitution leaves nothing
]


@pytest.mark.parametrize("bad", BAD_DELIVERIES)
def test_launch_outside_its_domain_is_nan(bad: tuple[float, ...]) -> None:
    assert all(np.isnan(values).all() for values in launch(*bad))


BAD_BALLS = [
    (0.0, 0.0, 64.0, 0.2, 300.0, 0.0),
    (np.inf, 0.0, 64.0, 0.2, 300.0, 0.0),
    (45.0, np.nan, 64.0, 0.2, 300.0, 0.0),
    (45.0, -1.4, 64.0, 0.2, 300.0, 0.0),  # a spin loft beyond a quarter turn
    (45.0, 0.0, 0.0, 0.2, 300.0, 0.0),
    (45.0, 0.0, np.inf, 0.2, 300.0, 0.0),
    (45.0, 0.0, 64.0, np.nan, 300.0, 0.0),
    (45.0, 0.0, 64.0, 0.2, 8000.0, 0.0),  # more spin than one impulse gives
    (45.0, 0.0, 64.0, 0.2, np.nan, 0.0),
    (45.0, 0.0, 64.0, 0.2, 300.0, -BALL_RADIUS_M),
    (700.0, 0.0, 64.0, 0.0, 0.0, 0.0),
]


@pytest.mark.parametrize("bad", BAD_BALLS)
def test_invert_outside_its_domain_is_nan(bad: tuple[float, ...]) -> None:
    assert all(np.isnan(values).all() for values in invert(*bad))


def test_bad_shots_leave_the_others_alone() -> None:
    found = invert(45.0, 0.0, np.array([64.0, np.nan, 64.0]), 0.2, np.array([300.0, 300.0, np.inf]))
    assert np.isnan(found.loft_rad).tolist() == [False, True, True]
    assert found.loft_rad[0] == invert(45.0, 0.0, 64.0, 0.2, 300.0).loft_rad


def test_where_nothing_slides_there_is_no_grip() -> None:
    found = invert(45.0, 0.0, 64.0, 0.0, 0.0)
    assert np.isnan(found.grip)
    assert found.loft_rad == 0.0
    assert found.efficiency > 0.0


def test_central_efficiency_is_that_of_two_bodies() -> None:
    assert central_efficiency(1.0, BALL_MASS_KG) == pytest.approx(1.0, rel=1e-15)
    assert central_efficiency(1.0, np.inf) == 2.0
    assert np.isnan(central_efficiency([-0.1, 1.1, np.nan, 0.8, 0.8], [0.2, 0.2, 0.2, 0.0, np.nan])).all()
