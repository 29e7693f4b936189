"""The search for what is left of a person: a word that is there is found, whatever it is written and packed in."""

import io
import json
import os
import sqlite3
import zipfile
import zlib
from email.message import EmailMessage
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import traces
from pipeline.traces import Trace, Words

if TYPE_CHECKING:
    from collections.abc import Callable

NAME = "Ulma Sömmersand"


def found(folder: Path, *words: str, skipped: tuple[Path, ...] = ()) -> dict[str, str]:
    return {trace.path.as_posix(): trace.found for trace in traces.search(folder, Words(words, ()), skipped).traces}


def workbook(text: str) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/sharedStrings.xml", f"<t>{text}</t>" * 50)
    return out.getvalue()


def pdf(text: str) -> bytes:
    first, second = (zlib.compress(part) for part in (b"0 0 m " * 50, text.encode()))
    return b"%%PDF-1.7\nstream\n%s\nendstream\nstream\r\n%s\nendstream" % (first, second)


def letter(text: str, cte: str) -> bytes:
    made = EmailMessage()
    made["To"] = "someone@example.org"
    made.set_content(f"{text}\n", cte=cte)
    return bytes(made)


def letter_to(name: str) -> bytes:
    made = EmailMessage()
    made["Subject"] = f"For {name}"
    return bytes(made)


CONTENTS = {
    "utf-8": f"customer: {NAME}, right".encode(),
    "capitals": NAME.upper().encode(),
    "small": NAME.lower().encode(),
    "decomposed": "Ulma So\u0308mmersand".encode(),
    "legacy": f'"{NAME}";1'.encode("cp1252"),
    "utf-16": f"\ufeff{NAME};1".encode("utf-16-le"),
    "utf-16 of the other order": f"\ufeff{NAME};1".encode("utf-16-be"),
    "json": json.dumps({"customer": NAME}).encode(),
    "workbook": workbook(NAME),
    "pdf": pdf(NAME),
    "quoted.eml": letter(NAME, "quoted-printable"),
    "base64.eml": letter(NAME, "base64"),
    "header.eml": letter_to(NAME),
    "beside other words without a space": b"\0" + f"id{NAME}accepted".encode(),
    "broken workbook": b"PK\x03\x04" + NAME.encode(),
    "broken pdf": b"%PDF-1.7 stream\n" + NAME.encode(),
    "broken.eml": b"Content-Type: text/plain; charset=nonsense\n\n" + NAME.encode(),
}


@pytest.mark.parametrize("how", CONTENTS)
def test_a_name_is_found_however_it_is_written(tmp_path: Path, how: str) -> None:
    (tmp_path / how).write_bytes(CONTENTS[how])
    assert found(tmp_path, NAME) == {how: NAME}
    assert found(tmp_path, "Ulma Anderfeld", "Sand Sömmersand") == {}


@pytest.mark.parametrize("text", ['says "hands high" & <waits>', "back\\slash \t and tab", "ends with ß"])
def test_what_json_toml_and_html_write_otherwise_is_found_too(tmp_path: Path, text: str) -> None:
    escaped = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
    for name, content in (("a", json.dumps(text)), ("b", json.dumps(text, ensure_ascii=False)), ("c", escaped)):
        (tmp_path / name).write_text(f"notes = {content}", encoding="utf-8")
    assert set(found(tmp_path, text)) == {"a", "b", "c"}


@given(st.text(st.characters(categories=("L", "N")), min_size=4, max_size=30), st.sampled_from(["utf-8", "utf-16-le"]))
def test_any_word_is_found_between_others_in_any_case(word: str, encoding: str) -> None:
    patterns = {word: (traces._patterns(word), False)}
    for written in (word, word.upper(), word.lower()):
        assert traces._in(f"a, {written}; b".encode(encoding).lower(), patterns) == word


def test_a_word_is_no_part_of_a_longer_one_in_a_text(tmp_path: Path) -> None:
    for name, text in (("a", "xaspenx aspens aspen2"), ("b", "aspen_club"), ("c", "by „Aspen“"), ("d", "xaspen ASPEN")):
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert set(found(tmp_path, "Aspen")) == {"b", "c", "d"}


def test_names_of_files_folders_and_links_count_and_links_are_not_followed(tmp_path: Path) -> None:
    outside, studio = tmp_path / "outside", tmp_path / "studio"
    outside.mkdir()
    (outside / "a.csv").write_text(NAME, encoding="utf-8")
    (studio / "deep" / f"2026 {NAME}").mkdir(parents=True)
    (studio / "deep" / f"{NAME}.csv").touch()
    (studio / "elsewhere").symlink_to(outside)
    (studio / "to her").symlink_to(f"../{NAME}")
    os.mkfifo(studio / "pipe")
    assert set(found(studio, NAME)) == {f"deep/2026 {NAME}", f"deep/{NAME}.csv", "to her"}
    assert set(found(studio, NAME, skipped=(studio / "deep",))) == {"to her"}


def test_a_file_that_cannot_be_read_is_told_and_one_that_has_gone_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("closed", "gone", "open"):
        (tmp_path / name).write_text("nothing", encoding="utf-8")
    real: Callable[..., object] = Path.open

    def refusing(self: Path, *words: str) -> object:
        if self.name in ("closed", "gone"):
            fault = PermissionError(13, "Permission denied") if self.name == "closed" else FileNotFoundError(2, "gone")
            raise fault
        return real(self, *words)

    monkeypatch.setattr(Path, "open", refusing)
    search = traces.search(tmp_path, Words((NAME,), ()))
    assert search.traces == (Trace(Path("closed"), "it cannot be read (Permission denied)"),)
    assert search.n_files == 3


@pytest.mark.parametrize("at", range(40, 80, 3))
def test_a_word_across_the_border_of_two_parts_of_a_large_file_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    monkeypatch.setattr(traces, "_CHUNK", 64)
    (tmp_path / "large").write_bytes(b"." * at + NAME.encode() + b"." * 500)
    assert found(tmp_path, NAME) == {"large": NAME}


def test_a_word_in_a_database_is_found(tmp_path: Path) -> None:
    database = sqlite3.connect(tmp_path / "ledger")
    database.execute("create table visit (id, name, state)")
    database.execute("insert into visit values ('ab12', 'aspen', 'reported')")
    database.commit()
    database.close()
    assert found(tmp_path, "Aspen") == {"ledger": "Aspen"}


def test_a_word_that_a_longer_one_of_another_visit_begins_with_is_found_where_it_stands_alone(tmp_path: Path) -> None:
    words = traces.worth_searching(["Aspen"], ["xaspenx", "aspenwood"])
    assert words == Words(("Aspen",), (), frozenset({"Aspen"}))
    (tmp_path / "ledger").write_bytes(b"\0aspenwood reported\0xaspenx")
    assert traces.search(tmp_path, words).traces == ()
    (tmp_path / "ledger").write_bytes(b"\0aspenwood reported\0Aspen\0")
    assert traces.search(tmp_path, words).traces == (Trace(Path("ledger"), "Aspen"),)


def test_a_word_with_another_one_in_it_is_found_by_that_one(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("2026-11-25 aspen ridge", encoding="utf-8")
    assert found(tmp_path, "2026-11-25 Aspen Ridge", "Aspen Ridge", "Aspen Ridges") == {"a": "Aspen Ridge"}
    words = Words(("2026-11-25 Aspen Ridge", "Aspen Ridge"), (), frozenset({"Aspen Ridge"}))
    (tmp_path / "a").write_bytes(b"\0" + b"2026-11-25 aspen ridgereported")
    assert traces.search(tmp_path, words).traces == (Trace(Path("a"), "2026-11-25 Aspen Ridge"),)


# --- which words ------------------------------------------------------------------------------------------------------
def test_words_that_prove_nothing_are_left_out_with_the_reason() -> None:
    words = ["Li", "a.b.c", "0142", "142857", "Ulma Anderfeld", "driver", "ULMA  anderfeld", "", "  ", "Pine Ridge"]
    others = ["2026-11-25 pine ridge (2)", "0142857", "Ulma"]
    assert traces.worth_searching(words, others) == Words(
        searched=("142857", "ULMA  anderfeld"),
        left_out=(
            ("Li", "too short"), ("a.b.c", "too short"), ("0142", "too short"),
            ("driver", "a word of the program itself"), ("Pine Ridge", "a visit that stays has it as well"),
        ),
        alone=frozenset({"142857"}),
    )  # fmt: skip


def test_notes_are_searched_line_by_line() -> None:
    assert traces.worth_searching(["Left knee hurts.\r\n\n  Ask the doctor. "], []).searched == (
        "Left knee hurts.",
        "Ask the doctor.",
    )


def test_a_text_in_hand_is_searched_as_well() -> None:
    assert traces.found_in(["a", f"2026 {NAME}"], Words((NAME,), ())) == NAME
    assert traces.found_in(["a", "2026 Ulma"], Words((NAME,), ())) == ""
