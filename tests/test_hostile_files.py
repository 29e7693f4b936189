"""Files made to do harm: each is refused in plain words within time and memory, or read as what it truly holds."""

import io
import time
import tracemalloc
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import session, settings, strict_toml, visit_facts, visits
from pipeline.errors import SettingsError
from pipeline.reading import as_json, read_shot_file
from pipeline.records import FileReading, Given, Refusal, ShotFile, VisitFacts
from pipeline.work_messages import Job
from tests.conftest import TODAY

if TYPE_CHECKING:
    from tests.conftest import Bench

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
TOP = b'<?xml version="1.0"?>'
LAUGHS = b'<!DOCTYPE x [<!ENTITY a "ha">' + b"".join(
    b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 10) for n in range(10)
)
PARTS = {
    "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="a" Type="{OFFICE}/officeDocument" '
    'Target="xl/workbook.xml"/></Relationships>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="a" Type="{OFFICE}/worksheet" '
    f'Target="worksheets/sheet1.xml"/><Relationship Id="b" Type="{OFFICE}/sharedStrings" '
    'Target="sharedStrings.xml"/></Relationships>',
    "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{OFFICE}"><sheets><sheet name="a" sheetId="1" r:id="a"/>'
    "</sheets></workbook>",
}


def text(place: str, words: str) -> bytes:
    return f'<c r="{place}" t="inlineStr"><is><t>{words}</t></is></c>'.encode()


HEADING = b'<row r="1">' + text("A1", "Club") + text("B1", "Ball Speed (mph)") + text("C1", "Carry (yd)") + b"</row>"


def row(line: int, more: bytes = b"") -> bytes:
    return b'<row r="%d">' % line + text(f"A{line}", "7I") + b"<c><v>118</v></c><c><v>165</v></c>%s</row>" % more


def workbook(
    rows: Iterable[bytes], extent: str = "A1:C3", *, top: bytes = TOP, strings: bytes = b"", more: int = 0
) -> bytes:
    """Write a workbook by hand, as no spreadsheet program would; rows follow a heading."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in PARTS.items():
            archive.writestr(name, TOP.decode() + part)
        with archive.open("xl/worksheets/sheet1.xml", "w") as sheet:
            sheet.write(top + f'<worksheet xmlns="{MAIN}"><dimension ref="{extent}"/><sheetData>'.encode() + HEADING)
            for piece in rows:
                sheet.write(piece)
            sheet.write(b"</sheetData></worksheet>")
        archive.writestr("xl/sharedStrings.xml", TOP + b'<sst xmlns="%s">' % MAIN.encode() + strings + b"</sst>")
        for number in range(more):
            archive.writestr(f"x/{number}", b"")
    return out.getvalue()


def read(content: bytes, name: str = "a.xlsx") -> FileReading:
    """Read a file; it must not take long nor much of what Python hands out."""
    began = time.process_time()
    tracemalloc.start()
    try:
        found = read_shot_file(ShotFile(name, content), Given())
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert time.process_time() - began < 20
    assert peak < 500_000_000
    return found


# --- workbooks --------------------------------------------------------------------------------------------------------
def test_a_workbook_written_by_hand_is_read() -> None:
    assert read(workbook([row(2), row(3)])).shots.height == 2


@pytest.mark.parametrize("extent", ["A1:C3", "A1", "A1:A2", "A1:XFD1048576", "nonsense", "C3:A1"])
def test_no_row_is_lost_nor_made_up_whatever_a_sheet_says_of_its_extent(extent: str) -> None:
    found = read(workbook([row(line) for line in range(2, 40)], extent))
    assert found.outcome == "quarantine" if extent == "nonsense" else found.shots.height == 38


BOMBS = {
    "much XML of nothing": lambda: workbook([b" " * 1_000_000] * 33),
    "many empty cells": lambda: workbook([b"<row>", *[b"<c/>" * 10_000] * 101, b"</row>"]),
    "many empty rows": lambda: workbook([b"<row/>" * 10_000] * 101),
    "rows up to the last line there is": lambda: workbook([row(1_048_576)]),
    "a row beyond all lines": lambda: workbook([row(2_000_000_000)]),
    "a cell far to the right in each row": lambda: workbook(
        b'<row r="%d"><c r="XFD%d"><v>1</v></c></row>' % (line, line) for line in range(2, 1_000)
    ),
    "one long cell": lambda: workbook([b"<row>", text("A2", "x" * 500_000), b"</row>"]),
    "many attributes": lambda: workbook([b"<row " + b" ".join(b'a%d="1"' % n for n in range(50_000)) + b"/>"]),
    "many strings": lambda: workbook([row(2)], strings=b"<si/>" * 1_000_100),
    "one long string": lambda: workbook([row(2)], strings=b"<si><t>" + b"x" * 500_000 + b"</t></si>"),
    "a billion laughs": lambda: workbook([b"<row>", text("A2", "&k;"), b"</row>"], top=TOP + LAUGHS + b"]>"),
    "a file of the machine": lambda: workbook(
        [b"<row>", text("A2", "&a;"), b"</row>"], top=TOP + b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
    ),
    "tags in tags": lambda: workbook([b"<a>" * 300_000]),
    "many parts": lambda: workbook([row(2)], more=2_100),
    "a number of a million digits": lambda: workbook([b"<row><c><v>" + b"9" * 1_000_000 + b"</v></c></row>"]),
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_of_a_workbook_is_refused(name: str) -> None:
    found = read(BOMBS[name]())
    assert found.outcome == "quarantine"
    assert found.fault is not None
    assert found.fault.kind == "not_tabular"


def test_what_a_workbook_holds_beside_its_cells_is_not_unpacked() -> None:
    content = workbook([row(2)])
    out = io.BytesIO(content)
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/media/picture.png", bytes(50_000_000))
        archive.writestr("xl/embeddings/inner.xlsx", content)
        archive.writestr("../../escaped.csv", b"x")
    assert read(out.getvalue()).shots.height == 1
    assert not Path("../../escaped.csv").exists()


def test_formulas_links_and_macros_are_not_followed() -> None:
    sheet = b'<row r="2"><c r="A2" t="inlineStr"><is><t>7I</t></is></c><c r="B2"><f>1+117</f></c>'
    sheet += b'<c r="C2"><f>WEBSERVICE("http://127.0.0.1:9/")</f><v>165</v></c></row>'
    out = io.BytesIO(workbook([sheet]))
    with zipfile.ZipFile(out, "a") as archive:
        archive.writestr("xl/vbaProject.bin", b"\0" * 100)
    shown = as_json(read(out.getvalue(), "a.xlsm"))
    assert [(shot["ball_speed_mps"], round(shot["carry_m"] / 0.9144)) for shot in shown["rows"]] == [(None, 165)]


# --- text and JSON ----------------------------------------------------------------------------------------------------
HEAD = b"Club,Ball Speed (mph),Carry (yd)\n"
TEXTS = {
    "JSON in JSON": b"[" * 100_000,
    "objects in objects": b'[{"a":' * 100_000,
    "a number of a million digits": b'[{"Club":"7I","Carry (yd)":' + b"9" * 1_000_000 + b"}]",
    "many units": HEAD[:-1] + b"," + b",".join(b"Foo%d (mph)" % n for n in range(300_000)) + b"\n1\n",
    "a page in the clothes of text": b"<?xml version='1.0'?>" + LAUGHS + b"]><html>&k;</html>",
    "half a character of UTF-16": b"\xff\xfe" + "Club,Carry (yd)\n7I,165".encode("utf-16-le") + b"7",
    "gzip": b"\x1f\x8b\x08" + bytes(100),
}


@pytest.mark.parametrize("name", TEXTS)
def test_a_text_made_to_do_harm_gives_no_shot(name: str) -> None:
    content = TEXTS[name]
    found = read(content, "a.json" if content[:1] == b"[" else "a.csv")
    assert found.shots.height == 0


def test_numbers_json_does_not_have_are_no_measurements() -> None:
    content = b'[{"Club":"7I","Ball Speed (mph)":118,"Carry (yd)":NaN},{"Club":"7I","Carry (yd)":-Infinity}]'
    found = read(content, "a.json")
    assert found.shots["carry_m"].drop_nulls().to_list() == []
    assert "nonstandard_json" in found.warnings


# --- visit.toml -------------------------------------------------------------------------------------------------------
SIZE = visit_facts.LARGEST
TOMLS = {
    "arrays in arrays": "a = " + "[" * (SIZE - 10),
    "tables in tables": "a = " + "{a=" * (SIZE // 3 - 10),
    "a key of many dots": "a." * (SIZE // 2 - 10) + "a = 1",
    "a quoted key of many dots": '"a" . ' * (SIZE // 6 - 10) + "a = 1",
    "many keys of many dots": ("a." * 60 + "a = 1\n") * (SIZE // 130),
    "many keys": "".join(f"k{n} = 1\n" for n in range(SIZE // 12)),
    "many tables": "".join(f"[t{n}]\n" for n in range(SIZE // 10)),
    "a long number": "[home_course]\naltitude_m = " + "9" * (SIZE - 100),
    "a long number in another base": "[home_course]\naltitude_m = 0x" + "f" * (SIZE - 100),
    "a long number for words": "customer = 0x" + "f" * (SIZE - 100),
    "a line no file has": "[[shot]]\nfile='a'\nline=99999999999\ncounts=true\nreason='x'",
    "an infinite height": "[home_course]\naltitude_m = inf",
    "long words": 'customer = "' + "x" * (SIZE - 20) + '"',
}


@pytest.mark.parametrize("name", TOMLS)
def test_facts_made_to_do_harm_are_refused_in_a_sentence(name: str) -> None:
    began = time.process_time()
    with pytest.raises(SettingsError, match=r"^visit\.toml") as fault:
        visit_facts.read(TOMLS[name])
    assert time.process_time() - began < 10
    assert len(str(fault.value)) < 400


def test_a_note_may_have_many_dots() -> None:
    note = "Wait... no. Yes. www.example.org/a.b.c — " + "One. Two three. " * 40
    assert strict_toml.parse(f'notes = "{note}"', "visit.toml") == {"notes": note}


def job(tmp_path: Path, files: dict[str, bytes]) -> Job:
    for name, content in files.items():
        (tmp_path / name).write_bytes(content)
    originals = tuple((name, str(tmp_path / name)) for name in files)
    return Job("visit", "id", originals, settings.load(), TODAY, {})


def refusal(tmp_path: Path, files: dict[str, bytes]) -> Refusal:
    found = visits.work_out(job(tmp_path, files))
    assert isinstance(found, Refusal)
    assert found.outcome == "set_back"
    return found


def test_facts_too_large_are_refused_unread(tmp_path: Path) -> None:
    found = refusal(tmp_path, {"a.csv": HEAD + b"7I,118,165\n", "visit.toml": b"#" * (SIZE + 1)})
    assert (found.exit_code, found.what) == (6, "visit/visit.toml: too large for a visit.toml.")
    kept = visits.work_out(job(tmp_path, {"a.csv": HEAD + b"7I,118,165\n" * 5, "visit.toml": b"#" * SIZE}))
    assert not isinstance(kept, Refusal)


# --- far more than a visit --------------------------------------------------------------------------------------------
@pytest.mark.parametrize("line", [b"\n", b"7I,118,165\r", b'{"a":1},', b"[],"])
def test_a_file_of_far_more_lines_than_a_visit_has_is_refused_unread(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: bytes
) -> None:
    monkeypatch.setattr("pipeline.visits.session.fit", None)
    found = refusal(tmp_path, {"a.csv": HEAD + b"7I,118,165\n", "b.csv": line * 200_001})
    assert found.what == "It has more than 200,000 lines or records, which is far more than one visit."
    assert (found.where, found.to_do) == ("b.csv", "Drop the exports of one visit only.")


def test_more_shots_than_a_visit_can_have_are_refused_however_they_are_parted() -> None:
    def of(*counts: int) -> list[ShotFile]:
        return [ShotFile(f"{n}.csv", HEAD + b"7I,118,165\n" * count) for n, count in enumerate(counts)]

    found = session.fit("v", of(1_000, 1_001), VisitFacts(), settings.load(), TODAY, "id")
    assert isinstance(found, Refusal)
    assert found.what == "It holds 2,001 shots, and 2,000 are the most a visit can have."
    assert (found.outcome, found.where) == ("set_back", "0.csv, 1.csv")


# --- names ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("content", ["shots", "no table"])
@pytest.mark.parametrize(
    "name",
    ["..csv", "...csv", "....toml.csv", "-rf *.csv", "$(reboot).csv", "a;b|c&d.csv", "%2e%2e%2fx.csv", "..\\..\\x.csv",
     "x" * 250 + ".csv", "\u202egpj.csv", "a\x1b[2Jb\x07\r.csv", "CON.csv",
     "🏌" * 62 + ".csv", " . .csv", "e\u0301.csv"],
)  # fmt: skip
def test_no_name_leads_out_of_the_folders(bench: "Bench", name: str, content: str) -> None:
    before = {path for path in bench.studio.root.rglob("*") if path.is_dir()}
    around = set(bench.studio.root.parent.iterdir())
    bench.drop(name, content)
    bench.go(bench.open())
    if name.startswith("."):
        assert bench.events == []  # hidden: unfinished, or not for us
        return
    assert bench.kinds() == ["reported" if content == "shots" else "set_back"]
    made = bench.studio.outbox if content == "shots" else bench.studio.set_back
    assert len(list(made.iterdir())) == (1 if content == "shots" else 2)
    for path in made.iterdir():
        assert path.name.isprintable()
        assert not path.name.startswith((".", " "))
        assert len(os_bytes(path.name)) <= 255
    new = {path for path in bench.studio.root.rglob("*") if path.is_dir()} - before
    ours = bench.studio.work / "archive"  # its folders are called after the studio and the month
    assert all(path.parent in {bench.studio.outbox, bench.studio.work} or ours in path.parents for path in new)
    assert all(path.name.startswith(("studio=", "ym=")) for path in new if ours in path.parents)
    assert set(bench.studio.root.parent.iterdir()) == around


def os_bytes(name: str) -> bytes:
    return name.encode("utf-8", "surrogateescape")
