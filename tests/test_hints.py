"""File events are hints: used where they are to be had, missed nowhere, and said when they are not there."""

import errno
import os
import shutil
import threading
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from watchdog.events import FileClosedNoWriteEvent, FileCreatedEvent, FileMovedEvent, FileOpenedEvent

from pipeline import hints
from pipeline.hints import Hints
from pipeline.resources import table

MOUNTS = r"""/dev/vda / ext4 rw 0 0
server:/shots /mnt/shots nfs4 rw 0 0
//server/bay /mnt/bay\0401 cifs rw 0 0
tmpfs /mnt/shots/local tmpfs rw 0 0
old /mnt/over ext4 rw 0 0
new /mnt/over fuse.sshfs rw 0 0
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "inbox"
    made.mkdir()
    return made


def listening(folder: Path) -> tuple[Hints, threading.Event]:
    wake = threading.Event()
    made = Hints(folder, wake)
    made.start()
    return made, wake


@pytest.mark.parametrize(
    ("event", "wakes"),
    [
        (FileCreatedEvent("a"), True),
        (FileMovedEvent("a", "b"), True),
        (FileOpenedEvent("a"), False),
        (FileClosedNoWriteEvent("a"), False),
    ],
)
def test_our_own_reading_does_not_wake_it(event: FileCreatedEvent, *, wakes: bool) -> None:
    flag = threading.Event()
    hints._Waker(flag).on_any_event(event)
    assert flag.is_set() is wakes


def test_hints_come_from_sub_folders_too_until_they_are_stopped(folder: Path) -> None:
    (folder / "customer").mkdir()
    made, wake = listening(folder)
    assert (made.source, made.why) == ("events", "")
    (folder / "customer" / "a.csv").write_text("shots", encoding="utf-8")
    assert wake.wait(timeout=5)
    made.stop()
    assert made.source == "looks"


@pytest.mark.parametrize("when", ["made", "started"])
@pytest.mark.parametrize("number", [errno.EMFILE, errno.ENOSPC])
def test_a_system_without_events_left_is_said(
    folder: Path, monkeypatch: pytest.MonkeyPatch, when: str, number: int
) -> None:
    def none_left(*_words: object, **_named: object) -> None:
        raise OSError(number, os.strerror(number))

    if when == "made":
        monkeypatch.setattr(hints, "Observer", none_left)
    else:
        monkeypatch.setattr("watchdog.observers.api.BaseObserver.start", none_left)
    made, _ = listening(folder)
    assert (made.source, made.why) == ("looks", f"the system has no file events left ({os.strerror(number)})")
    made.check()
    assert made.source == "looks"
    made.stop()


@pytest.mark.parametrize("kind", ["nfs4", "cifs", "9p", "fuse.sshfs"])
def test_a_network_drive_is_looked_at_only(folder: Path, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    monkeypatch.setattr(hints, "file_system", lambda _folder: kind)
    made, _ = listening(folder)
    said = f"the drop folder lies on a network or shared drive ({kind}), which tells of no changes"
    assert (made.source, made.why) == ("looks", said)


@pytest.mark.parametrize(
    ("place", "kind"),
    [
        ("/home/a/inbox", "ext4"),
        ("/mnt/shots", "nfs4"),
        ("/mnt/shots/inbox", "nfs4"),
        ("/mnt/shots2/inbox", "ext4"),
        ("/mnt/shots/local/inbox", "tmpfs"),
        ("/mnt/bay 1/inbox", "cifs"),
        ("/mnt/over", "fuse.sshfs"),
    ],
)
def test_the_file_system_is_that_of_the_nearest_mount(place: str, kind: str) -> None:
    assert hints._kind(MOUNTS, place) == kind


def test_file_system_asks_the_system_and_follows_links(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = tmp_path / "link"
    link.symlink_to(folder)
    (tmp_path / "mounts").write_text(f"/dev/a / ext4 rw 0 0\nserver:/x {folder.resolve()} nfs rw 0 0\n")
    monkeypatch.setattr(hints, "_MOUNTS", tmp_path / "mounts")
    assert (hints.file_system(link), hints.file_system(tmp_path)) == ("nfs", "ext4")
    monkeypatch.setattr(hints, "_MOUNTS", tmp_path / "missing")
    assert hints.file_system(folder) == ""
    monkeypatch.setattr(hints, "sys", SimpleNamespace(platform="darwin"))
    monkeypatch.setattr(hints, "_MOUNTS", tmp_path / "mounts")
    assert hints.file_system(folder) == ""


def test_local_disks_have_events() -> None:
    assert {"ext4", "xfs", "btrfs", "tmpfs", "apfs", "overlay", ""} & set(table("drop_folder")["no_events"]) == set()


def test_events_that_died_are_noticed(folder: Path) -> None:
    made, _ = listening(folder)
    made.check()
    assert made.source == "events"
    assert made._observer is not None
    [emitter] = made._observer.emitters
    emitter.stop()
    emitter.join(timeout=5)
    made.check()
    assert (made.source, made.why) == ("looks", "the file events have stopped")


def test_a_folder_put_in_the_place_of_the_first_is_listened_to(folder: Path) -> None:
    made, wake = listening(folder)
    folder.rename(folder.with_name("away"))
    made.check()  # nothing is there now: nothing to do yet
    shutil.copytree(folder.with_name("away"), folder)
    made.check()
    wake.clear()
    (folder / "a.csv").write_text("shots", encoding="utf-8")
    end = time.monotonic() + 5
    while not wake.is_set() and time.monotonic() < end:
        time.sleep(0.01)
    assert (made.source, wake.is_set()) == ("events", True)
    made.stop()
