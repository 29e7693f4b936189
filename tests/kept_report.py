"""The fitting.json of an invented visit, as far as the desk reads it."""

import json
from typing import Any

AIR = {
    "altitude_m": 0.0, "temperature_c": 20.0, "humidity_percent": 50.0, "density_kgpm3": 1.2, "firmness": "typical",
    "drag_multiplier": 1.0, "lift_multiplier": 1.0, "device_altitude_m": None, "device_temperature_c": None,
}  # fmt: skip
MEASURED = {
    "club_speed_mps": 45.0, "ball_speed_mps": 66.0, "launch_angle_deg": 12.0, "spin_rate_rpm": 2600.0,
    "launch_direction_deg": 1.0, "carry_m": 205.0,
}  # fmt: skip
USED = {"carry_m": 205.0, "apex_m": 28.0, "offline_m": 6.4}
FILE = "shots.csv"


def shot(number: int, letter: str = "A", **changed: object) -> dict[str, Any]:
    """Give one shot of the document; it counts and has all it needs to be flown."""
    plain = {
        "number": number, "file": FILE, "line": number + 1, "set": letter, "fate": "counted", "code": None,
        "decided_by": "rule", "figures": {}, "reason": None, "measured": MEASURED, "used": USED,
    }  # fmt: skip
    return {**plain, **changed}


SLOW: dict[str, Any] = {
    "fate": "mishit", "code": "slow_ball", "decided_by": "statistics",
    "figures": {"ball_speed_mps": 50.0, "middle_ball_speed_mps": 66.0},
}  # fmt: skip
UNUSUAL: dict[str, Any] = {
    "fate": "asked", "code": "long_carry", "decided_by": "statistics",
    "figures": {"carry_m": 260.0, "middle_carry_m": 205.0},
}  # fmt: skip
BY_STAFF: dict[str, Any] = {"fate": "counted", "code": "staff", "decided_by": "staff", "reason": "a clean strike."}
SHOTS = (
    shot(1), shot(2, **SLOW), shot(3, **UNUSUAL), shot(4, "B"), shot(5, "B", **BY_STAFF),
    shot(6, "B", fate="bad_read", code="zero_spin", measured={**MEASURED, "spin_rate_rpm": 0.0}),
)  # fmt: skip


def document(*shots: dict[str, Any], **changed: object) -> dict[str, Any]:
    """Give the document; two clubs, the own one guessed."""
    sets = [
        {"letter": letter, "label": label, "phase": "", "own_club": letter == "A"}
        for letter, label in (("A", "Driver 9.5°"), ("B", "Nameless two"))
    ]
    visit = {"own_club_from": "first hit"}
    plain = {"schema": 1, "visit": visit, "air": AIR, "sets": sets, "shots": shots or SHOTS, "unreadable_rows": []}
    return {**plain, **changed}


def content(*shots: dict[str, Any], **changed: object) -> bytes:
    """Give it as it lies in the folder."""
    return json.dumps(document(*shots, **changed)).encode()
