"""Tidying: only what has its report and is unchanged leaves the drop folder, and nothing is ever lost by it."""

import errno
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline import arrivals, studio
from pipeline.ledger import Entry, Ledger
from pipeline.studio import Studio
from pipeline.tidying import Tidier


@pytest.fixture
def place(tmp_path: Path) -> Studio:
    return studio.create(tmp_path / "studio")


class Desk:
    """A studio whose ledger says of each file what the test wants."""

    def __init__(self, place: Studio) -> None:
        self.place = place
        self.ledger = Ledger(place.work / "ledger.sqlite3")
        self.told: list[str] = []
        self.tidier = Tidier(place, self.ledger, self.told.append)

    def drop(self, name: str, content: str = "shots") -> Path:
        path = self.place.inbox / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content, encoding="utf-8")
        return path

    def note(self, name: str, state: str = "reported") -> None:
        """Note what lies there under that name as taken."""
        [found] = [one for one in arrivals.look(self.place.inbox) if one.place == name]
        identity = f"{len(self.ledger.tally()):08} {name}"
        self.ledger.accept(Entry(identity, name, "accepted", 0, None, ()), (name, found.signature), "2026-11-25")
        self.ledger.move(identity, state, "2026-11-25 a")

    def left(self) -> list[str]:
        return sorted(str(path.relative_to(self.place.inbox)) for path in self.place.inbox.rglob("*"))

    def done(self) -> dict[str, str]:
        found = [path for path in self.place.done.rglob("*") if path.is_file()]
        return {str(path.relative_to(self.place.done)): path.read_text(encoding="utf-8") for path in found}


@pytest.fixture
def desk(place: Studio) -> Iterator[Desk]:
    made = Desk(place)
    yield made
    made.ledger.close()


@pytest.mark.parametrize("state", ["accepted", "processing", "waiting", "held", "set_back", "superseded"])
def test_only_what_has_its_report_is_moved(desk: Desk, state: str) -> None:
    for name in ("a.csv", "b.csv", "c.csv"):
        desk.drop(name, name)
    desk.note("a.csv")
    desk.note("b.csv", state)
    desk.tidier.tidy()
    assert desk.left() == ["b.csv", "c.csv"]
    assert desk.done() == {"a.csv": "a.csv"}
    assert desk.told == []


def test_a_file_that_changed_after_it_was_taken_stays(desk: Desk) -> None:
    path = desk.drop("a.csv")
    desk.note("a.csv")
    path.write_text("shots and more", encoding="utf-8")
    desk.tidier.tidy()
    assert (desk.left(), desk.done()) == (["a.csv"], {})


def test_a_file_that_changes_between_the_look_and_the_move_stays(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    path = desk.drop("a.csv")
    desk.note("a.csv")
    real = desk.ledger.taken_as

    def written_meanwhile(*words: str) -> Entry | None:
        path.write_text("shots and more", encoding="utf-8")
        return real(*words)

    monkeypatch.setattr(desk.ledger, "taken_as", written_meanwhile)
    desk.tidier.tidy()
    assert (desk.left(), desk.done()) == (["a.csv"], {})


def test_a_file_written_in_the_moment_of_the_move_goes_back(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.drop("a.csv")
    desk.note("a.csv")
    real = Path.rename

    def with_a_writer(path: Path, target: Path) -> Path:
        moved = real(path, target)
        if path.parent == desk.place.inbox:
            moved.write_text("shots and more", encoding="utf-8")  # by a program that still has it open
        return moved

    monkeypatch.setattr(Path, "rename", with_a_writer)
    desk.tidier.tidy()
    assert (desk.left(), desk.done()) == (["a.csv"], {})
    assert (desk.place.inbox / "a.csv").read_text(encoding="utf-8") == "shots and more"


def test_nothing_in_done_is_ever_written_over(desk: Desk) -> None:
    for content in ("one", "two", "three"):
        desk.drop("a.csv", content)
        desk.note("a.csv")
        desk.tidier.tidy()
    assert desk.done() == {"a.csv": "one", "a (2).csv": "two", "a (3).csv": "three"}
    assert desk.left() == []


def test_a_folder_is_moved_whole_and_only_when_all_in_it_was_taken(desk: Desk) -> None:
    desk.drop("visit 1.5/a.csv")
    desk.drop("visit 1.5/visit.toml", "customer = 'A'")
    desk.drop("visit 2/a.csv", "others")
    desk.note("visit 1.5")
    desk.note("visit 2")
    desk.drop("visit 2/b.csv.part", "more is coming")
    desk.tidier.tidy()
    assert desk.left() == ["visit 2", "visit 2/a.csv", "visit 2/b.csv.part"]
    assert desk.done() == {"visit 1.5/a.csv": "shots", "visit 1.5/visit.toml": "customer = 'A'"}
    (desk.place.inbox / "visit 2" / "b.csv.part").unlink()
    desk.tidier.tidy()
    assert set(desk.done()) == {"visit 1.5/a.csv", "visit 1.5/visit.toml", "visit 2/a.csv"}


def test_a_drop_folder_nobody_may_change_is_told_once(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.drop("a.csv")
    desk.note("a.csv")

    def refuse(_path: Path, _target: Path) -> Path:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(Path, "rename", refuse)
    desk.tidier.tidy()
    desk.tidier.tidy()
    assert desk.told == [
        "what is done cannot be moved out of inbox/ to done/ (Read-only file system); it stays where it is."
    ]
    assert desk.left() == ["a.csv"]


def test_the_log_names_no_file(desk: Desk, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level("INFO", "baywright")
    desk.drop("Oak Example.csv")
    desk.note("Oak Example.csv")
    desk.tidier.tidy()
    assert caplog.messages == ["Visit 00000000: what was dropped was moved to done/."]
