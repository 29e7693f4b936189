"""How long old exports take against bare parsing of the same files: python tests/benchmarks/backlog_speed.py [FILES].

The files have the shape the targets were measured with: 23 columns, 60 rows, or 60 to 200. The backlog reads, hashes,
copies, flies every ball, decides bad reads and mishits, writes rows, manifests and the ledger, and waits for the disk;
what it is held against only parses. All is measured in turns in one run.
"""

import datetime as dt
import random
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
HEADER = (
    "Shot,Date,Customer,Club,Head,Shaft,Loft (deg),Club Speed (mph),Ball Speed (mph),Launch Angle (deg),"
    "Launch Direction (deg),Spin Rate (rpm),Spin Axis (deg),Attack Angle (deg),Club Path (deg),Face Angle (deg),"
    "Dynamic Loft (deg),Impact Toe (mm),Impact Height (mm),Carry (yd),Offline (yd),Apex (ft),Descent Angle (deg)"
)


def shot_lines(count: int) -> list[str]:
    """Write plausible shots of full exports, 15 with each of six clubs in turn."""
    draw = random.Random(count)  # noqa: S311 - figures for a benchmark
    lines = []
    for shot in range(count):
        build, speed, ratio = shot // 15 % 6, draw.uniform(80, 110), draw.uniform(1.3, 1.5)
        about = f"2024-05-{1 + shot // 120 % 28:02} 10:{shot // 60 % 60:02}:{shot % 60:02},C{shot // 120}"
        club = f"Club {build},head {build},shaft {build},{10 + build}"
        spread = ((8, 20), (-5, 5), (1800, 7000), (-20, 20), *[(-5, 5)] * 3, (10, 25), *[(-15, 15)] * 2)
        flight = ((140, 260), (-30, 30), (60, 120), (30, 50))
        figures = (speed, speed * ratio, *(draw.uniform(*ends) for ends in (*spread, *flight)))
        lines.append(f"{shot + 1},{about},{club},{','.join(f'{figure:.1f}' for figure in figures)}")
    return lines


def dropped(folder: Path, count: int, most_rows: int = 60) -> list[Path]:
    """Write invented exports of 60 rows, or of 60 to more, into a folder."""
    rows, draw = shot_lines(60_000), random.Random(count)  # noqa: S311 - figures for a benchmark
    paths = []
    for number in range(count):
        start, height = 37 * number % (len(rows) - most_rows), draw.randint(60, most_rows)
        paths.append(folder / f"visit {number}.csv")
        text = "\n".join([HEADER, *rows[start : start + height], *[""] * (number // 1000)])  # no content twice
        paths[-1].write_text(f"{text}\n", encoding="utf-8")
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
    start = len(HEADER) + 1
    contents = [path.read_bytes() for path in paths]
    return pl.read_csv(b"".join([contents[0], *(content[start:] for content in contents[1:])]))


def measured(folder: Path, count: int, most_rows: int) -> dict[str, float]:
    """Give the seconds of everything, the shortest of several turns."""
    source = folder / f"exports to {most_rows}"
    source.mkdir()
    paths = dropped(source, count, most_rows)
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


def printed(found: dict[str, float]) -> None:
    """Show the seconds and the ratios."""
    for what, seconds in found.items():
        print(f"{what:26} {seconds:6.2f} s")
    for other, target in TARGETS.items():
        print(
            f"{other}: backlog {found['backlog'] / found[other]:.2f} x (target {target} x); of that reading alone "
            f"{found['read in bulk'] / found[other]:.2f} x, flying and deciding alone "
            f"{found['fly and decide'] / found[other]:.2f} x"
        )


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        print(peaks(Path(made), MANY))
        for rows in (60, 200):
            print(f"--- 60 to {rows} rows")
            printed(measured(Path(made), int(sys.argv[1]) if len(sys.argv) > 1 else FILES, rows))
