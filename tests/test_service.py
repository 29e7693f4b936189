"""Real `baywright watch` processes on a real folder: stopped, killed, started again."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pipeline import studio as studio_module
from pipeline.errors import FolderError
from pipeline.studio import Studio

ROOT = Path(__file__).resolve().parent.parent
QUICK = "settle_seconds = 0.3\nscan_seconds = 0.1\ngive_up_seconds = 2\n"
SECONDS = 30.0  # the longest any wait may take on a busy machine
HEAD = "Club,Club speed (mph),Ball speed (mph),Launch angle (deg),Spin rate (rpm)\n"


def shots(spin: int, n: int = 8) -> str:
    """Give a shot file that no other spin has."""
    rows = (f"Own driver,{94 + i % 3},{135 + i % 4},{10 + i % 2},{spin + 10 * i}\n" for i in range(n))
    return HEAD + "".join(rows)


def until(true: Callable[[], object], watch: "Watch | None" = None, seconds: float = SECONDS) -> None:
    """Wait for something to become true; fails the test when it does not, showing what the watcher said."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, watch.lines if watch else "waited in vain"
        time.sleep(0.02)


class Watch:
    """A running `baywright watch`, and what it has printed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.lines: list[str] = []
        self.process = subprocess.Popen(
            [sys.executable, "-m", "pipeline", "watch", str(folder)],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8",
            env={**os.environ, "PYTHONPATH": str(ROOT)}, start_new_session=True,
        )  # fmt: skip
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line.rstrip("\n"))

    def said(self, *words: str) -> bool:
        return any(all(word in line for word in words) for line in self.lines)

    def ready(self) -> "Watch":
        until(lambda: self.said("watching ") or self.process.poll() is not None, self)
        assert self.process.poll() is None, self.lines
        return self

    def end(self, number: signal.Signals) -> int:
        """Send a signal; gives the exit code."""
        self.process.send_signal(number)
        code = self.process.wait(timeout=SECONDS)
        self._reader.join(timeout=5)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return code


def drop(place: Studio, name: str, content: str | bytes) -> Path:
    path = place.inbox / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def reports(place: Studio, name: str = "") -> list[Path]:
    """Give the finished reports of visits of that name."""
    return [p for p in place.outbox.iterdir() if name in p.name and (p / "report.pdf").exists()]


def half_made(place: Studio) -> list[Path]:
    return [p for p in place.root.rglob("*") if p.name.startswith(".") or p.suffix == ".part"]


def check_report(folder: Path) -> None:
    assert {p.name for p in folder.iterdir()} == {"report.pdf", "letter.eml", "shots.csv", "fitting.json"}
    pdf = (folder / "report.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-1.")
    assert pdf.rstrip().endswith(b"%%EOF")
    assert json.loads((folder / "fitting.json").read_text(encoding="utf-8"))["schema"] == 1


def new_studio(folder: Path, more: str = QUICK) -> Studio:
    made = studio_module.create(folder / "studio")
    (made.root / "studio.toml").write_text(more, encoding="utf-8")
    return made


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return new_studio(tmp_path)


@pytest.fixture
def start() -> Iterator[Callable[[Studio], Watch]]:
    """Start watchers; those still running at the end of the test are killed."""
    running: list[Watch] = []

    def started(place: Studio) -> Watch:
        running.append(Watch(place.root))
        return running[-1]

    yield started
    for watch in running:
        if watch.process.poll() is None:
            watch.end(signal.SIGKILL)


@pytest.fixture(scope="module")
def busy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Studio, Watch]]:
    """A studio with a watcher that several tests drop their own files into."""
    made = new_studio(tmp_path_factory.mktemp("busy"))
    watch = Watch(made.root).ready()
    yield made, watch
    watch.end(signal.SIGKILL)


# --- one watcher, many drops ------------------------------------------------------------------------------------------
def test_a_dropped_file_gives_a_pdf(busy: tuple[Studio, Watch]) -> None:
    place, watch = busy
    path = drop(place, "plain.csv", shots(2000))
    until(lambda: watch.said("report ", "plain: 8 balls, 8 counted, 1 set"))
    [folder] = reports(place, "plain")
    check_report(folder)
    until(lambda: watch.said("→", "plain", "report.pdf"))
    assert any(re.search(r"plain/report\.pdf  \(analyse \d+\.\d s, render \d+\.\d s, write \d+\.\d s\)", line)
               for line in watch.lines)  # fmt: skip
    assert path.read_text(encoding="utf-8") == shots(2000)


def test_a_file_moved_into_the_folder_and_a_folder_with_facts(busy: tuple[Studio, Watch]) -> None:
    place, watch = busy
    outside = place.root / "moved.csv"
    outside.write_text(shots(2100), encoding="utf-8")
    outside.rename(place.inbox / "moved.csv")
    outside = place.root / "visit 9"
    outside.mkdir()
    (outside / "a.csv").write_text(shots(2200), encoding="utf-8")
    (outside / "b.csv").write_text(shots(2300).replace("Own", "New"), encoding="utf-8")
    (outside / "visit.toml").write_text("date = 2026-10-01\nown_club = 'New driver'\n", encoding="utf-8")
    outside.rename(place.inbox / "visit 9")
    until(lambda: watch.said("report ", "moved: 8 balls") and watch.said("report ", "visit 9: 16 balls"))
    [folder] = reports(place, "visit 9")
    assert folder.name == "2026-10-01 visit 9"
    fitting = json.loads((folder / "fitting.json").read_text(encoding="utf-8"))
    assert [(s["label"], s["own_club"]) for s in fitting["sets"]] == [("New driver", True), ("Own driver", False)]


def test_a_bad_file_is_set_back_with_a_note_while_others_go_on(busy: tuple[Studio, Watch]) -> None:
    place, watch = busy
    drop(place, "bad 1.csv", b"\x89PNG\r\n\x1a\n" + bytes(100))
    drop(place, "bad 2.csv", shots(2400).replace(" (mph)", ""))
    drop(place, "good.csv", shots(2500))
    until(lambda: watch.said("report ", "good: 8 balls"))
    until(lambda: watch.said("set back", "bad 1: ") and watch.said("held", "bad 2: No unit is stated"))
    note = (place.set_back / "bad 1.csv.txt").read_text(encoding="utf-8")
    assert note.startswith("bad 1 could not be used.\n\nWhat:       This is no table of shots")
    assert (place.set_back / "bad 2.csv").read_text(encoding="utf-8") == shots(2400).replace(" (mph)", "")
    assert reports(place, "bad") == []


def test_the_same_content_under_another_name_is_not_reported_twice(busy: tuple[Studio, Watch]) -> None:
    place, watch = busy
    drop(place, "first.csv", shots(2600))
    until(lambda: watch.said("report ", "first: "))
    drop(place, "second.csv", shots(2600))
    until(lambda: watch.said("known", "second: the same content was dropped before; its report is in outbox/"))
    assert reports(place, "second") == []


def test_a_half_written_file_waits_for_its_end(busy: tuple[Studio, Watch]) -> None:
    place, watch = busy
    whole = shots(2700).encode()
    with (place.inbox / "slow.csv").open("wb", buffering=0) as out:
        for at in range(0, len(whole), 40):  # never still for as long as settle_seconds
            out.write(whole[at : at + 40])
            time.sleep(0.1)
    until(lambda: watch.said("report ", "slow: 8 balls"))
    assert len(reports(place, "slow")) == 1
    assert not watch.said("slow: 1 balls")


def test_an_empty_file_waits_then_is_taken_when_filled_else_set_back(busy: tuple[Studio, Watch]) -> None:
    place, watch = busy
    path = drop(place, "filled.csv", b"")
    drop(place, "never filled.csv", b"")
    until(lambda: watch.said("waiting", "filled: The file is empty."))
    path.write_text(shots(2800), encoding="utf-8")
    until(lambda: watch.said("report ", "filled: 8 balls"))
    until(lambda: watch.said("set back", "never filled: The file is empty."))
    assert [p.name for p in place.set_back.iterdir() if "filled" in p.name and p.suffix == ".txt"] == [
        "never filled.csv.txt"
    ]


def test_pipes_links_and_unfinished_names_are_left_alone(busy: tuple[Studio, Watch]) -> None:
    place, watch = busy
    os.mkfifo(place.inbox / "pipe.csv")
    target = place.root / "target.csv"
    target.write_text(shots(2900), encoding="utf-8")
    (place.inbox / "link.csv").symlink_to(target)
    drop(place, "unready.csv.part", shots(2950))
    drop(place, "zz after.csv", shots(3000))
    until(lambda: watch.said("report ", "zz after: "))
    assert not any(word in line for line in watch.lines for word in ("pipe", "link", "unready"))


def test_a_second_watcher_refuses_with_7_and_the_first_goes_on(busy: tuple[Studio, Watch]) -> None:
    place, watch = busy
    for command in ("watch", "process"):
        second = subprocess.run(
            [sys.executable, "-m", "pipeline", command, str(place.root)],
            capture_output=True, encoding="utf-8", env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False, timeout=60,
        )  # fmt: skip
        assert second.returncode == FolderError.exit_code
        assert "another baywright is at work on this folder. Stop it first, or let it do the work." in second.stderr
        assert second.stdout == ""
    drop(place, "after the second.csv", shots(3100))
    until(lambda: watch.said("report ", "after the second: "))


# --- stopping ---------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_request_to_end_stops_it_cleanly(
    place: Studio, start: Callable[[Studio], Watch], number: signal.Signals
) -> None:
    watch = start(place).ready()
    began = time.monotonic()
    assert watch.end(number) == 0
    assert time.monotonic() - began < 3
    assert watch.lines[-1] == "stopped; nothing is lost, start again with the same command"
    assert not watch.said("Traceback")
    assert half_made(place) == []
    studio_module.lock(place).release()


@pytest.mark.slow
def test_stopped_in_the_middle_of_a_backlog_it_goes_on_where_it_was(
    place: Studio, start: Callable[[Studio], Watch]
) -> None:
    for number in range(12):
        drop(place, f"visit {number}.csv", shots(2000 + 100 * number))
    watch = start(place).ready()
    until(lambda: watch.said("report "), watch)
    assert watch.end(signal.SIGINT) == 0
    done = len(reports(place))
    assert 0 < done < 12
    assert half_made(place) == []
    again = start(place).ready()
    until(lambda: len(reports(place)) == 12, again)
    assert again.end(signal.SIGTERM) == 0
    assert len([line for line in again.lines if line.startswith("report ")]) == 12 - done
    for folder in reports(place):
        check_report(folder)


# --- kill -9 ----------------------------------------------------------------------------------------------------------
MOMENTS: dict[str, Callable[[Studio, Watch], object]] = {
    "at once": lambda _place, _watch: True,
    "watching": lambda _place, watch: watch.said("watching "),
    "first kept": lambda place, _watch: list(place.accepted.iterdir()),
    "all kept": lambda place, _watch: len(list(place.accepted.iterdir())) >= 4,
    "report being written": lambda place, _watch: list(place.outbox.iterdir()),
    "first report told": lambda _place, watch: watch.said("report "),
    "note being written": lambda place, _watch: list(place.set_back.iterdir()),
    "second report": lambda place, _watch: len(reports(place)) >= 2,
}


@pytest.mark.slow
@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("pause", [0.0, 0.15, 0.4])
def test_killed_and_started_again_there_is_one_outcome_a_visit_and_nothing_lost(
    place: Studio, start: Callable[[Studio], Watch], moment: str, pause: float
) -> None:
    for number in range(3):
        drop(place, f"visit {number}.csv", shots(2000 + 100 * number))
    drop(place, "bad.csv", b"\x89PNG\r\n\x1a\n" + bytes(100))
    before = {p.name: p.read_bytes() for p in place.inbox.iterdir()}
    watch = start(place)
    until(lambda: MOMENTS[moment](place, watch))
    time.sleep(pause)
    assert watch.end(signal.SIGKILL) == -signal.SIGKILL
    again = start(place).ready()
    until(lambda: len(reports(place)) == 3 and (place.set_back / "bad.csv").exists(), again)
    time.sleep(0.6)
    assert again.end(signal.SIGTERM) == 0
    assert sorted(p.name.partition(" ")[2] for p in place.outbox.iterdir()) == ["visit 0", "visit 1", "visit 2"]
    assert {p.name for p in place.set_back.iterdir()} == {"bad.csv", "bad.csv.txt"}
    assert half_made(place) == []
    for folder in reports(place):
        check_report(folder)
    assert {p.name: p.read_bytes() for p in place.inbox.iterdir()} == before
    assert not again.said("Traceback")


@pytest.mark.slow
@pytest.mark.parametrize("moment", ["kept", "hidden folder", "versions there"])
def test_killed_while_a_grown_file_becomes_the_next_version_there_are_two_whole_ones(
    place: Studio, start: Callable[[Studio], Watch], moment: str
) -> None:
    drop(place, "visit.csv", shots(2000))
    watch = start(place).ready()
    until(lambda: watch.said("report ", "visit: 8 balls"), watch)
    drop(place, "visit.csv", shots(2000, 12))
    moments: dict[str, Callable[[], object]] = {
        "kept": lambda: len(list(place.accepted.iterdir())) == 2,
        "hidden folder": lambda: [p for p in place.outbox.iterdir() if p.name.startswith(".")],
        "versions there": lambda: list(place.outbox.glob("*/earlier")),
    }
    end = time.monotonic() + SECONDS
    while not moments[moment]() and time.monotonic() < end:
        pass
    watch.end(signal.SIGKILL)
    again = start(place).ready()
    until(lambda: list(place.outbox.glob("*/earlier/version 1/report.pdf")), again)
    time.sleep(0.6)
    assert again.end(signal.SIGTERM) == 0
    [folder] = place.outbox.iterdir()
    check_report(folder / "earlier" / "version 1")
    assert {p.name for p in folder.iterdir()} == {"report.pdf", "letter.eml", "shots.csv", "fitting.json", "earlier"}
    assert {p.name for p in (folder / "earlier").iterdir()} == {"version 1"}
    found = [json.loads((each / "fitting.json").read_bytes()) for each in (folder / "earlier" / "version 1", folder)]
    assert [(each["visit"]["version"], len(each["shots"])) for each in found] == [(1, 8), (2, 12)]
    assert half_made(place) == []


@pytest.mark.slow
def test_killed_twice_in_the_middle_of_the_same_visit_it_still_gets_its_report(
    place: Studio, start: Callable[[Studio], Watch]
) -> None:
    drop(place, "visit.csv", shots(2000))
    for _ in range(2):
        watch = start(place).ready()
        until(lambda: list(place.accepted.iterdir()))
        time.sleep(0.05)
        watch.end(signal.SIGKILL)
    again = start(place).ready()
    until(lambda: reports(place))
    assert again.end(signal.SIGINT) == 0
    assert len(list(place.outbox.iterdir())) == 1


# --- as a studio has it -----------------------------------------------------------------------------------------------
@pytest.mark.slow
def test_with_the_settings_of_a_new_studio_a_drop_becomes_a_pdf_within_seconds(
    tmp_path: Path, start: Callable[[Studio], Watch]
) -> None:
    place = new_studio(tmp_path, "")
    start(place).ready()
    began = time.monotonic()
    drop(place, "visit.csv", shots(2000, 60))
    until(lambda: reports(place))
    assert 2.0 < time.monotonic() - began < 10.0


@pytest.mark.slow
def test_two_hundred_files_dropped_while_it_sleeps_are_all_taken(
    place: Studio, start: Callable[[Studio], Watch]
) -> None:
    watch = start(place).ready()
    watch.process.send_signal(signal.SIGSTOP)
    for number in range(200):
        drop(place, f"{number}.csv", b"\x89PNG\r\n\x1a\n" + str(number).encode() * 50)
    watch.process.send_signal(signal.SIGCONT)
    until(lambda: len(list(place.set_back.glob("*.txt"))) == 200, watch, 90)
    assert watch.end(signal.SIGTERM) == 0
