"""Single flights for a picture: they end where the report says the ball came down. All shots are invented."""

import math
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.ball_flight import FlightModel
from pipeline.analysis.shot_flights import ShotLine, shot_lines
from pipeline.physics.atmosphere import air_at
from pipeline.physics.flight import Launch, fly

MODEL = FlightModel(air_at(0.0, 293.15, 0.5))
COLUMNS = (
    "ball_speed_mps", "launch_angle_deg", "spin_rate_rpm", "launch_direction_deg", "spin_axis_deg",
    "used_carry_m", "used_apex_m", "used_offline_m",
)  # fmt: skip
DRIVE = dict(zip(COLUMNS, (66.0, 12.0, 2600.0, 2.0, 5.0, None, None, None), strict=True))


def line(**changed: object) -> ShotLine | None:
    frame = pl.DataFrame([{**DRIVE, **changed}], schema=dict.fromkeys(COLUMNS, pl.Float64))
    return shot_lines(frame, MODEL)[0]


def test_without_a_measured_end_it_is_the_models_flight() -> None:
    found = line()
    flown = fly(Launch.of(66.0, math.radians(12), 2600 * math.pi / 30, math.radians(2), math.radians(5)), MODEL.air)
    assert found
    assert found.along_m[-1] == pytest.approx(float(flown.carry_m[0]))
    assert max(found.height_m) == pytest.approx(float(flown.apex_m[0]), rel=0.005)
    assert (found.along_m[0], found.height_m[0], found.height_m[-1], found.side_m) == (0, 0, 0, ())


def test_it_ends_at_the_carry_apex_and_side_that_are_used() -> None:
    found = line(used_carry_m=180.0, used_apex_m=40.0, used_offline_m=-7.5)
    assert found
    assert found.along_m[-1] == pytest.approx(180.0)
    assert max(found.height_m) == pytest.approx(40.0)
    assert found.side_m[0] == 0.0
    assert found.side_m[-1] == pytest.approx(-7.5)
    assert len(found.along_m) == len(found.height_m) == len(found.side_m) == 41


def test_turned_to_its_side_the_curve_stays() -> None:
    """A ball that curves right still does when it came down left: it started farther left."""
    found = line(used_offline_m=-20.0)
    assert found
    chord = np.array(found.along_m) * (-20.0 / found.along_m[-1])
    assert (np.array(found.side_m[1:-1]) < chord[1:-1]).all()


@pytest.mark.parametrize(
    "lack", [{"spin_rate_rpm": 0.0}, {"launch_angle_deg": None}, {"ball_speed_mps": 500.0}, {"launch_angle_deg": -5.0}]
)
def test_what_cannot_be_flown_has_no_line(lack: dict[str, Any]) -> None:
    assert line(**lack) is None


def test_a_carry_of_nothing_stretches_nothing() -> None:
    found, plain = line(used_carry_m=0.0, used_apex_m=math.nan), line()
    assert found
    assert plain
    assert found.along_m == plain.along_m
