"""The intake: nothing lost, nothing twice, nothing half-made, and a bad file never stops the rest."""

import datetime as dt
import errno
import json
import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import events, studio
from pipeline.errors import (
    FolderError,
    MappingError,
    MissingPartError,
    PipelineError,
    ReportError,
    SettingsError,
    TooFewShotsError,
    UnreadableFileError,
)
from pipeline.issuing import visit_id
from pipeline.ledger import Ledger
from pipeline.records import ShotFile

if TYPE_CHECKING:
    from tests.conftest import Bench


def disk_full(*_words: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


# --- settling ---------------------------------------------------------------------------------------------------------
def test_a_file_is_taken_only_after_standing_still(bench: "Bench") -> None:
    inbox = bench.open()
    path = bench.drop("a.csv", "first")
    assert inbox.settled() == []
    bench.now += 1.9
    assert inbox.settled() == []
    path.write_text("first and second", encoding="utf-8")
    bench.now += 1.9
    assert inbox.settled() == []
    bench.now += 1.9
    assert inbox.settled() == []
    bench.now += 0.2
    assert [arrival.name for arrival in inbox.settled()] == ["a"]


def test_one_look_is_never_enough_however_long_ago_the_file_was_written(bench: "Bench") -> None:
    os.utime(bench.drop("old.csv", "shots"), (0, 0))
    os.utime(bench.drop("future.csv", "shots of tomorrow"), (2**33, 2**33))
    inbox = bench.open()
    assert inbox.settled() == []
    bench.go(inbox)
    assert bench.kinds() == ["reported", "reported"]


def test_the_next_look_is_due_when_the_first_file_has_settled(bench: "Bench") -> None:
    bench.extra_settings = "scan_seconds = 30"
    inbox = bench.open()
    assert inbox.next_look() == 30
    bench.drop("a.csv", "shots")
    inbox.settled()
    bench.now += 0.5
    bench.drop("b.csv", "more shots")
    inbox.settled()
    assert inbox.next_look() == pytest.approx(1.5)
    bench.now += 1.5
    assert len(inbox.settled()) == 1
    assert inbox.next_look() == pytest.approx(0.5)
    bench.now += 5
    assert inbox.next_look() == 30  # what could not be taken though it had settled does not make it spin


def test_a_file_taken_away_while_it_settles_is_forgotten(bench: "Bench") -> None:
    inbox = bench.open()
    path = bench.drop("a.csv", "shots")
    inbox.settled()
    path.unlink()
    bench.now += 5
    assert inbox.settled() == []
    bench.drop("a.csv", "shots")
    assert inbox.settled() == []


def test_a_folder_that_still_fills_up_waits(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("customer/a.csv", "one")
    inbox.settled()
    bench.now += 1.5
    bench.drop("customer/b.csv", "two")
    inbox.settled()
    bench.now += 1.5
    assert inbox.settled() == []
    bench.now += 1
    assert [len(arrival.paths) for arrival in inbox.settled()] == [2]


def test_files_known_to_the_ledger_cost_no_question_at_each_look(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    inbox.settled()
    asked: list[tuple[str, str]] = []

    def seen_of(_ledger: Ledger, sightings: list[tuple[str, str]]) -> set[tuple[str, str]]:
        asked.extend(sightings)
        return set()

    monkeypatch.setattr(Ledger, "seen_of", seen_of)
    for _ in range(3):
        assert inbox.settled() == []
    assert asked == []


# --- from a drop to a report ------------------------------------------------------------------------------------------
def test_a_dropped_file_becomes_one_report_and_stays_where_it_is(bench: "Bench") -> None:
    inbox = bench.open()
    path = bench.drop("customer 7.csv", "shots")
    before = path.stat().st_mtime_ns
    for _ in range(3):
        bench.go(inbox)
    [event] = bench.events
    assert (event.kind, event.name, event.exit_code) == ("reported", "customer 7", 0)
    place = bench.studio.outbox / "2026-11-25 customer 7"
    assert event.place == place / "report.pdf"
    assert set(event.seconds) == {"analyse", "render", "write"}
    assert bench.reports() == [place.name]
    assert {p.name for p in place.iterdir()} == {"report.pdf", "fitting.json"}
    assert path.read_text(encoding="utf-8") == "shots"
    assert path.stat().st_mtime_ns == before
    assert [p.read_text(encoding="utf-8") for p in bench.studio.accepted.iterdir()] == ["shots"]


def test_files_there_before_the_start_are_taken(bench: "Bench") -> None:
    for number in range(20):
        bench.drop(f"customer {number}.csv", f"shots {number}")
    bench.go(bench.open())
    assert len(bench.reports()) == 20


def test_the_same_content_under_another_name_is_not_reported_twice(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    bench.drop("copy of a.csv", "shots")
    bench.drop("folder/again.csv", "shots")
    bench.go(inbox)
    bench.go(bench.open())
    assert bench.kinds() == ["reported", "known", "known"]
    assert bench.events[1].message == ("the same content was dropped before; its report is in outbox/2026-11-25 a")
    assert bench.reports() == ["2026-11-25 a"]


def test_the_same_content_twice_in_one_look_is_one_report(bench: "Bench") -> None:
    bench.drop("a.csv", "shots")
    bench.drop("b.csv", "shots")
    bench.go(bench.open())
    assert bench.kinds() == ["known", "reported"]
    assert bench.events[0].message == "the same content was dropped before; its report is being made"


def versions(bench: "Bench", name: str) -> dict[str, tuple[str, int, str | None]]:
    """Give what lies in a report's folder: where → the visit's id, its version and that version's day."""
    place = bench.studio.outbox / name
    out = {}
    for path in sorted(place.rglob("fitting.json")):
        visit = json.loads(path.read_bytes())["visit"]
        assert (path.parent / "report.pdf").exists()
        out[path.parent.relative_to(place).as_posix()] = (visit["id"], visit["version"], visit["version_date"])
    return out


def test_a_changed_file_is_a_new_version_and_the_former_ones_stay_in_the_same_folder(bench: "Bench") -> None:
    inbox = bench.open()
    for content in ("shots", "shots and more shots", "shots and still more"):
        bench.drop("a.csv", content)
        bench.go(inbox)
    assert bench.reports() == ["2026-11-25 a"]
    found = versions(bench, "2026-11-25 a")
    ids = [visit_id([ShotFile("a.csv", text)]) for text in (b"shots", b"shots and more shots", b"shots and still more")]
    assert found == {
        "earlier/version 1": (ids[0], 1, None),
        "earlier/version 2": (ids[1], 2, "2026-11-25"),
        ".": (ids[2], 3, "2026-11-25"),
    }
    said = [event.message.partition("; ")[2] for event in bench.events]
    assert said == ["", *(f"version {n}, the one before is kept in earlier/" for n in (2, 3))]
    bench.drop("b.csv", "shots")
    bench.go(inbox)
    assert bench.events[-1].message == "the same content was dropped before; its report is in outbox/2026-11-25 a"


def test_two_visits_of_one_day_and_name_never_share_a_folder(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    bench.drop("a.tsv", "shots of another")  # another place in the drop folder
    bench.go(inbox)
    bench.shots["next golfer"] = (201.0, 202.0)
    bench.drop("a.tsv", "next golfer")  # the same place, and none of the shots that were in it
    bench.go(inbox)
    assert bench.reports() == ["2026-11-25 a", "2026-11-25 a (2)", "2026-11-25 a (3)"]
    assert [list(versions(bench, name)) for name in bench.reports()] == [["."], ["."], ["."]]


@pytest.mark.parametrize(
    ("then", "same"),
    [
        ((150.0, 151.0, 152.0, 153.0), True),  # grown
        ((150.0, 151.0, 160.0), True),  # one changed
        ((150.0, 161.0), False),  # one of three left
        ((149.0, 150.0, 151.0, 152.0), False),  # the same values, each of another shot
    ],
)
def test_what_comes_from_the_same_place_is_the_same_visit_when_half_its_shots_are_still_there(
    bench: "Bench", *, then: tuple[float, ...], same: bool
) -> None:
    bench.shots.update(first=(150.0, 151.0, 152.0), then=then)
    for content in ("first", "then"):
        bench.drop("a.csv", content)
        bench.go(bench.open())
    assert bench.reports() == (["2026-11-25 a"] if same else ["2026-11-25 a", "2026-11-25 a (2)"])


NO_SHOTS = b'{"visit": {"id": "x", "date": "2026-11-25", "version": 1}, "shots": []}'


@pytest.mark.parametrize("damage", [b"", b"[]", b'{"visit": {}}', b"\xff", NO_SHOTS, None])
def test_a_folder_whose_report_cannot_be_told_is_left_alone(bench: "Bench", damage: bytes | None) -> None:
    bench.drop("a.csv", "shots")
    bench.go(bench.open())
    path = bench.studio.outbox / "2026-11-25 a" / "fitting.json"
    path.unlink() if damage is None else path.write_bytes(damage)
    bench.drop("a.csv", "shots and more shots")
    bench.go(bench.open())
    assert bench.reports() == ["2026-11-25 a", "2026-11-25 a (2)"]


def test_a_copy_under_another_name_that_grows_is_a_visit_of_its_own(bench: "Bench") -> None:
    for name, content in (("a", "shots"), ("b", "shots"), ("b", "shots and more shots")):
        bench.drop(f"{name}/shots.csv", content)
        bench.go(bench.open())
    assert bench.kinds() == ["reported", "known", "reported"]
    assert bench.reports() == ["2026-11-25 a", "2026-11-25 b"]


def test_a_folder_staff_took_away_starts_anew(bench: "Bench") -> None:
    bench.drop("a.csv", "shots")
    bench.go(bench.open())
    (bench.studio.outbox / "2026-11-25 a").rename(bench.studio.root / "archive")
    bench.drop("a.csv", "shots and more shots")
    bench.go(bench.open())
    assert [found[1] for found in versions(bench, "2026-11-25 a").values()] == [1]


def test_visit_toml_beside_the_files_is_part_of_the_visit(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a/shots.csv", "shots")
    bench.drop("a/visit.toml", "date = 2026-10-01")
    bench.go(inbox)
    bench.drop("a/visit.toml", "date = 2026-10-02")
    bench.go(inbox)
    assert bench.reports() == ["2026-10-01 a", "2026-10-02 a"]


def test_characters_the_typeface_lacks_are_told_to_staff_and_not_written_into_the_log(
    bench: "Bench", caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("INFO", "baywright")
    bench.drop("a/shots.csv", "shots")
    bench.drop("a/visit.toml", "customer = '竹林'\nnotes = 'Well done 👍'")
    bench.drop("b/shots.csv", "more shots")
    bench.drop("b/visit.toml", "customer = 'Łąka Åkerbär'")
    bench.go(bench.open())
    assert bench.events[0].message.endswith(
        "; the report's typeface lacks some characters of a name, a label or the notes (U+6797, U+7AF9, U+1F44D): "
        "it prints □ in their place, and leaves out marks on letters"
    )
    assert "typeface" not in bench.events[1].message
    said = [line.partition(" has its report.")[2] for line in caplog.messages if " has its report." in line]
    assert said == [" It lacks some characters in the typeface.", ""]


@pytest.mark.parametrize(
    ("content", "code", "said"),
    [
        (b"hnad = 'left'", SettingsError.exit_code, "a/visit.toml, line 1: unknown key 'hnad'. Did you mean 'hand'?"),
        (b"# 1\ncustomer = '\xfc'", SettingsError.exit_code, "a/visit.toml, line 2: a character there is not UTF-8."),
        (b"customer = ", SettingsError.exit_code, "a/visit.toml: not readable as TOML: Invalid value (at end of"),
    ],
)
def test_a_faulty_visit_toml_sets_the_visit_back_with_file_and_line(
    bench: "Bench", content: bytes, code: int, said: str
) -> None:
    bench.drop("a/shots.csv", "shots")
    bench.drop("a/visit.toml", content)
    bench.go(bench.open())
    [event] = bench.events
    assert (event.kind, event.exit_code) == ("set_back", code)
    assert said in event.message
    assert bench.set_back() == ["a", "a.txt"]
    assert {p.name for p in (bench.studio.set_back / "a").iterdir()} == {"shots.csv", "visit.toml"}
    note = (bench.studio.set_back / "a.txt").read_text(encoding="utf-8")
    assert said in note
    assert (
        "What to do: Correct visit.toml in the visit's folder in inbox/ and save it: that folder is read anew." in note
    )
    bench.drop("a/visit.toml", "hand = 'left'")  # which is true
    bench.go(bench.open())
    assert bench.kinds() == ["set_back", "reported"]


def test_a_visit_toml_with_a_byte_order_mark_is_read(bench: "Bench") -> None:
    bench.drop("a/shots.csv", "shots")
    bench.drop("a/visit.toml", b"\xef\xbb\xbfdate = 2026-10-01\r\n")
    bench.go(bench.open())
    assert bench.reports() == ["2026-10-01 a"]


def test_a_visit_toml_alone_is_told_where_it_belongs(bench: "Bench") -> None:
    bench.drop("visit.toml", "hand = 'left'")
    bench.go(bench.open())
    assert bench.kinds() == ["set_back"]
    assert bench.events[0].message == (
        "visit.toml tells about a visit, but no shot file lies beside it. "
        "Make a folder in inbox/ and put the shot files and visit.toml into it."
    )


# --- refusals ---------------------------------------------------------------------------------------------------------
def test_a_bad_file_goes_to_set_back_with_a_note_and_the_others_go_on(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "no table")
    bench.drop("b.csv", "shots")
    bench.drop("c.csv", "no unit")
    bench.go(inbox)
    bench.go(inbox)
    assert [(e.kind, e.name, e.exit_code) for e in bench.events] == [
        ("set_back", "a", UnreadableFileError.exit_code),
        ("reported", "b", 0),
        ("held", "c", MappingError.exit_code),
    ]
    assert bench.set_back() == ["a.csv", "a.csv.txt", "c.csv", "c.csv.txt"]
    note = (bench.studio.set_back / "a.csv.txt").read_text(encoding="utf-8").splitlines()
    assert note[0] == "a could not be used."
    assert note[2:5] == [
        "What:       This is no table of shots.",
        "Where:      a.csv",
        "What to do: Export the shots as CSV text.",
    ]
    assert note[-2].startswith("What was dropped is unchanged.")
    held = (bench.studio.set_back / "c.csv.txt").read_text(encoding="utf-8")
    assert held.startswith("c waits for an answer.\n")
    assert (bench.studio.set_back / "a.csv").read_text(encoding="utf-8") == "no table"
    assert (bench.studio.inbox / "a.csv").read_text(encoding="utf-8") == "no table"


@pytest.mark.parametrize(
    "kind", [UnreadableFileError, MappingError, TooFewShotsError, ReportError, SettingsError, FolderError]
)
def test_an_expected_fault_is_set_back_under_its_own_code(bench: "Bench", kind: type[PipelineError]) -> None:
    bench.answers["bad"] = kind("What, where and what to do.")
    bench.drop("a.csv", "bad")
    bench.go(bench.open())
    assert [(e.kind, e.exit_code, e.message) for e in bench.events] == [
        ("set_back", kind.exit_code, "What, where and what to do.")
    ]


@pytest.mark.parametrize(
    "fault", [ValueError("x"), ZeroDivisionError(), RecursionError(), MemoryError(), KeyError("x")]
)
def test_any_other_fault_is_ours_and_stops_nobody(bench: "Bench", fault: Exception) -> None:
    bench.answers["bad"] = fault
    bench.drop("a.csv", "bad")
    bench.drop("b.csv", "shots")
    inbox = bench.open()
    for _ in range(3):
        bench.go(inbox)
    assert bench.kinds() == ["set_back", "reported"]
    assert bench.events[0].exit_code == 70
    assert bench.events[0].message == (
        "The program met a fault of its own; it is written in work/log.txt. "
        "Keep the file and tell whoever looks after this program; the other files go on."
    )
    assert bench.worked_out == ["a", "b"]


def test_a_bad_file_dropped_again_is_tried_again_but_never_by_itself(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "no table")
    for _ in range(3):
        bench.go(inbox)
    bench.go(bench.open())
    assert bench.worked_out == ["a"]
    bench.drop("b.csv", "no table")
    bench.go(inbox)
    assert bench.worked_out == ["a", "b"]
    assert bench.set_back() == ["a.csv", "a.csv.txt", "b.csv", "b.csv.txt"]
    del bench.answers["no table"]  # a newer program reads it
    bench.drop("c.csv", "no table")
    bench.go(inbox)
    assert bench.reports() == ["2026-11-25 c"]


def test_two_bad_files_of_one_name_both_keep_their_note(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "no table")
    bench.go(inbox)
    bench.drop("a.csv", "no unit")
    bench.go(inbox)
    notes = [p for p in bench.set_back() if p.endswith(".txt")]
    assert len(notes) == 2
    assert len(bench.set_back()) == 4
    assert "a.csv.txt" in notes


def test_a_large_file_or_folder_is_set_back_unread(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    bench.extra_settings = "largest_file_mb = 1"
    inbox = bench.open()
    with bench.drop("large.csv", "").open("wb") as out:
        out.truncate(1_000_001)
    for number in range(201):
        bench.drop(f"many/{number}.csv", "x")
    monkeypatch.setattr("pipeline.arrivals.read", disk_full)
    for _ in range(2):
        bench.go(inbox)
    assert bench.kinds() == ["set_back", "set_back"]
    assert bench.events[0].message == (
        "It is too large to be the exports of one visit: at most 1 MB and 200 files. "
        "Drop the exports of one visit only."
    )
    assert bench.set_back() == ["large.txt", "many.txt"]
    assert list(bench.studio.accepted.iterdir()) == []


@pytest.mark.parametrize("name", [b"bad \xff byte.csv", b"x" * 240 + b".csv", ("\U0001f3cc" * 60).encode() + b".csv",
                                  b"line\nbreak.csv", b"-rf.csv", b"con.csv", b" .csv"])  # fmt: skip
@pytest.mark.parametrize("content", ["shots", "no table"])
def test_odd_names_get_their_report_or_their_note(bench: "Bench", name: bytes, content: str) -> None:
    Path(os.fsdecode(os.fsencode(bench.studio.inbox) + b"/" + name)).write_text(content, encoding="utf-8")
    inbox = bench.open()
    bench.go(inbox)
    bench.go(inbox)
    assert bench.kinds() == ["reported" if content == "shots" else "set_back"]
    assert len(bench.reports() + bench.set_back()) == (1 if content == "shots" else 2)


def test_a_folder_of_odd_names_is_copied_whole(bench: "Bench") -> None:
    long = "\U0001f3cc" * 50
    for name in (f"{long}a.csv", f"{long}b.csv", "c?.csv"):
        bench.drop(f"odd/{name}", "no table")
    bench.go(bench.open())
    assert bench.kinds() == ["set_back"]
    assert len(list((bench.studio.set_back / "odd").iterdir())) == 3


# --- half-written -----------------------------------------------------------------------------------------------------
def test_a_half_written_file_waits_and_is_superseded_by_the_finished_one(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "half")
    bench.go(inbox)
    bench.go(inbox)
    assert bench.kinds() == ["waiting"]
    assert bench.worked_out == ["a"]
    bench.drop("a.csv", "half and whole")
    bench.go(inbox)
    bench.now += 100
    bench.go(inbox)
    assert bench.kinds() == ["waiting", "reported"]
    assert bench.set_back() == []


def test_a_file_that_stays_half_written_is_set_back_after_a_while(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "half")
    bench.go(inbox)
    bench.now += 50
    bench.go(inbox)
    assert bench.kinds() == ["waiting"]
    bench.now += 10
    bench.go(inbox)
    assert bench.kinds() == ["waiting", "set_back"]


def test_empty_files_have_nothing_in_common(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "")
    bench.drop("b.csv", "")
    bench.go(inbox)
    bench.drop("a.csv", "shots")
    bench.go(inbox)
    bench.now += 100
    bench.go(inbox)
    assert bench.kinds() == ["waiting", "waiting", "reported", "set_back"]
    assert bench.set_back() == ["b.csv", "b.csv.txt"]


def test_a_waiting_file_goes_on_waiting_after_a_restart(bench: "Bench") -> None:
    bench.drop("a.csv", "half")
    bench.go(bench.open())
    inbox = bench.open()
    bench.go(inbox)
    assert bench.kinds() == ["waiting"]
    bench.now += 61
    bench.go(inbox)
    assert bench.kinds() == ["waiting", "set_back"]


# --- trouble of the surroundings --------------------------------------------------------------------------------------
@pytest.mark.parametrize("where", ["write_file", "write_version"])
def test_a_full_disk_blames_no_file_and_ends_by_itself(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    with monkeypatch.context() as full:
        full.setattr(studio, where, disk_full)
        for _ in range(5):
            bench.go(inbox)
    assert [(e.kind, e.exit_code) for e in bench.events] == [("trouble", FolderError.exit_code)]
    assert bench.events[0].message == (
        "the disk or a folder refused: No space left on device. It is tried again by itself."
    )
    assert bench.set_back() == bench.reports() == []
    bench.now += events.PAUSE_AFTER_TROUBLE_S
    bench.go(inbox)
    assert bench.kinds() == ["trouble", "reported"]


def test_a_full_disk_under_the_ledger_too_stops_nothing_for_good(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    bench.now += 3
    inbox.settled()
    bench.now += 3
    inbox.take_all(inbox.settled())
    real = Ledger.move

    def move(self: Ledger, identity: str, state: str, place: str | None = None, *, crashed: bool = False) -> None:
        if state != "processing":
            disk_full()
        real(self, identity, state, place, crashed=crashed)

    with monkeypatch.context() as full:
        full.setattr(Ledger, "move", move)
        inbox.work_off()
    with monkeypatch.context() as full:
        full.setattr(Ledger, "entries", disk_full)
        bench.now += 60
        inbox.work_off()
    bench.now += 60
    inbox.work_off()
    assert bench.kinds() == ["trouble", "trouble", "reported"]
    assert bench.reports() == ["2026-11-25 a"]


def test_one_visit_the_disk_always_refuses_keeps_no_other_waiting(bench: "Bench") -> None:
    inbox = bench.open()
    for name in ("a", "b"):
        bench.answers[f"refused {name}"] = PermissionError(errno.EACCES, "Permission denied")
        bench.drop(f"{name}.csv", f"refused {name}")
    for number in range(5):
        bench.drop(f"c{number}.csv", f"shots {number}")
    for _ in range(4):
        bench.go(inbox)
        bench.now += 60
    assert bench.kinds().count("reported") == 5
    assert bench.kinds().count("trouble") == 2
    assert bench.set_back() == []


def test_a_file_that_may_not_be_read_is_told_once_and_taken_when_it_may(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch
) -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    real = os.open

    def closed(path: object, *rest: object) -> int:
        if str(path).endswith("a.csv"):
            raise PermissionError(errno.EACCES, "Permission denied")
        return real(path, *rest)  # type: ignore[arg-type]

    with monkeypatch.context() as refused:
        refused.setattr(os, "open", closed)
        for _ in range(5):
            bench.go(inbox)
    assert bench.kinds() == ["trouble"]
    assert "Permission denied. It is tried again by itself." in bench.events[0].message
    bench.go(inbox)
    assert bench.kinds() == ["trouble", "reported"]


def test_a_kept_copy_somebody_deleted_asks_for_the_file_again(bench: "Bench") -> None:
    inbox = bench.open()
    bench.drop("a.csv", "shots")
    inbox.settled()
    bench.now += 3
    inbox.take_all(inbox.settled())
    for path in bench.studio.accepted.iterdir():
        path.unlink()
    inbox.work_off()
    assert [e.message for e in bench.events] == ["The copy kept in work/accepted is gone. Drop the file again."]
    bench.drop("again.csv", "shots")
    bench.go(inbox)
    assert bench.reports() == ["2026-11-25 again"]


def test_a_missing_part_of_the_machine_blames_no_visit(bench: "Bench") -> None:
    bench.answers["shots"] = MissingPartError("The PDF needs Pango.")
    bench.drop("a.csv", "shots")
    with pytest.raises(MissingPartError):
        bench.go(bench.open())
    del bench.answers["shots"]
    bench.go(bench.open())
    assert bench.kinds() == ["reported"]


def test_a_ledger_nobody_may_write_to_is_said_plainly(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(studio, "sweep", disk_full)
    with pytest.raises(FolderError, match=r"cannot be written to \(No space left on device\)"):
        bench.open()


def test_a_stop_is_heard_between_two_visits(bench: "Bench") -> None:
    inbox = bench.open()
    for number in range(4):
        bench.drop(f"{number}.csv", f"shots {number}")
    inbox.settled()
    bench.now += 3
    inbox.take_all(inbox.settled(), lambda: len(list(bench.studio.accepted.iterdir())) == 3)
    assert len(list(bench.studio.accepted.iterdir())) == 3
    inbox.work_off(lambda: len(bench.events) == 2)
    assert bench.kinds() == ["reported", "reported"]


# --- killed and started again -----------------------------------------------------------------------------------------
class KilledError(BaseException):
    """Stands for kill -9: nothing of ours may catch it."""


def kill(*_words: object, **_named: object) -> None:
    raise KilledError


_WRITING = "pipeline.studio.write_version"
POINTS = [
    ("pipeline.studio.write_file", 0), ("pipeline.studio.write_file", 1),
    ("pipeline.ledger.Ledger.accept", 0),
    ("pipeline.ledger.Ledger.move", 0), ("pipeline.ledger.Ledger.move", 1),
    ("pipeline.visits.session.fit", 0), ("pipeline.visits.outputs.files", 0),
    (_WRITING, 0),
    ("pathlib.Path.replace", 0), ("pathlib.Path.replace", 1), ("pathlib.Path.replace", 2),
    ("pathlib.Path.rename", 0),
]  # fmt: skip


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize(("where", "skip"), POINTS)
@pytest.mark.parametrize("content", ["shots", "no table"])
def test_killed_anywhere_and_started_again_there_is_one_outcome_and_nothing_half_made(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch, where: str, skip: int, when: str, content: str
) -> None:
    bench.drop("a.csv", content)
    owner, _, name = where.rpartition(".")
    calls = 0
    with monkeypatch.context() as patched:
        patched.setattr(where, _killing(where, skip, when))
        try:
            bench.go(bench.open())
        except KilledError:
            calls += 1
    never_reached = content == "no table" and name in ("files", "write_version", "rename")
    assert (calls == 1) is not never_reached, (owner, name)
    bench.events.clear()
    inbox = bench.open()
    bench.go(inbox)
    bench.go(inbox)
    hidden = [p for p in bench.studio.root.rglob("*") if p.name.startswith(".") or p.name.endswith(".part")]
    assert hidden == []
    if content == "shots":
        assert bench.reports() == ["2026-11-25 a"]
        assert {p.name for p in (bench.studio.outbox / "2026-11-25 a").iterdir()} == {"report.pdf", "fitting.json"}
        assert bench.set_back() == []
    else:
        assert bench.set_back() == ["a.csv", "a.csv.txt"]
        assert bench.reports() == []


def _killing(where: str, skip: int, when: str) -> object:
    """Wrap what is at that place so that its call number `skip` is the last thing the program does."""
    from importlib import import_module  # noqa: PLC0415 - used here only

    parts = where.split(".")
    found: object = import_module(".".join(parts[:2]) if parts[0] == "pipeline" else parts[0])
    for part in parts[2:] if parts[0] == "pipeline" else parts[1:]:
        found = getattr(found, part)
    real, calls = found, 0

    def wrapped(*words: object, **named: object) -> object:
        nonlocal calls
        calls += 1
        if calls == skip + 1 and when == "before":
            raise KilledError
        out = real(*words, **named)  # type: ignore[operator]
        if calls == skip + 1:
            raise KilledError
        return out

    return wrapped


def test_a_visit_that_kills_the_program_three_times_is_set_back_and_others_go_on(bench: "Bench") -> None:
    bench.answers["poison"] = KilledError()
    bench.drop("a.csv", "poison")
    bench.drop("b.csv", "shots")
    for _ in range(3):
        with pytest.raises(KilledError):
            bench.go(bench.open())
    bench.go(bench.open())
    assert [(e.kind, e.name) for e in bench.events] == [("reported", "b"), ("set_back", "a")]
    assert bench.events[1].message.startswith("Working on it stopped the program 3 times.")
    assert bench.events[1].exit_code == 70


def test_a_report_finished_before_the_kill_is_found_again_the_next_day(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.drop("a [7].csv", "shots")
    with monkeypatch.context() as patched:
        patched.setattr(Ledger, "move", _killing("pipeline.ledger.Ledger.move", 1, "before"))
        with pytest.raises(KilledError):
            bench.go(bench.open())
    assert bench.reports() == ["2026-11-25 a [7]"]
    bench.today += dt.timedelta(days=1)
    bench.go(bench.open())
    assert bench.kinds() == ["reported"]
    assert bench.reports() == ["2026-11-25 a [7]"]


AGAIN = [
    (_WRITING, 0), ("os.link", 0), ("os.link", 1), ("os.rename", 0), ("os.rename", 1), ("os.rmdir", 0),
    ("pipeline.ledger.Ledger.accept", 0), ("pipeline.ledger.Ledger.move", 0), ("pipeline.ledger.Ledger.move", 1),
    ("pipeline.visits.outputs.files", 0),
]  # fmt: skip


@pytest.mark.parametrize("when", ["before", "after"])
@pytest.mark.parametrize(("where", "skip"), AGAIN)
def test_killed_anywhere_in_a_changed_visit_there_is_one_version_a_content(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch, where: str, skip: int, when: str
) -> None:
    bench.drop("a.csv", "shots")
    bench.go(bench.open())
    bench.drop("a.csv", "shots and more shots")
    with monkeypatch.context() as patched:
        patched.setattr(where, _killing(where, skip, when))
        with pytest.raises(KilledError):
            bench.go(bench.open())
    bench.go(bench.open())
    bench.go(bench.open())
    assert bench.reports() == ["2026-11-25 a"]
    assert [found[1] for found in versions(bench, "2026-11-25 a").values()] == [1, 2]
    assert [p for p in bench.studio.root.rglob("*") if p.name.startswith(".") or p.name.endswith(".part")] == []


def test_a_former_version_that_was_not_noted_is_known_by_what_it_says(bench: "Bench") -> None:
    inbox = bench.open()
    for content in ("shots", "shots and more shots"):
        bench.drop("a.csv", content)
        bench.go(inbox)
    inbox.ledger.move(visit_id([ShotFile("a.csv", b"shots")]), "processing")  # as if it had been killed before that
    bench.go(bench.open())
    assert bench.kinds() == ["reported"] * 3
    assert bench.reports() == ["2026-11-25 a"]
    assert [found[1] for found in versions(bench, "2026-11-25 a").values()] == [1, 2]


def test_the_ledger_lost_no_report_is_made_twice(bench: "Bench") -> None:
    bench.drop("a.csv", "shots")
    bench.go(bench.open())
    for path in bench.studio.work.glob("ledger.sqlite3*"):
        path.unlink()
    bench.go(bench.open())
    assert bench.kinds() == ["reported", "trouble"]
    assert bench.reports() == ["2026-11-25 a"]
