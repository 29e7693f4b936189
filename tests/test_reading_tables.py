"""Whole small files: what the cases in shot_files/ do not touch."""

from typing import Any

import polars as pl
import pytest

from pipeline.reading import as_json, read_shot_file
from pipeline.records import Given, ShotFile
from pipeline.schema import measurements, shot_contract, text_fields

HEAD = "Club,Ball Speed (mph),Carry (yd)\n"


def read(text: str, **given: Any) -> dict[str, Any]:  # noqa: ANN401 - parts of Given
    return as_json(read_shot_file(ShotFile("a.csv", text.encode()), Given(**given)))


# --- shape ----------------------------------------------------------------------------------------------------
def test_shots_have_all_columns_whatever_the_file_has() -> None:
    for text in (HEAD + "7I,118.0,165\n", HEAD, ""):
        shots = read_shot_file(ShotFile("a.csv", text.encode()), Given()).shots
        assert set(shots.columns) == {"line", *measurements(), *text_fields()}
        assert shots.schema["line"] == pl.Int64
        shot_contract().validate(shots, lazy=True)


# --- records --------------------------------------------------------------------------------------------------
def test_line_ends_inside_quotes_stay() -> None:
    shown = read('Note,Ball Speed (mph)\r\n"toe\r\nstrike",118.0\r\nok,119.0\r\n')
    assert [(row["line"], row["note"]) for row in shown["rows"]] == [(2, "toe\r\nstrike"), (4, "ok")]


def test_a_quote_that_would_swallow_rows_never_closed() -> None:
    rows = ['7I,118,"toe,85', "7I,119,ok,86", "7I,120,ok,8'6\"", "7I,121,ok,87"]
    shown = read("Club,Ball Speed (mph),Note,Apex (ft)\n" + "\n".join(rows) + "\n")
    assert shown["rejected"] == [{"line": 2, "reason": "unclosed_quote", "column": None}]
    assert [row["line"] for row in shown["rows"]] == [3, 4, 5]


def test_unclosed_quote_in_the_last_line() -> None:
    shown = read(HEAD + '7I,118.0,165\n7I,"119')
    assert [(row["line"], row["reason"]) for row in shown["rejected"]] == [(3, "unclosed_quote")]


def test_short_last_line_of_blanks_is_blank() -> None:
    shown = read(HEAD + "7I,118.0,165\n ,")
    assert shown["rejected"] == []
    assert shown["warnings"] == []


def test_summary_and_comment_at_the_end_need_no_line_end() -> None:
    for tail in ("Average,118", "# done"):
        assert read(HEAD + "7I,118.0,165\n" + tail)["rejected"] == []


def test_a_nameless_last_column_is_not_missed() -> None:
    shown = read("Club;Ball Speed (mph);\n7I;118.0\n8I;119.0\n")
    assert shown["warnings"] == []
    assert len(shown["rows"]) == 2


def test_surplus_is_counted_without_empty_cells() -> None:
    shown = read(HEAD + "7I,80,5,110,0,,\n7I,80,5,110,0\n")
    assert shown["error"] == {"kind": "field_count_mismatch", "header_fields": 3, "row_fields": 5}


def test_too_long_text_after_the_last_shot_is_text() -> None:
    assert read(HEAD + "7I,118.0,165\nNote: a, b, c, d, e\n")["dropped"] == [{"line": 3, "reason": "text_row"}]


def test_a_later_heading_without_data_is_text() -> None:
    shown = read(HEAD + "7I,118.0,165\n\nClub,Total (yd)\n")
    assert shown["dropped"] == [{"line": 4, "reason": "text_row"}]


def test_three_tables() -> None:
    shown = read("Club,Carry (yd)\n7I,165\nClub,Total (yd)\n7I,170\nClub,Apex (ft)\n7I,90\n")
    assert shown["error"] == {"kind": "multiple_tables", "header_lines": [1, 3, 5]}


def test_units_row_with_comment_above() -> None:
    shown = read("Club,Carry\n# in yards\n,yd\n7I,165\n")
    assert shown["dialect"]["units_line"] == 3
    assert shown["dropped"] == [{"line": 2, "reason": "comment"}]
    assert shown["rows"][0]["carry_m"] == pytest.approx(150.876)


def test_a_file_without_measured_columns_has_no_measurement() -> None:
    shown = read("Club,Note\n7I,ok\n")
    assert shown["rejected"] == [{"line": 2, "reason": "no_measurement", "column": None}]


def test_semicolons_win_over_commas_in_names() -> None:
    shown = read("Ball Speed, km/h;Carry, m\n176,4;150,5\n")
    assert shown["dialect"]["delimiter"] == ";"
    assert shown["rows"][0]["ball_speed_mps"] == pytest.approx(49.0)


# --- columns --------------------------------------------------------------------------------------------------
def test_duplicates_by_value_not_by_name() -> None:
    same = read("Carry (yd),Carry Distance (yd),Club\n165,165.0,7I\n166,166,7I\n")
    assert same["warnings"] == ["duplicate_column_identical"]
    assert same["unmapped"] == ["Carry Distance (yd)"]
    other = read("Carry (yd),Carry (m),Club\n165,165,7I\n")
    assert other["error"] == {"kind": "duplicate_field", "field": "carry_m", "columns": [1, 2]}


def test_profile_settles_a_duplicate_and_an_ambiguous_name() -> None:
    shown = read(
        "Speed (mph),Carry (yd),Carry Distance (yd)\n118,165,150\n",
        columns={"Speed (mph)": "ball_speed_mps", "Carry (yd)": ""},
    )
    assert shown["outcome"] == "ok"
    assert shown["rows"][0] == {"line": 2, "ball_speed_mps": pytest.approx(52.75072), "carry_m": pytest.approx(137.16)}
    assert shown["unmapped"] == ["Carry (yd)"]


def test_a_profile_that_names_nothing_we_know_is_passed_over() -> None:
    assert read(HEAD + "7I,118,165\n", columns={"Club": "nonsense"})["columns"]["Club"]["field"] == "club"


def test_units_row_narrows_an_ambiguous_name() -> None:
    shown = read("Ball Speed,Side\nmph,ft\n118,3\n")
    assert shown["columns"]["Side"] == {"field": "offline_m", "unit": "ft", "unit_from": "units_row"}


def test_same_unit_in_heading_and_units_row_is_the_headings() -> None:
    assert read("Ball Speed (mph),Carry\nmph,yd\n118,165\n")["columns"]["Ball Speed (mph)"]["unit_from"] == "header"


# --- units ----------------------------------------------------------------------------------------------------
def test_a_unit_in_every_cell_comes_before_the_profile() -> None:
    shown = read("Club,Ball Speed\n7I,118 mph\n7I,119 mph\n", units={"speed": "km/h"})
    assert shown["columns"]["Ball Speed"] == {"field": "ball_speed_mps", "unit": "mph", "unit_from": "cell"}
    assert "unit_in_cell_differs" in shown["warnings"]


def test_cells_without_a_unit_beside_cells_with_one_are_asked_about() -> None:
    shown = read("Club,Ball Speed\n7I,118 mph\n7I,119\n")
    assert shown["error"] == {"kind": "unit_unknown", "columns": {"Ball Speed": ["km/h", "mph"]}}


def test_preamble_unit_of_one_measurement() -> None:
    shown = read("Apex unit: ft\nDistance unit: yd\nCarry,Apex\n165,90\n")
    assert shown["columns"]["Apex"] == {"field": "apex_m", "unit": "ft", "unit_from": "preamble"}
    assert shown["columns"]["Carry"] == {"field": "carry_m", "unit": "yd", "unit_from": "preamble"}


@pytest.mark.parametrize(
    ("text", "candidates"),
    [
        ("Club Speed,Ball Speed\n100,148\n", {"Club Speed": ["km/h", "mph"], "Ball Speed": ["km/h", "mph"]}),
        ("Ball Speed (mph),Carry\n148,240\n", {"Carry": ["m", "yd"]}),
        ("Ball Speed,Carry (m)\n66,240\n", {"Ball Speed": ["m/s"]}),
        ("Apex,Carry\n90,240\n", {"Apex": ["ft"], "Carry": ["m", "yd"]}),
        ("Apex,Carry\n25,150\n", {"Apex": ["m", "yd"], "Carry": ["m", "yd"]}),
        ("Apex,Note\n30,a\n", {"Apex": ["ft", "m", "yd"]}),
        ("Ball Speed,Note\n9999,a\n", {"Ball Speed": []}),
    ],
)
def test_proposed_units(text: str, candidates: dict[str, list[str]]) -> None:
    assert read(text)["error"] == {"kind": "unit_unknown", "columns": candidates}


def test_conflict_suspect_unknown_in_this_order() -> None:
    rows = "165,240,150\n168,245,151\n"
    assert read("Club Speed (mph),Ball Speed,Carry\nkm/h,mph,\n" + rows)["error"]["kind"] == "unit_conflict"
    assert read("Club Speed (mph),Ball Speed (mph),Carry\n" + rows)["error"]["kind"] == "unit_suspect"
    assert read("Club Speed (km/h),Ball Speed (km/h),Carry\n" + rows)["error"]["kind"] == "unit_unknown"


def test_one_possible_value_makes_a_unit_believable() -> None:
    shown = read("Ball Speed (mph),Club\n240,a\n150,b\n245,c\n")
    assert [(row["line"], row["reason"]) for row in shown["rejected"]] == [
        (2, "implausible_value"),
        (4, "implausible_value"),
    ]


# --- numbers --------------------------------------------------------------------------------------------------
def test_number_format_is_asked_for_the_column_that_does_not_settle() -> None:
    shown = read("Spin (rpm);Carry (m)\n2.345;1.204\n2.410;1.310\n")
    assert shown["error"] == {"kind": "ambiguous_number_format", "column": "Carry (m)"}


def test_only_measured_columns_are_evidence() -> None:
    shown = read("Note;Foo;Spin (rpm)\n1,5;2,5;2.345\n")
    assert shown["dialect"]["decimal"] == ","
    assert "decimal_inferred" in shown["warnings"]


def test_an_overflowing_number_is_implausible() -> None:
    shown = read("Ball Speed (mph),Club\n118,a\n1e999,b\n" + "9" * 90 + ",c\n")
    assert [row["reason"] for row in shown["rejected"]] == ["implausible_value"] * 2


# --- time -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("written", "time"),
    [
        ("2024-05-01", "2024-05-01T00:00:00"),
        ("2024-05-01 14:00", "2024-05-01T14:00:00"),
        ("2024-05-01T14:00:05Z", "2024-05-01T14:00:05"),
        ("2024-05-01T14:00:05.123+02:00", "2024-05-01T14:00:05"),
        ("2024/05/01 14:00:05", "2024-05-01T14:00:05"),
        ("31.12.2024 9:05", "2024-12-31T09:05:00"),
        ("12/31/24 12:00 AM", "2024-12-31T00:00:00"),
        ("1 May 2024 14:00", "2024-05-01T14:00:00"),
        ("1. Mai 2024", "2024-05-01T00:00:00"),
        ("May 1, 2024 2:00 pm", "2024-05-01T14:00:00"),
        ("05/05/2024", "2024-05-05T00:00:00"),
        ("01/02/2024", None),
        ("30/02/2024", None),
        ("2024-02-30 10:00:00", None),
        ("14:00:05", None),
        ("yesterday", None),
    ],
)
def test_times(written: str, time: str | None) -> None:
    shown = read(f"Date;Ball Speed (mph)\n{written};118\n")
    assert shown["rows"][0]["time"] == time
    assert ("ambiguous_date" in shown["warnings"]) == (time is None)


def test_times_of_a_long_file() -> None:
    rows = "".join(f"2024-05-01 14:{shot // 60 % 60:02}:{shot % 60:02},118\n" for shot in range(500))
    shown = read("Date,Ball Speed (mph)\n" + rows + "2024-02-30 10:00:00,118\n30/09/2024,118\n,118\n")
    assert shown["rows"][61]["time"] == "2024-05-01T14:01:01"
    assert [row["time"] for row in shown["rows"][-3:]] == [None, "2024-09-30T00:00:00", None]


def test_date_and_clock_in_two_columns_in_any_order() -> None:
    shown = read("Time,Date,Ball Speed (mph)\n2:00 PM,30/09/2024,118\n,10/09/2024,119\n")
    assert [row["time"] for row in shown["rows"]] == ["2024-09-30T14:00:00", None]
    assert read("Date,Time,Carry (yd)\n2024-05-01,2024-05-02,165\n")["error"]["kind"] == "duplicate_field"
