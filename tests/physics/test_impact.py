"""The impact of two rigid bodies: exact limits, conservation, symmetry, and the face read off the ball."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.physics import strike as plane
from pipeline.physics.constants import BALL_DROP_M, BALL_MASS_KG, BALL_RADIUS_M, COR_TEST_SPEED_MPS
from pipeline.physics.flight import Launch
from pipeline.physics.impact import (
    BALL_INERTIA_KGM2,
    EXAMPLE_DRIVER,
    EXAMPLE_IRON,
    EXAMPLE_WEDGE,
    Delivery,
    Head,
    face_from_ball,
    strike,
)
from pipeline.resources import table

DEGREE = np.pi / 180.0
# A restitution of 0.80, to which the slope of the efficiency in `strike` belongs.
PLAIN = Head(0.2, 0.80, 0.0003, 0.0004, 0.0005, friction=9.0)


def _columns(launch: Launch) -> np.ndarray:
    return np.array([getattr(launch, field.name) for field in fields(launch)])


def _random(count: int, seed: int) -> tuple[Delivery, np.ndarray, np.ndarray]:
    """Deliveries of any club, and contact points toe-ward and up."""
    rng = np.random.default_rng(seed)
    attack, path, face = rng.uniform(-6.0, 6.0, (3, count)) * DEGREE
    delivery = Delivery(rng.uniform(30.0, 52.0, count), attack, path, rng.uniform(9.0, 35.0, count) * DEGREE, face)
    return delivery, rng.normal(0.0, 0.010, count), rng.normal(0.0, 0.006, count)


# --- exact limits -----------------------------------------------------------


@pytest.mark.parametrize(("restitution", "mass"), [(0.822, 0.2), (0.83, 0.21), (0.78, 0.3)])
def test_central_strike_without_loft(restitution: float, mass: float) -> None:
    head = replace(PLAIN, restitution=restitution, mass_kg=mass, depth_m=0.04)
    launch = strike(Delivery(COR_TEST_SPEED_MPS, 0.0, 0.0, 0.0, 0.0), head).launch
    expected = (1.0 + restitution) / (1.0 + BALL_MASS_KG / mass)
    assert launch.ball_speed_mps[0] / COR_TEST_SPEED_MPS == pytest.approx(expected, rel=1e-12)
    assert plane.central_efficiency(restitution, mass) == pytest.approx(expected, rel=1e-15)
    assert launch.spin_rate_radps[0] == 0.0


def test_against_a_wall_the_ball_leaves_rolling() -> None:
    # A solid sphere that stops sliding on a wall takes 1/(1 + 0.4) of the sliding speed as surface speed.
    wall = replace(PLAIN, mass_kg=1e9, inertia_normal_kgm2=1e9, inertia_side_kgm2=1e9, inertia_up_kgm2=1e9)
    launch = strike(Delivery(20.0, 0.0, 0.0, 30.0 * DEGREE, 0.0), wall).launch
    assert launch.spin_rate_radps[0] * BALL_RADIUS_M / 10.0 == pytest.approx(1.0 / 1.4, rel=1e-6)


def test_without_friction_there_is_no_spin_and_the_ball_leaves_square_to_the_face() -> None:
    struck = strike(Delivery(40.0, 0.0, 3.0 * DEGREE, 30.0 * DEGREE, 5.0 * DEGREE), replace(PLAIN, friction=0.0))
    assert struck.slid.tolist() == [True]
    assert struck.launch.spin_rate_radps[0] == pytest.approx(0.0, abs=1e-12)
    assert struck.launch.launch_angle_rad[0] == pytest.approx(30.0 * DEGREE, rel=1e-12)
    assert struck.launch.launch_direction_rad[0] == pytest.approx(5.0 * DEGREE, rel=1e-12)


def test_a_sliding_ball_gets_the_friction_it_can() -> None:
    head = replace(PLAIN, friction=0.1)
    struck = strike(Delivery(30.0, 0.0, 0.0, 45.0 * DEGREE, 0.0), head)
    launch = struck.launch
    assert struck.slid.tolist() == [True]
    assert np.tan(45.0 * DEGREE - launch.launch_angle_rad[0]) == pytest.approx(0.1, rel=1e-12)
    normal = launch.ball_speed_mps[0] * np.cos(45.0 * DEGREE - launch.launch_angle_rad[0])
    assert launch.spin_rate_radps[0] == pytest.approx(0.1 * normal / (0.4 * BALL_RADIUS_M), rel=1e-12)
    assert not strike(Delivery(30.0, 0.0, 0.0, 10.0 * DEGREE, 0.0), head).slid[0]


@pytest.mark.parametrize("stick", [0.8, 1.0, 1.3])
@pytest.mark.parametrize("depth", [0.0, 0.04])
def test_upright_plane_form_is_the_full_one(stick: float, depth: float) -> None:
    head = replace(PLAIN, stick=stick, depth_m=depth)
    attack, loft = np.array([-4.0, 0.0, 3.0]) * DEGREE, np.array([30.0, 12.0, 14.0]) * DEGREE
    full = strike(Delivery(45.0, attack, 0.0, loft, 0.0), head).launch
    grip = stick / (3.5 + BALL_MASS_KG / head.mass_kg + BALL_MASS_KG * depth**2 / head.inertia_side_kgm2)
    reduced = plane.launch(45.0, attack, loft, plane.central_efficiency(0.80, head.mass_kg), grip)
    for name, values in zip(("ball_speed_mps", "launch_angle_rad", "spin_rate_radps"), reduced, strict=True):
        np.testing.assert_allclose(getattr(full, name), values, rtol=1e-9)


@pytest.mark.parametrize("stick", [0.8, 1.0, 1.3])
def test_upright_plane_form_reads_the_grip_of_a_full_strike_with_drop(stick: float) -> None:
    head = replace(PLAIN, stick=stick, depth_m=0.04, drop_m=BALL_DROP_M)
    loft = np.array([12.0, 14.0, 30.0]) * DEGREE
    full = strike(Delivery(45.0, 0.0, 0.0, loft, 0.0), head).launch
    ball = full.ball_speed_mps, full.launch_angle_rad, full.spin_rate_radps
    found = plane.invert(45.0, 0.0, *ball, BALL_DROP_M)
    grip = stick / (3.5 + BALL_MASS_KG / head.mass_kg + BALL_MASS_KG * 0.04**2 / head.inertia_side_kgm2)
    np.testing.assert_allclose(found.loft_rad, loft, rtol=1e-9)
    np.testing.assert_allclose(found.grip, grip, rtol=1e-9)
    # The drop couples both directions, which the efficiency takes up: 0.1 to 0.2 % at 12 degrees, 0.3 to 0.6 % at 30.
    np.testing.assert_allclose(found.efficiency, plane.central_efficiency(0.80, 0.2), rtol=0.008)
    again = plane.launch(45.0, 0.0, *found, BALL_DROP_M)
    for values, expected in zip(again, ball, strict=True):
        np.testing.assert_allclose(values, expected, rtol=1e-9)


# --- conservation -----------------------------------------------------------


def _head_axes(loft: float, face: float) -> np.ndarray:
    """Axes out of the face, heel-ward and up it, as rows."""
    normal = np.array([np.cos(loft) * np.cos(face), -np.cos(loft) * np.sin(face), np.sin(loft)])
    heel = np.array([np.sin(face), np.cos(face), 0.0])
    return np.array([normal, heel, np.cross(normal, heel)])


@given(
    club_speed=st.floats(15.0, 60.0),
    angles=st.tuples(*[st.floats(-8.0, 8.0)] * 3),
    loft=st.floats(5.0, 60.0),
    spot=st.tuples(st.floats(-0.025, 0.025), st.floats(-0.012, 0.012)),
    stick=st.floats(0.5, 1.5),
    friction=st.floats(0.0, 0.6),
    drop=st.floats(0.0, 0.001),
)
@settings(max_examples=300)
def test_energy_never_grows(
    *,
    club_speed: float,
    angles: tuple[float, float, float],
    loft: float,
    spot: tuple[float, float],
    stick: float,
    friction: float,
    drop: float,
) -> None:
    attack, path, face = (angle * DEGREE for angle in angles)
    head = replace(EXAMPLE_DRIVER, bulge_m=np.inf, roll_m=np.inf, stick=stick, friction=friction, drop_m=drop)
    launch = strike(Delivery(club_speed, attack, path, loft * DEGREE, face), head, *spot).launch
    speed, angle, direction, spin, _ = _columns(launch)[:, 0]
    velocity = speed * _head_axes(angle, direction)[0]
    before = club_speed * _head_axes(attack, path)[0]
    impulse = -BALL_MASS_KG * velocity  # on the head
    after = before + impulse / head.mass_kg
    axes = _head_axes(loft * DEGREE, face)
    moments = np.array([head.inertia_normal_kgm2, head.inertia_side_kgm2, head.inertia_up_kgm2])
    turning = np.cross([head.depth_m, -spot[0], spot[1]], axes @ impulse) / moments
    of_ball = 0.5 * BALL_MASS_KG * speed**2 + 0.5 * BALL_INERTIA_KGM2 * spin**2
    of_head = 0.5 * head.mass_kg * after @ after + 0.5 * moments @ turning**2
    assert of_ball + of_head <= 0.5 * head.mass_kg * club_speed**2 * (1.0 + 1e-12)


def test_angular_momentum_of_the_ball_comes_from_its_own_impulse() -> None:
    # Across the velocity: spin and speed along the face belong together, whatever head struck.
    delivery, toe, high = _random(50, 4)
    for head in (EXAMPLE_DRIVER, EXAMPLE_IRON, EXAMPLE_WEDGE, replace(EXAMPLE_DRIVER, friction=0.05)):
        launch = strike(delivery, replace(head, drop_m=0.0, bulge_m=np.inf, roll_m=np.inf), toe, high).launch
        speed, angle, direction, spin, _ = _columns(launch)
        lofts, faces = np.asarray(delivery.loft_rad), np.asarray(delivery.face_rad)
        normals = np.array([_head_axes(loft, face)[0] for loft, face in zip(lofts, faces, strict=True)])
        velocities = np.array(
            [one * _head_axes(up, right)[0] for one, up, right in zip(speed, angle, direction, strict=True)]
        )
        along = np.linalg.norm(np.cross(velocities, normals), axis=-1)
        np.testing.assert_allclose(0.4 * BALL_RADIUS_M * spin, along, rtol=1e-10)


# --- symmetry, and the ways of golf -----------------------------------------


def test_left_and_right_mirror_each_other() -> None:
    delivery, toe, high = _random(100, 5)
    speed, attack, path, loft, face = (np.asarray(values) for values in delivery)
    there = _columns(strike(delivery, EXAMPLE_DRIVER, toe, high).launch)
    back = _columns(strike(Delivery(speed, attack, -path, loft, -face), EXAMPLE_DRIVER, -toe, high).launch)
    turned = there * np.array([1.0, 1.0, -1.0, 1.0, -1.0])[:, None]
    np.testing.assert_allclose(back, turned, rtol=1e-9, atol=1e-12)


def test_toe_draws_and_heel_fades_and_both_lose_speed() -> None:
    launch = strike(Delivery(45.0, 0.0, 0.0, 0.21, 0.0), EXAMPLE_DRIVER, np.array([-0.015, 0.0, 0.015])).launch
    heel, centre, toe = launch.spin_axis_rad
    assert toe < centre == 0.0 < heel
    assert launch.launch_direction_rad[0] < 0.0 < launch.launch_direction_rad[2], "bulge starts the toe shot right"
    assert launch.ball_speed_mps[1] > launch.ball_speed_mps[0] == pytest.approx(launch.ball_speed_mps[2])


def test_high_launches_higher_with_less_spin() -> None:
    launch = strike(Delivery(45.0, 0.0, 0.0, 0.21, 0.0), EXAMPLE_DRIVER, 0.0, np.array([-0.01, 0.01])).launch
    assert launch.launch_angle_rad[0] < launch.launch_angle_rad[1]
    assert launch.spin_rate_radps[0] > launch.spin_rate_radps[1]


def test_a_face_open_to_the_path_curves_right() -> None:
    launch = strike(Delivery(45.0, 0.0, 0.0, 0.21, [0.05, -0.05]), EXAMPLE_DRIVER).launch
    assert launch.spin_axis_rad[1] < 0.0 < launch.spin_axis_rad[0]
    assert 0.0 < launch.launch_direction_rad[0] < 0.05


def test_more_inertia_and_a_shallower_centre_turn_less() -> None:
    # Iwatsubo, Kawamura, Miyamoto, Yamaguchi 2000, abstract (read): less sidespin with more inertia about the upright
    # axis or a shallower centre of gravity, more backspin with a shallower one.
    delivery, flat = Delivery(45.0, 0.0, 0.0, 0.21, 0.0), replace(EXAMPLE_DRIVER, bulge_m=np.inf)

    def spins(head: Head) -> tuple[float, float]:
        off, on = strike(delivery, head, 0.01).launch, strike(delivery, head).launch
        return float(-off.spin_rate_radps[0] * np.sin(off.spin_axis_rad[0])), float(on.spin_rate_radps[0])

    usual, heavy, shallow = (
        spins(h) for h in (flat, replace(flat, inertia_up_kgm2=0.0006), replace(flat, depth_m=0.03))
    )
    assert heavy[0] < usual[0]
    assert shallow[0] < usual[0]
    assert shallow[1] > usual[1]


def test_the_centre_of_gravity_may_lie_off_the_centre_of_the_face() -> None:
    delivery = Delivery(45.0, 0.0, 0.0, 0.0, 0.0)
    flat = replace(PLAIN, depth_m=0.04)
    moved = replace(flat, centre_toe_m=0.01, centre_high_m=0.004)
    there, here = strike(delivery, moved, 0.013, 0.006).launch, strike(delivery, flat, 0.003, 0.002).launch
    np.testing.assert_allclose(_columns(there), _columns(here), rtol=1e-12)


# --- the face from the ball -------------------------------------------------


@pytest.mark.parametrize("drop", [0.0, BALL_DROP_M])
@pytest.mark.parametrize("friction", [0.5, 0.1])
def test_the_ball_alone_tells_the_face(drop: float, friction: float) -> None:
    delivery, toe, high = _random(200, 1)
    head = Head(0.2, 0.81, 0.0003, 0.0003, 0.00045, depth_m=0.03, stick=1.15, friction=friction, drop_m=drop)
    struck = strike(delivery, head, toe, high)
    assert struck.slid.any() == (friction < 0.5)
    face = face_from_ball(struck.launch, drop)
    # 0.02 degrees is what was asked for; rounding alone remains.
    np.testing.assert_allclose(face.loft_rad, np.asarray(delivery.loft_rad), rtol=0.0, atol=1e-9 * DEGREE)
    np.testing.assert_allclose(face.face_rad, np.asarray(delivery.face_rad), rtol=0.0, atol=1e-9 * DEGREE)


def test_on_a_curved_face_it_is_the_face_at_the_contact_point() -> None:
    delivery = Delivery(45.0, 0.0, 0.0, [0.0, 0.0, 0.5], 0.0)
    head = replace(EXAMPLE_DRIVER, friction=9.0, bulge_m=0.3, roll_m=0.25)
    face = face_from_ball(strike(delivery, head, [0.015, 0.0, 0.0], [0.0, 0.01, 0.01]).launch, head.drop_m)
    np.testing.assert_allclose(face.loft_rad, [0.0, 0.04, 0.54], atol=1e-12)
    np.testing.assert_allclose(face.face_rad, [0.05, 0.0, 0.0], atol=1e-12)


def test_in_the_upright_plane_it_is_the_delivered_loft() -> None:
    face = face_from_ball(Launch.of(64.0, 0.2, [250.0, 400.0]), BALL_DROP_M)
    np.testing.assert_allclose(face.loft_rad, plane.delivered_loft(64.0, 0.2, [250.0, 400.0], BALL_DROP_M), rtol=1e-14)
    np.testing.assert_allclose(face.face_rad, 0.0, atol=1e-15)


def test_balls_no_face_can_make_are_nan() -> None:
    launch = Launch.of(
        [64.0, 64.0, 0.0, np.nan, 64.0, 64.0],
        [0.2, 0.2, 0.2, 0.2, 1.6, 0.2],
        [300.0, 9000.0, 300.0, 300.0, 300.0, np.inf],
    )
    face = face_from_ball(launch)
    assert np.isnan(face.loft_rad).tolist() == np.isnan(face.face_rad).tolist() == [False, *[True] * 5]
    assert np.isnan(face_from_ball(Launch.of(64.0, 0.2, 300.0), BALL_RADIUS_M).loft_rad).all()


# --- domains ----------------------------------------------------------------


def test_deliveries_outside_the_domain_are_nan_and_leave_the_others_alone() -> None:
    good = (45.0, 0.0, 0.0, 0.2, 0.0)
    bad = [
        (0.0, 0.0, 0.0, 0.2, 0.0),
        (np.inf, 0.0, 0.0, 0.2, 0.0),
        (45.0, np.nan, 0.0, 0.2, 0.0),
        (45.0, 1.6, 0.0, 1.5, 0.0),
        (45.0, -1.4, 0.0, 1.4, 0.0),  # the face runs away from the ball
        (400.0, 0.0, 0.0, 0.0, 0.0),  # no restitution left
    ]
    launch = strike(Delivery(*np.array([good, *bad, good]).T), EXAMPLE_DRIVER).launch
    assert np.isnan(_columns(launch)).all(axis=0).tolist() == [False, *[True] * 6, False]
    alone = _columns(strike(Delivery(*good), EXAMPLE_DRIVER).launch)
    np.testing.assert_array_equal(_columns(launch)[:, [0, -1]], np.hstack([alone, alone]))
    assert np.isnan(_columns(strike(Delivery(*good), EXAMPLE_DRIVER, np.nan).launch)).all()


@pytest.mark.parametrize(
    "change",
    [
        {"mass_kg": 0.0},
        {"inertia_normal_kgm2": -1.0},
        {"inertia_side_kgm2": 0.0},
        {"inertia_up_kgm2": np.nan},
        {"bulge_m": 0.0},
        {"roll_m": -0.3},
        {"restitution": 1.1},
        {"restitution": -0.1},
        {"friction": -0.1},
        {"stick": 2.0},
        {"stick": -0.1},
        {"drop_m": BALL_RADIUS_M},
        {"depth_m": np.nan},
    ],
)
def test_impossible_heads_are_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="no head is like this"):
        replace(EXAMPLE_DRIVER, **change)


def test_example_driver_conforms() -> None:
    limits = table("equipment_limits")
    assert EXAMPLE_DRIVER.restitution <= limits["restitution"]["limit"]
    assert EXAMPLE_DRIVER.inertia_up_kgm2 <= limits["head_inertia"]["limit"]


def test_every_limit_says_where_it_is_from() -> None:
    for limit in table("equipment_limits").values():
        assert limit["reading"] in {"read", "second-hand"}
        assert limit["source"]
        assert limit["bound"] in {"most", "least"}
