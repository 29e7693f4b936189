"""The studio folder: what is written there is whole or not there at all."""

import errno
import os
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import settings, studio
from pipeline.errors import FolderError, SettingsError


def test_init_makes_every_folder_and_a_commented_studio_toml(tmp_path: Path) -> None:
    made = studio.create(tmp_path / "new" / "studio")
    assert all(place.is_dir() for place in made.folders())
    assert {path.name for path in made.root.iterdir()} == {"inbox", "outbox", "set-back", "work", "studio.toml"}
    assert (made.root / "studio.toml").read_text(encoding="utf-8") == settings.template()
    assert studio.opened(made.root) == (made, settings.load())


def test_init_again_leaves_what_is_there(tmp_path: Path) -> None:
    made = studio.create(tmp_path)
    (tmp_path / "studio.toml").write_text('name = "Ours"', encoding="utf-8")
    (made.inbox / "a.csv").write_text("shots", encoding="utf-8")
    studio.create(tmp_path)
    assert studio.opened(tmp_path)[1].name == "Ours"
    assert (made.inbox / "a.csv").read_text(encoding="utf-8") == "shots"


def test_init_where_a_file_is_says_so(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(
        FolderError, match=r"cannot make the studio folder there \(.*\)\. Choose a folder you may write"
    ):
        studio.create(tmp_path / "file")


def test_a_folder_that_is_no_studio_is_refused_with_the_command_that_makes_one(tmp_path: Path) -> None:
    with pytest.raises(
        FolderError, match=r"is no studio folder: inbox and outbox missing. Make one with: baywright init"
    ):
        studio.opened(tmp_path)
    (tmp_path / "inbox").mkdir()
    with pytest.raises(FolderError, match="is no studio folder: outbox missing"):
        studio.opened(tmp_path)


def test_studio_toml_may_be_missing_or_start_with_a_byte_order_mark(tmp_path: Path) -> None:
    studio.create(tmp_path)
    (tmp_path / "studio.toml").unlink()
    assert studio.opened(tmp_path)[1] == settings.load()
    (tmp_path / "studio.toml").write_bytes(b'\xef\xbb\xbfname = "\xc3\x9cbung"\r\n')
    assert studio.opened(tmp_path)[1].name == "Übung"


@pytest.mark.parametrize("content", [b'# a\nname = "\xdcbung"', '# a\nname = "Übung"'.encode("utf-16")])
def test_studio_toml_in_another_encoding_is_a_setting_not_understood(tmp_path: Path, content: bytes) -> None:
    studio.create(tmp_path)
    (tmp_path / "studio.toml").write_bytes(content)
    with pytest.raises(
        SettingsError, match=r"studio.toml, line [12]: a character there is not UTF-8. Save the file as"
    ):
        studio.opened(tmp_path)


def test_a_fault_in_studio_toml_names_the_file(tmp_path: Path) -> None:
    studio.create(tmp_path)
    (tmp_path / "studio.toml").write_text("papre = 'A4'", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"studio.toml, line 1: unknown key 'papre'. Did you mean 'paper'"):
        studio.opened(tmp_path)


def test_one_program_at_a_time(tmp_path: Path) -> None:
    made = studio.create(tmp_path)
    held = studio.lock(made)
    with pytest.raises(FolderError, match="another baywright is at work on this folder"):
        studio.lock(made)
    held.release()
    studio.lock(made).release()


def test_a_work_folder_that_refuses_the_lock_says_so(tmp_path: Path) -> None:
    made = studio.create(tmp_path)
    (made.work / "lock").mkdir()
    with pytest.raises(FolderError, match="cannot be written to"):
        studio.lock(made)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("customer 0142", "customer 0142"),
        ("a/b\\c:d*e?f", "a b c d e f"),
        ("line\nbreak\ttab\x00nul", "line break tab nul"),
        ("..", "visit"),
        ("", "visit"),
        (" . ", "visit"),
        (".hidden", "hidden"),
        ("con", "visit con"),
        ("CON.csv", "visit CON.csv"),
        ("trailing. ", "trailing"),
        ("right\u202eto left", "right to left"),
        ("v1.2 of it", "v1.2 of it"),
        ("x" * 300 + ".csv", "x" * 116 + ".csv"),
        ("\U0001f3cc" * 60 + ".csv", "\U0001f3cc" * 29 + ".csv"),
    ],
)
def test_a_text_becomes_a_name_every_system_takes(text: str, name: str) -> None:
    assert studio.safe_name(text) == name


@given(st.text(max_size=300))
def test_any_text_becomes_a_short_name_without_surprises(text: str) -> None:
    name = studio.safe_name(text.encode(errors="replace").decode())
    assert name
    assert len(name.encode()) <= studio.LONGEST_NAME + len("visit ")
    assert name == name.strip(" .")
    assert not set(name) & set('<>:"/\\|?*')
    assert not any(unicodedata.category(letter) == "Cc" and ord(letter) < 128 for letter in name)


def test_a_file_is_written_whole_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    studio.write_file(tmp_path / "a.csv", b"one")
    studio.write_file(tmp_path / "a.csv", b"two")
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a.csv": b"two"}


def _full(_handle: int) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_full_disk_leaves_neither_file_nor_folder_and_the_old_file_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    studio.write_file(tmp_path / "a.csv", b"old")
    monkeypatch.setattr(os, "fsync", _full)
    with pytest.raises(OSError, match="No space left"):
        studio.write_file(tmp_path / "a.csv", b"new")
    with pytest.raises(OSError, match="No space left"):
        studio.write_folder(tmp_path / "report", {"report.pdf": b"%PDF"})
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a.csv": b"old"}


def test_a_folder_is_written_whole(tmp_path: Path) -> None:
    (tmp_path / ".making report").mkdir()
    (tmp_path / ".making report" / "old").write_bytes(b"left by a killed run")
    studio.write_folder(tmp_path / "report", {"a": b"1", "b": b"2"})
    assert [p.name for p in tmp_path.iterdir()] == ["report"]
    assert {p.name: p.read_bytes() for p in (tmp_path / "report").iterdir()} == {"a": b"1", "b": b"2"}


def test_sweep_takes_the_half_made_and_nothing_else(tmp_path: Path) -> None:
    made = studio.create(tmp_path)
    kept = [made.outbox / "2026-11-25 a", made.set_back / "b.csv", made.accepted / "c.csv", made.inbox / ".d.part"]
    left = [
        made.outbox / ".making x",
        made.set_back / ".making y",
        made.accepted / ".z.part",
        made.set_back / ".q.part",
    ]
    for path in [*kept, *left]:
        if path.name.startswith(".making"):
            path.mkdir()
            (path / "report.pdf").write_bytes(b"half")
        else:
            path.write_bytes(b"")
    studio.sweep(made)
    assert [path for path in kept if not path.exists()] == []
    assert [path for path in left if path.exists()] == []


def test_a_name_that_is_taken_gets_a_version(tmp_path: Path) -> None:
    for expected in ("visit", "visit (version 2)", "visit (version 3)"):
        place = studio.free_place(tmp_path, "visit")
        assert place.name == expected
        place.mkdir()
