"""Cells of measured columns, one by one."""

import pytest

from pipeline.reading.cells import CellRules, read_cell, unwrapped
from pipeline.reading.numerals import mark_proven, numeral, to_number
from pipeline.schema import measurements


def rules(name: str, decimal: str | None = ".", hand: str | None = "right", doubtful: str | None = None) -> CellRules:
    return CellRules(measurements()[name], decimal, hand, doubtful)


@pytest.mark.parametrize(
    ("body", "mark"),
    [
        ("1234", None),
        ("1.204,5", ","),
        ("1,204.5", "."),
        ("45.2", "."),
        ("45,3", ","),
        ("2.345", "?"),
        ("2,345", "?"),
        ("0.345", "."),
        (",345", ","),
        ("1234.567", "."),
        ("5.", "."),
        ("1.204.567", None),
        ("1,2,3.4", None),
        ("12.34,5", None),
        ("1 204.567", "."),
    ],
)
def test_what_a_number_proves(body: str, mark: str | None) -> None:
    assert mark_proven(body) == mark


def test_an_exponent_proves_the_mark() -> None:
    assert mark_proven("2.345", "e3") == "."


@pytest.mark.parametrize(
    ("body", "decimal", "value"),
    [
        ("1,204.5", ".", 1204.5),
        ("1.204,5", ",", 1204.5),
        ("1.204.567", ",", 1204567.0),
        ("2'345", ".", 2345.0),
        ("2 345 678", None, 2345678.0),
        ("2\u202f345,5", ",", 2345.5),
        (".5", ".", 0.5),
        ("5.", ".", 5.0),
        ("0007", None, 7.0),
        ("80,5", ".", None),
        ("0,345", ".", None),
        ("1,2345", ".", None),
        ("1.2.3", ".", None),
        ("12,34", ".", None),
        (".", ".", None),
    ],
)
def test_reading_digits(body: str, decimal: str | None, value: float | None) -> None:
    assert to_number(body, "", decimal) == value


def test_groups_must_be_well_formed_and_alike() -> None:
    for text in ("2 51", "1 234'567", "1234 567", "12 34 567"):
        found = numeral(text)
        assert found is None or found.after or to_number(found.body, "", ".") is None, text


@pytest.mark.parametrize(
    ("text", "stored"),
    [
        ("3.5", 3.2004),
        ("+3.5", 3.2004),
        ("-3.5", -3.2004),
        ("−3.5", -3.2004),
        ("–3.5", -3.2004),
        ("- 3.5", -3.2004),
        ("3.5 L", -3.2004),
        ("L3.5", -3.2004),
        ("left 3.5", -3.2004),
        ("3.5 Rechts", 3.2004),
        ("3.5R", 3.2004),
        ("0 L", 0.0),
        ("3.5e0", 3.2004),
    ],
)
def test_directions(text: str, stored: float) -> None:
    read = read_cell(text, rules("offline_m"))
    assert read.reason is None
    assert read.bare is not None
    assert measurements()["offline_m"].dimension == "length"
    assert read.bare * 0.9144 == pytest.approx(stored)


@pytest.mark.parametrize(
    ("text", "stored", "unit"),
    [
        ("14 ft", 4.2672, "ft"),
        ("14ft L", -4.2672, "ft"),
        ("14 L ft", -4.2672, "ft"),
        ("14ftL", -4.2672, "ft"),
        ("L 14'", -4.2672, "ft"),
        ('6"', 0.1524, "in"),
        ("5' 6\"", 1.6764, "ft-in"),
        ("5'6", 1.6764, "ft-in"),
        ("-0' 6\"", -0.1524, "ft-in"),
        ("5’6”", 1.6764, "ft-in"),
        ("5′ 6.5″ R", 1.6891, "ft-in"),
        ("5 ft 6 in L", -1.6764, "ft-in"),
        ("5 Fuß 6 Zoll", 1.6764, "ft-in"),
        ("1'204 m", 1204.0, "m"),
        ("3,5 m", None, None),
    ],
)
def test_lengths_with_units(text: str, stored: float | None, unit: str | None) -> None:
    read = read_cell(text, rules("offline_m"))
    assert read.stored == (pytest.approx(stored) if stored is not None else None)
    assert read.unit == unit


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("abc", "not_a_number"),
        ("5 x", "not_a_number"),
        ("12 mph", "not_a_number"),
        ("3 up", "not_a_number"),
        ("(3)", "not_a_number"),
        ("3-", "not_a_number"),
        ("– 3", "not_a_number"),
        ("—3", "not_a_number"),
        ("--3", "not_a_number"),
        ("5' 13\"", "not_a_number"),
        ("L 3 R", "not_a_number"),
        ("=1+1", "not_a_number"),
        ("=SUM(A1)", "not_a_number"),
        ("12:30", "not_a_number"),
        ("9" * 101, "not_a_number"),
        ("#N/A", "spreadsheet_error"),
        ("#WERT!", "spreadsheet_error"),
        ("####", "spreadsheet_error"),
        ("inf", "not_finite"),
        ("-Infinity", "not_finite"),
        ("∞", "not_finite"),
        ("5-Mar", "date_in_number"),
        ("Mär 05", "date_in_number"),
        ("1. Feb", "date_in_number"),
        ("12.05.2024", "date_in_number"),
        ("2024-05-12 00:00:00", "date_in_number"),
        ("1/2", "date_in_number"),
        ("12.05.", "date_in_number"),
        ("-2.1 L", "sign_and_side"),
        ("+2.1 R", "sign_and_side"),
        ("L -2", "sign_and_side"),
        ("-5' 6\" L", "sign_and_side"),
    ],
)
def test_reasons(text: str, reason: str) -> None:
    read = read_cell(text, rules("offline_m"))
    assert read.reason == reason
    assert read.bare is None
    assert read.stored is None


@pytest.mark.parametrize("text", ["", "-", "--", "–", "—", "NA", "n/a", "NaN", "Null", "NONE", '=""'])
def test_missing(text: str) -> None:
    read = read_cell(text, rules("offline_m"))
    assert read == type(read)()


@pytest.mark.parametrize(
    ("name", "text", "right"),
    [
        ("club_path_deg", "3 in-out", 3.0),
        ("club_path_deg", "3 In-to-Out", 3.0),
        ("club_path_deg", "in to out 3°", 3.0),
        ("club_path_deg", "3 out>in", -3.0),
        ("face_angle_deg", "1.5° open", 1.5),
        ("face_angle_deg", "1.5 closed", -1.5),
        ("face_to_path_deg", "2 geschlossen", -2.0),
        ("spin_axis_deg", "4 draw", -4.0),
        ("sidespin_rpm", "400 rpm fade", 400.0),
    ],
)
def test_golfer_words_turn_with_the_hand(name: str, text: str, right: float) -> None:
    for hand, sign in (("right", 1), ("left", -1)):
        read = read_cell(text, rules(name, hand=hand))
        assert (read.bare if read.stored is None else read.stored) == sign * right
        assert read.golfer
    unknown = read_cell(text, rules(name, hand=None))
    assert unknown.golfer
    assert unknown.bare is None


def test_golfer_words_only_where_they_have_a_meaning() -> None:
    assert read_cell("3 in-out", rules("offline_m")).reason == "not_a_number"
    assert read_cell("3 open", rules("club_path_deg")).reason == "not_a_number"


def test_plain_sides_do_not_turn() -> None:
    assert read_cell("3 R", rules("club_path_deg", hand="left")).bare == 3.0


def test_the_unit_of_a_cell_must_fit() -> None:
    assert read_cell("52.5 m/s", rules("ball_speed_mps")).stored == 52.5
    assert read_cell("2,450 rpm", rules("spin_rate_rpm")).stored == 2450.0
    assert read_cell("138%", rules("smash_factor")).stored == pytest.approx(1.38)
    assert read_cell("52.5 rpm", rules("ball_speed_mps")).reason == "not_a_number"


def test_signs_encoded_twice() -> None:
    read = read_cell("12.1Â°", rules("launch_angle_deg"))
    assert read.stored == 12.1
    assert read.repaired
    assert read_cell("â€“1.5", rules("launch_angle_deg")).bare == -1.5


def test_both_marks_in_a_file() -> None:
    assert read_cell("45,3", rules("spin_rate_rpm", "mixed")).bare == 45.3
    assert read_cell("45.3", rules("spin_rate_rpm", "mixed")).bare == 45.3
    assert read_cell("2.345", rules("spin_rate_rpm", "mixed", doubtful=",")).bare == 2345.0
    assert read_cell("2.345", rules("spin_rate_rpm", "mixed", doubtful=".")).bare == 2.345


def test_protected_text() -> None:
    assert unwrapped('="007"') == "007"
    assert unwrapped('="a"&"b"') == '="a"&"b"'
    assert read_cell('="118.0"', rules("ball_speed_mps")).bare == 118.0
