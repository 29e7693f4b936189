"""Kinds of files: encodings, workbooks, JSON, and what is refused."""

import datetime as dt
import io
import json
import zipfile
from typing import Any

import openpyxl  # type: ignore[import-untyped]
import pytest

from pipeline.reading import as_json, read_shot_file
from pipeline.reading.decoding import decode
from pipeline.reading.kinds import kind_of
from pipeline.reading.mending import mended
from pipeline.reading.parts import Decoded, Refused
from pipeline.records import FileReading, Given, ShotFile

HEADING = ["Club", "Ball Speed (mph)", "Carry (yd)", "Spin (rpm)", "Launch Angle"]
TEXT = "Club,Ball Speed (mph)\n7I,118.0\n"


def read(content: bytes | str, name: str = "a.csv", **given: Any) -> FileReading:  # noqa: ANN401 - parts of Given
    return read_shot_file(ShotFile(name, content.encode() if isinstance(content, str) else content), Given(**given))


def workbook(rows: list[list[Any]], first_row: int = 1, sheets_before: int = 0) -> bytes:
    """Write a workbook with rows on its last sheet."""
    book = openpyxl.Workbook()
    for _ in range(sheets_before):
        book.create_sheet(index=0).append(["nothing", "here"])
    sheet = book.worksheets[-1]
    for number, row in enumerate(rows, start=first_row):
        for column, value in enumerate(row, start=1):
            sheet.cell(row=number, column=column, value=value)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


# --- bytes ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf \r\n\t", "empty"),
        (b" " * 5000 + b"\n", "empty"),
        (TEXT.encode(), "text"),
        (b"\xef\xbb\xbf<!DOCTYPE html>", "html"),
        ("<HTML>".encode("utf-16"), "text"),
        (b"<?xml version='1.0'?><html>", "html"),
        (b"<?xml version='1.0'?><Workbook>", "xml"),
        (b"PK\x03\x04 cut", "incomplete"),
        (b"%PDF-1.7", "pdf"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "xls"),
    ],
)
def test_kinds(content: bytes, kind: str) -> None:
    found = kind_of(content)
    assert found == kind or (kind == "text" and found == "html")


def test_other_archives_are_named() -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("a.txt", "a")
    assert kind_of(buffer.getvalue()) == "zip"


@pytest.mark.parametrize(
    ("content", "encoding", "warnings"),
    [
        ("Größe".encode(), "utf-8", set()),
        ("Größe".encode("utf-8-sig"), "utf-8-sig", set()),
        ("Größe".encode("utf-16"), "utf-16", set()),
        ("Größe 118".encode("utf-16-le"), "utf-16-le", set()),
        ("Größe 118".encode("utf-16-be"), "utf-16-be", set()),
        ("Größe".encode("utf-32"), "utf-32", set()),
        ("Größe".encode("cp1252"), "cp1252", {"legacy_encoding"}),
        ("Größe\n".encode() + "Größe".encode("cp1252"), "utf-8", {"mixed_encoding"}),
        ("Größe\r".encode() + "Größe".encode("cp1252"), "utf-8", {"mixed_encoding"}),
        (b"\xef\xbb\xbfa\n" + "Größe".encode("cp1252"), "utf-8", {"mixed_encoding"}),
        (b"a\x81b", "cp1252", {"legacy_encoding"}),
    ],
)
def test_encodings(content: bytes, encoding: str, warnings: set[str]) -> None:
    found = decode(content)
    assert isinstance(found, Decoded)
    assert found.encoding == encoding
    assert found.warnings == warnings
    assert "Größe" in found.text or content.startswith(b"a")


@pytest.mark.parametrize("content", [TEXT.encode() + b"\0\0", b"\0" * 50, (TEXT + "\0\0").encode("utf-16")])
def test_zero_bytes_at_the_end(content: bytes) -> None:
    found = decode(content)
    assert isinstance(found, Refused)
    assert found.fault.kind == "incomplete_file"


def test_blank_in_any_encoding_is_empty() -> None:
    for content in ("\n \n".encode("utf-16"), b" \n\t", "\u3000\n".encode()):
        reading = read(content)
        assert reading.fault is not None
        assert reading.fault.kind == "empty_file"


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("Â°", "°"),
        ("SchlÃ¤ger", "Schläger"),
        ("â€“1.5", "–1.5"),
        ("2Â\u00a0345", "2\u00a0345"),
        ("Ârt", "Ârt"),
        ("Å", "Å"),
    ],
)
def test_double_encoding(text: str, right: str) -> None:
    assert mended(text) == right


def test_text_without_heading_is_refused_by_name() -> None:
    for content, detected in ((b"hello world\n1,2,3\n", "text"), (b"\x01\0\x02\0\0\0\x03x", "binary")):
        reading = read(content)
        assert reading.outcome == "quarantine"
        assert reading.fault is not None
        assert reading.fault.facts == {"detected": detected}


# --- workbooks ------------------------------------------------------------------------------------------------
def test_workbook_cells_of_all_kinds() -> None:
    rows: list[list[Any]] = [
        HEADING,
        ["7I", 118.5, 165, "6,500", 12.345],
        ["7I", "119,5", 166, 6400, "#DIV/0!"],
        ["8I", "#N/A", 150, 6000, 11],
        ["8I", 120, dt.datetime(2024, 5, 1), 6000, 11],  # noqa: DTZ001 - a sheet's dates have no zone
        [None, None, None, None, None],
        ["Average", 119, 160, 6000, 12],
    ]
    shown = as_json(read(workbook(rows, first_row=4, sheets_before=1), "a.xlsx"))
    assert shown["dialect"] == {
        "encoding": "xlsx",
        "delimiter": None,
        "decimal": "mixed",
        "header_line": 4,
        "units_line": None,
    }
    assert [row["line"] for row in shown["rows"]] == [5, 6]
    assert [row["spin_rate_rpm"] for row in shown["rows"]] == [6500.0, 6400.0]
    assert [row["launch_angle_deg"] for row in shown["rows"]] == [12.345, None]
    assert shown["rows"][1]["ball_speed_mps"] == pytest.approx(119.5 * 0.44704)
    assert shown["bad_cells"] == [{"line": 6, "column": "Launch Angle", "reason": "spreadsheet_error"}]
    assert [(row["line"], row["reason"]) for row in shown["rejected"]] == [
        (7, "spreadsheet_error"),
        (8, "date_in_number"),
    ]
    assert shown["dropped"] == [{"line": 10, "reason": "summary_row"}]


def test_large_workbook_keeps_its_line_numbers() -> None:
    rows: list[list[Any]] = [HEADING, *([["7I", 118.5, 165, 6500, 12.345]] * 20_500)]
    reading = read(workbook(rows, first_row=3), "a.xlsx")
    assert reading.dialect.header_line == 3
    assert reading.shots.height == 20_500
    assert reading.shots["line"][0] == 4
    assert reading.shots["launch_angle_deg"][-1] == 12.345


def test_workbooks_that_hold_no_shots() -> None:
    sheets: list[list[list[Any]]] = [[["nothing"]], [[None]]]
    for rows in sheets:
        reading = read(workbook(rows), "a.xlsx")
        assert reading.fault is not None
        assert reading.fault.facts == {"detected": "workbook"}


def test_broken_workbooks() -> None:
    content = workbook([HEADING])
    assert read(content[: len(content) // 2], "a.xlsx").outcome == "retry"
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr("xl/workbook.xml", "<nonsense")
    assert read(buffer.getvalue(), "a.xlsx").outcome == "quarantine"


# --- JSON -----------------------------------------------------------------------------------------------------
def test_json_objects_within_objects() -> None:
    shots = '{"ball":{"speed_mph":118},"carry_yd":"165","ok":true},{"ball":{"speed_mph":119.5},"carry_yd":null}'
    text = f'{{"bay":3,"shots":[{shots}]}}'
    shown = as_json(read(text, "a.json"))
    assert shown["columns"]["ball.speed_mph"] == {"field": "ball_speed_mps", "unit": "mph", "unit_from": "header"}
    assert [row["carry_m"] for row in shown["rows"]] == [pytest.approx(150.876), None]
    assert shown["unmapped"] == ["ok"]


def test_json_numbers_are_no_text() -> None:
    shown = as_json(read('[{"launch_deg":12.345,"spin_rpm":2345},{"launch_deg":1.5e1,"spin_rpm":"2,345"}]', "a.json"))
    assert [row["launch_angle_deg"] for row in shown["rows"]] == [12.345, 15.0]
    assert [row["spin_rate_rpm"] for row in shown["rows"]] == [2345.0, 2345.0]
    assert shown["dialect"]["decimal"] is None


def test_json_entries_that_are_no_objects() -> None:
    shown = as_json(read('[{"ball_speed_mph":118},3,{"ball_speed_mph":119}]', "a.json"))
    assert shown["rejected"] == [{"line": 2, "reason": "invalid_json_line", "column": None}]
    assert [row["line"] for row in shown["rows"]] == [1, 3]


def test_json_infinity_is_not_finite() -> None:
    shown = as_json(read('[{"spin_rpm":1,"carry_yd":Infinity},{"spin_rpm":1,"carry_yd":NaN}]', "a.json"))
    assert shown["rejected"] == [{"line": 1, "reason": "not_finite", "column": "carry_yd"}]
    assert "nonstandard_json" in shown["warnings"]


def test_json_strings_that_no_text_can_hold() -> None:
    assert read('[{"club":"\\ud800","carry_yd":165}]', "a.json").shots["club"].to_list() == ["?"]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ('[{"carry_yd":165},{"carry', "incomplete_file"),
        ("[" * 100_000, "incomplete_file"),
        ('{"a":' * 50_000, "not_tabular"),
        ("[1,2,3]", "not_tabular"),
        ("[]", "not_tabular"),
        ('{"x":1}', "not_tabular"),
        ('[{"carry_yd":1},]', "not_tabular"),
    ],
)
def test_json_that_is_refused(text: str, kind: str) -> None:
    reading = read(text, "a.json")
    assert reading.fault is not None
    assert reading.fault.kind == kind


def test_json_without_the_ending() -> None:
    text = json.dumps([{"ball_speed_mph": 118}])
    assert read(text, "export.txt").shots.height == 1
    assert read("[Club],[Ball Speed (mph)]\n7I,118\n").shots.height == 1


def test_json_in_utf16_and_line_wise() -> None:
    text = '{"ball_speed_mph":118}\n\n{"ball_speed_mph":119}\n'
    assert read(text.encode("utf-16"), "a.ndjson").shots["line"].to_list() == [1, 3]
