"""Headings: names, units, labels, and the records around them."""

import pytest

from pipeline.reading.headers import find_header, is_units_row, preamble, recognised, units_row_after
from pipeline.reading.naming import heading, is_number_like, unit_stated
from pipeline.reading.parts import Record


def rows(*lines: str) -> list[Record]:
    return [Record(number, tuple(line.split(",")), None, number) for number, line in enumerate(lines, start=1)]


@pytest.mark.parametrize(
    ("text", "field", "unit"),
    [
        ("Club Speed (mph)", "club_speed_mps", "mph"),
        ("Ball Speed [km/h]", "ball_speed_mps", "km/h"),
        ("Ball Speed{m/s}", "ball_speed_mps", "m/s"),
        ("Ball Speed(mph)", "ball_speed_mps", "mph"),
        ("carry_yd", "carry_m", "yd"),
        ("ball_speed_km_h", "ball_speed_mps", "km/h"),
        ("ballSpeedMph", "ball_speed_mps", "mph"),
        ("Apex, ft", "apex_m", "ft"),
        ("Launch Angle °", "launch_angle_deg", "deg"),
        ("Launch Angle°", "launch_angle_deg", "deg"),
        ("Launch Angle (Â°)", "launch_angle_deg", "deg"),
        ("Spin Rate / rpm", "spin_rate_rpm", "rpm"),
        ("Ball Speed / km/h", "ball_speed_mps", "km/h"),
        ("Ball Speed/km/h", "ball_speed_mps", "km/h"),
        ("Attack Angle in deg", "attack_angle_deg", "deg"),
        ("Ball Speed in (mph)", "ball_speed_mps", "mph"),
        ("Ball Speed (in mph)", "ball_speed_mps", "mph"),
        ("Carry - yd", "carry_m", "yd"),
        ("Carry: yd", "carry_m", "yd"),
        ("Carry (yd, flat)", "carry_m", "yd"),
        ("Carry (flat) [yd]", "carry_m", "yd"),
        ("Apex in", "apex_m", "in"),
        ("Smash Factor (x)", "smash_factor", None),
        ("Efficiency (%)", "smash_factor", "%"),
        ("Launch (horizontal)", "launch_direction_deg", None),
        ("Spin (back) [rpm]", "backspin_rpm", "rpm"),
        ("Speed (ball) (mph)", "ball_speed_mps", "mph"),
        ("Side (ft)", "offline_m", "ft"),
        ("Side (rpm)", "sidespin_rpm", "rpm"),
        ("Ball Speed*", "ball_speed_mps", None),
        ("  Ball\n Speed ", "ball_speed_mps", None),
        ("Geschwindigkeit Ball km/h", "ball_speed_mps", "km/h"),
        ("Shot(s)", "shot", "s"),
        ("Flight Time (s)", "flight_time_s", "s"),
    ],
)
def test_one_meaning(text: str, field: str, unit: str | None) -> None:
    read = heading(text)
    assert read.fields == (field,)
    assert (read.unit.name if read.unit else None) == unit


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Turn",
        "Cycle",
        "Min",
        "mph",
        "deg",
        "Carry (s)",
        "Time (s)",
        "Launch (mph)",
        "118.0",
        "x" * 90,
        "Shot 1234",
        "Loft",
    ],
)
def test_no_meaning(text: str) -> None:
    assert heading(text).fields == ()


@pytest.mark.parametrize("text", ["Speed", "Speed (mph)", "Angle (deg)", "Distance", "Side", "Länge [m]"])
def test_several_meanings(text: str) -> None:
    assert len(heading(text).fields) > 1


def test_labels() -> None:
    assert heading("Speed (mph)", "Ball").fields == ("ball_speed_mps",)
    assert heading("Speed (mph)", "Ball").text == "Ball Speed (mph)"
    assert heading("Speed (mph)", "Club data").fields == ("club_speed_mps",)
    assert heading("Ball (mph)", "Speed").fields == ("ball_speed_mps",)
    assert heading("Carry", "Flight").fields == ("carry_m",)
    assert heading("", "Flight").text == ""


def test_unit_of_a_heading_named_by_the_profile() -> None:
    for text in ("Foo (mph)", "Foo mph", "foo_mph", "Foo, mph"):
        found = unit_stated(text, "speed")
        assert found is not None
        assert found.name == "mph"
    assert unit_stated("Foo (mph)", "length") is None
    assert unit_stated("mph", "speed") is None


def test_number_like() -> None:
    assert all(map(is_number_like, ("1", "-1.5", "−2", "1'204,5", "+ 3", ".5")))
    assert not any(map(is_number_like, ("", "-", "7I", "12 mph", "L3", ".")))


def test_a_heading_needs_two_words_or_all_or_a_unit() -> None:
    assert recognised(["Club", "Carry", "foo"]) == 2
    assert recognised(["Carry"]) == 1
    assert recognised(["Carry (yd)", "foo", "bar"]) == 1
    assert recognised(["Carry", "foo", "bar"]) == 0
    assert recognised(["Foo", "Bar"], frozenset({"Foo", "Bar"})) == 2
    assert recognised(["Club"] * 2000) == 0


def test_the_record_with_most_words_wins_and_the_first_of_equals() -> None:
    found = find_header(rows("Club,Note", "Club,Carry (yd),Note", "Club,Total (yd),Note"))
    assert found is not None
    assert found.position == 1


def test_labels_are_joined_only_where_they_help() -> None:
    joined = find_header(rows("Ball,,Club", "Velocity,Spin,Velocity", "1,2,3"))
    assert joined is not None
    assert [read.text for read in joined.headings] == ["Ball Velocity", "Ball Spin", "Club Velocity"]
    plain = find_header(rows("Ball,,Club", "Ball Speed,Spin,Club Speed", "1,2,3"))
    assert plain is not None
    assert plain.label_position is None


def test_units_row() -> None:
    assert is_units_row(["", "[mph]", "(yd)", "-", "n/a", "°"])
    for cells in (["", ""], ["-", "n/a"], ["", "mph", "5"], ["text", "mph"]):
        assert not is_units_row(cells)
    records = rows("Club,Carry", "# note", "", ",yd", "7I,165")
    assert units_row_after(records, 0) == 3
    assert units_row_after(records, 3) is None


def test_preamble() -> None:
    found = preamble(
        rows(
            "Session report",
            "Date:,2024-05-01",
            "Bay: 3",
            "# Weather: mild",
            "Start: 14:00",
            "At 14:00",
            "Left:,a,Right:,b",
            "x,y,z",
        )
    )
    assert found == {
        "Date": "2024-05-01",
        "Bay": "3",
        "Weather": "mild",
        "Start": "14:00",
        "Left": "a",
        "Right": "b",
    }
