"""The health record: whole or not there, without names, and judged by how long ago the last look was."""

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline import health, studio
from pipeline.health import Health
from pipeline.studio import Studio

NOW = dt.datetime(2026, 11, 25, 12, 0, 0, tzinfo=dt.UTC)


def ago(seconds: float) -> str:
    return (NOW - dt.timedelta(seconds=seconds)).isoformat()


GOOD = Health(
    state="running", program="0.1.0", pid=1, started=ago(500), written=ago(3), looked=ago(4), looked_ago_s=1.0,
    hints="events", hints_why="", trouble=(), visits={"reported": 2}, oldest_waiting=None, working_on=None,
    working_since=None, free_bytes=10**10, low_disk=False,
)  # fmt: skip


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio.create(tmp_path / "studio")


def test_what_is_written_is_read(place: Studio) -> None:
    made = replace(GOOD, trouble=("The drop folder cannot be read: No such file or directory.",))
    health.write(place, GOOD)
    health.write(place, made)
    assert health.read(place) == made
    assert [path.name for path in place.work.iterdir() if "health" in path.name] == ["health.json"]
    assert (place.work / "health.json").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    "content",
    [
        b"", b"{", b"[]", b"null", b"\xff", b'{"schema": 2}', b"{}",
        json.dumps({"schema": 1, "state": "running"}).encode(),
    ],
)  # fmt: skip
def test_a_damaged_record_or_that_of_another_version_is_none(place: Studio, content: bytes) -> None:
    assert health.read(place) is None
    (place.work / "health.json").write_bytes(content)
    assert health.read(place) is None


@pytest.mark.parametrize(
    ("changes", "seconds"),
    [
        ({}, 4.0),
        ({"looked_ago_s": 70.0}, 73.0),
        ({"looked": None, "looked_ago_s": None}, 500.0),
        ({"written": ago(-3600)}, 1.0),  # the clock was put back: our own measure stays
    ],
)
def test_how_long_ago_the_last_look_was(changes: dict[str, object], seconds: float) -> None:
    assert health.silent_for_s(replace(GOOD, **changes), NOW) == seconds  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("looked_ago_s", "working_for_s", "silent"),
    [(57, None, False), (57.1, None, True), (100, 170, False), (100, 180, False), (100, 181, True), (1, 900, False)],
)
def test_it_is_silent_after_a_minute_and_later_with_a_visit_in_hand(
    looked_ago_s: float, working_for_s: float | None, *, silent: bool
) -> None:
    since = None if working_for_s is None else ago(working_for_s)
    made = replace(GOOD, looked_ago_s=looked_ago_s, working_on=since and "1234abcd", working_since=since)
    assert health.is_silent(made, NOW) is silent


def test_free_space_is_that_of_the_disk(tmp_path: Path) -> None:
    assert 0 < health.free_bytes(tmp_path) < 10**16
