"""How long the desk takes from a request to its answer: “What if?” alone, the same without script, a visit's page.

Run: python tests/benchmarks/whatif_speed.py
"""

import datetime as dt
import statistics
import sys
import tempfile
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline import exports, session, settings, visit_facts
from pipeline.records import Fitting, ShotFile
from tests.conftest import bench_on
from tests.desk import Desk, desk_on

EXAMPLE = Path(__file__).parent.parent.parent / "inbox_example/customer 0142"
ASKED = {"build": "C", "attack": "2", "loft": "-1", "club-speed": "1", "strike": "0.01"}
TIMES = 20


def a_desk(place: Path, patch: pytest.MonkeyPatch) -> tuple[Desk, str]:
    """Make a desk with the example's driver visit, and give that visit's address."""
    file = ShotFile("driver shots.csv", (EXAMPLE / "driver shots.csv").read_bytes())
    facts = visit_facts.read((EXAMPLE / "visit.toml").read_text(encoding="utf-8"))
    bench = bench_on(place, patch)
    desk = desk_on(bench)
    bench.drop("visit.csv", "fine")
    desk.go()
    [entry] = desk.room.ledger.entries("reported")
    patch.undo()
    made = session.fit("visit", [file], facts, settings.load(""), dt.date(2026, 11, 25), entry.id)
    assert isinstance(made, Fitting)
    (bench.studio.outbox / str(entry.place) / "fitting.json").write_text(exports.fitting_json(made))
    desk.enter()
    return desk, f"/visit/{entry.id}"


def main() -> None:
    """Print the least and the middle of the times."""
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        desk, visit = a_desk(Path(folder), patch)
        with desk.client:
            for what, path, headers, asked in (
                ("“What if?” with script", f"{visit}/what-if", {"hx-request": "true"}, ASKED),
                ("“What if?” without script", visit, {}, ASKED),
                ("the visit's page", visit, {}, {}),
            ):
                took = []
                for _ in range(TIMES):
                    start = time.perf_counter()
                    answer = desk.client.get(path, params=asked, headers=headers)
                    took.append(1000 * (time.perf_counter() - start))
                    assert answer.status_code == 200
                    assert ("<caption><bdi>C Driver 3" in answer.text) == bool(asked)
                first, least, middle = took[0], min(took), statistics.median(took)
                print(f"{what:27} first {first:6.1f} ms, least {least:6.1f} ms, median {middle:6.1f} ms")
        desk.room.ledger.close()


if __name__ == "__main__":
    main()
