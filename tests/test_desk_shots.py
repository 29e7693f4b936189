"""How shots are told on the desk, also where somebody edited the report's file, and the picture of one."""

import re
from typing import Any

import pytest

from pipeline import desk_flights, desk_report, desk_shots
from pipeline.desk_report import Report
from pipeline.desk_shots import Row, english
from tests import kept_report
from tests.kept_report import BY_STAFF, MEASURED, SLOW, UNUSUAL, USED, shot


def report(*shots: dict[str, Any]) -> Report:
    found = desk_report.read(kept_report.content(*shots))
    assert found
    return found


def row(**changed: object) -> Row:
    """Tell one shot that is looked at."""
    given: dict[str, Any] = {**SLOW, **changed}
    [found] = desk_shots.told(report(shot(1, **given)), english("metres")).to_look_at
    return found


def test_set_aside_come_first_then_unusual_ones_then_those_by_staffs_word() -> None:
    told = desk_shots.told(
        report(shot(1, **BY_STAFF), shot(2, **UNUSUAL), shot(3), shot(4, **SLOW), shot(5, "B")), english("yards")
    )
    assert [one.number for one in told.to_look_at] == [4, 2, 1]
    assert [(group.label, [one.number for one in group.rows]) for group in told.groups] == [
        ("Driver 9.5°", [3]), ("Nameless two", [5]),
    ]  # fmt: skip
    assert (told.balls, told.counted, told.asked, told.unreadable) == (5, 4, 1, 0)


def test_a_reading_that_came_twice_is_one_ball() -> None:
    twice = shot(2, fate="bad_read", code="duplicate", figures={"first_number": 1.0})
    told = desk_shots.told(report(shot(1), twice), english("yards"))
    assert (told.balls, told.counted) == (1, 1)
    assert told.to_look_at[0].why == "The same reading as shot 1. Decided by the rules."


@pytest.mark.parametrize(
    ("system", "cells"),
    [
        ("yards", ["100.7 mph", "147.6 mph", "224 yd", "7 yd right"]),
        ("metres", ["162.0 km/h", "237.6 km/h", "205 m", "6 m right"]),
    ],
)
def test_figures_are_in_the_studios_units(system: str, cells: list[str]) -> None:
    [found] = desk_shots.told(report(shot(1)), english(system)).groups[0].rows
    assert [text.replace("\xa0", " ") for _, text in found.cells] == cells


def test_what_is_used_goes_before_what_was_measured_and_what_is_unknown_is_no_nought() -> None:
    found = row(measured={"carry_m": 300.0}, used={"carry_m": 205.0})
    assert [text for _, text in found.cells] == ["–", "–", "205\xa0m", "–"]
    assert found.said == "Shot 1, Driver 9.5°: carry 205\xa0m."
    assert row(measured={}, used={}).said == "Shot 1, Driver 9.5°: no figures."


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"code": "of my own"}, "Decided by comparison with the set."),
        ({"figures": {}}, "Decided by comparison with the set."),
        ({"code": "flight_disagrees", "figures": {}}, "Decided by comparison with the set."),
        ({"code": None}, ""),
        ({"code": "staff", "decided_by": "staff", "reason": "rain."}, "Rain. Staff said so."),
        ({"code": "staff", "decided_by": "staff", "reason": None}, "Staff said so."),
    ],
)
def test_a_reason_nobody_can_word_is_left_out(changed: dict[str, Any], why: str) -> None:
    assert row(**changed).why == why


def test_of_several_files_the_place_names_the_one() -> None:
    told = desk_shots.told(report(shot(1, file="a.csv"), shot(2, file="b.csv")), english("yards"))
    assert [one.place for one in told.groups[0].rows] == ["a.csv, line 2", "b.csv, line 3"]
    assert row().place == "line 2"


@pytest.mark.parametrize(
    ("measured", "words"),
    [
        ({}, "ball speed, launch angle and spin"),
        ({**MEASURED, "spin_rate_rpm": 0.0}, "spin"),
        ({"ball_speed_mps": 60.0, "spin_rate_rpm": 2000.0}, "launch angle"),
    ],
)
def test_a_flight_that_cannot_be_drawn_says_what_lacks(measured: dict[str, float], words: str) -> None:
    assert row(measured=measured).no_flight == f"No flight can be drawn: nothing was read for {words}."
    found = report(shot(1, measured=measured))
    assert desk_flights.picture(found, found.shots[0], english("yards")) is None


def test_a_flight_is_drawn_among_those_that_count_with_its_club() -> None:
    found = report(shot(1), shot(2), shot(3, **SLOW), shot(4, "B"), shot(5, measured={}))
    drawn = desk_flights.picture(found, found.shots[0], english("yards"))
    assert drawn
    assert drawn.count("<path ") == 4  # itself and one other, from the side and from above
    assert "that count, 1." in drawn


@pytest.mark.parametrize(("system", "top"), [("yards", 100), ("metres", 20)])
def test_heights_are_in_their_own_unit(system: str, top: int) -> None:
    """The flight tops out at 28 m, or 92 feet."""
    found = report(shot(1))
    drawn = str(desk_flights.picture(found, found.shots[0], english(system)))
    heights = [float(text) for text in re.findall(r'text-anchor="end">(\d+)<', drawn)]
    assert max(heights) == top


def test_without_a_side_there_is_no_view_from_above() -> None:
    found = report(shot(1, used={"carry_m": 200.0}))
    drawn = desk_flights.picture(found, found.shots[0], english("yards"))
    assert drawn
    assert (drawn.count("<path "), "from the side; its side is not known" in drawn) == (1, True)


@pytest.mark.parametrize(
    "changed",
    [
        {"measured": {**MEASURED, "ball_speed_mps": 9e8}}, {"measured": {**MEASURED, "launch_angle_deg": -9e8}},
        {"measured": {**MEASURED, "spin_rate_rpm": -3.0}}, {"measured": {**MEASURED, "launch_angle_deg": -6.0}},
        {"used": {"carry_m": -9e8, "apex_m": 9e8, "offline_m": 9e8}}, {"used": {**USED, "carry_m": 1e-300}},
        {"used": {**USED, "apex_m": 1e-300}}, {"used": {**USED, "carry_m": 9e8}},
    ],
)  # fmt: skip
def test_no_figure_somebody_typed_breaks_the_picture(changed: dict[str, Any]) -> None:
    found = report(shot(1), shot(2, **changed))
    for one in found.shots:
        drawn = desk_flights.picture(found, one, english("yards"))
        assert drawn is None or drawn.endswith("</svg>")
        assert drawn is None or "nan" not in drawn.lower().split("</title>")[1]
