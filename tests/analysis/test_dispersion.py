import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from pipeline.analysis.dispersion import prediction_ellipse
from pipeline.records import Ellipse

Floats = NDArray[np.float64]
# Invented balls: spread 10 along carry and 5 offline, no correlation.
CARRY = np.array([190.0, 210.0, 200.0, 200.0, 200.0])
OFFLINE = np.array([3.0, 3.0, -2.0, 8.0, 3.0])


def ellipse(carry: Floats, offline: Floats, level: float = 0.75) -> Ellipse:
    found = prediction_ellipse(carry, offline, level)
    assert found is not None
    return found


def holds(shape: Ellipse, carry: Floats, offline: Floats) -> NDArray[np.bool_]:
    """Tell which balls lie inside, from the drawn figures alone: centre, half-axes and angle."""
    ahead, aside = carry - shape.carry_m, offline - shape.offline_m
    along = ahead * math.cos(shape.angle_rad) + aside * math.sin(shape.angle_rad)
    across = aside * math.cos(shape.angle_rad) - ahead * math.sin(shape.angle_rad)
    inside: NDArray[np.bool_] = (along / shape.long_axis_m) ** 2 + (across / shape.short_axis_m) ** 2 <= 1
    return inside


def test_each_figure_of_a_plain_case() -> None:
    found = ellipse(CARRY, OFFLINE, 0.9)
    k = 2 * 24 / (5 * 3) * stats.f.ppf(0.9, 2, 3)
    assert (found.level, found.carry_m, found.offline_m) == (0.9, 200.0, 3.0)
    assert found.long_axis_m == pytest.approx(math.sqrt(k * 200 / 4))
    assert found.short_axis_m == pytest.approx(math.sqrt(k * 50 / 4))
    assert math.sin(found.angle_rad) == pytest.approx(0.0, abs=1e-9)


def test_the_long_axis_points_where_the_balls_spread() -> None:
    turned = ellipse(OFFLINE + 197.0, CARRY - 200.0)
    assert abs(math.sin(turned.angle_rad)) == pytest.approx(1.0)
    to_the_right = ellipse(CARRY, OFFLINE + 0.8 * (CARRY - 200.0))
    to_the_left = ellipse(CARRY, OFFLINE - 0.8 * (CARRY - 200.0))
    assert math.tan(to_the_right.angle_rad) > 0.5
    assert math.tan(to_the_left.angle_rad) < -0.5


def test_the_level_is_three_quarters_unless_told() -> None:
    assert prediction_ellipse(CARRY, OFFLINE) == ellipse(CARRY, OFFLINE, 0.75)


def test_below_five_balls_there_is_none() -> None:
    assert prediction_ellipse(CARRY[:4], OFFLINE[:4]) is None
    assert prediction_ellipse(CARRY, OFFLINE) is not None
    assert prediction_ellipse(np.array([]), np.array([])) is None


@pytest.mark.parametrize(
    "offline", [np.full(6, 12.3), 0.1 * np.arange(6.0), np.full(6, 1e-5) * np.arange(6.0) ** 2], ids=str
)
def test_balls_in_a_line_have_none(offline: Floats) -> None:
    assert prediction_ellipse(200.1 + 3 * np.arange(6.0), offline) is None


def test_a_centimetre_of_width_is_enough() -> None:
    assert prediction_ellipse(200.1 + 3 * np.arange(6.0), np.array([0.0, 0.01, 0.0, 0.01, 0.0, 0.01])) is not None


@settings(deadline=None)
@given(turn=st.floats(-3.0, 3.0), far=st.floats(-50, 50), seed=st.integers(0, 99))
def test_turning_the_balls_turns_the_ellipse(turn: float, far: float, seed: int) -> None:
    carry, offline = np.random.default_rng(seed).normal(size=(2, 9)) * np.array([[9.0], [4.0]])
    plain = ellipse(carry, offline)
    cos, sin = math.cos(turn), math.sin(turn)
    turned = ellipse(carry * cos - offline * sin + far, carry * sin + offline * cos)
    assert turned.long_axis_m == pytest.approx(plain.long_axis_m)
    assert turned.short_axis_m == pytest.approx(plain.short_axis_m)
    # an axis has no front: half turns do not count
    assert math.sin(turned.angle_rad - plain.angle_rad - turn) == pytest.approx(0.0, abs=1e-6)
    assert turned.carry_m == pytest.approx(plain.carry_m * cos - plain.offline_m * sin + far, abs=1e-9)


@pytest.mark.parametrize("n", [5, 8, 12])
def test_the_next_ball_lands_inside_three_times_in_four(n: int) -> None:
    """Balls of unequal, correlated spread; four binomial standard errors."""
    generator = np.random.default_rng(n)
    balls = generator.multivariate_normal([200.0, 5.0], [[100.0, 40.0], [40.0, 64.0]], size=(4000, n + 1))
    inside = [holds(ellipse(*shots[:n].T), *shots[n:].T)[0] for shots in balls]
    assert abs(np.mean(inside) - 0.75) < 4 * math.sqrt(0.75 * 0.25 / 4000)
