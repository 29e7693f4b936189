"""From the club as built to the face as delivered, and the arc."""

import numpy as np
import pytest

from pipeline.physics.club_geometry import arc, delivered_face

DEGREE = np.pi / 180.0


def _by_matrices(loft: float, lie: float, down: float, opening: float) -> np.ndarray:
    """Normal by another way: rotate about z in the shaft's own frame, then about y."""
    to_shaft = np.array([[1.0, 0.0, 0.0], [0.0, np.sin(lie), -np.cos(lie)], [0.0, np.cos(lie), np.sin(lie)]])
    about_shaft = np.array(
        [[np.cos(opening), np.sin(opening), 0.0], [-np.sin(opening), np.cos(opening), 0.0], [0.0, 0.0, 1.0]]
    )
    about_left = np.array([[np.cos(down), 0.0, np.sin(down)], [0.0, 1.0, 0.0], [-np.sin(down), 0.0, np.cos(down)]])
    square = np.array([np.cos(loft), 0.0, np.sin(loft)])
    return np.asarray(about_left @ to_shaft.T @ about_shaft @ to_shaft @ square)


def test_square_club_keeps_its_loft_less_lean_plus_lead() -> None:
    face = delivered_face(30.0 * DEGREE, 62.0 * DEGREE, lean_rad=6.0 * DEGREE, lead_rad=1.5 * DEGREE)
    assert face.loft_rad / DEGREE == pytest.approx(25.5, abs=1e-12)
    assert face.face_rad == 0.0


def test_rotations_are_exact() -> None:
    rng = np.random.default_rng(2)
    loft, lie = rng.uniform(0.0, 1.1, 50), rng.uniform(0.8, 1.3, 50)
    lean, lead, opening = rng.uniform(-0.3, 0.3, (3, 50))
    face = delivered_face(loft, lie, lean, lead, opening)
    for place in range(50):
        normal = _by_matrices(loft[place], lie[place], lean[place] - lead[place], opening[place])
        assert np.sin(face.loft_rad[place]) == pytest.approx(normal[2], abs=1e-14)
        assert face.face_rad[place] == pytest.approx(np.arctan2(-normal[1], normal[0]), abs=1e-14)


def test_an_opened_driver_gains_loft() -> None:
    # Small angles: opening times the cosine of the lie, here 4 cos 56 degrees = 2.24.
    face = delivered_face(10.5 * DEGREE, 56.0 * DEGREE, opening_rad=4.0 * DEGREE)
    assert face.loft_rad / DEGREE - 10.5 == pytest.approx(2.24, abs=0.05)
    assert face.face_rad > 3.0 * DEGREE
    assert delivered_face(10.5 * DEGREE, 56.0 * DEGREE, opening_rad=-4.0 * DEGREE).loft_rad < 10.5 * DEGREE


@pytest.mark.parametrize(
    "bad",
    [(-0.1, 1.0), (1.6, 1.0), (0.2, -0.1), (0.2, 1.6), (np.nan, 1.0), (0.2, 1.0, np.inf), (0.2, 1.0, 0.0, 1.6),
     (0.2, 1.0, 0.0, 0.0, -1.6)],
)  # fmt: skip
def test_clubs_outside_the_domain_are_nan(bad: tuple[float, ...]) -> None:
    assert all(np.isnan(values) for values in delivered_face(*bad))


def test_arc_by_the_circle_itself() -> None:
    # Direction between two near points of the circle, instead of the formula.
    forward, radius, plane = 0.08, 1.6, 50.0 * DEGREE
    turn = np.arcsin(forward / radius) + np.array([-1e-6, 1e-6])
    rise = radius * (1.0 - np.cos(turn))
    points = np.array([radius * np.sin(turn), rise * np.cos(plane), rise * np.sin(plane)])
    ahead, left, up = points[:, 1] - points[:, 0]
    found = arc(forward, radius, plane)
    assert found.attack_rad == pytest.approx(np.arctan2(up, np.hypot(ahead, left)), abs=1e-9)
    assert found.path_rad == pytest.approx(np.arctan2(-left, ahead), abs=1e-9)


def test_a_ball_further_forward_is_met_later_on_the_arc() -> None:
    found = arc(np.array([-0.05, 0.0, 0.025]), 1.6, 50.0 * DEGREE)
    np.testing.assert_allclose(found.attack_rad[1:] / DEGREE, [0.0, 0.686], atol=5e-4)
    np.testing.assert_allclose(found.path_rad[1:] / DEGREE, [0.0, -0.576], atol=5e-4)
    assert found.attack_rad[0] < 0.0 < found.path_rad[0]


def test_arcs_outside_the_domain_are_nan() -> None:
    found = arc([1.6, -2.0, np.nan, 0.0, 0.0, 0.0, 0.1], [1.6, 1.6, 1.6, 0.0, np.inf, 1.6, 1.6], [0.9] * 5 + [1.6, 0.9])
    assert np.isnan(found.attack_rad).tolist() == np.isnan(found.path_rad).tolist() == [True] * 6 + [False]
