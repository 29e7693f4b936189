"""What the ledger costs a dropped file on either database: python tests/benchmarks/ledger_speed.py."""

import statistics
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline import manifests, studio
from pipeline.database import Shared
from pipeline.ledger import Entry, Ledger
from pipeline.studio import Studio
from tests.postgresql import server

FILES, RUNS = 300, 3


def one_file(place: Studio, ledger: Ledger, identity: str) -> None:
    """Do what the intake does for a file that gets a report at once, but for reading it and making the report."""
    entry = Entry(identity, f"visit {identity}", "accepted", 0, None, ((f"{identity}.csv", "0" * 64),))
    if ledger.seen(f"{identity}.csv", "1"):
        raise AssertionError
    manifests.accept(place, ledger, entry, (f"{identity}.csv", "1"), "2026-11-25T12:00:00")
    ledger.move(identity, "processing")
    ledger.at_same_place(identity)
    ledger.move(identity, "reported", identity)


def bare(ledger: Ledger, identity: str) -> None:
    """Make four commits, and nothing else."""
    entry = Entry(identity, f"visit {identity}", "accepted", 0, None, ((f"{identity}.csv", "0" * 64),))
    ledger.accept(entry, (f"{identity}.csv", "1"), "2026-11-25T12:00:00")
    ledger.move(identity, "processing")
    ledger.move(identity, "reported", identity)
    ledger.keep(entry)


def measure(name: str, where: Path | Shared, place: Studio) -> None:
    """Print files a second: four commits a file, then the whole way of a file with its manifest."""
    with closing(Ledger(where)) as ledger:
        for what in ("four commits", "the whole way"):
            speeds = []
            for run in range(RUNS):
                start = time.perf_counter()
                for number in range(FILES):
                    identity = f"{what[4:6]}{run}-{number}"
                    bare(ledger, identity) if what == "four commits" else one_file(place, ledger, identity)
                speeds.append(FILES / (time.perf_counter() - start))
            print(f"{name:11} {what:14} {statistics.median(speeds):6.0f} files/s")
        start = time.perf_counter()
        found = ledger.entries("reported")
        print(f"{name:11} {len(found)} entries listed in {1000 * (time.perf_counter() - start):.0f} ms")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder, server(durable=True) as running:
        place = studio.create(Path(folder) / "studio")
        measure("SQLite", place.work / "ledger.sqlite3", place)
        measure("PostgreSQL", running.studio(alone=True), place)
