"""`baywright fly`: one shot, a file of shots, and a calibration of the model to a device. All shots are invented."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from pipeline.physics.atmosphere import air_at
from pipeline.physics.flight import Launch, fly

Run = Callable[..., tuple[int, str, str]]
ONE = ("fly", "--ball-speed", "160mph", "--launch-angle", "11deg", "--spin-rate", "2600rpm")


def shot_file(folder: Path, drag: float, apex: bool = True, n: int = 16) -> Path:  # noqa: FBT001, FBT002 - a builder
    """Invent a device that sees more drag than we do."""
    speed, up = np.linspace(45, 72, n), np.radians(np.linspace(20, 10, n))
    spin = np.linspace(5500, 2500, n)
    flight = fly(Launch.of(speed, up, spin * np.pi / 30), air_at(0.0, 293.15, 0.5), drag_scale=drag)
    head = "Club,Ball speed (m/s),Launch angle (deg),Spin rate (rpm),Carry (m)" + (",Apex (m)" if apex else "")
    rows = [
        f"Club,{speed[i]:.3f},{np.degrees(up[i]):.3f},{spin[i]:.1f},{flight.carry_m[i]:.3f}"
        + (f",{flight.apex_m[i]:.3f}" if apex else "")
        for i in range(n)
    ]
    path = folder / "device.csv"
    path.write_text("\n".join([head, *rows, ""]), encoding="utf-8")
    return path


def test_one_shot_in_any_unit_gives_the_same_flight(run: Run) -> None:
    code, out, _ = run(*ONE, "--json")
    [shot] = json.loads(out)
    assert code == 0
    metric = ("fly", "--ball-speed", "71.5264 m/s", "--launch-angle", "0.1919862177rad", "--spin-rate", "43.3333333rps")
    [same] = json.loads(run(*metric, "--json")[1])
    assert same["carry_m"] == pytest.approx(shot["carry_m"], abs=1e-3)
    assert set(shot) >= {"carry_m", "apex_m", "total_m", "offline_m", "descent_angle_deg", "flight_time_s"}
    assert shot["carry_m"] < shot["total_m"]


@pytest.mark.parametrize(
    ("more", "key", "longer"),
    [
        (("--altitude", "1500m"), "carry_m", True),
        (("--temperature", "5C"), "carry_m", False),
        (("--pressure", "28inHg"), "carry_m", True),
        (("--wind", "-5m/s"), "carry_m", False),
        (("--firmness", "firm"), "total_m", True),
        (("--launch-direction", "-2deg"), "offline_m", False),
        (("--spin-axis", "5deg"), "offline_m", True),
        (("--cross-wind", "5mph"), "offline_m", True),
    ],
)
def test_air_ground_and_direction_work_the_right_way(run: Run, more: tuple[str, ...], key: str, longer: bool) -> None:  # noqa: FBT001
    [plain], [changed] = (json.loads(run(*ONE, *words, "--json")[1]) for words in ((), more))
    assert (changed[key] > plain[key]) is longer
    assert changed[key] != pytest.approx(plain[key], rel=1e-4)


def test_every_shot_of_a_file_is_flown_in_order(run: Run, tmp_path: Path) -> None:
    code, out, _ = run("fly", "--csv", shot_file(tmp_path, 1.0), "--json")
    carries = [shot["carry_m"] for shot in json.loads(out)]
    assert (code, len(carries)) == (0, 16)
    assert carries == sorted(carries)


def test_a_device_with_more_drag_is_found_out(run: Run, tmp_path: Path) -> None:
    path = shot_file(tmp_path, 1.06)
    code, out, _ = run("fly", "--csv", path, "--calibrate")
    assert code == 0
    assert "drag_multiplier = 1.060" in out
    assert "lift_multiplier = 1.000" in out
    found = json.loads(run("fly", "--csv", path, "--calibrate", "--json")[1])
    assert found["settled"] is True
    assert found["drag_scale"] == pytest.approx(1.06, abs=1e-3)


def test_carry_alone_gives_drag_alone_and_few_shots_nothing(run: Run, tmp_path: Path) -> None:
    out = run("fly", "--csv", shot_file(tmp_path, 1.06, apex=False), "--calibrate")[1]
    assert "drag × 1.060" in out
    assert "lift ×" not in out
    assert json.loads(run("fly", "--csv", tmp_path / "device.csv", "--calibrate", "--json")[1])["lift_error"] is None
    code, _, said = run("fly", "--csv", shot_file(tmp_path, 1.0, n=4), "--calibrate")
    assert code == 4
    assert "5 are needed" in said
    assert "not settled" in run("fly", "--csv", shot_file(tmp_path, 1.0, n=8), "--calibrate")[1]


def test_calibrating_needs_a_file(run: Run) -> None:
    code, _, said = run(*ONE, "--calibrate")
    assert code == 6
    assert "name it with --csv" in said
