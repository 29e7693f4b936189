"""The flight model beside the measurements: what it says of each shot, and what it may stand in for."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.physics.atmosphere import Air, air_at
from pipeline.physics.flight import Launch, flight_paths, fly
from pipeline.physics.ground import FIRMNESS, total_distance
from pipeline.records import AirUsed, FlightLine

Floats = NDArray[np.float64]

PRESENT_SHARE = 0.6  # a column counts as measured when this share of every set's shots has it
LAUNCH = ("ball_speed_mps", "launch_angle_deg", "spin_rate_rpm")
FLIGHT_QUANTITIES = ("carry_m", "apex_m", "flight_time_s", "descent_angle_deg")
_RPM = 2 * np.pi / 60


@dataclass(frozen=True, slots=True)
class FlightModel:
    """What all balls of a visit are flown with: air, the ground's firmness, and the studio's own calibration."""

    air: Air
    firmness: float = 1.0
    drag_scale: float = 1.0
    lift_scale: float = 1.0


def model_of(used: AirUsed) -> FlightModel:
    """Give what all balls of a visit are flown with: the studio's air, its ground and its calibration."""
    air = air_at(used.altitude_m, used.temperature_c + 273.15, used.humidity_percent / 100)
    return FlightModel(air, FIRMNESS[used.firmness], used.drag_multiplier, used.lift_multiplier)


def column(frame: pl.DataFrame, name: str) -> Floats:
    """Give a column as floats, NaN where missing."""
    return frame[name].cast(pl.Float64).to_numpy().astype(np.float64)  # a null becomes NaN


def launch(frame: pl.DataFrame) -> Launch:
    """Launch conditions in SI; a missing direction or axis counts as straight, a spin of 0 as not read."""
    spin = column(frame, "spin_rate_rpm")
    return Launch.of(
        column(frame, "ball_speed_mps"),
        np.radians(column(frame, "launch_angle_deg")),
        np.where(spin > 0, spin, np.nan) * _RPM,
        np.radians(np.nan_to_num(column(frame, "launch_direction_deg"))),
        np.radians(np.nan_to_num(column(frame, "spin_axis_deg"))),
    )


def add_model(frame: pl.DataFrame, model: FlightModel) -> pl.DataFrame:
    """Add what the model says of each shot (model_…), NaN where ball speed, launch angle or spin is missing."""
    flight = fly(launch(frame), model.air, drag_scale=model.drag_scale, lift_scale=model.lift_scale)
    total, _, run_unreliable = total_distance(flight, model.firmness)
    return frame.with_columns(
        pl.Series("model_carry_m", flight.carry_m),
        pl.Series("model_total_m", total),
        pl.Series("model_offline_m", flight.offline_m),
        pl.Series("model_apex_m", flight.apex_m),
        pl.Series("model_flight_time_s", flight.flight_time_s),
        pl.Series("model_descent_angle_deg", np.degrees(flight.descent_angle_rad)),
        pl.Series("model_outside_range", flight.outside_range),
        pl.Series("model_run_unreliable", run_unreliable),
    )


def present(frame: pl.DataFrame, name: str) -> bool:
    """Tell whether a column is there for enough shots of every set to be averaged."""
    shares = frame.group_by("set").agg(pl.col(name).is_not_nan().fill_null(value=False).mean().alias("share"))
    return bool((shares["share"] >= PRESENT_SHARE).all())


def _restated(frame: pl.DataFrame, name: str) -> bool:
    return f"restated_{name}" in frame.columns and present(frame, f"restated_{name}")


def add_used(frame: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, str]]:
    """Decide for the whole visit whether a flight quantity is measured or modelled, and add it as used_….

    What was measured in the device's own air and restated to the reference air (restated_…) comes first. Sets are only
    comparable when a quantity has one source in all of them; so measured and modelled values are never
    mixed within a visit. The total needs the carry it belongs to: a measured carry with no measured total gets the
    model's run added (source run_modelled). Without a launch direction the side is unknown, not zero.
    """
    sources: dict[str, str] = {}
    used = {}
    for name in FLIGHT_QUANTITIES:
        if _restated(frame, name):
            sources[name], used[name] = "restated", pl.col(f"restated_{name}")
        elif present(frame, name):
            sources[name], used[name] = "measured", pl.col(name)
        elif present(frame, f"model_{name}"):
            sources[name], used[name] = "modelled", pl.col(f"model_{name}")
    if present(frame, "offline_m"):
        sources["offline_m"], used["offline_m"] = "measured", pl.col("offline_m")
    elif present(frame, "launch_direction_deg") and present(frame, "model_offline_m"):
        sources["offline_m"], used["offline_m"] = "modelled", pl.col("model_offline_m")
    if _restated(frame, "total_m"):
        sources["total_m"], used["total_m"] = "restated", pl.col("restated_total_m")
    elif present(frame, "total_m"):
        sources["total_m"], used["total_m"] = "measured", pl.col("total_m")
    elif "carry_m" in sources and present(frame, "model_total_m"):
        sources["total_m"] = "modelled" if sources["carry_m"] == "modelled" else "run_modelled"
        used["total_m"] = used["carry_m"] + pl.col("model_total_m") - pl.col("model_carry_m")
    return frame.with_columns(**{f"used_{name}": expression for name, expression in used.items()}), sources


def middle_flights(
    frame: pl.DataFrame, groups: Sequence[Sequence[int]], model: FlightModel, points: int = 41
) -> list[FlightLine | None]:
    """Draw the middle flight of groups of rows: the model's paths, stretched to the carry and apex that are used.

    The mean is taken point by point at equal fractions of each shot's flight. None without a modelled shot.
    """
    paths = flight_paths(
        launch(frame), model.air, points=points, drag_scale=model.drag_scale, lift_scale=model.lift_scale
    )
    along = np.hypot(paths.forward_m, paths.offline_m)
    flown = np.isfinite(along[:, -1]) & (along[:, -1] > 0)
    forward = along * _ratio(frame, "carry_m")[:, None]
    height = paths.height_m * _ratio(frame, "apex_m")[:, None]
    lines: list[FlightLine | None] = []
    for group in groups:
        rows = [i for i in group if flown[i]]
        middle = (forward[rows].mean(axis=0), height[rows].mean(axis=0)) if rows else None
        lines.append(FlightLine(*(tuple(values.tolist()) for values in middle)) if middle else None)
    return lines


def _ratio(frame: pl.DataFrame, name: str) -> Floats:
    """Divide the used by the modelled value of each shot; 1 where either is missing."""
    if f"used_{name}" not in frame.columns:
        return np.ones(frame.height)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = column(frame, f"used_{name}") / column(frame, f"model_{name}")
    return np.where(np.isfinite(ratio) & (ratio > 0), ratio, 1.0)
