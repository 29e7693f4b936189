"""Old exports read by the real program, killed again and again: each shot once in the archive, nothing half-made."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import polars as pl
import pytest

from pipeline import archive, settings, studio
from pipeline.archive import Archive
from pipeline.ledger import Ledger
from pipeline.studio import Studio
from pipeline.workshop import SHARED
from tests.processes import killed_at_the_end
from tests.test_backlog import ROOT
from tests.test_service import half_made

ROUNDS, VISITS, SHOTS = 40, 2_000, 5
HEAD = "Date,Club,Ball speed (mph),Launch angle (deg),Spin rate (rpm),Carry (yd)\n"


def export(number: int) -> str:
    draw = random.Random(number)  # noqa: S311 - figures for a test
    day = f"{2015 + number % 10}-{1 + number % 12:02}-15"
    return HEAD + "".join(
        f"{day},Driver,{draw.gauss(140, 2):.1f},12.{number % 10},{draw.gauss(2600, 99):.0f},{draw.gauss(225, 4):.1f}\n"
        for _ in range(SHOTS)
    )


def drop(place: Studio, numbers: range) -> None:
    for number in numbers:
        (place.inbox / f"visit {number}.csv").write_text(export(number), encoding="utf-8")


def start(place: Studio) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "pipeline", "process", place.root, "--backlog"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip


def names(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir()]


def at_work(place: Studio, program: subprocess.Popen[bytes]) -> None:
    """Wait until a program has begun to keep copies."""
    before = len(names(place.accepted))
    while len(names(place.accepted)) == before and program.poll() is None:
        time.sleep(0.002)


@pytest.mark.slow
def test_killed_at_random_moments_each_shot_is_in_the_archive_once(tmp_path: Path) -> None:
    place = studio.create(tmp_path / "studio")
    draw = random.Random(7)  # noqa: S311 - moments for a test
    part, killed, ends = VISITS // ROUNDS, 0, list[float]()
    for number in range(ROUNDS):
        drop(place, range(number * part, (number + 1) * part))
        with killed_at_the_end(start(place)) as program:
            if number % 5 == 4:  # at any moment of the start
                time.sleep(draw.uniform(0, 1.2))
            else:
                at_work(place, program)
                time.sleep(draw.uniform(0, 0.4))
            killed += program.poll() is None
            program.send_signal(signal.SIGKILL)
        ends.append(program.returncode)
    assert killed >= 20, ends  # a quick machine is through before it is killed now and then
    with killed_at_the_end(start(place)) as program:
        assert program.wait(300) == 0
    kept = Archive(place, settings.load(), Ledger(place.work / "ledger.sqlite3"), SHARED)
    try:
        assert {state: count for state, (count, _) in kept.ledger.tally().items()} == {"archived": VISITS}
        said = archive.manifest(place, kept.settings, kept.ledger)
        rows = pl.concat([pl.read_parquet(path, columns=["visit", "number"]) for path in said.paths])
        rows = rows.filter(~pl.col("visit").is_in(list(said.gone)))
        assert rows.height == rows.n_unique() == VISITS * SHOTS
        assert rows["visit"].n_unique() == VISITS
        assert kept.ledger.archive.lacking() == []
        kept.sweep(older_than_s=0)
        assert set(kept.folder.glob("studio=*/ym=*/*")) == set(said.paths)
    finally:
        kept.ledger.close()
    assert half_made(place) == []
    assert names(place.outbox) == names(place.set_back) == []
    assert len(names(place.accepted)) == len(names(place.visits)) == VISITS
