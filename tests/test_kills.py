"""Hundreds of kills of a real watcher at random moments, on both ledgers: one outcome a visit, nothing half-made."""

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import archive, database, studio
from pipeline.database import PASSWORD_VARIABLE
from pipeline.ledger import Ledger
from pipeline.work_messages import visit_key
from tests.processes import killed_at_the_end
from tests.test_backlog import ROOT
from tests.test_service import half_made, until
from tests.test_workshop import STAND_IN, fake

if TYPE_CHECKING:
    from tests.postgresql import Server

KILLS, VISITS = 200, 600
WITH_ID = """
import json
def files(name, job, version, day):
    visit = {"id": job.identity, "name": job.name, "date": "2026-11-25", "version": version}
    document = json.dumps({"schema": 1, "visit": visit, "shots": []}).encode()
    return {"report.pdf": b"%PDF-", "letter.eml": b"", "shots.csv": b"", "fitting.json": document}
visits.files = files
"""
QUICK = "settle_seconds = 0.2\nscan_seconds = 0.1\ngive_up_seconds = 2\n"


@pytest.mark.slow
@pytest.mark.parametrize("ledger", ["sqlite", "postgresql"])
def test_killed_two_hundred_times_each_visit_has_one_outcome(
    tmp_path: Path, ledger: str, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What reads and draws is a stand-in, so that the kills fall on the intake; files come all the while."""
    place = studio.create(tmp_path / "studio")
    more = ""
    if ledger == "postgresql":
        from tests.postgresql import PASSWORD  # noqa: PLC0415 - a library along that one half needs

        server: Server = request.getfixturevalue("postgresql")
        monkeypatch.setenv(PASSWORD_VARIABLE, PASSWORD)
        more = f'ledger = "postgresql://baywright@/postgres?host={server.url.query["host"]}"\n'
    (place.root / "studio.toml").write_text(QUICK + more, encoding="utf-8")
    path = os.pathsep.join([str(fake(tmp_path, STAND_IN + WITH_ID)), str(ROOT)])

    def watch() -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-m", "pipeline", "watch", place.root],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": path},
        )  # fmt: skip

    draw, dropped = random.Random(KILLS), 0  # noqa: S311 - moments for a test
    for number in range(KILLS):
        with killed_at_the_end(watch()) as running:
            end = time.monotonic() + draw.uniform(0.2, 1.0)
            while time.monotonic() < end:
                if dropped < VISITS * (number + 1) / KILLS:
                    (place.inbox / f"visit {dropped}.csv").write_bytes(b"shots %d" % dropped)
                    dropped += 1
                time.sleep(draw.uniform(0.0, 0.05))
            assert running.poll() is None
    for missing in range(dropped, VISITS):
        (place.inbox / f"visit {missing}.csv").write_bytes(b"shots %d" % missing)
    with killed_at_the_end(watch()) as running:
        until(lambda: len(reported(place)) + len(given_up(place)) == VISITS, seconds=300)
        until(lambda: json.loads((place.work / "health.json").read_bytes())["pid"] == running.pid)  # it hears signals
        running.send_signal(signal.SIGTERM)
        assert running.wait(60) == 0
    ids = Counter(reported(place).values())
    assert set(ids.values()) == {1}
    assert len(given_up(place)) <= VISITS // 50  # killed three times while it was in hand
    assert not {name.partition(" ")[2] for name in reported(place)} & set(given_up(place))
    assert half_made(place) == []
    assert Counter(filed(place)) == ids  # the rows of each visit count once
    assert len(list(place.accepted.glob("*.csv"))) == VISITS


def filed(place: studio.Studio) -> list[str]:
    """Give the visits whose rows count in the archive, as often as they do."""
    where, chosen = studio.opened(place.root)
    shared = database.url(chosen, place.root, os.environ)
    ledger = Ledger(database.Shared(shared, studio.identity(where)) if shared else where.work / "ledger.sqlite3")
    try:
        said = archive.manifest(where, chosen, ledger)
    finally:
        ledger.close()
    lines = [line for path in said.paths for line in path.read_text(encoding="ascii").splitlines()]
    return [line for line in lines if visit_key(line) not in said.gone]


def reported(place: studio.Studio) -> dict[str, str]:
    """Give the folder and the visit's id of every report; each folder is whole."""
    found = {}
    for folder in place.outbox.glob("2*"):
        assert {"report.pdf", "letter.eml", "shots.csv", "fitting.json"} <= {path.name for path in folder.iterdir()}
        found[folder.name] = str(json.loads((folder / "fitting.json").read_bytes())["visit"]["id"])
    return found


def given_up(place: studio.Studio) -> list[str]:
    """Name the visits set back because they were in hand at three kills."""
    notes = {
        path.name.removesuffix(".csv.txt"): path.read_text(encoding="utf-8") for path in place.set_back.glob("*.txt")
    }
    assert all("stopped the program 3 times" in text for text in notes.values())
    return list(notes)
