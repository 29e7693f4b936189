"""The list of visits at the desk: searched, filtered, a page at a time, also when there are thousands."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline import desk_list, letter
from pipeline.desk_list import Wanted
from pipeline.desk_room import Room
from pipeline.desk_sent import SentLetters
from tests.conftest import Bench
from tests.desk import desk_on
from tests.desk_visits import identity, note, room_in, visit


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    made = room_in(tmp_path_factory.mktemp("list") / "studio")
    visits = [
        visit(made, "irons", 'customer = "Änne  Straße"\n'),
        visit(made, "STRASSE 7"),
        visit(made, "held one", 'customer = "Änne"\n', "held"),
        visit(made, "back", state="set_back"),
        visit(made, "grown a", place="shared"),
        visit(made, "grown b", place="shared"),
        visit(made, "damaged", "customer = [\n"),
        visit(made, "old export", 'customer = "Änne"\n', "archived"),
    ]
    note(made, visits, [(identity("STRASSE 7"), "another version")])
    yield made
    made.ledger.close()


def names(room: Room, words: str = "", which: str = "") -> list[str]:
    return [row.name for row in desk_list.found(room, Wanted(words, which), None).rows]


def test_words_are_looked_for_in_names_and_customers_whatever_their_case(room: Room) -> None:
    assert names(room, "strasse") == ["STRASSE 7", "irons"]
    assert names(room, " ÄNNE\tstraße ") == ["irons"]
    assert names(room, "a\u0308nne") == ["held one", "irons"]
    assert names(room, "nobody") == []
    assert names(room, "%") == []


def test_each_filter_shows_its_visits_alone(room: Room) -> None:
    assert names(room, which="asks") == ["held one"]
    assert names(room, which="back") == ["back"]
    assert names(room, which="report") == ["damaged", "grown b", "grown a", "STRASSE 7", "irons"]
    assert names(room, "grown", "report") == ["grown b", "grown a"]
    assert names(room, "grown", "asks") == []
    assert len(names(room)) == 7


def test_letters_not_sent_are_those_of_the_newest_version_alone(room: Room) -> None:
    unsent = ["damaged", "grown b", "STRASSE 7", "irons"]
    assert names(room, which="unsent") == unsent
    version = letter.version_of((room.place.outbox / "2026 irons" / "report.pdf").read_bytes())
    assert room.ledger.letters.mark(identity("irons"), version, 0, "2026-11-25T10:00:00+00:00")
    assert names(room, which="unsent") == unsent[:-1]
    said = {row.name: row.letter for row in desk_list.found(room, Wanted("", ""), None).rows}
    assert said["irons"] == "letter sent 2026-11-25"
    assert said["STRASSE 7"] == "letter not sent yet"
    assert said["grown a"] == said["held one"] == ""
    report = room.place.outbox / "2026 irons" / "report.pdf"
    report.write_bytes(report.read_bytes() + b"the next version")
    assert names(room, which="unsent") == unsent
    assert room.ledger.letters.unmark(identity("irons"), version, 1)


def test_what_an_address_asks_for_is_read_with_care() -> None:
    assert desk_list.wanted({"words": " a ", "which": "everything"}) == Wanted("a", "")
    assert desk_list.wanted({"words": "x" * 900}) == Wanted("x" * 200, "")
    assert Wanted("a&b=<c>", "asks").address(3, seen="m") == "/?words=a%26b%3D%3Cc%3E&which=asks&page=3&seen=m"
    assert Wanted("", "").address(1) == "/"


def test_the_page_keeps_what_was_asked_for(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.desk_pages.PAGE", 3)
    desk = desk_on(bench)
    desk.enter()
    for number in range(5):
        bench.drop(f"a&b {number}.csv", f"content {number}")
    bench.drop("other.csv", "no table")
    assert desk.room.own
    desk.room.own.inbox.take_all(desk.room.own.inbox.settled())
    bench.now += 3
    desk.room.own.inbox.take_all(desk.room.own.inbox.settled())
    found = desk.client.get("/", params={"words": "a&B <"}).text
    assert "No visit with <q><bdi>a&amp;B &lt;</bdi></q> in its name or its customer’s." in found
    found = desk.client.get("/", params={"words": "a&b"}).text
    assert "5 visits with" in found
    assert 'href="/?words=a%26b&amp;page=2"' in found
    assert 'hx-get="/?words=a%26b&amp;seen=' in found
    assert 'value="a&amp;b"' in found
    assert "Hand in" not in found
    second = desk.client.get("/?words=a%26b&page=2").text
    assert second.count("<tr><td") == 2
    assert 'href="/?words=a%26b"' in second
    seen = second.split("seen=")[1].split('"')[0]
    asked = {"words": "a&b", "page": "2", "seen": seen}
    assert desk.client.get("/", params=asked, headers={"hx-request": "true"}).status_code == 204
    assert '<option value="back" selected>' in desk.client.get("/?which=back").text
    desk.room.ledger.close()


def test_no_name_of_a_folder_that_went_away_is_remembered(tmp_path: Path) -> None:
    sent = SentLetters()
    for name in ("elm", "oak"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "report.pdf").write_bytes(b"%PDF-")
        assert sent.version(tmp_path / name) == letter.version_of(b"%PDF-")
    sent.keep_only(["oak", "ash"])
    assert list(sent._known) == [tmp_path / "oak"]


@pytest.mark.slow
def test_thousands_of_visits_do_not_make_anybody_wait(tmp_path: Path) -> None:
    room = room_in(tmp_path / "studio")
    visits = [visit(room, f"visit {number}", f'customer = "Customer {number % 700}"\n') for number in range(5_000)]
    pdfs = {kept.entry.id: letter.version_of(b"%PDF-" + kept.entry.name.encode()) for kept in visits[::2]}
    note(room, visits, list(pdfs.items()))
    desk_list.look_ahead(room)
    for wanted in (Wanted("", ""), Wanted("customer 77", ""), Wanted("", "unsent"), Wanted("visit", "report")):
        took = []
        for _ in range(3):
            begun = time.process_time()  # a busy machine tells the same
            assert desk_list.found(room, wanted, "2").rows
            took.append(time.process_time() - begun)
        assert min(took) < 0.3, (wanted, took)
    room.ledger.close()
