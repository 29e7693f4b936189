"""How long old exports take against bare parsing of the same files: python tests/benchmarks/backlog_speed.py [FILES].

The backlog reads, hashes, copies, flies every ball, decides bad reads and mishits, writes rows, manifests and the
ledger, and waits for the disk; what it is held against only parses. All is measured in turns in one run.
"""

import datetime as dt
import resource
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from pipeline import session, settings, shot_archive, studio
from pipeline.backlog import Backlog
from pipeline.inbox import Inbox
from pipeline.ledger import Ledger
from pipeline.records import ShotFile, VisitFacts
from pipeline.workshop import SHARED
from tests.benchmarks import reading_speed

if TYPE_CHECKING:
    from collections.abc import Callable

TARGETS = {"a loop of read_csv": 0.5, "one scan_csv": 2.0, "joining and one read_csv": 5.0}
FILES, MANY, REPEATS = 3_000, 10_000, 3
BATCH = 500


def dropped(folder: Path, count: int) -> list[Path]:
    """Write invented exports of 60 rows into a folder."""
    reading_speed.FILES = count
    paths = []
    for number, file in enumerate(reading_speed.many_files()):
        paths.append(folder / f"visit {number}.csv")
        paths[-1].write_bytes(file.content + b"\n" * (number // 100))  # no content twice
    return paths


def whole(source: Path, root: Path) -> float:
    """Read a folder of exports into the archive of a new studio; gives the seconds, without the program's start."""
    shutil.rmtree(root, ignore_errors=True)
    place = studio.create(root)
    place.inbox.rmdir()
    shutil.copytree(source, place.inbox)
    ledger = Ledger(place.work / "ledger.sqlite3")
    start = time.perf_counter()
    found = Backlog(Inbox(place, settings.load(), ledger, print), lambda _done, _of: None).run()
    seconds = time.perf_counter() - start
    ledger.close()
    assert found.archived == len(list(source.iterdir())), found
    return seconds


def stages(paths: list[Path], times: dict[str, float]) -> None:
    """Time what the child process does, step by step, in this process."""
    spent = dict.fromkeys(("read in bulk", "fly and decide", "rows and Parquet"), 0.0)
    for first in range(0, len(paths), BATCH):
        clock = [time.perf_counter()]
        files = [ShotFile(path.name, path.read_bytes()) for path in paths[first : first + BATCH]]
        readings = session.read_all(files, [None] * len(files), {})
        clock.append(time.perf_counter())
        today = dt.date(2026, 11, 25)
        decided = session.decide_all([((one,), VisitFacts(), today) for one in readings], settings.load())
        clock.append(time.perf_counter())
        identities = [f"{first + number:064x}" for number in range(len(files))]
        rows = shot_archive.rows_of_all(decided, identities, "studio", "secret")
        for part in rows.partition_by("month"):
            shot_archive.written(part)
        clock.append(time.perf_counter())
        for name, began, ended in zip(spent, clock, clock[1:], strict=False):
            spent[name] += ended - began
    for name, seconds in spent.items():
        times[name] = min(times.get(name, seconds), seconds)


def joined(paths: list[Path]) -> pl.DataFrame:
    """Join all bytes under one heading and parse them once."""
    start = len(reading_speed.HEADER) + 1
    contents = [path.read_bytes() for path in paths]
    return pl.read_csv(b"".join([contents[0], *(content[start:] for content in contents[1:])]))


def measured(folder: Path, count: int) -> dict[str, float]:
    """Give the seconds of everything, the shortest of several turns."""
    source = folder / "exports"
    source.mkdir()
    paths = dropped(source, count)
    SHARED.version()
    times: dict[str, float] = {}
    actions: dict[str, Callable[[], object]] = {
        "a loop of read_csv": lambda: [pl.read_csv(path) for path in paths],
        "one scan_csv": lambda: pl.scan_csv(paths).collect(),
        "joining and one read_csv": lambda: joined(paths),
    }
    for _ in range(REPEATS):
        times["backlog"] = min(times.get("backlog", float("inf")), whole(source, folder / "studio"))
        for name, action in actions.items():
            times[name] = min(times.get(name, float("inf")), reading_speed.best(action, 1))
        stages(paths, times)
    return times


def peaks(folder: Path, count: int) -> str:
    """Read many files and give the most memory that the program and its child have had, in MB."""
    source = folder / "many"
    source.mkdir()
    dropped(source, count)
    SHARED.close()
    seconds = whole(source, folder / "studio")
    lines = Path(f"/proc/{SHARED.pid}/status").read_text(encoding="utf-8").splitlines()
    child = next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) // 1024
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return f"{count} files in {seconds:.1f} s; most memory: child {child} MB, this process with the benchmark {own} MB"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        print(peaks(Path(made), MANY))
        found = measured(Path(made), int(sys.argv[1]) if len(sys.argv) > 1 else FILES)
    for what, seconds in found.items():
        print(f"{what:26} {seconds:6.2f} s")
    worked = sum(found[name] for name in ("read in bulk", "fly and decide", "rows and Parquet"))
    for other, target in TARGETS.items():
        print(
            f"{other}: backlog {found['backlog'] / found[other]:.1f} x (target {target} x); reading alone "
            f"{found['read in bulk'] / found[other]:.2f} x, reading, deciding and rows {worked / found[other]:.1f} x"
        )
