"""However many files are dropped at once: the oldest first, a few taken ahead, little memory, cheap looks."""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import studio
from pipeline.inbox import MOST_AHEAD, Inbox
from pipeline.ledger import Ledger
from pipeline.settling import Settling
from pipeline.studio import Studio
from tests.processes import killed_at_the_end
from tests.test_workshop import STAND_IN, fake

if TYPE_CHECKING:
    from tests.conftest import Bench

ROOT = Path(__file__).resolve().parent.parent


def settled(inbox: Inbox, bench: "Bench") -> list[str]:
    """Let what lies there settle; gives the names in the order they would be taken."""
    inbox.settled()
    bench.now += 3
    return [arrival.name for arrival in inbox.settled()]


def test_the_oldest_is_taken_first_whatever_it_is_called(bench: "Bench") -> None:
    inbox = bench.open()
    for name, second in {"a": 30, "b": 10, "c": 20}.items():
        os.utime(bench.drop(f"{name}.csv", name), (second, second))
    os.utime(bench.drop("d/one.csv", "d1"), (5, 5))
    os.utime(bench.drop("d/two.csv", "d2"), (25, 25))  # a folder is as old as what came last
    inbox.settled()
    bench.now += 1
    os.utime(bench.drop("e.csv", "seen later, though older by its own word"), (1, 1))
    inbox.settled()
    assert settled(inbox, bench) == ["b", "c", "d", "a", "e"]


def test_files_of_one_moment_come_in_order_of_name(bench: "Bench") -> None:
    inbox = bench.open()
    for name in ("c", "a", "b"):
        os.utime(bench.drop(f"{name}.csv", name), (7, 7))
    assert settled(inbox, bench) == ["a", "b", "c"]


def test_only_so_many_are_taken_ahead_and_the_rest_follows(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.inbox.MOST_AHEAD", 10)
    names = [f"{number}.csv" for number in range(25)]
    random.Random(1).shuffle(names)  # noqa: S311 - no secrets here
    for second, name in enumerate(names):
        os.utime(bench.drop(name, f"shots of {name}"), (second, second))
    inbox = bench.open()
    inbox.settled()
    bench.now += 3
    for taken in (10, 20, 25):
        assert inbox.take_all(inbox.settled()) is (taken < 25)
        assert len(list(bench.studio.accepted.glob("*.csv"))) == taken
        inbox.work_off()
        assert bench.worked_out == [name.removesuffix(".csv") for name in names[:taken]]


def test_what_waits_for_its_end_or_an_answer_keeps_nobody_waiting(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipeline.inbox.MOST_AHEAD", 2)
    inbox = bench.open()
    for number in range(2):
        bench.drop(f"a{number}.csv", "half" if number else "no unit")
    bench.drop("b.csv", "")
    bench.go(inbox)
    bench.go(inbox)
    bench.drop("z.csv", "shots")
    bench.go(inbox)
    assert bench.reports() == ["2026-11-25 z"]


def test_taking_stops_when_asked_to_and_is_not_called_full_then(bench: "Bench") -> None:
    inbox = bench.open()
    for number in range(3):
        bench.drop(f"{number}.csv", f"shots {number}")
    inbox.settled()
    bench.now += 3
    asked = iter([False, True])
    assert inbox.take_all(inbox.settled(), lambda: next(asked)) is False
    assert len(list(bench.studio.accepted.glob("*.csv"))) == 1


@pytest.fixture
def many(tmp_path: Path) -> Iterator[Settling]:
    made = studio.create(tmp_path / "studio")
    for number in range(10_000):
        (made.inbox / f"visit {number}.csv").write_bytes(b"%d" % number)
    ledger = Ledger(made.work / "ledger.sqlite3")
    yield Settling(made, ledger)
    ledger.close()


def test_ten_thousand_files_cost_a_few_questions_at_first_and_then_none(
    many: Settling, monkeypatch: pytest.MonkeyPatch
) -> None:
    questions: list[int] = []
    real = Ledger.seen_of

    def seen_of(ledger: Ledger, sightings: list[tuple[str, str]]) -> set[tuple[str, str]]:
        questions.append(len(sightings))
        return real(ledger, sightings)

    monkeypatch.setattr(Ledger, "seen_of", seen_of)
    assert many.look(0.0, 2.0) == []
    assert len(many.look(3.0, 2.0)) == 10_000
    began = time.process_time()
    assert len(many.look(4.0, 2.0)) == 10_000
    assert time.process_time() - began < 1.0  # some 0.1 s, on a machine with nothing else to do
    assert questions == [10_000, 0, 0]


# --- real processes ---------------------------------------------------------------------------------------------------
@pytest.fixture
def quick_place(tmp_path: Path) -> Iterator[Studio]:
    """Make a studio where a file is safe at once, if there is such a place: the disk is not what is looked at."""
    memory = Path("/dev/shm") / f"baywright-{os.getpid()}"  # noqa: S108 - a folder of our own
    root = memory if memory.parent.is_dir() else tmp_path / "studio"
    made = studio.create(root)
    (root / "studio.toml").write_text("settle_seconds = 0.3\nscan_seconds = 0.2\n", encoding="utf-8")
    yield made
    shutil.rmtree(root)


def names(folder: Path) -> list[str]:
    return os.listdir(folder)  # noqa: PTH208 - as paths, thousands of them take the watcher's time from it


def megabytes(pid: int) -> int:
    """Give the most memory a process has had."""
    lines = Path(f"/proc/{pid}/status").read_text(encoding="utf-8").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) // 1000


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="this system does not tell what a process had")
def test_ten_thousand_files_dropped_at_once_are_all_reported_with_little_memory(
    quick_place: Studio, tmp_path: Path
) -> None:
    path = os.pathsep.join([str(fake(tmp_path, STAND_IN)), str(ROOT)])
    started = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "watch", quick_place.root],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": path},
    )  # fmt: skip
    with killed_at_the_end(started) as watch:
        for number in range(10_000):
            (quick_place.inbox / f"visit {number}.csv").write_bytes(b"shots %d" % number)
        most, stopped = 0, False
        end = time.monotonic() + 900
        while (done := sum(name.startswith("2") for name in names(quick_place.outbox))) < 10_000:
            assert time.monotonic() < end, done
            assert watch.poll() is None
            ahead = sum(name.endswith(".csv") for name in names(quick_place.accepted)) - done
            most = max(most, ahead)
            if done > 3_000 and not stopped:  # frozen in the middle
                watch.send_signal(signal.SIGSTOP)
                time.sleep(1)
                watch.send_signal(signal.SIGCONT)
                stopped = True
            time.sleep(0.1)
        peak = megabytes(watch.pid)
        watch.send_signal(signal.SIGTERM)
        assert watch.wait(30) == 0
        assert watch.stderr
        assert watch.stderr.read() == b""
    assert most <= MOST_AHEAD + 60  # counted while it goes on
    assert peak < 200
    assert stopped


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="this system does not tell what a process had")
def test_fifty_real_visits_and_a_large_file_are_worked_off_with_little_memory(
    tmp_path: Path, visit_text: Callable[[int], str]
) -> None:
    place = studio.create(tmp_path / "studio")
    (place.root / "studio.toml").write_text("settle_seconds = 0.3\nscan_seconds = 0.2\n", encoding="utf-8")
    for number in range(50):
        (place.inbox / f"visit {number}.csv").write_text(visit_text(number), encoding="utf-8")
    (place.inbox / "large.csv").write_text(visit_text(50) + "a line,that is,no shot\n" * 650_000, encoding="utf-8")
    started = subprocess.Popen(
        [sys.executable, "-m", "pipeline", "watch", place.root],
        stdout=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    with killed_at_the_end(started) as watch:
        end = time.monotonic() + 300
        while len(list(place.outbox.glob("2*/report.pdf"))) < 50 or not (place.set_back / "large.csv").exists():
            assert time.monotonic() < end
            assert watch.poll() is None
            time.sleep(0.2)
        peak = megabytes(watch.pid)
        watch.send_signal(signal.SIGTERM)
        assert watch.wait(30) == 0
    assert peak < 200
    assert "more than 200,000 lines" in (place.set_back / "large.csv.txt").read_text(encoding="utf-8")


@pytest.fixture
def visit_text() -> Callable[[int], str]:
    head = "Club,Club speed (mph),Ball speed (mph),Launch angle (deg),Spin rate (rpm)\n"

    def text(seed: int) -> str:
        draw = random.Random(seed)  # noqa: S311 - figures for a test
        spread = ((95, 1.5), (137, 2), (11, 1), (2700, 150))
        return head + "".join(
            ",".join([club, *(f"{draw.gauss(*of):.1f}" for of in spread)]) + "\n"
            for club in ("Own driver", "Driver 2")
            for _ in range(10)
        )

    return text
