"""The loop of `baywright watch`: events only wake it, what lies in the folder decides."""

import errno
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from watchdog.events import FileClosedNoWriteEvent, FileCreatedEvent, FileMovedEvent, FileOpenedEvent

from pipeline import watcher
from pipeline.inbox import Inbox

if TYPE_CHECKING:
    from tests.conftest import Bench


def until(true: Callable[[], object], seconds: float = 5.0) -> bool:
    """Wait for something to become true."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.01)
    return bool(true())


@contextmanager
def watching(bench: "Bench") -> Iterator[Inbox]:
    """Run the loop in a thread, with the real clock and short pauses."""
    inbox = bench.open()
    inbox.clock = time.monotonic
    inbox.settings = replace(inbox.settings, settle_seconds=0.2, scan_seconds=0.1)
    stop = threading.Event()
    thread = threading.Thread(target=watcher.watch, args=(inbox, stop))
    thread.start()
    try:
        yield inbox
    finally:
        stop.set()
        thread.join(timeout=5)
        inbox.ledger.close()
    assert not thread.is_alive()


def test_a_file_dropped_while_watching_is_reported_and_stop_ends_it(bench: "Bench") -> None:
    with watching(bench):
        bench.drop("a.csv", "shots")
        assert until(bench.reports)
        (bench.studio.root / "b.csv").write_text("more shots", encoding="utf-8")
        (bench.studio.root / "b.csv").rename(bench.studio.inbox / "b.csv")
        assert until(lambda: len(bench.reports()) == 2)
    bench.drop("c.csv", "too late")
    assert bench.kinds() == ["reported", "reported"]


def test_it_works_without_any_events(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    def none_left(*_words: object) -> None:
        raise OSError(errno.EMFILE, "inotify instance limit reached")

    monkeypatch.setattr(watcher, "Observer", none_left)
    assert watcher.start_hints(bench.studio.inbox, threading.Event()) is None
    with watching(bench):
        bench.drop("a.csv", "shots")
        assert until(bench.reports)


def test_the_drop_folder_going_away_is_told_once_and_waited_out(bench: "Bench") -> None:
    with watching(bench):
        away = bench.studio.root / "away"
        bench.studio.inbox.rename(away)
        assert until(bench.events.__len__)
        time.sleep(0.4)
        assert [(e.kind, e.message) for e in bench.events] == [
            ("trouble", "the drop folder cannot be read: No such file or directory; waiting")
        ]
        shutil.copytree(away, bench.studio.inbox)
        bench.drop("a.csv", "shots")
        assert until(bench.reports)
    assert bench.kinds() == ["trouble", "reported"]


def test_a_backlog_does_not_keep_it_from_stopping(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(200):
        bench.drop(f"{number}.csv", f"shots {number}")
    real = bench.fit

    def slow(*words: object) -> object:
        time.sleep(0.05)
        return real(*words)  # type: ignore[arg-type]

    monkeypatch.setattr("pipeline.inbox.session.fit", slow)
    with watching(bench):
        assert until(bench.events.__len__)
        start = time.monotonic()
    assert time.monotonic() - start < 2
    assert 0 < len(bench.reports()) < 100


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
    watcher._Waker(flag).on_any_event(event)
    assert flag.is_set() is wakes


def test_hints_come_from_sub_folders_too(tmp_path: Path) -> None:
    (tmp_path / "customer").mkdir()
    wake = threading.Event()
    stop = watcher.start_hints(tmp_path, wake)
    assert stop is not None
    (tmp_path / "customer" / "a.csv").write_text("shots", encoding="utf-8")
    assert wake.wait(timeout=5)
    stop()


def test_nothing_is_told_about_an_empty_folder(bench: "Bench") -> None:
    with watching(bench):
        time.sleep(0.3)
    assert bench.events == []
