"""The ledger told of many visits at once, on SQLite and on PostgreSQL: all of them or none, each once."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import studio
from pipeline.backlog import Backlog
from pipeline.database import Shared
from pipeline.inbox import Inbox
from pipeline.ledger import Entry, Ledger
from pipeline.ledger_bulk import Outcome
from tests.conftest import TODAY, Bench
from tests.test_archive import counted

if TYPE_CHECKING:
    from tests.postgresql import Server

BEFORE = ("superseded", "archived", "not_archived")


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> Path | Shared:
    if request.param == "sqlite":
        return tmp_path / "ledger.sqlite3"
    server: Server = request.getfixturevalue("postgresql")
    return server.studio()


@pytest.fixture
def ledger(where: Path | Shared) -> Iterator[Ledger]:
    with closing(Ledger(where)) as made:
        yield made


def outcome(number: int, state: str = "archived", path: str | None = "a.parquet", place: str | None = None) -> Outcome:
    originals = ((f"{number}.csv", f"{number:04}.csv"), ("visit.toml", f"{number:04}.toml"))
    sightings = ((f"{number}.csv", f"sig {number}"), (f"copy {number}.csv", f"sig {number}"))
    return Outcome(f"id {number:04}", f"visit {number}", state, f"{number:06}", place, originals, sightings, path)


def test_many_are_noted_with_all_that_belongs_to_them(ledger: Ledger) -> None:
    many = [outcome(number) for number in range(1_000)]
    ledger.bulk.note([*many, outcome(2_000, "not_archived", None, "note")], (), BEFORE)
    assert {state: count for state, (count, _) in ledger.tally().items()} == {"archived": 1_000, "not_archived": 1}
    kept = ledger.all_kept()
    assert [(one.entry.id, one.entry.originals, one.received) for one in kept[:-1]] == [
        (one.id, one.originals, one.received) for one in many
    ]
    assert all(set(one.sightings) == set(many[place].sightings) for place, one in enumerate(kept[:-1]))
    assert kept[-1].entry.place == "note"
    assert len(ledger.archive.filed()) == 1_000
    assert ledger.bulk.states([one.id for one in many]) == {one.id: "archived" for one in many}
    assert ledger.bulk.filed([*(one.id for one in many), "id 2000"]) == {one.id for one in many}
    assert ledger.archive.lacking() == []


def test_what_was_there_in_one_of_the_states_is_replaced_and_the_rest_stays(ledger: Ledger) -> None:
    ledger.bulk.note([outcome(1, "not_archived", None, "note")], (), BEFORE)
    ledger.accept(Entry("id 0002", "dropped", "accepted", 0, None, (("x.csv", "x"),)), ("x.csv", "sig x"), "000001")
    ledger.move("id 0002", "reported", "folder")
    ledger.bulk.note([outcome(1), outcome(2)], (), BEFORE)
    one, two = ledger.entry("id 0001"), ledger.entry("id 0002")
    assert one
    assert (one.state, one.place) == ("archived", None)
    assert two
    assert (two.state, two.place, two.name) == ("reported", "folder", "dropped")


def test_visits_that_have_grown_into_others_count_no_more(ledger: Ledger) -> None:
    ledger.bulk.note([outcome(1), outcome(2)], (), BEFORE)
    ledger.bulk.note([outcome(3, path="b.parquet")], ["id 0001"], BEFORE)
    ledger.bulk.supersede(["id 0002"])
    ledger.bulk.supersede([])
    assert ledger.bulk.states(["id 0001", "id 0002", "id 0003"]) == {
        "id 0001": "superseded", "id 0002": "superseded", "id 0003": "archived",
    }  # fmt: skip
    assert [(row.visit, row.gone) for row in ledger.archive.filed()] == [
        ("id 0001", True), ("id 0002", True), ("id 0003", False),
    ]  # fmt: skip


def test_new_visits_take_the_place_of_former_ones_and_doing_it_twice_changes_nothing(ledger: Ledger) -> None:
    ledger.bulk.note([outcome(1, "reported", place="folder"), outcome(2)], (), BEFORE)
    for _ in range(2):
        ledger.bulk.regroup([outcome(3, "accepted", None), outcome(4, "accepted", None)], ["id 0001"])
        former, new = ledger.entry("id 0001"), ledger.entry("id 0003")
        assert former
        assert (former.state, former.place, former.originals) == ("replaced", None, outcome(1).originals)
        assert new
        assert (new.state, new.originals) == ("accepted", outcome(3).originals)
        assert ledger.bulk.states(["id 0002", "id 0004"]) == {"id 0002": "archived", "id 0004": "accepted"}
        assert [(row.visit, row.gone) for row in ledger.archive.filed()] == [("id 0001", True), ("id 0002", False)]


def test_places_tell_which_visits_came_from_there(ledger: Ledger) -> None:
    ledger.bulk.note([outcome(1), outcome(2, "not_archived", None)], (), BEFORE)
    ledger.bulk.see([("id 0001", "third.csv", "sig 3"), ("id 0001", "1.csv", "sig 1")])
    asked = ["1.csv", "third.csv", "2.csv", "unknown.csv"]
    assert ledger.bulk.at_places(asked, ("archived",)) == {"1.csv": {"id 0001"}, "third.csv": {"id 0001"}}
    assert ledger.bulk.at_places([], ("archived",)) == {}


def test_studios_in_one_database_know_nothing_of_each_other(postgresql: "Server") -> None:
    one = postgresql.studio()
    with closing(Ledger(one)) as ledger, closing(Ledger(Shared(one.url, "another"))) as other:
        other.bulk.note([outcome(1)], (), BEFORE)
        assert ledger.bulk.states(["id 0001"]) == {}
        assert ledger.bulk.at_places(["1.csv"], BEFORE) == {}
        assert ledger.bulk.filed(["id 0001"]) == set()
        ledger.bulk.note([outcome(1, "not_archived", None)], (), BEFORE)
        ledger.bulk.supersede(["id 0001"])
        assert other.bulk.states(["id 0001"]) == {"id 0001": "archived"}


def test_old_exports_are_read_with_either(bench: Bench, ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.backlog._MOST_VISITS", 4)
    for number in range(11):
        bench.drop(f"{number}.csv", "no unit" if number == 4 else f"shots {number}")
    inbox = Inbox(bench.studio, bench.open().settings, ledger, bench.events.append, today=lambda: TODAY)
    assert Backlog(inbox, lambda _done, _of: None).run().archived == 10
    assert len(counted(inbox.archive)) == 10
    assert studio.identity(bench.studio)
    assert Backlog(inbox, lambda _done, _of: None).run().archived == 0
