"""The log: plain sentences with their time, through the whole life of a visit, and not a word of a customer in them."""

import errno
import logging
import re
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import __version__, health, studio, watcher
from pipeline.commands import console
from pipeline.errors import trail
from pipeline.studio import Studio

if TYPE_CHECKING:
    from tests.conftest import Bench

Run = Callable[..., tuple[int, str, str]]
HEAD = "Club,Club speed (mph),Ball speed (mph),Launch angle (deg),Spin rate (rpm)\n"
SHOTS = HEAD + "".join(f"Oakclub,{94 + i % 3},{135 + i % 4},{10 + i % 2},{2900 + 10 * i}\n" for i in range(8))
FACTS = 'customer = "Oak Example"\nemail = "oak@example.org"\nnotes = "Oakwords"\nown_club = "Oakclub"\n'
LINE = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d [A-Z][^\n]*\.")


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    made = studio.create(tmp_path / "studio")
    sets = (
        'mail_from = "desk@studio.example"\nsmtp_host = "mail.studio.example"\nname = "Studio of Oak"\ntidy = "move"\n'
    )
    (made.root / "studio.toml").write_text(sets, encoding="utf-8")
    return made


class _Post:
    def sendmail(self, *_words: object) -> None:
        """Take every letter."""


@contextmanager
def _connected(_server: object) -> Iterator[_Post]:
    yield _Post()


def drop(place: Studio, name: str, content: str) -> Path:
    path = place.inbox / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(content, encoding="utf-8")
    return path


def fails_with(fault: BaseException) -> Callable[..., None]:
    def fail(*_words: object, **_named: object) -> None:
        raise fault

    return fail


def whole_life(place: Studio, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Drop, hold, answer, set back, report, grow, issue again, send, and meet trouble and a fault of ours."""
    drop(place, "Oak Example/Oak swings.csv", SHOTS)
    drop(place, "Oak Example/visit.toml", FACTS)
    drop(place, "Oak held.csv", SHOTS.replace(" (mph)", "").replace("Oakclub", "Oak's"))
    drop(place, "Oak bad.csv", HEAD + "Oakclub,-,-,-,-\n")
    assert run("process", place.root)[0] in (3, 4)
    held = place.set_back / "Oak held.csv"
    assert run("answer", held, "--unit", "Club speed=mph", "--unit", "Ball speed=mph")[0] == 0
    drop(place, "Oak Example again.csv", SHOTS)
    (place.root / "facts.toml").write_text(FACTS + 'hand = "left"\n', encoding="utf-8")
    assert run("report", place.root, "Oak Example", "--facts", place.root / "facts.toml")[0] == 0
    monkeypatch.setattr("pipeline.mailing.connected", _connected)
    assert run("letter", place.root, "Oak Example", "--send")[0] == 0
    refused = PermissionError(errno.EACCES, "Permission denied", str(place.inbox / "Oak unread.csv"))
    monkeypatch.setattr("pipeline.arrivals.read", fails_with(refused))
    drop(place, "Oak unread.csv", SHOTS + "Oakclub,95,136,11,2800\n")
    run("process", place.root)
    monkeypatch.undo()
    monkeypatch.setattr("pipeline.workshop.Workshop.work_out", fails_with(ValueError("Oak Example at oak@example.org")))
    assert run("process", place.root)[0] == 70


def test_a_whole_life_leaves_no_word_of_a_customer_in_the_log(
    place: Studio, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole_life(place, run, monkeypatch)
    log = (place.work / "log.txt").read_text(encoding="utf-8")
    lines = log.splitlines()
    assert [line for line in lines if not LINE.fullmatch(line)] == []
    assert re.search(r"(?i)oak|example|swings|held\.csv|bad\.csv|unread", log) is None
    for said in (
        "was taken, 2 files.", "was taken, 1 file.", "has its report.", "waits for an answer (code 3).",
        "was set back (code 4).", "has version 2 of its report.", "its letter is being sent.", "its letter was sent.",
        "what was dropped was moved to done/.", "The disk or a folder refused: Permission denied. It is tried again.",
        "met a fault of ours: ValueError, from ",
    ):  # fmt: skip
        assert said in log, said


def test_the_watchers_lines_are_sentences_without_names(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    console._log_to(bench.studio.work / "log.txt")
    bench.drop("Oak Example.csv", "shots")

    stop = threading.Event()
    inbox = bench.open()
    monkeypatch.setattr(health, "free_bytes", lambda _folder: 0)
    rounds = iter(range(3))
    away = bench.studio.root / "away"

    def pause(_watch: object) -> None:
        if next(rounds) == 0:
            bench.studio.inbox.rename(away)
        else:
            stop.set()

    monkeypatch.setattr(watcher._Watcher, "_pause", pause)
    watcher.watch(inbox, stop)
    inbox.ledger.close()
    said = [line.split(" ", 2)[2] for line in (bench.studio.work / "log.txt").read_text(encoding="utf-8").splitlines()]
    assert said == [
        f"The watcher has started, version {__version__}.",
        "File events tell of new files.",
        "Less than 500 MB of the disk are free; nothing new is begun until there is more room.",
        "The drop folder cannot be read: No such file or directory. It is tried again.",
        "The watcher was stopped.",
    ]


def test_the_log_rotates_and_keeps_the_last_four_files(tmp_path: Path) -> None:
    console._log_to(tmp_path / "log.txt")
    log = logging.getLogger("baywright")
    for _ in range(4_700):
        log.info("x" * 1_000)
    assert {path.name for path in tmp_path.iterdir()} == {"log.txt", "log.txt.1", "log.txt.2", "log.txt.3"}
    assert all(path.stat().st_size <= 1_000_000 for path in tmp_path.iterdir())


def test_a_log_that_cannot_be_written_stops_nothing_and_fills_no_console(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "log.txt").mkdir()
    console._log_to(tmp_path / "log.txt")
    logging.getLogger("baywright").info("Something.")
    assert capsys.readouterr() == ("", "")


def test_a_fault_is_told_by_its_kind_and_place_never_by_its_text() -> None:
    def inner() -> None:
        msg = "Oak Example"
        raise KeyError(msg)

    with pytest.raises(KeyError) as caught:
        inner()
    assert re.fullmatch(r"KeyError, from test_log\.py line \d+, from test_log\.py line \d+", trail(caught.value))
