"""A ledger that was lost: nothing is reported twice, nothing is lost, and what cannot be known is said."""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import sqlalchemy as sa

from pipeline import database, issuing, mailing, manifests, rebuilding, studio
from pipeline.ledger import Entry, Ledger
from pipeline.ledger_letters import Sending
from pipeline.letter import Letter, version_of
from pipeline.records import ShotFile
from tests.conftest import NO_TABLE

if TYPE_CHECKING:
    from pipeline.inbox import Inbox
    from tests.conftest import Bench


class KilledError(BaseException):
    """The program ends here, and nothing in it notices."""


@contextmanager
def killed(at: int) -> Iterator[list[str]]:
    """Kill the program right before its write of that number: to a file, a folder or the ledger; gives its writes."""
    writes: list[str] = []

    def before(what: str) -> None:
        if len(writes) == at:
            raise KilledError
        writes.append(what)

    def wrapped(place: object, name: str) -> None:
        real: Callable[..., Any] = getattr(place, name)

        def write(*words: Any, **more: Any) -> Any:  # noqa: ANN401 - whatever goes through
            if not more.get("only_reads"):
                before(name)
            return real(*words, **more)

        patch.setattr(place, name, write)

    with pytest.MonkeyPatch.context() as patch, suppress(KilledError):
        wrapped(studio, "write_file")
        wrapped(studio, "write_version")
        wrapped(database, "transaction")
        yield writes


def lose(bench: "Bench") -> None:
    """Take the ledger away."""
    for path in bench.studio.work.glob("ledger*"):
        path.unlink()


def end(inbox: "Inbox") -> None:
    inbox.ledger.close()


def restart(bench: "Bench", inbox: "Inbox", *, lost: bool = True) -> "Inbox":
    end(inbox)
    if lost:
        lose(bench)
    return bench.open()


def identity(*contents: str, facts: str = "") -> str:
    return issuing.visit_id([ShotFile("any.csv", content.encode()) for content in contents], facts)


def drop_all(bench: "Bench") -> None:
    """Drop what gets a report, what is held and what is set back, as files and as folders."""
    bench.drop("a.csv", "shots")
    bench.drop("copy.csv", "shots")
    bench.drop("customer/one.csv", "first")
    bench.drop("customer/two.csv", "second")
    bench.drop("customer/visit.toml", "notes = 'x'")
    bench.drop("held.csv", "no unit")
    bench.drop("bad.csv", "no table")


# --- lost -------------------------------------------------------------------------------------------------------------
def test_a_lost_ledger_is_made_anew_exactly(bench: "Bench") -> None:
    inbox = bench.open()
    drop_all(bench)
    bench.drop("slow.csv", "half")
    bench.go(inbox)
    bench.drop("a.csv", "shots and more")
    bench.drop("slow.csv", "whole")
    bench.go(inbox)
    before, worked = inbox.ledger.all_kept(), list(bench.worked_out)
    assert {kept.entry.state for kept in before} == {"reported", "held", "set_back", "superseded"}
    bench.events.clear()
    inbox = restart(bench, inbox)
    assert inbox.ledger.all_kept() == before
    [event] = bench.events
    assert (event.kind, event.name, event.exit_code) == ("trouble", "ledger", 0)
    assert event.message == (
        "The ledger was missing and was made anew: 7 visits, 4 with a report. "
        "Which letters were sent before is not known, so look before you send one again."
    )
    bench.go(inbox)
    assert bench.kinds() == ["trouble", "held"]  # with a ledger that knows no answers yet, held ones are asked again
    assert bench.worked_out == [*worked, "held"]
    assert bench.reports() == ["2026-11-25 a", "2026-11-25 customer", "2026-11-25 slow"]
    bench.events.clear()
    bench.go(restart(bench, inbox, lost=False))
    assert bench.events == []
    assert manifests.listed(bench.studio) == {k.entry.id for k in before if k.entry.state != "superseded"}


def test_a_grown_file_is_the_next_version_after_a_loss_too(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    inbox = restart(bench, inbox)
    bench.drop("a.csv", "shots and more")
    bench.go(inbox)
    assert bench.reports() == ["2026-11-25 a"]
    assert bench.events[-1].message.endswith("version 2, the one before is kept in earlier/")
    inbox = restart(bench, inbox)
    states = [(entry.state, entry.place) for entry in inbox.ledger.entries("reported")]
    assert states == [("reported", "2026-11-25 a")] * 2  # one of them in earlier/


def test_what_was_not_worked_on_yet_is(bench: "Bench") -> None:
    """Its file may be gone from inbox/: the copy is all there is."""
    inbox = bench.open()
    path = bench.drop("a.csv", "shots")
    inbox.settled()
    bench.now += 3
    inbox.take_all(inbox.settled())
    path.unlink()
    inbox = restart(bench, inbox)
    inbox.work_off()
    assert bench.reports() == ["2026-11-25 a"]
    assert bench.kinds() == ["trouble", "reported"]
    assert "letters" not in bench.events[0].message


def test_corrected_facts_are_not_lost(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    [entry] = inbox.ledger.entries("reported")
    corrected = replace(entry, originals=(*entry.originals, issuing.keep(bench.studio, ShotFile("visit.toml", b"#"))))
    manifests.keep(bench.studio, inbox.ledger, corrected)
    inbox = restart(bench, inbox)
    assert inbox.ledger.entries("reported") == [corrected]


def test_one_set_back_without_its_note_is_tried_again(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("bad.csv", "no table")
    bench.go(inbox)
    for path in bench.studio.set_back.iterdir():
        path.unlink()
    bench.answers["no table"] = replace(NO_TABLE, what="Still no table.")
    bench.go(restart(bench, inbox))
    assert bench.kinds() == ["set_back", "trouble", "set_back"]
    assert bench.set_back() == ["bad.csv", "bad.csv.txt"]


def test_what_was_too_large_to_be_read_is_refused_anew(bench: "Bench") -> None:
    bench.extra_settings = "largest_file_mb = 1"
    inbox = bench.open()
    bench.drop("large.csv", bytes(1_000_001))
    bench.go(inbox)
    bench.go(restart(bench, inbox))
    assert bench.kinds() == ["set_back", "set_back"]
    assert bench.set_back() == ["large.txt"]
    assert bench.worked_out == []


# --- letters ----------------------------------------------------------------------------------------------------------
def test_no_letter_goes_out_twice_because_the_ledger_was_lost(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    letter = Letter(identity("shots"), "c@example.org", "subject", "text", b"%PDF-", "report.pdf")
    assert mailing.earlier(letter, inbox.ledger) == ""
    inbox = restart(bench, inbox)
    assert mailing.earlier(letter, inbox.ledger).startswith("the ledger was lost before 20")
    assert inbox.ledger.begin_sending(letter.visit_id, letter.version, "now") is None
    again = inbox.ledger.begin_sending(letter.visit_id, letter.version, "now", again=True)
    assert again == Sending(letter.visit_id, version_of(b"%PDF-"), 2, "sending", "now")
    later = replace(letter, pdf=b"%PDF-2")
    assert mailing.earlier(later, inbox.ledger) == ""  # a version made after the loss


# --- parts of it lost -------------------------------------------------------------------------------------------------
def test_a_ledger_from_a_backup_takes_up_what_came_later(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    end(inbox)
    ledger = bench.studio.work / "ledger.sqlite3"
    backup = ledger.read_bytes()
    inbox = bench.open()
    bench.drop("b.csv", "later shots")
    bench.drop("bad.csv", "no table")
    bench.go(inbox)
    end(inbox)
    lose(bench)
    ledger.write_bytes(backup)
    bench.events.clear()
    inbox = bench.open()
    bench.go(inbox)
    assert bench.events == []
    assert sorted(inbox.ledger.states().values()) == ["reported", "reported", "set_back"]


def test_a_studio_from_before_there_were_manifests_gets_them(bench: "Bench") -> None:
    inbox = bench.open()
    drop_all(bench)
    bench.drop("slow.csv", "half")
    bench.go(inbox)
    bench.drop("slow.csv", "whole")
    bench.go(inbox)
    written = {path.name: path.read_bytes() for path in bench.studio.visits.iterdir()}
    for path in bench.studio.visits.iterdir():
        path.unlink()
    end(bench.open())
    half = f"{identity('half')}.json"
    again = {path.name: json.loads(path.read_bytes()) for path in bench.studio.visits.iterdir()}
    assert again == {
        name: {**json.loads(content), "supersedes": []} for name, content in written.items() if name != half
    }


def test_without_manifests_what_can_be_shown_is_taken_up_and_the_rest_is_told(bench: "Bench") -> None:
    inbox = bench.open()
    drop_all(bench)
    bench.go(inbox)
    for path in bench.studio.visits.iterdir():
        path.unlink()
    for name in ("2026-11-25 a", "2026-11-25 customer"):
        path = bench.studio.outbox / name / "fitting.json"
        document = json.loads(path.read_bytes())
        document["visit"]["files"] = ["a.csv"]
        path.write_bytes(json.dumps(document).encode())
    kept = sorted(path.name for path in bench.studio.accepted.iterdir())
    bench.events.clear()
    inbox = restart(bench, inbox)
    found = {entry.name: (entry.state, entry.place, len(entry.originals)) for entry in everything(inbox.ledger)}
    assert found == {
        "a": ("reported", "2026-11-25 a", 1),
        "customer": ("reported", "2026-11-25 customer", 0),
        "held": ("held", "held.csv", 1),
        "bad": ("set_back", "bad.csv", 1),
    }
    assert (
        "kept originals that belong to no known visit: 3; they stay in work/accepted" in bench.events[0].message.lower()
    )
    assert sorted(path.name for path in bench.studio.accepted.iterdir()) == kept
    bench.go(inbox)
    assert [event.name for event in bench.events if event.kind == "reported"] == []
    assert bench.reports() == ["2026-11-25 a", "2026-11-25 customer"]
    [customer] = [entry for entry in everything(inbox.ledger) if entry.name == "customer"]
    assert len(customer.originals) == 3  # known again, because its files still lie in inbox/


def everything(ledger: Ledger) -> list[Entry]:
    return [kept.entry for kept in ledger.all_kept()]


@pytest.mark.parametrize(
    "damage", [b"", b"{", b"[]", b'{"manifest": 2}', b"[" * 100_000, b'"text"', b"null", b"\xff\xfe"]
)
def test_a_damaged_manifest_stops_nothing_and_is_told(bench: "Bench", damage: bytes) -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.drop("b.csv", "other shots")
    bench.go(inbox)
    path = bench.studio.visits / f"{identity('shots')}.json"
    path.write_bytes(damage)
    bench.events.clear()
    inbox = restart(bench, inbox)
    [event] = bench.events
    assert "Files in work/visits that are damaged: 1; they stay there." in event.message
    assert path.read_bytes() == damage
    bench.go(inbox)
    assert bench.reports() == ["2026-11-25 a", "2026-11-25 b"]
    assert sorted(entry.name for entry in inbox.ledger.entries("reported")) == ["a", "b"]


@pytest.mark.parametrize("stored", ["../../../etc/passwd", "/etc/passwd", "0" * 64 + "/../x.csv", ""])
def test_a_manifest_leads_to_no_file_outside(bench: "Bench", stored: str) -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    path = bench.studio.visits / f"{identity('shots')}.json"
    document = json.loads(path.read_bytes())
    document["originals"][0]["stored"] = stored
    path.write_bytes(json.dumps(document).encode())
    assert manifests.read(bench.studio, identity("shots")) is None


def test_notes_and_reports_of_others_are_passed_over(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    (bench.studio.set_back / "mine.txt").write_text("Call the customer.\nVisit tomorrow.\n", encoding="utf-8")
    (bench.studio.set_back / "long.txt").write_text("x" * 200_000, encoding="utf-8")
    (bench.studio.set_back / "folder.txt").mkdir()
    (bench.studio.outbox / "notes").mkdir()
    (bench.studio.outbox / "file").write_bytes(b"")
    for number, damage in enumerate((b"{", b"[]", b'{"visit": 1}', b'{"visit": {"name": 1}}')):
        place = bench.studio.outbox / f"damaged {number}"
        place.mkdir()
        (place / "fitting.json").write_bytes(damage)
    inbox = restart(bench, inbox)
    assert [(entry.name, entry.place) for entry in everything(inbox.ledger)] == [("a", "2026-11-25 a")]


def test_a_new_studio_has_nothing_to_say(bench: "Bench") -> None:
    end(bench.open())
    assert bench.events == []


# --- erased -----------------------------------------------------------------------------------------------------------
def test_what_was_erased_stays_erased_when_the_ledger_is_lost(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.drop("b.csv", "other shots")
    bench.go(inbox)
    gone = identity("shots")
    inbox.ledger.begin_forgetting([gone])
    inbox.ledger.blank([gone], "2026-11-26T12:00:00")
    inbox.ledger.end_forgetting([gone])
    end(inbox)
    end(bench.open())  # brings the manifest in line
    text = (bench.studio.visits / f"{gone}.json").read_text(encoding="utf-8")
    assert "a.csv" not in text
    assert '"name": ""' in text
    lose(bench)
    bench.events.clear()
    inbox = bench.open()
    assert inbox.ledger.forgotten(gone) == "2026-11-26"
    bench.go(inbox)
    assert "reported" not in bench.kinds()


def test_a_visit_that_is_being_erased_gets_no_manifest_with_words(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    inbox.ledger.begin_forgetting([identity("shots")])
    manifests.remove(bench.studio, identity("shots"))
    assert rebuilding.reconcile(bench.studio, inbox.ledger) == ""
    assert manifests.listed(bench.studio) == set()


# --- killed between any two writes ------------------------------------------------------------------------------------
PARTS = 14  # of which the default run does one


def test_what_the_ledger_was_told_can_be_told_again(bench: "Bench", tmp_path: Path) -> None:
    """Killed at any write of a taking, then the ledger lost: what it knew is known again, its file or not."""
    told = 0
    for at in range(6):
        bench.studio = studio.create(tmp_path / f"studio {at}")
        inbox = bench.open()
        path = bench.drop("a.csv", "shots")
        with killed(at):
            bench.go(inbox)
        if inbox.ledger.states():
            told += 1
            path.unlink()
            inbox = restart(bench, inbox)
            inbox.work_off()
            assert bench.reports() == ["2026-11-25 a"]
        end(inbox)
    assert 0 < told < 6


def scenario(bench: "Bench", inbox: "Inbox") -> None:
    drop_all(bench)
    bench.drop("slow.csv", "half")
    bench.go(inbox)
    bench.drop("a.csv", "shots and more")
    bench.drop("slow.csv", "whole")
    bench.go(inbox)


def outcome(bench: "Bench", inbox: "Inbox") -> object:
    """Give all that matters at the end: which report has which content, what was set back, what the ledger says."""
    reports = {
        path.relative_to(bench.studio.outbox).as_posix(): json.loads(path.read_bytes())["visit"]["id"]
        for path in bench.studio.outbox.rglob("fitting.json")
    }
    states = {i: state for i, state in inbox.ledger.states().items() if state != "superseded"}
    left = [path for path in bench.studio.root.rglob(".*") if path.name != ".filelock"]
    return reports, bench.set_back(), states, left, len(list(bench.studio.accepted.iterdir()))


@pytest.mark.parametrize("lost", [False, True])
@pytest.mark.parametrize("part", [0, *(pytest.param(part, marks=pytest.mark.slow) for part in range(1, PARTS))])
def test_killed_before_any_write_it_ends_as_if_it_had_not_been(
    bench: "Bench", tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, lost: bool, part: int
) -> None:
    """Killed before each single write in turn; then, in half of the runs, the ledger is lost on top of it."""
    monkeypatch.setattr("os.fsync", lambda _descriptor: None)  # a kill leaves to the system what was written
    inbox = bench.open()
    with killed(at=10**9) as writes:
        scenario(bench, inbox)
    wanted = outcome(bench, inbox)
    assert len(writes) > 50
    end(inbox)
    for at in range(part, len(writes), PARTS):
        bench.studio = studio.create(tmp_path / f"studio {at}")
        inbox = bench.open()
        with killed(at):
            scenario(bench, inbox)
        inbox = restart(bench, inbox, lost=lost)
        scenario(bench, inbox)
        bench.go(inbox)
        assert outcome(bench, inbox) == wanted, (at, writes[at])
        end(inbox)


def test_killed_while_the_ledger_is_made_anew(bench: "Bench") -> None:
    inbox = bench.open()
    drop_all(bench)
    bench.go(inbox)
    before = inbox.ledger.all_kept()
    end(inbox)
    for at in range(4):
        lose(bench)
        with killed(at):
            end(bench.open())
        inbox = bench.open()
        assert inbox.ledger.all_kept() == before
        end(inbox)


# --- on a server ------------------------------------------------------------------------------------------------------
def test_a_studio_that_moves_to_a_server_takes_its_visits_along(bench: "Bench", request: pytest.FixtureRequest) -> None:
    inbox = bench.open()
    drop_all(bench)
    bench.go(inbox)
    before = inbox.ledger.all_kept()
    server = request.getfixturevalue("postgresql")
    moved = Ledger(server.studio())
    assert rebuilding.reconcile(bench.studio, moved).startswith("The ledger was missing and was made anew: 4 visits, 2")
    assert moved.all_kept() == before
    assert rebuilding.reconcile(bench.studio, moved) == ""
    moved.close()


def test_many_visits_are_made_anew_in_one_transaction(bench: "Bench") -> None:
    inbox = bench.open()
    for number in range(30):
        bench.drop(f"{number}.csv", f"shots {number}")
    bench.go(inbox)
    end(inbox)
    lose(bench)
    ledger = Ledger(bench.studio.work / "ledger.sqlite3")
    begun: list[object] = []
    sa.event.listen(ledger._engine, "commit", begun.append)
    assert "30 visits, 30 with a report" in rebuilding.reconcile(bench.studio, ledger)
    assert len(begun) < 5  # looking at what is there, and one that writes
    ledger.close()
