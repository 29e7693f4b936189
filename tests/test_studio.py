"""The studio folder: what is written there is whole or not there at all."""

import errno
import logging
import os
import unicodedata
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import settings, studio
from pipeline.errors import FolderError, SettingsError

posix = pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX's")


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


# --- versions ---------------------------------------------------------------------------------------------------------
def tree(place: Path) -> dict[str, bytes]:
    return {path.relative_to(place).as_posix(): path.read_bytes() for path in place.rglob("*") if path.is_file()}


def three_versions(outbox: Path) -> Path:
    place = outbox / "2026-11-25 a [7]"
    for version in (1, 2, 3):
        studio.write_version(place, {"report.pdf": b"%d" % version, "fitting.json": b"{%d}" % version}, version)
    return place


WITH_THREE = {
    "report.pdf": b"3", "fitting.json": b"{3}",
    "earlier/version 1/report.pdf": b"1", "earlier/version 1/fitting.json": b"{1}",
    "earlier/version 2/report.pdf": b"2", "earlier/version 2/fitting.json": b"{2}",
}  # fmt: skip
WITH_FOUR = {
    **{name: content for name, content in WITH_THREE.items() if "/" in name},
    "earlier/version 3/report.pdf": b"3", "earlier/version 3/fitting.json": b"{3}", "report.pdf": b"4",
}  # fmt: skip


def test_a_new_version_takes_the_place_and_the_former_ones_stay_whole(tmp_path: Path) -> None:
    place = three_versions(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [place.name]
    assert tree(place) == WITH_THREE
    assert (place / "earlier/version 1/report.pdf").stat().st_nlink == 1


def test_what_staff_put_beside_a_report_stays_with_its_version(tmp_path: Path) -> None:
    place = three_versions(tmp_path)
    (place / "photo" / "earlier").mkdir(parents=True)
    (place / "photo" / "earlier" / "grip.jpg").write_bytes(b"picture")
    (place / "earlier" / "note.txt").write_bytes(b"ours")
    (place / "elsewhere").symlink_to("nowhere")
    studio.write_version(place, {"report.pdf": b"4"}, 4)
    more = {"earlier/version 3/photo/earlier/grip.jpg": b"picture", "earlier/note.txt": b"ours"}
    assert tree(place) == WITH_FOUR | more
    assert (place / "earlier/version 3/elsewhere").readlink() == Path("nowhere")


def test_where_a_file_cannot_have_two_names_it_is_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_words: object, **_named: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    place = three_versions(tmp_path)
    os.utime(place / "report.pdf", (1, 1))
    monkeypatch.setattr(os, "link", no_links)
    studio.write_version(place, {"report.pdf": b"4"}, 4)
    assert tree(place) == WITH_FOUR
    assert (place / "earlier/version 3/report.pdf").stat().st_mtime == 1


CALLS = ("mkdir", "link", "rename", "replace", "fsync", "unlink", "rmdir", "symlink")


class KilledError(BaseException):
    """Stands for kill -9: nothing of ours may catch it."""


def ended_at(monkeypatch: pytest.MonkeyPatch, number: int, end: BaseException, *, after: bool) -> list[str]:
    """Have the disk's call of that number be the last one; gives the calls as they are made."""
    made: list[str] = []

    def counted(name: str) -> object:
        real = getattr(os, name)

        def call(*words: object, **named: object) -> object:
            made.append(name)
            if len(made) == number + 1 and not after:
                raise end
            out = real(*words, **named)
            if len(made) == number + 1:
                raise end
            return out

        return call

    for name in CALLS:
        monkeypatch.setattr(os, name, counted(name))
    return made


@pytest.mark.parametrize("after", [False, True])
def test_killed_at_any_call_a_sweep_finds_the_old_versions_or_the_new_ones_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, after: bool
) -> None:
    found, number, killed = [], 0, True
    while killed:
        made = studio.create(tmp_path / f"{number}")
        place = three_versions(made.outbox)
        killed = False
        with monkeypatch.context() as patched:
            ended_at(patched, number, KilledError(), after=after)
            try:
                studio.write_version(place, {"report.pdf": b"4"}, 4)
            except KilledError:
                killed = True
        studio.sweep(made)
        studio.sweep(made)
        assert [path.name for path in made.outbox.iterdir()] == [place.name]
        found.append(tree(place) == WITH_FOUR)
        assert found[-1] or tree(place) == WITH_THREE
        number += 1
    assert number > 20
    assert found == sorted(found)  # first always the old ones, then always the new ones
    assert found.count(True) > 5


def test_a_disk_that_refuses_at_any_call_leaves_the_old_versions_or_the_new_ones_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(40):
        outbox = tmp_path / f"{number}"
        outbox.mkdir()
        place = three_versions(outbox)
        with monkeypatch.context() as patched:
            made = ended_at(patched, number, OSError(errno.ENOSPC, "No space left on device"), after=False)
            try:
                studio.write_version(place, {"report.pdf": b"4"}, 4)
                expected = WITH_FOUR
            except OSError:
                expected = WITH_THREE
        assert tree(place) == expected, (number, made)
        studio.write_version(place, tree(place / "earlier" / "version 1"), 5)  # what is left over is in nobody's way
        assert [path.name for path in outbox.iterdir()] == [place.name]


def test_what_was_put_aside_goes_back_only_where_nothing_took_its_place(tmp_path: Path) -> None:
    made = studio.create(tmp_path)
    for name in (".old a", ".old b", "b", ".making a"):
        (made.outbox / name).mkdir()
        (made.outbox / name / "report.pdf").write_bytes(name.encode())
    studio.sweep(made)
    assert tree(made.outbox) == {"a/report.pdf": b".old a", "b/report.pdf": b"b"}


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


def test_a_name_that_is_taken_gets_a_number(tmp_path: Path) -> None:
    for expected in ("visit", "visit (2)", "visit (3)"):
        place = studio.free_place(tmp_path, "visit")
        assert place.name == expected
        place.mkdir()
    (tmp_path / "a.toml").touch()
    assert studio.free_place(tmp_path, "a", ".toml").name == "a (2).toml"


# --- who may look -----------------------------------------------------------------------------------------------------
def modes(root: Path) -> dict[str, str]:
    return {path.relative_to(root).as_posix(): f"{path.stat().st_mode & 0o777:o}" for path in root.rglob("*")}


@pytest.fixture
def umask() -> Iterator[Callable[[int], int]]:
    """Set the process's mask for new files; it is put back at the end."""
    before = os.umask(0o022)
    yield os.umask
    os.umask(before)


@posix
@pytest.mark.parametrize(
    ("mask", "folder", "file"), [(0o000, "770", "660"), (0o022, "750", "640"), (0o077, "700", "600")]
)
def test_work_is_its_owners_and_reports_are_the_groups_as_the_mask_has_it_and_never_anyones(
    tmp_path: Path, umask: Callable[[int], int], mask: int, folder: str, file: str
) -> None:
    umask(mask)
    made = studio.create(tmp_path / "studio")
    studio.write_version(made.outbox / "a", {"report.pdf": b"1"}, 1)
    studio.write_version(made.outbox / "a", {"report.pdf": b"2"}, 2)
    studio.write_file(made.accepted / "x.csv", b"shots")
    studio.write_file(made.profiles / "x.toml", b"answers")
    found = modes(made.root)
    del found["studio.toml"]
    private = dict.fromkeys(("work", "work/accepted", "work/profiles", "work/visits"), "700")
    private |= dict.fromkeys(("work/accepted/x.csv", "work/profiles/x.toml"), "600")
    shared = dict.fromkeys(("inbox", "outbox", "set-back", "outbox/a", "outbox/a/earlier"), folder)
    shared |= {"outbox/a/earlier/version 1": folder, "outbox/a/report.pdf": file}
    assert found == private | shared | {"outbox/a/earlier/version 1/report.pdf": file}
    assert studio.open_to_others(made) == []


@posix
def test_a_studio_of_before_is_closed_to_others_and_the_drop_folder_stays_as_the_device_needs_it(
    tmp_path: Path,
) -> None:
    made = studio.create(tmp_path)
    for place in (*made.folders(), made.root):
        place.chmod(0o777)
    for name in ("ledger.sqlite3", "ledger.sqlite3-wal", "log.txt", "log.txt.1", "health.json"):
        (made.work / name).touch()
        (made.work / name).chmod(0o664)
    elsewhere = tmp_path / "elsewhere.txt"
    elsewhere.touch(mode=0o644)
    (made.work / "link").symlink_to(elsewhere)
    assert studio.open_to_others(made) == list(made.folders())
    studio.opened(tmp_path)
    found = modes(tmp_path)
    assert {name: mode for name, mode in found.items() if name.startswith("work/") and "." in name} == dict.fromkeys(
        [f"work/{name}" for name in ("ledger.sqlite3", "ledger.sqlite3-wal", "log.txt", "log.txt.1", "health.json")],
        "600",
    )
    assert [found[name] for name in ("inbox", "outbox", "set-back", "work", "work/accepted")] == [
        "777", "770", "770", "700", "700",
    ]  # fmt: skip
    assert found["elsewhere.txt"] == "644"
    assert studio.open_to_others(made) == [made.inbox]


@posix
def test_a_link_in_the_place_of_a_file_being_written_leads_nowhere(tmp_path: Path) -> None:
    (tmp_path / "precious").write_bytes(b"ours")
    (tmp_path / ".a.csv.part").symlink_to(tmp_path / "precious")
    with pytest.raises(OSError, match="symbolic links"):
        studio.write_file(tmp_path / "a.csv", b"shots")
    studio.write_file(tmp_path / "a.csv", b"shots")
    assert (tmp_path / "precious").read_bytes() == b"ours"


@posix
def test_ledger_and_log_are_their_owners_from_the_first_moment(tmp_path: Path, umask: Callable[[int], int]) -> None:
    from pipeline.commands.console import open_ledger  # noqa: PLC0415 - a library along that few tests need

    umask(0o000)
    made, chosen = studio.create(tmp_path), settings.load()
    ledger = open_ledger(made, chosen)
    ledger.changed("a", "b")
    logging.getLogger("baywright").info("a line")
    found = modes(made.work)
    ledger.close()
    assert {name for name in found if name.startswith("ledger")} == {
        "ledger.sqlite3", "ledger.sqlite3-wal", "ledger.sqlite3-shm",
    }  # fmt: skip
    assert {mode for name, mode in found.items() if name.startswith(("ledger", "log"))} == {"600"}
    assert "log.txt" in found


@posix
def test_doctor_names_the_folders_anyone_may_look_into(
    tmp_path: Path, run: Callable[..., tuple[int, str, str]]
) -> None:
    studio.create(tmp_path)
    (tmp_path / "inbox").chmod(0o755)
    _, out, _ = run("doctor", tmp_path)
    assert "; anyone on this computer may look into inbox/: if that is not wanted, chmod o= on it\n" in out
    (tmp_path / "inbox").chmod(0o770)
    _, out, _ = run("doctor", tmp_path)
    assert "anyone" not in out
