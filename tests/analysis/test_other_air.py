"""Distances restated to another air. All shots are invented."""

from collections.abc import Callable

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.ball_flight import FlightModel, add_model, add_used, column
from pipeline.analysis.other_air import at_home, restated
from pipeline.physics.atmosphere import air_at
from pipeline.records import Fate

MakeFrame = Callable[..., pl.DataFrame]
SEA, HIGH = air_at(0.0, 293.15, 0.5), air_at(1609.0, 293.15, 0.5)
MODEL = FlightModel(SEA)
DRIVE = {"ball_speed_mps": 70.0, "launch_angle_deg": 12.0, "spin_rate_rpm": 2600.0}
COUNTED, MISHIT = Fate("counted"), Fate("mishit", "slow_ball")


def test_what_the_device_says_for_thin_air_is_shorter_at_sea_level(frame: MakeFrame) -> None:
    shots = add_model(frame(5, **DRIVE, carry_m=250.0, total_m=270.0, apex_m=30.0), MODEL)
    found, sources = add_used(restated(shots, HIGH, MODEL))
    assert (sources["carry_m"], sources["total_m"], sources["apex_m"]) == ("restated", "restated", "restated")
    there = add_model(frame(1, **DRIVE), FlightModel(HIGH)).row(0, named=True)
    here = add_model(frame(1, **DRIVE), MODEL).row(0, named=True)
    wanted = 250.0 * here["model_carry_m"] / there["model_carry_m"]
    assert 225 < wanted < 245
    assert found["used_carry_m"].to_list() == pytest.approx([wanted] * 5)
    assert found["carry_m"].to_list() == [250.0] * 5  # what was measured stays beside it


def test_what_cannot_be_restated_stays_as_measured(frame: MakeFrame) -> None:
    shots = add_model(frame(5, carry_m=250.0), MODEL)
    found, sources = add_used(restated(shots, HIGH, MODEL))
    assert sources == {"carry_m": "measured"}
    assert found["used_carry_m"].to_list() == [250.0] * 5


def test_at_home_is_the_mean_of_the_counted_balls_there(frame: MakeFrame) -> None:
    shots = frame(6, **DRIVE, carry_m=[250.0, 260, 240, 100, 200, 210], set=[0, 0, 0, 0, 1, 1])
    used, _ = add_used(add_model(shots, MODEL))
    fates = [COUNTED, COUNTED, COUNTED, MISHIT, COUNTED, COUNTED]
    own, other = at_home(used, fates, HIGH, MODEL)
    drive = add_model(frame(1, **DRIVE), MODEL)
    ratio = column(add_model(frame(1, **DRIVE), FlightModel(HIGH)), "model_carry_m") / column(drive, "model_carry_m")
    assert (own.set_index, other.set_index) == (0, 1)
    assert own.carry_m == pytest.approx(250.0 * float(ratio[0]))
    assert other.carry_m == pytest.approx(205.0 * float(ratio[0]))
    assert own.total_m is not None
    assert own.total_m > own.carry_m


def test_the_same_air_changes_nothing_and_no_flight_says_nothing(frame: MakeFrame) -> None:
    used, _ = add_used(add_model(frame(3, **DRIVE, carry_m=[1.0, 2, 3]), MODEL))
    [same] = at_home(used, [COUNTED] * 3, SEA, MODEL)
    assert same.carry_m == pytest.approx(2.0)
    plain, _ = add_used(add_model(frame(3, carry_m=[1.0, 2, 3]), MODEL))
    assert at_home(plain, [COUNTED] * 3, HIGH, MODEL) == ()
    assert at_home(frame(3), [COUNTED] * 3, HIGH, MODEL) == ()
    assert np.isnan(column(restated(add_model(frame(1), MODEL), HIGH, MODEL), "restated_carry_m")).all()
