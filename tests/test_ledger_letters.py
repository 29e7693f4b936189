"""The ledger's notes on letters and its list of visits, on SQLite and on PostgreSQL."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline.ledger import Entry, Kept, Ledger
from pipeline.ledger_letters import Sending

if TYPE_CHECKING:
    from tests.postgresql import Server

NOW, LATER = "2026-11-25T10:00:00+00:00", "2026-11-25T11:00:00+00:00"


@pytest.fixture(params=["sqlite", "postgresql"])
def ledger(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ledger]:
    where = tmp_path / "ledger.sqlite3"
    if request.param == "postgresql":
        server: Server = request.getfixturevalue("postgresql")
        where = server.studio()  # type: ignore[assignment]
    with closing(Ledger(where)) as made:
        yield made


def kept(number: int, place: str | None, state: str = "reported", facts: tuple[str, ...] = ("visit.toml",)) -> Kept:
    originals = (("shots.csv", f"{number}.csv"), *((name, f"{number} {name}") for name in facts))
    return Kept(Entry(f"id {number}", f"visit {number}", state, 0, place, originals), f"{number:06}", ())


def test_staffs_word_on_a_letter_is_one_more_note_and_can_be_taken_back(ledger: Ledger) -> None:
    assert ledger.letters.mark("a", "v1", 0, NOW)
    assert not ledger.letters.mark("a", "v1", 0, NOW)
    assert ledger.letters.last() == {"a": {"v1": Sending("a", "v1", 1, "marked", NOW)}}
    assert ledger.begin_sending("a", "v1", LATER) is None
    begun = ledger.begin_sending("a", "v1", LATER, again=True)
    assert begun
    assert begun.number == 2
    assert not ledger.letters.mark("a", "v1", 1, LATER)
    assert not ledger.letters.unmark("a", "v1", 2)
    assert ledger.letters.mark("a", "v1", 2, LATER)
    assert ledger.letters.mark("b", "v2", 0, NOW)
    assert {visit: {v: n.number for v, n in notes.items()} for visit, notes in ledger.letters.last().items()} == {
        "a": {"v1": 3}, "b": {"v2": 1},
    }  # fmt: skip
    assert ledger.letters.last(["b"]).keys() == {"b"}
    assert ledger.letters.unmark("a", "v1", 3)
    assert not ledger.letters.unmark("a", "v1", 3)
    assert ledger.letters.last(["a"])["a"]["v1"].state == "sending"


def test_the_list_has_a_row_a_visit_the_newest_first(ledger: Ledger) -> None:
    ledger.adopt(
        [
            kept(1, "one", facts=()), kept(2, "two", facts=("Visit.toml", "visit.toml")), kept(3, None, "held"),
            kept(4, "two"), kept(5, "five", "archived"),
        ], (), NOW,
    )  # fmt: skip
    listed = ledger.list.visits(("reported", "held"))
    assert [(one.id, one.place, one.facts) for one in listed] == [
        ("id 4", "two", "4 visit.toml"), ("id 3", "", "3 visit.toml"), ("id 2", "two", "2 Visit.toml"),
        ("id 1", "one", ""),
    ]  # fmt: skip
    assert [one.id for one in ledger.list.visits(("reported", "held"), 1, 2)] == ["id 3", "id 2"]
    assert ledger.list.last_at() == {"id 1", "id 4"}
    assert ledger.list.last_at({"one"}) == {"id 1"}
    assert ledger.list.last_at(()) == set()
    assert len(ledger.list.facts()) == 5
