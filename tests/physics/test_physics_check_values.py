"""Every entry of the check-value files of the physics, by one runner."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest

from pipeline.physics.atmosphere import Air, air_at, air_density, air_viscosity, pressure_at_altitude
from pipeline.physics.flight import STEP_S, Launch, fly
from pipeline.physics.ground import restitution, run, total_distance
from pipeline.physics.restate import carry_ratio

FOLDER: Final = Path(__file__).parents[1] / "check_values"
READINGS: Final = {"read", "second-hand", "from memory", "mathematics", "common practice", "regression"}
# SI units in one of the unit.
UNITS: Final = {
    "1": 1.0,
    "m": 1.0,
    "yd": 0.9144,
    "ft": 0.3048,
    "s": 1.0,
    "deg": np.pi / 180.0,
    "rpm": 2.0 * np.pi / 60.0,
    "m/s": 1.0,
    "mph": 0.44704,
    "Pa": 1.0,
    "Pa s": 1.0,
    "kg/m3": 1.0,
}

Entry = dict[str, Any]
Results = dict[str, float]


def _air(given: Entry) -> Air:
    if "density_kgpm3" in given:
        return Air(given["density_kgpm3"], 1.789e-5, within_range=True)
    return air_at(
        given.get("altitude_m", 0.0), given["temperature_k"], given["relative_humidity"], given.get("pressure_pa")
    )


def _launch(**given: float) -> Results:
    launch = Launch.of(
        given["ball_speed_mph"] * UNITS["mph"],
        given["launch_angle_deg"] * UNITS["deg"],
        given["spin_rpm"] * UNITS["rpm"],
    )
    flight = fly(launch, _air(given), step_s=given.get("step_s", STEP_S))
    total = total_distance(flight)
    results = {
        "carry": flight.carry_m,
        "apex": flight.apex_m,
        "time": flight.flight_time_s,
        "descent": flight.descent_angle_rad,
        "landing_speed": flight.landing_speed_mps,
        "landing_spin": flight.landing_spin_radps,
        "spin_left": flight.landing_spin_radps / launch.spin_rate_radps,
        "total": total.total_m,
        "run": total.total_m - flight.carry_m,
    }
    return {name: float(values[0]) for name, values in results.items()}


def _difference(first: Entry, second: Entry) -> Results:
    there, here = _launch(**first), _launch(**second)
    return {name: there[name] - here[name] for name in here}


def _relative_difference(first: Entry, second: Entry) -> Results:
    there, here = _launch(**first), _launch(**second)
    return {name: there[name] / here[name] - 1.0 for name in ("carry", "total")}


def _restate(shot: Entry, from_air: Entry, to_air: Entry) -> Results:
    speed, angle, spin = shot["ball_speed_mph"], shot["launch_angle_deg"], shot["spin_rpm"]
    launch = Launch.of(speed * UNITS["mph"], angle * UNITS["deg"], spin * UNITS["rpm"])
    return {"carry": float(carry_ratio(launch, _air(from_air), _air(to_air)).carry[0])}


def _run(landing_speed_mps: float, descent_deg: float, landing_spin_rpm: float) -> float:
    return float(run(landing_speed_mps, descent_deg * UNITS["deg"], landing_spin_rpm * UNITS["rpm"]).run_m[0])


FUNCTIONS: Final[dict[str, Callable[..., Any]]] = {
    "air_density": air_density,
    "air_viscosity": air_viscosity,
    "pressure_at_altitude": pressure_at_altitude,
    "restitution": restitution,
    "launch": _launch,
    "difference": _difference,
    "relative_difference": _relative_difference,
    "restate": _restate,
    "run": _run,
}


def _entries() -> list[Entry]:
    names = ("air.toml", "flight.toml", "ground.toml")
    return [entry for name in names for entry in tomllib.loads((FOLDER / name).read_text("utf-8"))["check"]]


def _named(value: object) -> dict[str, Any]:
    return value if isinstance(value, dict) else {"": value}


@pytest.mark.parametrize("entry", _entries(), ids=lambda entry: str(entry["id"]))
def test_value(entry: Entry) -> None:
    assert entry["reading"] in READINGS
    assert entry["source"]
    assert entry["why_tolerance"]
    results = FUNCTIONS[entry["function"]](**entry["inputs"])
    found = results if isinstance(results, dict) else {"": float(results)}
    units, tolerances = _named(entry["unit"]), _named(entry["tolerance"])
    expected = _named(entry["expected"])
    assert units.keys() == tolerances.keys() == expected.keys()
    for name, value in expected.items():
        lowest, highest = value if isinstance(value, list) else (value, value)
        got = found[name] / UNITS[units[name]]
        assert lowest - tolerances[name] <= got <= highest + tolerances[name], f"{name} is {got:.6g} {units[name]}"
