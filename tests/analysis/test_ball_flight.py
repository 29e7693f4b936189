"""What the model may stand in for. All shots are invented."""

import math
from collections.abc import Callable
from typing import Final

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.ball_flight import (
    FLIGHT_QUANTITIES,
    FlightModel,
    add_model,
    add_used,
    column,
    launch,
    middle_flights,
    present,
)
from pipeline.physics.atmosphere import Air
from pipeline.physics.flight import Launch, flight_paths, fly
from pipeline.physics.ground import total_distance
from pipeline.records import FlightLine

MakeFrame = Callable[..., pl.DataFrame]
NAN: Final = math.nan


def middle_flight(frame: pl.DataFrame, model: FlightModel, points: int = 41) -> FlightLine | None:
    return middle_flights(frame, [range(frame.height)], model, points)[0]


def test_column_gives_floats_and_nan_for_nothing(frame: MakeFrame) -> None:
    found = column(frame(3, carry_m=[1.5, None, NAN]), "carry_m")
    assert found.dtype == np.float64
    assert found[0] == 1.5
    assert np.isnan(found[1:]).all()
    assert column(pl.DataFrame({"line": [3]}), "line").tolist() == [3.0]


def test_launch_is_in_si_and_straight_where_not_told(frame: MakeFrame) -> None:
    shots = frame(
        2,
        ball_speed_mps=[60.0, 61.0],
        launch_angle_deg=[90.0, 45.0],
        spin_rate_rpm=[60.0, 0.0],
        launch_direction_deg=[180.0, None],
        spin_axis_deg=[-90.0, None],
    )
    found = launch(shots)
    assert found.ball_speed_mps.tolist() == [60.0, 61.0]
    assert found.launch_angle_rad == pytest.approx([math.pi / 2, math.pi / 4])
    assert found.spin_rate_radps[0] == pytest.approx(2 * math.pi)
    assert math.isnan(found.spin_rate_radps[1])  # 0 is not read, so not flown without spin
    assert found.launch_direction_rad == pytest.approx([math.pi, 0.0])
    assert found.spin_axis_rad == pytest.approx([-math.pi / 2, 0.0])


def test_model_columns_are_the_flight_of_each_shot(frame: MakeFrame, air: Air) -> None:
    shots = frame(2, ball_speed_mps=65.0, launch_angle_deg=13.0, spin_rate_rpm=[2500.0, NAN], launch_direction_deg=2.0)
    found = add_model(shots, FlightModel(air, 0.7))
    flight = fly(Launch.of(65.0, math.radians(13), 2500 * math.pi / 30, math.radians(2)), air)
    first = found.row(0, named=True)
    for name in ("carry_m", "offline_m", "apex_m", "flight_time_s"):
        assert first[f"model_{name}"] == pytest.approx(getattr(flight, name)[0])
    assert first["model_descent_angle_deg"] == pytest.approx(math.degrees(flight.descent_angle_rad[0]))
    assert first["model_total_m"] == pytest.approx(total_distance(flight, 0.7).total_m[0])
    assert first["model_total_m"] != pytest.approx(total_distance(flight, 1.0).total_m[0])
    assert (first["model_outside_range"], first["model_run_unreliable"]) == (False, False)
    assert all(math.isnan(found[f"model_{name}"][1]) for name in (*FLIGHT_QUANTITIES, "total_m", "offline_m"))


def test_present_from_three_of_five_in_every_set(frame: MakeFrame) -> None:
    three, two = [1.0, 2.0, 3.0, NAN, None], [1.0, 2.0, NAN, NAN, None]
    assert present(frame(5, carry_m=three), "carry_m")
    assert not present(frame(5, carry_m=two), "carry_m")
    assert not present(frame(20, carry_m=[1.0] * 11 + [NAN] * 9), "carry_m")
    sets = [0] * 5 + [1] * 5
    assert present(frame(10, set=sets, carry_m=three * 2), "carry_m")
    assert not present(frame(10, set=sets, carry_m=[1.0] * 5 + two), "carry_m")


def test_measured_goes_before_modelled_and_is_never_mixed(frame: MakeFrame) -> None:
    sets = [0, 0, 1, 1]
    both = {f"model_{name}": 2.0 for name in (*FLIGHT_QUANTITIES, "total_m", "offline_m")}
    found, sources = add_used(
        frame(
            4, set=sets, carry_m=1.0, apex_m=[1.0, 1.0, NAN, NAN], flight_time_s=1.0, launch_direction_deg=0.0, **both
        )
    )
    assert sources == {
        "carry_m": "measured",
        "apex_m": "modelled",  # one set lacks it, so no set uses the measured one
        "flight_time_s": "measured",
        "descent_angle_deg": "modelled",
        "offline_m": "modelled",
        "total_m": "run_modelled",
    }
    assert found["used_carry_m"].to_list() == [1.0] * 4
    assert found["used_apex_m"].to_list() == [2.0] * 4


@pytest.mark.parametrize(
    ("measured", "source", "value"),
    [
        ({"carry_m": 200.0, "total_m": 230.0}, "measured", 230.0),
        ({"carry_m": 200.0}, "run_modelled", 215.0),  # the model's run of 15 on the measured carry
        ({}, "modelled", 225.0),
    ],
)
def test_the_total_belongs_to_its_carry(
    frame: MakeFrame, measured: dict[str, float], source: str, value: float
) -> None:
    found, sources = add_used(frame(3, model_carry_m=210.0, model_total_m=225.0, **measured))
    assert sources["total_m"] == source
    assert found["used_total_m"].to_list() == [value] * 3


def test_without_a_direction_the_side_is_unknown(frame: MakeFrame) -> None:
    plain = frame(3, model_carry_m=210.0, model_offline_m=1.0)
    assert "offline_m" not in add_used(plain)[1]
    assert "used_offline_m" not in add_used(plain)[0].columns
    assert add_used(plain.with_columns(launch_direction_deg=pl.lit(0.0)))[1]["offline_m"] == "modelled"
    assert add_used(plain.with_columns(offline_m=pl.lit(3.0)))[0]["used_offline_m"].to_list() == [3.0] * 3


def test_nothing_measured_and_nothing_modelled_gives_nothing(frame: MakeFrame) -> None:
    shots = frame(3, ball_speed_mps=60.0)
    found, sources = add_used(shots)
    assert sources == {}
    assert found.columns == shots.columns
    assert "total_m" not in add_used(frame(3, carry_m=100.0))[1]


def test_middle_flight_of_one_shot_is_its_path(frame: MakeFrame, model: FlightModel) -> None:
    shot = frame(1, ball_speed_mps=65.0, launch_angle_deg=13.0, spin_rate_rpm=2500.0, launch_direction_deg=10.0)
    found = middle_flight(add_used(add_model(shot, model))[0], model, points=9)
    path = flight_paths(launch(shot), model.air, points=9)
    assert found is not None
    assert found.forward_m == pytest.approx(np.hypot(path.forward_m[0], path.offline_m[0]))
    assert found.height_m == pytest.approx(path.height_m[0])


def test_middle_flight_ends_at_the_mean_carry_and_has_the_measured_apex(frame: MakeFrame, model: FlightModel) -> None:
    shots = frame(2, ball_speed_mps=[62.0, 66.0], launch_angle_deg=13.0, spin_rate_rpm=2500.0)
    modelled = add_model(shots, model)
    told = modelled.with_columns(carry_m=pl.Series([190.0, 210.0]), apex_m=2 * pl.col("model_apex_m"))
    found, plain = middle_flight(add_used(told)[0], model), middle_flight(add_used(modelled)[0], model)
    assert found is not None
    assert plain is not None
    assert len(found.forward_m) == len(found.height_m) == 41
    assert found.forward_m[0] == found.height_m[0] == 0.0
    assert found.forward_m[-1] == pytest.approx(200.0)
    assert max(found.height_m) == pytest.approx(2 * max(plain.height_m))


def test_middle_flight_leaves_out_shots_the_model_cannot_fly(frame: MakeFrame, model: FlightModel) -> None:
    one = {"ball_speed_mps": 65.0, "launch_angle_deg": 13.0}
    alone = middle_flight(add_used(add_model(frame(1, spin_rate_rpm=2500.0, **one), model))[0], model)
    some = add_model(frame(3, spin_rate_rpm=[NAN, 2500.0, 0.0], **one), model)
    assert middle_flight(some, model) == alone
    assert middle_flight(add_model(frame(2, **one), model), model) is None
    assert middle_flight(add_model(frame(0), model), model) is None


def test_each_group_has_its_own_middle_flight(frame: MakeFrame, model: FlightModel) -> None:
    speeds = [60.0, 61.0, 70.0, NAN, 71.0]
    shots = add_model(frame(5, ball_speed_mps=speeds, launch_angle_deg=13.0, spin_rate_rpm=2500.0), model)
    slow, none, fast = middle_flights(shots, [[0, 1], [3], [4, 2]], model)
    assert none is None
    assert slow is not None
    assert fast is not None
    carries = shots["model_carry_m"].to_list()
    assert slow.forward_m[-1] == pytest.approx((carries[0] + carries[1]) / 2, abs=0.01)
    assert fast.forward_m[-1] == pytest.approx((carries[2] + carries[4]) / 2, abs=0.01)


@pytest.mark.parametrize("odd", [NAN, 0.0])
def test_a_shot_without_the_figure_is_not_stretched(frame: MakeFrame, model: FlightModel, odd: float) -> None:
    shots = add_model(frame(1, ball_speed_mps=65.0, launch_angle_deg=13.0, spin_rate_rpm=2500.0), model)
    told = shots.with_columns(used_carry_m=pl.lit(odd), used_apex_m=pl.lit(odd))
    assert middle_flight(told, model) == middle_flight(shots, model)


def test_a_studios_calibration_scales_drag_and_lift(frame: MakeFrame, air: Air) -> None:
    shots = frame(1, ball_speed_mps=65.0, launch_angle_deg=13.0, spin_rate_rpm=2500.0)
    plain, dragged, lifted = (
        add_model(shots, FlightModel(air, 1.0, *scales)).row(0, named=True) for scales in ((1, 1), (1.1, 1), (1, 1.1))
    )
    assert dragged["model_carry_m"] < plain["model_carry_m"]
    assert lifted["model_apex_m"] > plain["model_apex_m"]
    high = middle_flight(add_model(shots, FlightModel(air)), FlightModel(air, 1.0, 1.0, 1.1))
    assert high is not None
    assert max(high.height_m) == pytest.approx(lifted["model_apex_m"], rel=1e-3)
