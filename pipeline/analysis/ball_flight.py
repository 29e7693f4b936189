"""The flight model beside the measurements: what it says of each shot, and what it may stand in for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.physics.atmosphere import Air, air_at
from pipeline.physics.flight import Launch, fly, paths_within
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
    return bool(_present(frame, [name])[0][name])


def _present(frame: pl.DataFrame, names: Sequence[str]) -> list[dict[str, bool]]:
    """Tell of each visit which columns are there for enough shots of every set."""
    known = [pl.col(name).is_not_nan().fill_null(value=False).mean() for name in names]
    enough = (pl.col(names).min() >= PRESENT_SHARE).fill_null(value=True)
    if "visit" not in frame.columns:
        return frame.group_by("set").agg(known).select(enough).to_dicts()
    return frame.group_by("visit", "set").agg(known).group_by("visit").agg(enough).sort("visit").to_dicts()


def _sources(present: Mapping[str, bool]) -> dict[str, str]:
    """Decide for a visit where each flight quantity is taken from: restated, measured, modelled, run_modelled."""
    sources: dict[str, str] = {}
    for name in FLIGHT_QUANTITIES:
        ways = (("restated", f"restated_{name}"), ("measured", name), ("modelled", f"model_{name}"))
        sources |= next(({name: source} for source, column in ways if present.get(column)), {})
    if present["offline_m"]:
        sources["offline_m"] = "measured"
    elif present["launch_direction_deg"] and present["model_offline_m"]:
        sources["offline_m"] = "modelled"
    if present.get("restated_total_m"):
        sources["total_m"] = "restated"
    elif present["total_m"]:
        sources["total_m"] = "measured"
    elif "carry_m" in sources and present["model_total_m"]:
        sources["total_m"] = "modelled" if sources["carry_m"] == "modelled" else "run_modelled"
    return sources


_PREFIX = {"restated": "restated_", "measured": "", "modelled": "model_"}


def _used(name: str, sources: Mapping[str, str]) -> pl.Expr:
    if name == "total_m" and sources[name] in ("modelled", "run_modelled"):
        return _used("carry_m", sources) + pl.col("model_total_m") - pl.col("model_carry_m")
    return pl.col(f"{_PREFIX[sources[name]]}{name}")


def add_used(frame: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, str]]:
    """Decide for the whole visit whether a flight quantity is measured or modelled, and add it as used_….

    What was measured in the device's own air and restated to the reference air (restated_…) comes first. Sets are only
    comparable when a quantity has one source in all of them; so measured and modelled values are never
    mixed within a visit. The total needs the carry it belongs to: a measured carry with no measured total gets the
    model's run added (source run_modelled). Without a launch direction the side is unknown, not zero.
    """
    found, (sources,) = add_used_to_all(frame)
    return found, sources


def add_used_to_all(frame: pl.DataFrame) -> tuple[pl.DataFrame, list[dict[str, str]]]:
    """Do what add_used does for each visit of a frame with a column `visit`; sources in the order of its numbers."""
    names = [name for name in _DECIDING if name in frame.columns]
    of_visits = [_sources(present) for present in _present(frame, names)]
    if len(of_visits) == 1:
        return frame.with_columns(_used(name, of_visits[0]).alias(f"used_{name}") for name in of_visits[0]), of_visits
    ways = {repr(sources): sources for sources in of_visits}
    way = pl.Series([*map(list(ways).index, map(repr, of_visits))], dtype=pl.Int64).gather(frame["visit"])
    used: dict[str, pl.Expr] = {}
    for number, sources in enumerate(ways.values()):
        for name in sources:
            before = used.get(name, pl.lit(None, pl.Float64))
            used[name] = pl.when(pl.lit(way) == number).then(_used(name, sources)).otherwise(before)
    return frame.with_columns(expression.alias(f"used_{name}") for name, expression in used.items()), of_visits


_DECIDING = (
    *(way + name for name in (*FLIGHT_QUANTITIES, "offline_m", "total_m") for way in ("", "model_", "restated_")),
    "launch_direction_deg",
)  # columns that decide it


def middle_flights(
    frame: pl.DataFrame, groups: Sequence[Sequence[int]], model: FlightModel, points: int = 41
) -> list[FlightLine | None]:
    """Draw the middle flight of groups of rows: the model's paths, stretched to the carry and apex that are used.

    frame: shots with what `add_model` says of them in the same model. The mean is taken point by point at equal
    fractions of each shot's flight. None without a modelled shot.
    """
    paths = paths_within(
        launch(frame),
        column(frame, "model_flight_time_s"),
        model.air,
        points=points,
        drag_scale=model.drag_scale,
        lift_scale=model.lift_scale,
    )
    along = np.hypot(paths.forward_m, paths.offline_m)
    along[:, -1] = column(frame, "model_carry_m")
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
