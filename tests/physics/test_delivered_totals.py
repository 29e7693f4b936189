"""Totals that fitters quote for a delivery of the club, through the impact, the flight and the run."""

import tomllib
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.physics.atmosphere import air_at
from pipeline.physics.constants import BALL_MASS_KG, BALL_RADIUS_M
from pipeline.physics.flight import Launch, fly
from pipeline.physics.ground import total_distance

FloatArray = NDArray[np.float64]
MPH, YARD, DEGREE = 0.44704, 0.9144, np.pi / 180.0
FILE: Final = Path(__file__).parents[1] / "check_values" / "flight.toml"
DELIVERED: Final[dict[str, Any]] = tomllib.loads(FILE.read_text("utf-8"))["delivered"]


def _impact(club_speed: float, ratio: float, attack: float, dynamic_loft: FloatArray) -> Launch:
    """Launch from delivery by the rigid relations of Penner 2001 (second-hand).

    The ball leaves at the ratio's speed; its restitution is what that takes, and the friction stops all slip on the
    face: a ball that rolls off it.
    """
    spin_loft = dynamic_loft - attack
    mass_ratio = BALL_MASS_KG / DELIVERED["impact"]["head_mass_kg"]
    along = club_speed * np.sin(spin_loft) / (1.0 + mass_ratio + 5.0 / 2.0)
    ball_speed = ratio * club_speed
    normal = np.sqrt(ball_speed**2 - along**2)
    return Launch.of(ball_speed, dynamic_loft - np.arctan2(along, normal), (5.0 / 2.0) * along / BALL_RADIUS_M)


@pytest.mark.parametrize("fact", DELIVERED["fact"], ids=lambda fact: str(fact["id"]))
def test_the_total_quoted_lies_among_those_of_plausible_lofts(fact: dict[str, Any]) -> None:
    air = air_at(0.0, **{key: DELIVERED["air"][key] for key in ("temperature_k", "relative_humidity", "pressure_pa")})
    given = fact["inputs"]
    least, most = DELIVERED["dynamic_loft_deg"]
    loft = np.linspace(least, most, 71) * DEGREE
    launch = _impact(given["club_speed_mph"] * MPH, given["ratio"], given["attack_deg"] * DEGREE, loft)
    totals = total_distance(fly(launch, air)).total_m / YARD
    (lowest, highest), share = fact["expected"]["total"], fact["tolerance_share"]
    assert totals.min() <= highest * (1.0 + share)
    assert totals.max() >= lowest * (1.0 - share)


def test_a_usual_delivery_is_a_usual_launch() -> None:
    launch = _impact(105.0 * MPH, 1.47, 0.0, np.array([12.2]) * DEGREE)
    assert launch.launch_angle_rad[0] / DEGREE == pytest.approx(9.8, abs=0.4)
    assert launch.spin_rate_radps[0] * 60.0 / (2.0 * np.pi) == pytest.approx(2976.0, rel=0.02)
