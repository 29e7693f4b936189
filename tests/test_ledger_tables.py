"""Older and newer ledgers: brought up to today's version after a copy was laid aside, or refused."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import sqlalchemy as sa

from pipeline import ledger_tables
from pipeline.database import Shared
from pipeline.errors import FolderError
from pipeline.ledger import Entry, Kept, Ledger
from pipeline.ledger_letters import Sending
from pipeline.ledger_tables import copies

if TYPE_CHECKING:
    from tests.postgresql import Server

# A ledger as it was made before versions were noted.
VERSION_1 = """
PRAGMA journal_mode=WAL;
CREATE TABLE visit (id VARCHAR NOT NULL, name VARCHAR NOT NULL, state VARCHAR NOT NULL, attempts INTEGER NOT NULL,
    received VARCHAR NOT NULL, place VARCHAR, PRIMARY KEY (id));
CREATE TABLE original (visit VARCHAR NOT NULL, position INTEGER NOT NULL, name VARCHAR NOT NULL,
    stored VARCHAR NOT NULL, PRIMARY KEY (visit, position));
CREATE TABLE remembered ("key" VARCHAR NOT NULL, value VARCHAR NOT NULL, PRIMARY KEY ("key"));
CREATE TABLE sighting (place VARCHAR NOT NULL, signature VARCHAR NOT NULL, visit VARCHAR NOT NULL,
    PRIMARY KEY (place, signature));
INSERT INTO visit VALUES ('id-a', 'customer a', 'reported', 1, '2026-11-25T12:00:00', '2026-11-25 customer a');
INSERT INTO visit VALUES ('id-b', 'customer b', 'accepted', 0, '2026-11-25T12:00:01', NULL);
INSERT INTO original VALUES ('id-a', 0, 'a.csv', 'aaaa.csv');
INSERT INTO original VALUES ('id-a', 1, 'visit.toml', 'bbbb.toml');
INSERT INTO original VALUES ('id-b', 0, 'b.csv', 'cccc.csv');
INSERT INTO remembered VALUES ('profiles', 'as they were');
INSERT INTO sighting VALUES ('a.csv', '1', 'id-a');
INSERT INTO sighting VALUES ('copy.csv', '2', 'id-a');
INSERT INTO sighting VALUES ('b.csv', '3', 'id-b');
"""
WITH_LETTERS = """
CREATE TABLE sending (visit VARCHAR NOT NULL, version VARCHAR NOT NULL, number INTEGER NOT NULL,
    state VARCHAR NOT NULL, at VARCHAR NOT NULL, PRIMARY KEY (visit, version, number));
INSERT INTO sending VALUES ('id-a', 'v1', 1, 'sent', '2026-11-25T13:00:00');
INSERT INTO sending VALUES ('id-a', 'v1', 2, 'sending', '2026-11-25T14:00:00');
"""

# ... and before it knew of an archive of shots.
VERSION_2 = """
PRAGMA journal_mode=WAL;
CREATE TABLE about (version INTEGER NOT NULL, PRIMARY KEY (version));
INSERT INTO about VALUES (2);
CREATE TABLE visit (studio VARCHAR NOT NULL, id VARCHAR NOT NULL, name VARCHAR NOT NULL, state VARCHAR NOT NULL,
    attempts INTEGER NOT NULL, received VARCHAR NOT NULL, place VARCHAR, PRIMARY KEY (studio, id));
CREATE INDEX visit_state ON visit (studio, state);
CREATE TABLE original (studio VARCHAR NOT NULL, visit VARCHAR NOT NULL, position INTEGER NOT NULL,
    name VARCHAR NOT NULL, stored VARCHAR NOT NULL, PRIMARY KEY (studio, visit, position));
CREATE TABLE remembered (studio VARCHAR NOT NULL, "key" VARCHAR NOT NULL, value VARCHAR NOT NULL,
    PRIMARY KEY (studio, "key"));
CREATE TABLE sighting (studio VARCHAR NOT NULL, place VARCHAR NOT NULL, signature VARCHAR NOT NULL,
    visit VARCHAR NOT NULL, PRIMARY KEY (studio, place, signature));
CREATE INDEX sighting_visit ON sighting (studio, visit);
CREATE TABLE sending (studio VARCHAR NOT NULL, visit VARCHAR NOT NULL, version VARCHAR NOT NULL,
    number INTEGER NOT NULL, state VARCHAR NOT NULL, "at" VARCHAR NOT NULL,
    PRIMARY KEY (studio, visit, version, number));
INSERT INTO visit VALUES ('', 'id-a', 'customer a', 'reported', 1, '2026-11-25T12:00:00', '2026-11-25 customer a');
INSERT INTO original VALUES ('', 'id-a', 0, 'a.csv', 'aaaa.csv');
INSERT INTO sighting VALUES ('', 'a.csv', '1', 'id-a');
"""


@pytest.fixture
def old(tmp_path: Path) -> Path:
    path = tmp_path / "ledger.sqlite3"
    with closing(sqlite3.connect(path)) as made:
        made.executescript(VERSION_1 + WITH_LETTERS)
    return path


def contents(path: Path) -> dict[str, list[object]]:
    with closing(sqlite3.connect(path)) as found:
        names = [name for [name] in found.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")]
        return {name: found.execute(f"SELECT * FROM {name}").fetchall() for name in names}  # noqa: S608 - our own names


def test_an_old_ledger_goes_on_with_all_it_knew(old: Path) -> None:
    before = contents(old)
    with closing(Ledger(old)) as now:
        originals = (("a.csv", "aaaa.csv"), ("visit.toml", "bbbb.toml"))
        a = Entry("id-a", "customer a", "reported", 1, "2026-11-25 customer a", originals)
        b = Entry("id-b", "customer b", "accepted", 0, None, (("b.csv", "cccc.csv"),))
        assert now.all_kept() == [
            Kept(a, "2026-11-25T12:00:00", (("a.csv", "1"), ("copy.csv", "2"))),
            Kept(b, "2026-11-25T12:00:01", (("b.csv", "3"),)),
        ]
        assert now.last_sending("id-a", "v1") == Sending("id-a", "v1", 2, "sending", "2026-11-25T14:00:00")
        assert not now.changed("profiles", "as they were")
        assert not now.accept(b, ("elsewhere.csv", "1"), "2026-11-25T12:00:02")
    [copy] = copies(old)
    assert copy.name == "ledger version 1.sqlite3"
    assert contents(copy) == before
    assert set(contents(old)) == {"about", "archived", "original", "remembered", "sending", "sighting", "visit"}
    assert contents(old)["about"] == [(3,)]
    Ledger(old).close()
    assert copies(old) == [copy]  # nothing is copied when there is nothing to do


def test_the_first_ledgers_knew_of_no_letters(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(sqlite3.connect(path)) as made:
        made.executescript(VERSION_1)
    with closing(Ledger(path)) as now:
        assert now.states() == {"id-a": "reported", "id-b": "accepted"}
        assert now.begin_sending("id-a", "v1", "2026-11-25T13:00:00") is not None


def test_a_ledger_without_an_archive_gets_one_and_keeps_the_rest(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(sqlite3.connect(path)) as made:
        made.executescript(VERSION_2)
    with closing(Ledger(path)) as now:
        assert now.states() == {"id-a": "reported"}
        assert now.archive.filed() == []
        assert now.archive.lacking() == ["id-a"]
    assert [copy.name for copy in copies(path)] == ["ledger version 2.sqlite3"]


def test_an_old_ledger_ends_up_as_a_new_one_begins(old: Path, tmp_path: Path) -> None:
    def shape(path: Path) -> object:
        Ledger(path).close()
        there = sa.inspect(sa.create_engine(sa.URL.create("sqlite", database=str(path)), poolclass=sa.NullPool))
        return {
            name: (
                [(c["name"], str(c["type"]), c["nullable"]) for c in there.get_columns(name)],
                there.get_pk_constraint(name)["constrained_columns"],
                [(index["name"], index["column_names"]) for index in there.get_indexes(name)],
            )
            for name in there.get_table_names()
        }

    assert shape(old) == shape(tmp_path / "new.sqlite3")


def test_what_only_stood_in_the_log_of_changes_is_in_the_copy_too(old: Path) -> None:
    """Killed while it was at work, an old program leaves a -wal file beside the ledger."""
    with closing(sqlite3.connect(old)) as working:
        working.execute("PRAGMA wal_autocheckpoint=0")
        working.execute("UPDATE visit SET state = 'held' WHERE id = 'id-b'")
        working.commit()
        assert old.with_name("ledger.sqlite3-wal").stat().st_size > 0
        with closing(Ledger(old)) as now:
            assert now.states()["id-b"] == "held"
    assert ("id-b", "customer b", "held", 0, "2026-11-25T12:00:01", None) in contents(copies(old)[0])["visit"]


@pytest.mark.parametrize("after", [0, 1, 7, 13, 19, 24, 25])
def test_stopped_in_the_middle_it_begins_again(old: Path, after: int, monkeypatch: pytest.MonkeyPatch) -> None:
    class Killed(BaseException):
        pass

    step, left = ledger_tables._take_step, [after]

    def stopping(connection: sa.Connection, number: int) -> None:
        def count(*_words: object) -> None:
            left[0] -= 1
            if left[0] < 0:
                raise Killed

        sa.event.listen(connection, "before_cursor_execute", count)
        step(connection, number)

    monkeypatch.setattr(ledger_tables, "_take_step", stopping)
    before = contents(old)
    with pytest.raises(Killed):
        Ledger(old)
    monkeypatch.undo()
    assert contents(old) == before
    with closing(Ledger(old)) as now:
        assert now.states() == {"id-a": "reported", "id-b": "accepted"}
    assert [contents(copy) == before for copy in copies(old)] == [True, True]


def test_without_room_for_a_copy_nothing_is_changed(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    before = contents(old)
    monkeypatch.setattr("pipeline.ledger_tables.os.fsync", full)
    with pytest.raises(FolderError, match=r"could not be copied aside before \(No space left on device\)\. Make room"):
        Ledger(old)
    assert contents(old) == before
    assert [path.name for path in old.parent.iterdir() if "version" in path.name] == []


def test_one_that_only_looks_leaves_an_old_ledger_to_the_program_at_work(old: Path) -> None:
    before = contents(old)
    with pytest.raises(
        FolderError, match=r"older baywright\. Stop that one if it still runs, then start baywright watch"
    ):
        Ledger(old, may_change_tables=False)
    assert contents(old) == before
    assert copies(old) == []
    Ledger(old).close()
    Ledger(old, may_change_tables=False).close()
    Ledger(old.with_name("new.sqlite3"), may_change_tables=False).close()


def test_a_newer_ledger_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    Ledger(path).close()
    with closing(sqlite3.connect(path)) as newer:
        newer.execute("UPDATE about SET version = 4")
        newer.commit()
    before = contents(path)
    with pytest.raises(FolderError, match=r"written by a newer baywright \(its version 4; this one knows 3\)"):
        Ledger(path)
    assert contents(path) == before


@pytest.mark.parametrize(
    "tables",
    ["CREATE TABLE about (words VARCHAR)", "CREATE TABLE about (version INTEGER)", "CREATE TABLE visit (x INTEGER)"],
)
def test_tables_of_another_program_are_left_alone(tables: str, tmp_path: Path, postgresql: "Server") -> None:
    url = postgresql.new_database()
    with postgresql.connected(url) as connection:
        connection.execute(tables)
    with pytest.raises(FolderError, match="tables that are not of a ledger"):
        Ledger(Shared(url, "studio"))
    path = tmp_path / "ledger.sqlite3"
    with closing(sqlite3.connect(path)) as other:
        other.execute(tables)
    before = contents(path)
    with pytest.raises(FolderError):
        Ledger(path)
    assert contents(path) == before


def test_a_newer_ledger_on_a_server_is_refused(postgresql: "Server") -> None:
    url = postgresql.new_database()
    Ledger(Shared(url, "studio")).close()
    with postgresql.connected(url) as connection:
        connection.execute("UPDATE about SET version = 7")
    with pytest.raises(FolderError, match=r"newer baywright \(its version 7"):
        Ledger(Shared(url, "studio"))
