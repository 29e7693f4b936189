"""The ledger: one content, one visit; what happens to it survives the program."""

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

from pipeline.errors import FolderError
from pipeline.ledger import FINISHED_WITHOUT_REPORT, Entry, Ledger

A = Entry("id-a", "customer a", "accepted", 0, None, (("a.csv", "aaaa.csv"), ("visit.toml", "bbbb.toml")))
B = Entry("id-b", "customer b", "accepted", 0, None, (("b.csv", "cccc.csv"),))
NOON, LATER = "2026-11-25T12:00:00", "2026-11-25T12:00:01"


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    made = Ledger(tmp_path / "ledger.sqlite3")
    yield made
    made.close()


def test_a_visit_is_noted_with_its_files_in_order(ledger: Ledger) -> None:
    assert ledger.accept(A, ("a.csv", "sig-1"), NOON)
    assert ledger.entry("id-a") == A
    assert ledger.entry("id-x") is None
    assert ledger.seen("a.csv", "sig-1")
    assert not ledger.seen("a.csv", "sig-2")
    assert not ledger.seen("b.csv", "sig-1")


@pytest.mark.parametrize("state", ["accepted", "processing", "waiting", "reported"])
def test_the_same_content_again_is_nothing_new(ledger: Ledger, state: str) -> None:
    ledger.accept(A, ("a.csv", "sig-1"), NOON)
    ledger.move("id-a", state, "place")
    assert not ledger.accept(replace(A, name="copy"), ("copy.csv", "sig-2"), LATER)
    assert ledger.seen("copy.csv", "sig-2")
    assert ledger.entry("id-a") == replace(A, state=state, place="place")


@pytest.mark.parametrize("state", FINISHED_WITHOUT_REPORT)
def test_what_got_no_report_is_tried_again_when_it_is_dropped_again(ledger: Ledger, state: str) -> None:
    ledger.accept(A, ("a.csv", "sig-1"), NOON)
    ledger.move("id-a", state, "a.csv", crashed=True)
    again = replace(A, name="again", originals=(("again.csv", "aaaa.csv"),))
    assert ledger.accept(again, ("again.csv", "sig-2"), LATER)
    assert ledger.entry("id-a") == again
    assert len(ledger.entries("accepted", *FINISHED_WITHOUT_REPORT)) == 1


def test_a_finished_file_supersedes_the_half_written_one_at_its_place_only(ledger: Ledger) -> None:
    elsewhere = replace(B, id="id-e")
    ledger.accept(A, ("a.csv", "half"), NOON)
    ledger.accept(elsewhere, ("e.csv", "half"), NOON)
    ledger.move("id-a", "waiting")
    ledger.move("id-e", "waiting")
    ledger.accept(B, ("a.csv", "whole"), LATER)
    assert {e.id: e.state for e in ledger.entries("accepted", "waiting", "superseded")} == {
        "id-a": "superseded",
        "id-b": "accepted",
        "id-e": "waiting",
    }


def test_a_half_written_file_that_ends_as_known_content_is_superseded_too(ledger: Ledger) -> None:
    ledger.accept(B, ("b.csv", "sig"), NOON)
    ledger.move("id-b", "reported", "place")
    ledger.accept(A, ("copy.csv", "half"), NOON)
    ledger.move("id-a", "waiting")
    assert not ledger.accept(B, ("copy.csv", "whole"), LATER)
    assert [e.id for e in ledger.entries("superseded")] == ["id-a"]


def test_a_half_written_file_only_touched_goes_on_waiting(ledger: Ledger) -> None:
    ledger.accept(A, ("a.csv", "half"), NOON)
    ledger.move("id-a", "waiting")
    assert not ledger.accept(A, ("a.csv", "half, newer time"), LATER)
    assert [e.id for e in ledger.entries("waiting")] == ["id-a"]


def test_visits_come_in_the_order_they_were_dropped(ledger: Ledger) -> None:
    ledger.accept(A, ("a", "1"), LATER)
    ledger.accept(B, ("b", "1"), NOON)
    assert [entry.id for entry in ledger.entries("accepted", "reported")] == ["id-b", "id-a"]
    assert ledger.entries("reported") == []


def test_crashes_are_counted(ledger: Ledger) -> None:
    ledger.accept(A, ("a", "1"), NOON)
    for expected in (1, 2, 3):
        ledger.move("id-a", "accepted", crashed=True)
        found = ledger.entry("id-a")
        assert found is not None
        assert found.attempts == expected


def test_it_outlives_the_program_and_syncs_every_commit(tmp_path: Path) -> None:
    first = Ledger(tmp_path / "ledger.sqlite3")
    first.accept(A, ("a.csv", "sig-1"), NOON)
    with first._engine.connect() as connection:
        assert connection.execute(sa.text("PRAGMA journal_mode")).scalar() == "wal"
        assert connection.execute(sa.text("PRAGMA synchronous")).scalar() == 2
    first.close()
    second = Ledger(tmp_path / "ledger.sqlite3")
    assert second.entry("id-a") == A
    second.close()


@pytest.mark.parametrize("name", ["what? a studio", "100% #1", "a;b=c", "ümläut"])
def test_a_studio_folder_may_have_any_name(tmp_path: Path, name: str) -> None:
    (tmp_path / name).mkdir()
    made = Ledger(tmp_path / name / "ledger.sqlite3")
    made.accept(A, ("a.csv", "sig-1"), NOON)
    made.close()
    assert (tmp_path / name / "ledger.sqlite3").stat().st_size > 0
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("damage", [b"not a database at all, but text" * 100, None])
def test_a_ledger_that_cannot_be_used_says_what_to_do(tmp_path: Path, damage: bytes | None) -> None:
    path = tmp_path / "ledger.sqlite3"
    if damage is None:
        path.mkdir()
    else:
        path.write_bytes(damage)
    with pytest.raises(FolderError, match=r"cannot be used .*move it away and start again: a new one is made"):
        Ledger(path)


def test_a_ledger_somebody_holds_is_trouble_of_the_surroundings(ledger: Ledger, tmp_path: Path) -> None:
    other = sqlite3.connect(tmp_path / "ledger.sqlite3", isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with ledger._engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA busy_timeout=10")  # the pool hands out this connection again
    with pytest.raises(OSError, match="ledger: database is locked"):
        ledger.accept(A, ("a.csv", "sig-1"), NOON)
    other.execute("ROLLBACK")
    other.close()
    assert ledger.accept(A, ("a.csv", "sig-1"), NOON)
