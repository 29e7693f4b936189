"""Every entry of impact.toml, by one runner; what the published figures rest on is in `why_tolerance`."""

import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest

from pipeline.physics.atmosphere import Air
from pipeline.physics.flight import fly
from pipeline.physics.ground import total_distance
from pipeline.physics.impact import (
    EXAMPLE_DRIVER,
    EXAMPLE_IRON,
    EXAMPLE_WEDGE,
    Delivery,
    Head,
    strike,
)
from pipeline.physics.strike import central_efficiency

FILE: Final = Path(__file__).parents[1] / "check_values" / "impact.toml"
READINGS: Final = {"read", "second-hand", "from memory", "mathematics", "common practice"}
DEGREE: Final = np.pi / 180.0
# SI units in one of the unit.
UNITS: Final = {"1": 1.0, "%": 0.01, "m": 1.0, "m/s": 1.0, "deg": DEGREE, "rpm": np.pi / 30.0, "rev/s": 2.0 * np.pi}
HEADS: Final = {"driver": EXAMPLE_DRIVER, "iron": EXAMPLE_IRON, "wedge": EXAMPLE_WEDGE}
# Sea level, as the published optima assume.
AIR: Final = Air(1.225, 1.789e-5, within_range=True)
LOFTS: Final = np.arange(4.0, 24.0, 0.05) * DEGREE

Entry = dict[str, Any]
Results = dict[str, float]


def _head(name: str, changes: Entry) -> Head:
    return replace(HEADS[name], **changes)


def _strike(
    *,
    head: str,
    club_speed_mps: float,
    loft_deg: float,
    attack_deg: float = 0.0,
    face_deg: float = 0.0,
    toe_m: float = 0.0,
    **changes: float,
) -> Results:
    delivery = Delivery(club_speed_mps, attack_deg * DEGREE, 0.0, loft_deg * DEGREE, face_deg * DEGREE)
    launch = strike(delivery, _head(head, changes), toe_m).launch
    speed, angle, direction, spin, axis = (
        float(values[0])
        for values in (
            launch.ball_speed_mps,
            launch.launch_angle_rad,
            launch.launch_direction_rad,
            launch.spin_rate_radps,
            launch.spin_axis_rad,
        )
    )
    return {
        "ball_speed": speed,
        "smash": speed / club_speed_mps,
        "spin": spin,
        "draw_spin": -spin * np.sin(axis),
        "launch_share": angle / (loft_deg * DEGREE) if loft_deg else np.nan,
        "face_share": direction / (face_deg * DEGREE) if face_deg else np.nan,
    }


def _relative_difference(first: Entry, second: Entry) -> Results:
    return {"ball_speed": _strike(**first)["ball_speed"] / _strike(**second)["ball_speed"] - 1.0}


def _best_loft(
    *, head: str, club_speed_mps: float, distance: str, attack_deg: float = 0.0, **changes: float
) -> Results:
    """Loft of the longest drive; a tenth of a degree from it costs centimetres, so the grid is fine enough."""
    delivery = Delivery(club_speed_mps, attack_deg * DEGREE, 0.0, LOFTS, 0.0)
    launch = strike(delivery, _head(head, changes)).launch
    flight = fly(launch, AIR)
    metres = flight.carry_m if distance == "carry" else total_distance(flight).total_m
    best = int(np.argmax(metres))
    near = LOFTS[metres > 0.99 * metres[best]]
    return {
        "loft": float(LOFTS[best]),
        "lowest": float(near[0]),
        "highest": float(near[-1]),
        "spin_loft": float(LOFTS[best]) - attack_deg * DEGREE,
        "launch": float(launch.launch_angle_rad[best]),
        "spin": float(launch.spin_rate_radps[best]),
        "distance": float(metres[best]),
    }


def _change_of_best(first: Entry, second: Entry) -> Results:
    there, here = _best_loft(**first), _best_loft(**second)
    return {name: there[name] - here[name] for name in here}


def _central(restitution: float, head_mass_kg: float) -> Results:
    return {"efficiency": float(central_efficiency(restitution, head_mass_kg))}


def _central_ratio(first: Entry, second: Entry) -> Results:
    return {"ball_speed": _central(**first)["efficiency"] / _central(**second)["efficiency"] - 1.0}


FUNCTIONS: Final[dict[str, Callable[..., Results]]] = {
    "strike": _strike,
    "relative_difference": _relative_difference,
    "best_loft": _best_loft,
    "change_of_best": _change_of_best,
    "central": _central,
    "central_ratio": _central_ratio,
}

ENTRIES: Final[list[Entry]] = tomllib.loads(FILE.read_text("utf-8"))["check"]


def _is_met(entry: Entry) -> bool:
    found = FUNCTIONS[entry["function"]](**entry["inputs"])
    for name, value in entry["expected"].items():
        lowest, highest = value if isinstance(value, list) else (value, value)
        got = found[name] / UNITS[entry["unit"][name]]
        if not lowest - entry["tolerance"][name] <= got <= highest + entry["tolerance"][name]:
            return False
    return True


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: str(entry["id"]))
def test_value(entry: Entry) -> None:
    assert entry["reading"] in READINGS
    assert entry["source"]
    assert entry["why_tolerance"]
    parts = [entry[field].keys() for field in ("expected", "unit", "tolerance", "ours")]
    assert all(names == parts[0] for names in parts)
    assert _is_met(entry) == ("misses" not in entry), entry.get("misses", entry["why_tolerance"])


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: str(entry["id"]))
def test_residual_is_as_noted(entry: Entry) -> None:
    found = FUNCTIONS[entry["function"]](**entry["inputs"])
    for name, noted in entry["ours"].items():
        assert found[name] / UNITS[entry["unit"][name]] == pytest.approx(noted, rel=0.01), name
