"""A batch of visits on its way to the child process and back: believed by its form only, and timed by its size."""

import datetime as dt
import json
import struct
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import settings
from pipeline.records import Given, Refusal
from pipeline.work_messages import Archived, Batch, Job, pack_archived, pack_batch, unpack_archived, unpack_batch
from pipeline.workshop import FaultError, Limits, StoppedError, Workshop
from tests.conftest import NO_UNIT, TODAY
from tests.test_workshop import STAND_IN, fake


def jobs(*names: str) -> tuple[Job, ...]:
    answers = {"sha256:1": Given(column_units={"Carry": "yd"})}
    return tuple(
        Job(name, f"{number:064}", ((f"{name}.csv", f"/kept/{number}"),), settings.load(), TODAY, answers)
        for number, name in enumerate(names)
    )


def test_a_batch_arrives_as_it_was_sent() -> None:
    batch = Batch(jobs("a", "b"), "studio", "secret")
    batch = replace(batch, jobs=(batch.jobs[0], replace(batch.jobs[1], today=dt.date(2017, 5, 6))))
    assert unpack_batch(pack_batch(batch)) == batch
    assert unpack_batch(pack_batch(Batch((), "studio", "secret"))) == Batch((), "studio", "secret")


def test_what_came_of_it_arrives_as_it_was_sent() -> None:
    found = Archived(("2026-11", NO_UNIT, "2017-05", "2026-11"), {"2026-11": b"rows", "2017-05": b""})
    assert unpack_archived(pack_archived(found), 4) == found


def packed(outcomes: object, sizes: object, content: bytes = b"") -> bytes:
    head = json.dumps([outcomes, sizes]).encode()
    return struct.pack(">I", len(head)) + head + content


@pytest.mark.parametrize(
    "said",
    [
        packed(["2026-11"], [["2026-11", 4]], b"rows"),  # one outcome for two visits
        packed(["2026-11", "2026-11"], [["2026-11", 5]], b"rows"),
        packed(["2026-11", "2026-11"], [["2026-11", 3]], b"rows"),
        packed(["2026-11", "2026-11"], [["2026-11", -1]], b"rows"),
        packed(["../../a", "../../a"], [["../../a", 4]], b"rows"),
        packed(["2026-11", "2026-12"], [["2026-11", 4]], b"rows"),  # rows of a month that are not there
        packed(["2026-11", "2026-11"], [["2026-11", 4], ["2026-12", 0]], b"rows"),
        packed(["2026-11", "2026-11"], [["2026-11", 2], ["2026-11", 2]], b"rows"),
        packed(["2026-11", {"outcome": "reported", "exit_code": 0}], [["2026-11", 4]], b"rows"),
        packed(["2026-11", 7], [["2026-11", 4]], b"rows"),
        packed(7, 7),
        packed(["2026-11", "2026-11"], [[]], b"rows"),
        b"",
        b"\xff" * 40,
    ],
)
def test_anything_else_is_not_believed(said: bytes) -> None:
    with pytest.raises((ValueError, TypeError, LookupError, struct.error)):
        unpack_archived(said, 2)


@given(st.binary(max_size=200), st.integers(0, 3))
def test_no_bytes_do_any_harm(said: bytes, count: int) -> None:
    try:
        found = unpack_archived(said, count)
    except (ValueError, TypeError, LookupError, struct.error):
        return
    assert len(found.outcomes) == count


# --- the child --------------------------------------------------------------------------------------------------------
@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workshop]:
    monkeypatch.syspath_prepend(str(fake(tmp_path, STAND_IN)))
    made = Workshop(Limits(seconds=5.0, megabytes=200, seconds_more=0.0))
    yield made
    made.close()


def test_a_batch_is_worked_on_in_the_child(workshop: Workshop) -> None:
    found = workshop.archive(Batch(jobs("one", "two"), "studio", "secret"))
    assert found == Archived(
        ("2026-11", "2026-11"), {"2026-11": "".join(f"{job.identity}\n" for job in jobs("one", "two")).encode()}
    )


@pytest.mark.parametrize(("name", "why"), [("eat", "more than 200 MB"), ("die", "broke down")])
def test_one_that_ends_the_child_ends_no_other_batch(workshop: Workshop, name: str, why: str) -> None:
    with pytest.raises(StoppedError, match=why):
        workshop.archive(Batch(jobs("one", name), "studio", "secret"))
    with pytest.raises(FaultError, match="no such thing"):
        workshop.archive(Batch(jobs("one", "fault"), "studio", "secret"))
    assert workshop.archive(Batch(jobs("one"), "studio", "secret")).outcomes == ("2026-11",)


def test_a_larger_batch_has_more_time(workshop: Workshop) -> None:
    workshop.limits = Limits(seconds=1.0, megabytes=200, seconds_more=2.0)
    workshop.version()
    assert workshop.archive(Batch(jobs("nap", "nap"), "studio", "secret")).outcomes == ("2026-11",) * 2  # 2 s
    workshop.limits = Limits(seconds=1.0, megabytes=200, seconds_more=0.1)
    with pytest.raises(StoppedError, match="longer than 1 seconds"):
        workshop.archive(Batch(jobs("hang"), "studio", "secret"))


def test_a_refusal_is_no_month() -> None:
    refused = Refusal("set_back", 2, "What.", "where", "")
    assert unpack_archived(pack_archived(Archived((refused,), {})), 1).outcomes == (refused,)
