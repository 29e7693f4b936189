"""`baywright fly`: shots through air and over ground."""

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import FolderError, MappingError, SettingsError, TooFewShotsError, UnreadableFileError

if TYPE_CHECKING:
    import polars as pl

    from pipeline.physics.atmosphere import Air
    from pipeline.physics.flight import Launch, Wind

_LAUNCH = {
    "ball-speed": ("speed", None, "ball speed, such as 160mph, 71.5m/s"),
    "launch-angle": ("angle", None, "start above the horizontal, such as 11deg"),
    "spin-rate": ("spin", None, "spin, such as 2600rpm"),
    "launch-direction": ("angle", "0deg", "start right (+) or left (-) of the target line"),
    "spin-axis": ("angle", "0deg", "tilt of the spin axis; + curves right"),
}
_AIR = {
    "altitude": ("length", "0m", "height above the sea"),
    "temperature": ("temperature", "20C", "air temperature: C, F or K"),
    "wind": ("speed", "0m/s", "wind from behind (+) or against (-)"),
    "cross-wind": ("speed", "0m/s", "wind from the left (+) or the right (-)"),
}
_PRESSURE_HELP = """air pressure at the place itself, such as 1013hPa or 30inHg
(default: that of the altitude)"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    for name, (_, default, text) in {**_LAUNCH, **_AIR}.items():
        shown = f" (default: {default})" if default else ""
        parser.add_argument(f"--{name}", default=default, metavar="VALUE", help=text + shown)
    parser.add_argument("--pressure", metavar="VALUE", help=_PRESSURE_HELP)
    humidity = "relative humidity in per cent (default: 50)"
    parser.add_argument("--humidity", type=float, default=50.0, metavar="PERCENT", help=humidity)
    firmness = "of the fairway (default: typical)"
    parser.add_argument("--firmness", choices=("soft", "typical", "firm"), default="typical", help=firmness)
    parser.add_argument("--csv", type=Path, metavar="FILE", help="fly every shot of a shot file instead")
    calibrate = "find the multipliers of drag and lift with which the model\nagrees with the file's carry and apex"
    parser.add_argument("--calibrate", action="store_true", help=calibrate)
    parser.add_argument(
        "--json", action="store_true", help="print a JSON list with one object a shot, units in the keys"
    )
    parser.epilog = "example:\n  baywright fly --ball-speed 160mph --launch-angle 11deg --spin-rate 2600rpm"


def _quantity(given: argparse.Namespace, name: str, dimension: str) -> float:
    from pipeline.units import quantity

    text = getattr(given, name.replace("-", "_"))
    if text is None:
        msg = f"--{name} is missing: give ball speed, launch angle and spin rate, or a file with --csv."
        raise SettingsError(msg)
    try:
        return quantity(text, dimension)
    except SettingsError as fault:
        msg = f"--{name}: {fault}"
        raise SettingsError(msg) from fault


def _one(given: argparse.Namespace) -> "Launch":
    import numpy as np

    from pipeline.physics.flight import Launch

    speed, up, spin, right, tilt = (_quantity(given, name, row[0]) for name, row in _LAUNCH.items())
    return Launch.of(speed, np.radians(up), spin * np.pi / 30, np.radians(right), np.radians(tilt))


def _from_file(path: Path) -> "pl.DataFrame":
    """Read a shot file."""
    from pipeline.analysis.sets import with_all_columns
    from pipeline.reading import read_shot_file
    from pipeline.records import Given, ShotFile
    from pipeline.staff_words import explain

    try:
        content = path.read_bytes()
    except OSError as fault:
        msg = f"{path}: cannot be read: {fault.strerror}."
        raise FolderError(msg) from fault
    reading = read_shot_file(ShotFile(path.name, content), Given())
    if reading.fault:
        kind = MappingError if reading.outcome == "needs_mapping" else UnreadableFileError
        msg = f"{path}: {' '.join(explain(reading))}"
        raise kind(msg)
    return with_all_columns(reading)


def _air(given: argparse.Namespace) -> "tuple[Air, Wind]":
    from pipeline.physics.atmosphere import air_at
    from pipeline.physics.flight import Wind

    altitude, temperature, tail, cross = (_quantity(given, name, row[0]) for name, row in _AIR.items())
    pressure = _quantity(given, "pressure", "pressure") if given.pressure else None
    try:
        return air_at(altitude, temperature, given.humidity / 100, pressure), Wind(tail, cross)
    except ValueError as fault:
        msg = f"this air cannot be: {fault}."
        raise SettingsError(msg) from fault


def run(given: argparse.Namespace) -> int:
    """Fly and print."""
    from pipeline.analysis.ball_flight import launch as launch_of

    air, wind = _air(given)
    frame = _from_file(given.csv) if given.csv else None
    if given.calibrate:
        return _calibrate(given, frame, air)
    launch = _one(given) if frame is None else launch_of(frame)
    shots = _shots(launch, air, wind, given.firmness)
    if given.json:
        print(json.dumps(shots, indent=1, allow_nan=False))
        return 0
    if not air.within_range:
        print("note: this air is outside the range in which the density formula keeps its stated accuracy")
    print(f"air density {air.density_kgpm3:.4f} kg/m³, {given.firmness} fairway")
    for number, shot in enumerate(shots, 1):
        print(f"shot {number}: " + _sentence(shot))
    return 0


def _calibrate(given: argparse.Namespace, frame: "pl.DataFrame | None", air: "Air") -> int:
    """Fit the model to a device and print what to write into studio.toml."""
    import dataclasses
    import math

    import numpy as np

    from pipeline.analysis.ball_flight import column, launch
    from pipeline.physics.calibration import calibrate

    if frame is None:
        msg = "--calibrate needs a file of the device: name it with --csv."
        raise SettingsError(msg)
    apex = column(frame, "apex_m")
    found = calibrate(launch(frame), air, column(frame, "carry_m"), apex if np.isfinite(apex).any() else None)
    if found is None:
        msg = f"{given.csv}: too few shots with ball speed, launch angle, spin and carry to calibrate by; 5 are needed."
        raise TooFewShotsError(msg)
    if given.json:
        values = dataclasses.asdict(found)
        plain = {name: None if math.isnan(value) else value for name, value in values.items()}
        print(json.dumps(plain, indent=1, allow_nan=False))
        return 0
    lift = "" if math.isnan(found.lift_error) else f", lift × {found.lift_scale:.3f} ± {2 * found.lift_error:.3f}"
    print(f"drag × {found.drag_scale:.3f} ± {2 * found.drag_error:.3f}{lift}, from {found.shots} shots")
    if found.settled:
        print("to use it, write into studio.toml:")
        print(f"  drag_multiplier = {found.drag_scale:.3f}\n  lift_multiplier = {found.lift_scale:.3f}")
    else:
        print("not settled: take 12 or more well-struck shots of several clubs; mind units and the device's air")
    return 0


def _shots(launch: "Launch", air: "Air", wind: "Wind", firmness: str) -> list[dict[str, Any]]:
    import numpy as np

    from pipeline.physics.flight import fly
    from pipeline.physics.ground import FIRMNESS, total_distance

    flight = fly(launch, air, wind)
    total, total_offline, run_unreliable = total_distance(flight, FIRMNESS[firmness])
    columns = {
        "carry_m": flight.carry_m,
        "apex_m": flight.apex_m,
        "total_m": total,
        "offline_m": flight.offline_m,
        "total_offline_m": total_offline,
        "descent_angle_deg": np.degrees(flight.descent_angle_rad),
        "flight_time_s": flight.flight_time_s,
        "landing_speed_mps": flight.landing_speed_mps,
        "landing_spin_rpm": flight.landing_spin_radps * 30 / np.pi,
    }
    flags = {"outside_range": flight.outside_range, "run_unreliable": run_unreliable}
    return [
        {name: (round(float(v[i]), 6) if np.isfinite(v[i]) else None) for name, v in columns.items()}
        | {name: bool(v[i]) for name, v in flags.items()}
        for i in range(len(flight.carry_m))
    ]


def _sentence(shot: dict[str, Any]) -> str:
    if shot["carry_m"] is None:
        return "cannot be flown: ball speed, launch angle and spin must be there and possible"
    carry, total = (f"{shot[name]:.1f} m ({shot[name] / 0.9144:.1f} yd)" for name in ("carry_m", "total_m"))
    apex = f"{shot['apex_m']:.1f} m ({shot['apex_m'] / 0.3048:.0f} ft)"
    text = (
        f"carry {carry}, total {total}, offline {shot['offline_m']:+.1f} m, apex {apex}, "
        f"descent {shot['descent_angle_deg']:.1f}°, {shot['flight_time_s']:.2f} s"
    )
    notes = {"outside_range": "outside the checked range", "run_unreliable": "run less sure"}
    said = [words for name, words in notes.items() if shot[name]]
    return text + (f"  [{'; '.join(said)}]" if said else "")
