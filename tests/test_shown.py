"""The door out: what a stored value looks like on paper."""

import pytest

from pipeline.shown import NBSP, Shown, kind_of
from pipeline.vocabulary import words

GERMAN = Shown("metres", words("de"))
YARDS, METRES = Shown("yards", words("en")), Shown("metres", words("en"))


@pytest.mark.parametrize(
    ("name", "value", "yards", "metres"),
    [
        ("carry_m", 200.0, "219 yd", "200 m"),
        ("apex_m", 30.48, "100 ft", "30 m"),
        ("ball_speed_mps", 71.5264, "160.0 mph", "257.5 km/h"),
        ("offline_m", 9.144, "10 yd right", "9 m right"),
        ("offline_m", -9.144, "10 yd left", "9 m left"),
        ("offline_m", 0.3, "on line", "on line"),
        ("launch_angle_deg", 11.04, "11.0°", "11.0°"),
        ("spin_rate_rpm", 2600.4, "2600 rpm", "2600 rpm"),
        ("smash_factor", 1.444, "1.44", "1.44"),
        ("flight_time_s", 6.25, "6.2 s", "6.2 s"),
        ("expected_carry_m", 91.44, "100 yd", "91 m"),
        ("middle_offline_m", -1.8288, "2 yd left", "2 m left"),
        ("first_number", 7.0, "7", "7"),
    ],
)
def test_a_value_is_shown_in_the_studios_units(name: str, value: float, yards: str, metres: str) -> None:
    assert YARDS.full(value, name).replace(NBSP, " ") == yards
    assert METRES.full(value, name).replace(NBSP, " ") == metres


def test_number_and_unit_stay_on_one_line() -> None:
    assert YARDS.full(200.0, "carry_m") == f"219{NBSP}yd"
    assert YARDS.distance(-10.0) == f"11{NBSP}yards"
    assert YARDS.distance(0.9) == f"1{NBSP}yard"
    assert YARDS.distance(-0.45) == "less than 1 yard"
    assert METRES.distance(0.0) == "less than 1 metre"
    assert YARDS.distance(0.45, 1) == f"0.5{NBSP}yards"
    assert YARDS.percent(0.126) == f"13{NBSP}%"


@pytest.mark.parametrize(
    ("value", "digits", "text"), [(-0.04, 1, "0.0"), (-0.06, 1, "−0.1"), (0.0, 0, "0"), (-3.6, 0, "−4")]
)
def test_a_minus_is_a_minus_and_zero_has_none(value: float, digits: int, text: str) -> None:
    assert words("en").number(value, digits) == text


@pytest.mark.parametrize(
    ("name", "value", "text"),
    [
        ("carry_m", 1200.4, "1200 m"),
        ("ball_speed_mps", 71.5264, "257,5 km/h"),
        ("offline_m", 9.144, "9 m rechts"),
        ("offline_m", -0.3, "mittig"),
        ("launch_angle_deg", -11.04, "−11,0°"),
        ("spin_rate_rpm", 2600.4, "2600 U/min"),
        ("smash_factor", 1.444, "1,44"),
        ("flight_time_s", 6.25, "6,2 s"),
    ],
)
def test_a_language_brings_its_own_decimal_mark_and_units(name: str, value: float, text: str) -> None:
    assert GERMAN.full(value, name).replace(NBSP, " ") == text


def test_the_air_is_written_in_the_studios_units() -> None:
    assert [text.replace(NBSP, " ") for text in YARDS.air(1000.0, 25.0)] == ["3281 ft", "77 °F"]
    assert [text.replace(NBSP, " ") for text in GERMAN.air(1000.0, -2.5)] == ["1000 m", "−2 °C"]


def test_every_kind_is_known() -> None:
    names = ("club_speed_mps", "apex_m", "offline_m", "ratio", "spin_axis_deg", "spin_rate_rpm")
    assert [kind_of(name) for name in names] == ["speed", "height", "side", "ratio", "angle", "spin"]
