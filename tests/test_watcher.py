"""The loop of `baywright watch`: events only wake it, what lies in the folder decides."""

import errno
import os
import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from pipeline import health, hints, watcher
from pipeline.errors import MissingPartError
from pipeline.health import Health
from pipeline.hints import Hints
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

    monkeypatch.setattr(hints, "Observer", none_left)
    with watching(bench):
        bench.drop("a.csv", "shots")
        assert until(bench.reports)
        assert until(lambda: health.read(bench.studio))
    found = health.read(bench.studio)
    assert found is not None
    assert (found.hints, found.hints_why) == (
        "looks",
        "the system has no file events left (inotify instance limit reached)",
    )


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

    def slow(*words: object, **named: object) -> object:
        time.sleep(0.05)
        return real(*words, **named)  # type: ignore[arg-type]

    monkeypatch.setattr("pipeline.visits.session.fit", slow)
    with watching(bench):
        assert until(bench.events.__len__)
        start = time.monotonic()
    assert time.monotonic() - start < 2
    assert 0 < len(bench.reports()) < 100


def test_nothing_is_told_about_an_empty_folder(bench: "Bench") -> None:
    with watching(bench):
        time.sleep(0.3)
    assert bench.events == []


# --- the health record ------------------------------------------------------------------------------------------------
def recorded(bench: "Bench") -> Health:
    found = health.read(bench.studio)
    assert found is not None
    return found


def test_it_keeps_a_record_of_how_it_is_and_of_its_end(bench: "Bench") -> None:
    with watching(bench):
        assert until(lambda: (found := health.read(bench.studio)) and found.looked)
        found = recorded(bench)
        assert (found.state, found.hints, found.trouble, found.visits, found.pid) == (
            "running",
            "events",
            (),
            {},
            os.getpid(),
        )
        assert found.looked_ago_s is not None
        assert found.looked_ago_s < 2
        bench.drop("Oak Example.csv", "shots")
        bench.drop("Ben Example.csv", "no unit")
        assert until(lambda: recorded(bench).visits == {"held": 1, "reported": 1})
        assert "Example" not in (bench.studio.work / "health.json").read_text(encoding="utf-8")
    assert recorded(bench).state == "stopped"


def test_a_fault_that_ends_it_leaves_no_word_of_a_clean_stop(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_inbox: Inbox) -> None:
        raise MissingPartError

    inbox = bench.open()
    monkeypatch.setattr(Inbox, "settled", fail)
    stop = threading.Event()
    watch = watcher._Watcher(
        inbox, stop, threading.Event(), Hints(bench.studio.inbox, stop), "2026-11-25T12:00:00+00:00"
    )
    watch._record()
    with pytest.raises(MissingPartError):
        watch.run()
    inbox.ledger.close()
    assert recorded(bench).state == "running"


def test_the_visit_in_hand_and_what_waits_are_in_the_record(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[Health] = []
    real = bench.fit

    def look(*words: object, **named: object) -> object:
        seen.append(recorded(bench))
        return real(*words, **named)  # type: ignore[arg-type]

    monkeypatch.setattr("pipeline.visits.session.fit", look)
    bench.drop("a.csv", "shots")
    bench.drop("b.csv", "other shots")
    with watching(bench):
        assert until(lambda: len(bench.reports()) == 2)
        assert until(lambda: recorded(bench).working_on is None)
    assert [found.visits for found in seen] == [{"accepted": 1, "processing": 1}, {"processing": 1, "reported": 1}]
    working = [found.working_on for found in seen]
    assert len(set(working)) == 2
    assert all(name is not None and re.fullmatch("[0-9a-f]{8}", name) for name in working)
    assert all(found.working_since and found.oldest_waiting for found in seen)


def test_trouble_is_in_the_record_for_as_long_as_it_lasts(bench: "Bench") -> None:
    with watching(bench) as inbox:
        away = bench.studio.root / "away"
        bench.studio.inbox.rename(away)
        said = ("The drop folder cannot be read: No such file or directory.",)
        assert until(lambda: (found := health.read(bench.studio)) and found.trouble == said)
        away.rename(bench.studio.inbox)
        assert until(lambda: recorded(bench).trouble == ())
        inbox.troubles.tell("Oak Example", OSError(errno.EIO, "Input/output error", "Oak Example.csv"))
        assert until(lambda: recorded(bench).trouble == ("The disk or a folder refused: Input/output error.",))
        inbox.troubles._at = {why: at - 46 for why, at in inbox.troubles._at.items()}
        assert until(lambda: recorded(bench).trouble == ())


def test_below_the_reserve_nothing_new_is_begun_and_then_it_goes_on_by_itself(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch
) -> None:
    free = [health.RESERVE_BYTES - 1]
    monkeypatch.setattr(health, "free_bytes", lambda _folder: free[0])
    with watching(bench):
        assert until(bench.events.__len__)
        bench.drop("a.csv", "shots")
        time.sleep(0.6)
        assert [(event.kind, event.exit_code) for event in bench.events] == [("trouble", 7)]
        assert bench.events[0].message == (
            "less than 500 MB of the disk are free; nothing new is begun until there is more room"
        )
        assert list(bench.studio.accepted.iterdir()) == []
        assert until(lambda: recorded(bench).low_disk)
        free[0] = health.RESERVE_BYTES
        assert until(bench.reports)
        assert until(lambda: not recorded(bench).low_disk)
    assert bench.kinds() == ["trouble", "trouble", "reported"]
    assert bench.events[1].message == "there is room on the disk again; work goes on"


def test_a_backlog_stops_at_the_reserve_too(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        health, "free_bytes", lambda _folder: health.RESERVE_BYTES - (len(list(bench.studio.outbox.iterdir())) > 2)
    )
    for number in range(8):
        bench.drop(f"{number}.csv", f"shots {number}")
    with watching(bench):
        assert until(lambda: len(bench.reports()) == 3)
        time.sleep(0.5)
    assert len(bench.reports()) == 3


def test_looks_go_on_during_a_long_backlog(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(watcher, "LONGEST_WORK_WITHOUT_A_LOOK_S", 0.1)
    real = bench.fit

    def slow(*words: object, **named: object) -> object:
        time.sleep(0.05)
        return real(*words, **named)  # type: ignore[arg-type]

    monkeypatch.setattr("pipeline.visits.session.fit", slow)
    looks: list[int] = []
    settled = Inbox.settled

    def look(inbox: Inbox) -> object:
        looks.append(len(bench.reports()))
        return settled(inbox)

    monkeypatch.setattr(Inbox, "settled", look)
    for number in range(12):
        bench.drop(f"{number}.csv", f"shots {number}")
    with watching(bench):
        assert until(lambda: len(bench.reports()) == 12)
    between = [count for count in looks if 0 < count < 12]
    assert len(set(between)) >= 3


# --- tidying ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("tidy", ["never", "move"])
def test_what_is_done_leaves_the_drop_folder_only_when_the_studio_wants_it(bench: "Bench", tidy: str) -> None:
    bench.extra_settings = f'tidy = "{tidy}"\n'
    bench.drop("a.csv", "shots")
    bench.drop("b.csv", "no unit")
    with watching(bench):
        assert until(lambda: bench.reports() and bench.set_back())
        bench.drop("c.csv", "shots")  # the same content once more
        assert until(lambda: "known" in bench.kinds())
        time.sleep(0.4)
    left = sorted(path.name for path in bench.studio.inbox.iterdir())
    assert left == {"never": ["a.csv", "b.csv", "c.csv"], "move": ["b.csv"]}[tidy]
    assert bench.studio.done.exists() is (tidy == "move")


def test_what_a_killed_run_left_untidied_is_tidied_at_the_start(bench: "Bench") -> None:
    bench.drop("a.csv", "shots")
    inbox = bench.open()
    bench.go(inbox)
    inbox.ledger.close()
    bench.extra_settings = 'tidy = "move"\n'
    with watching(bench):
        assert until(lambda: not list(bench.studio.inbox.iterdir()))
    assert [path.name for path in bench.studio.done.iterdir()] == ["a.csv"]
