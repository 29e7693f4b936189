"""Erasing: all of a customer's goes, nothing of another's does, and what a kill leaves is ended."""

import datetime as dt
import json
import os
import sqlite3
from typing import TYPE_CHECKING

import pytest

from pipeline import (
    answers,
    database,
    forgetting,
    ledger_tables,
    profiles,
    settings,
    studio,
    traces,
    visit_words,
    workshop,
)
from pipeline.archive import Archive
from pipeline.errors import FolderError
from pipeline.ledger import Entry, Ledger
from pipeline.profiles import Profile
from pipeline.records import Fitting, Given
from pipeline.studio import Studio

if TYPE_CHECKING:
    from tests.conftest import Bench

TODAY = dt.date(2026, 11, 25)
WORDS = (
    "Ulma Sömmersand",
    "ulma@example.org",
    "ulma-at-home@example.org",
    "Left knee hurts.",
    "ulma s",
    "driver u.csv",
)
ULMA = f"customer = '{WORDS[0]}'\nemail = '{WORDS[1]}'\nnotes = '{WORDS[3]}'"


def files(fitting: Fitting, _settings: object, _logo: object) -> dict[str, bytes]:
    """Stand in for pipeline.outputs.files, with a customer's words in every file."""
    facts = fitting.facts
    visit = {"id": fitting.visit_id, "name": fitting.name, "date": fitting.date.isoformat(), "customer": facts.customer}
    shots = [{"file": shot.file, "line": shot.line, "measured": shot.measured} for shot in fitting.shots]
    return {
        "report.pdf": f"%PDF- {facts.customer} {facts.notes}".encode(),
        "letter.eml": f"To: {facts.email}\n\n{fitting.name}".encode(),
        "fitting.json": json.dumps({"schema": 1, "visit": visit, "shots": shots}, indent=1).encode(),
    }


@pytest.fixture
def place(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> Studio:
    """Give a studio with a visit of Ulma in two versions, one of hers that is held, and two visits of others."""
    monkeypatch.setattr("pipeline.visits.outputs.files", files)
    inbox = bench.open()
    bench.drop("ulma s/driver u.csv", "shots of ulma")
    bench.drop("ulma s/visit.toml", ULMA)
    bench.drop("other/shots.csv", "shots of other")
    bench.drop("other/visit.toml", "customer = 'Pine Ridge'")
    bench.go(inbox)
    bench.drop("ulma s/driver u.csv", "shots of ulma\nand more")
    bench.drop("ulma later.csv", "no unit")
    bench.drop("bad.csv", "no table")
    bench.go(inbox)
    inbox.ledger.close()
    (bench.studio.outbox / "2026-11-25 ulma s" / "letter.eml").write_text(f"To: {WORDS[2]}\n\n", encoding="utf-8")
    return bench.studio


def opened(place: Studio) -> Ledger:
    return Ledger(place.work / "ledger.sqlite3")


def kept(place: Studio, ledger: Ledger) -> Archive:
    return Archive(place, settings.load(), ledger, workshop.SHARED)


def tree(place: Studio) -> dict[str, bytes]:
    """Give everything in a studio but its ledger and log."""
    return {
        path.relative_to(place.root).as_posix(): path.read_bytes() if path.is_file() else b""
        for path in place.root.rglob("*")
        if path.parent != place.work or path.is_dir()
    }


def erase(place: Studio, who: str, *, dropped: bool = False) -> forgetting.Plan:
    ledger = opened(place)
    try:
        visits = visit_words.visits(place, ledger)
        chosen = forgetting.with_kin(place, visits, forgetting.named(visits, who))
        looked_into = (place.inbox, place.done)
        what = forgetting.plan(place, visits, chosen, forgetting.words_of(visits, chosen), looked_into)
        forgetting.erase(kept(place, ledger), what, TODAY, dropped=dropped)
    finally:
        ledger.close()
    return what


def finish(place: Studio) -> int:
    ledger = opened(place)
    try:
        return forgetting.finish(kept(place, ledger), TODAY)
    finally:
        ledger.close()


def left(place: Studio, *words: str) -> list[str]:
    """Give what still has a word of Ulma's, the drop folder apart."""
    found = traces.search(place.root, traces.Words(words or WORDS, ()), (place.inbox, place.done))
    return [f"{trace.path}: {trace.found}" for trace in found.traces]


def states(place: Studio) -> dict[str, str]:
    ledger = opened(place)
    try:
        return {kept.entry.name: kept.entry.state for kept in ledger.all_kept()}
    finally:
        ledger.close()


# --- all of it, and nothing else --------------------------------------------------------------------------------------
def test_everything_of_a_customer_goes_and_everything_else_stays_as_it_is(place: Studio) -> None:
    assert {trace.partition("/")[0] for trace in left(place)} == {"outbox", "work"}
    before = tree(place)
    what = erase(place, "ULMA  SÖMMERSAND")
    assert left(place) == []
    gone, after = before.keys() - tree(place).keys(), tree(place)
    assert {name for name in gone if "earlier/" not in name and not name.startswith("work")} == {
        f"outbox/2026-11-25 ulma s{rest}" for rest in ("", "/report.pdf", "/letter.eml", "/fitting.json", "/earlier")
    }
    assert len([name for name in gone if name.startswith("work/accepted/")]) == 3
    assert {name for name in after if after[name] != before.get(name)} == {
        f"work/visits/{identity}.json" for identity in what.ids
    }
    assert len(what.ids) == 2
    assert set(WORDS) <= set(what.words.searched)


def test_the_ledger_keeps_a_hash_a_state_and_a_day_only(place: Studio) -> None:
    what = erase(place, "ulma s")
    ledger = opened(place)
    for kept in ledger.all_kept():
        if kept.entry.id in what.ids:
            assert kept.entry == Entry(kept.entry.id, "", "forgotten", 0, None, ())
            assert kept.received == "2026-11-25"
            assert {place for place, _ in kept.sightings} == {""}
    assert ledger.forgotten(what.ids[0]) == "2026-11-25"
    ledger.close()
    assert states(place).items() >= {"other": "reported", "ulma later": "held", "bad": "set_back"}.items()


NAMED = {
    "Ulma Sömmersand": {"ulma s"}, "ulma so\u0308mmersand": {"ulma s"}, "2026-11-25 ulma s": {"ulma s"},
    "outbox/2026-11-25 ulma s/": {"ulma s"}, "Ulma S": {"ulma s"}, "ulma later": {"ulma later"},
}  # fmt: skip
NOBODY = ("ulma", "", " ", "..", ".", "outbox", "*", "/", "ulma s/..", "2026-11-25 ulma")


def test_a_visit_is_named_by_customer_by_its_own_name_or_by_its_folder(place: Studio) -> None:
    ledger = opened(place)
    visits = visit_words.visits(place, ledger)
    ledger.close()
    names = {visit.kept.entry.id: visit.kept.entry.name for visit in visits}
    for who, wanted in [*NAMED.items(), *((who, set[str]()) for who in NOBODY)]:
        assert {names[identity] for identity in forgetting.named(visits, who)} == wanted, who


def test_several_visits_of_a_customer_go_together_also_one_without_a_report(bench: "Bench", place: Studio) -> None:
    inbox = bench.open()
    bench.drop("next year/shots.csv", "other shots")
    bench.drop("next year/visit.toml", "customer = 'ulma sömmersand'")
    bench.drop("unclear/shots.csv", "no unit")
    bench.drop("unclear/visit.toml", ULMA + "\n# as said")
    bench.go(inbox)
    inbox.ledger.close()
    what = erase(place, "Ulma Sömmersand")
    assert {visit.kept.entry.name for visit in what.visits} == {"ulma s", "next year", "unclear"}
    assert left(place) == []
    assert sorted(path.name for path in place.outbox.iterdir()) == ["2026-11-25 other"]
    assert bench.set_back() == ["bad.csv", "bad.csv.txt", "ulma later.csv", "ulma later.csv.txt"]


def test_what_was_set_back_goes_with_its_note_and_what_staff_put_there_stays(place: Studio) -> None:
    (place.set_back / "ulma later.csv notes.txt").write_text("ours", encoding="utf-8")
    (place.set_back / "copies").mkdir()
    (place.set_back / "copies" / "renamed.txt").write_text("no unit", encoding="utf-8")
    (place.set_back / "link.txt").symlink_to(place.set_back / "ulma later.csv.txt")
    erase(place, "ulma later")
    assert sorted(path.name for path in place.set_back.iterdir()) == [
        "bad.csv", "bad.csv.txt", "link.txt", "ulma later.csv notes.txt",
    ]  # fmt: skip


def test_a_copy_whose_note_was_taken_away_goes_by_its_content(place: Studio) -> None:
    (place.set_back / "ulma later.csv.txt").unlink()
    (place.set_back / "another.csv").write_text("no table, but other content", encoding="utf-8")
    (place.set_back / "link.csv").symlink_to(place.inbox / "ulma later.csv")
    os.mkfifo(place.inbox / "pipe.csv")  # whoever read it would wait for ever
    erase(place, "ulma later")
    assert sorted(path.name for path in place.set_back.iterdir()) == [
        "another.csv", "bad.csv", "bad.csv.txt", "link.csv",
    ]  # fmt: skip


def test_a_file_that_another_visit_has_as_well_stays(bench: "Bench", place: Studio) -> None:
    inbox = bench.open()
    bench.drop("third/shots.csv", "shots of other")
    bench.go(inbox)
    inbox.ledger.close()
    what = erase(place, "Pine Ridge")
    assert [path.read_bytes() for path in what.shared] == [b"shots of other"]
    assert [path for path in what.accepted if path.suffix == ".csv"] == []
    assert left(place, "Pine Ridge") == []
    ledger = opened(place)
    third = next(kept for kept in ledger.all_kept() if kept.entry.name == "third")
    ledger.close()
    assert (place.accepted / third.entry.originals[0][1]).read_bytes() == b"shots of other"


def test_earlier_tries_of_the_same_file_go_along_and_another_golfers_do_not(bench: "Bench") -> None:
    inbox = bench.open()
    bench.answers["h\n1\n2\n"] = bench.answers["no unit"]
    bench.answers["h\n7\n8\n9\n"] = bench.answers["no unit"]
    for content in ("h\n7\n8\n9\n", "half", "h\n1\n2\n", "h2\n1\n2\n3\n"):
        bench.drop("shots.csv", content)
        bench.go(inbox)
    bench.drop("another.csv", "h2\n1\n2\n")
    bench.go(inbox)
    assert bench.kinds() == ["held", "waiting", "held", "reported", "reported"]
    inbox.ledger.close()
    what = erase(bench.studio, "2026-11-25 shots")
    assert [visit.kept.entry.state for visit in what.visits] == ["superseded", "held", "reported"]
    assert sorted(path.read_bytes() for path in bench.studio.accepted.iterdir()) == [b"h\n7\n8\n9\n", b"h2\n1\n2\n"]
    assert [path.read_bytes() for path in bench.studio.set_back.glob("*.csv")] == [b"h\n7\n8\n9\n"]


def test_a_visit_toml_that_was_corrected_goes_too(place: Studio) -> None:
    studio.write_file(place.accepted / f"{'a' * 64}.toml", ULMA.encode() + b"\nhand = 'left'")
    studio.write_file(place.accepted / f"{'b' * 64}.toml", b"customer = 'Pine Ridge'")
    studio.write_file(place.accepted / "notes on Ulma Soemmersand.txt", b"Ulma S\xc3\xb6mmersand, by staff")
    (place.inbox / "old.toml").write_bytes(b"")
    erase(place, "ulma s")
    assert left(place) == ["work/accepted/notes on Ulma Soemmersand.txt: Ulma Sömmersand"]
    assert (place.accepted / f"{'b' * 64}.toml").exists()


def test_answers_lose_a_customers_name_and_stay_answers(bench: "Bench", place: Studio) -> None:
    for name, units in (("driver u", "a"), ("Our monitor", "b")):
        answers.save(place.profiles, Profile(name, profiles.fingerprint([units]), Given(column_units={"Carry": "yd"})))
    erase(place, "ulma s")
    kept = {path.name: answers.load(path) for path in place.profiles.glob("*.toml")}
    mark = profiles.fingerprint(["a"]).removeprefix("sha256:")[:8]
    assert {name: found.name for name, found in kept.items()} == {
        f"layout {mark}.toml": f"layout {mark}", "Our monitor.toml": "Our monitor",
    }  # fmt: skip
    assert {found.given.column_units["Carry"] for found in kept.values()} == {"yd"}
    bench.drop("x.csv", "shots")
    assert left(place) == []


def test_a_folder_that_staff_renamed_or_whose_fitting_json_is_damaged_goes_too(place: Studio) -> None:
    (place.outbox / "2026-11-25 ulma s").rename(place.outbox / "Ulma, sold")
    (place.outbox / "2026-11-25 other" / "fitting.json").write_text("{", encoding="utf-8")
    (place.outbox / "ours").mkdir()
    (place.outbox / "ulma later.csv").mkdir()  # called as a file in set-back/ is
    for who in ("ulma s", "other", "ulma later"):
        erase(place, who)
    assert sorted(path.name for path in place.outbox.iterdir()) == ["ours", "ulma later.csv"]


def test_copies_of_the_ledger_from_before_a_change_of_its_tables_go(place: Studio) -> None:
    (place.work / "ledger version 1.sqlite3").write_bytes(b"ulma s")
    erase(place, "ulma s")
    assert left(place) == []


def test_a_customer_is_known_by_the_name_in_a_report_too_and_a_former_spelling_is_searched_for(place: Studio) -> None:
    former = place.outbox / "2026-11-25 ulma s" / "earlier" / "version 1" / "fitting.json"
    former.write_text(former.read_text(encoding="utf-8").replace("Ulma S", "Ulmer S"), encoding="utf-8")
    (place.outbox / "2026-11-25 other" / "note.txt").write_text("as for Ulmer S\u00f6mmersand", encoding="utf-8")
    what = erase(place, "ulmer sömmersand")
    assert len(what.visits) == 2
    assert left(place, *what.words.searched) == ["outbox/2026-11-25 other/note.txt: Ulmer Sömmersand"]


# --- what was dropped -------------------------------------------------------------------------------------------------
def test_what_was_dropped_stays_and_is_listed_unless_it_is_asked_for(place: Studio) -> None:
    place.done.mkdir()
    (place.done / "driver u.csv").write_text("shots of ulma", encoding="utf-8")
    (place.inbox / "ulma s" / "another.csv").write_text("shots of ulma\nand much more", encoding="utf-8")
    before = {path: path.read_bytes() for path in place.inbox.rglob("*") if path.is_file()}
    what = erase(place, "ulma s")
    assert {path.relative_to(place.root).as_posix() for path in what.dropped} == {
        "inbox/ulma s/driver u.csv", "inbox/ulma s/visit.toml", "done/driver u.csv",
    }  # fmt: skip
    assert {path: path.read_bytes() for path in place.inbox.rglob("*") if path.is_file()} == before


def test_what_was_dropped_goes_when_asked_for_and_nothing_of_other_content(place: Studio) -> None:
    (place.inbox / "ulma s" / "driver u.csv").write_text("shots of the next golfer", encoding="utf-8")
    erase(place, "ulma s", dropped=True)
    assert [path.name for path in (place.inbox / "ulma s").iterdir()] == ["driver u.csv"]
    erase(place, "other", dropped=True)
    assert sorted(path.name for path in place.inbox.iterdir()) == ["bad.csv", "ulma later.csv", "ulma s"]


def test_what_was_erased_does_not_come_back_by_itself(bench: "Bench", place: Studio) -> None:
    erase(place, "ulma s")
    bench.events.clear()
    inbox = bench.open()
    bench.go(inbox)
    assert bench.events == []  # what lies there unchanged was told when it was erased
    bench.drop("again/driver u.csv", "shots of ulma\nand more")
    bench.drop("again/visit.toml", ULMA)
    bench.go(inbox)
    bench.go(bench.open())
    [event] = bench.events
    assert (event.kind, event.name) == ("known", "again")
    assert event.message.startswith("the same content was erased on 2026-11-25, so it was not taken.")
    assert left(place) == []
    inbox.ledger.close()


def test_what_was_erased_is_taken_when_it_is_named_for_that_and_can_be_erased_again(
    bench: "Bench", place: Studio
) -> None:
    from pipeline import arrivals  # noqa: PLC0415

    what = erase(place, "ulma s")
    inbox = bench.open()
    inbox.erased_too = True
    arrival = arrivals.of_path(place.inbox / "ulma s")
    assert arrival
    identity = inbox.take(arrival)
    assert identity in what.ids
    inbox.work_off()
    assert bench.kinds()[-1] == "reported"
    assert "2026-11-25 ulma s" in bench.reports()
    inbox.ledger.close()
    erase(place, "ulma s")
    assert left(place) == []


def test_a_ledger_lost_later_does_not_bring_it_back(bench: "Bench", place: Studio) -> None:
    erase(place, "ulma s")
    for path in place.work.glob("ledger.sqlite3*"):
        path.unlink()
    bench.events.clear()
    bench.go(bench.open())
    assert "reported" not in bench.kinds()
    assert left(place) == []
    assert states(place) == {"": "forgotten", "other": "reported", "ulma later": "held", "bad": "set_back"}


# --- hostile names ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("bad", ["../../outside", "..", ".", "", "/etc", "a/b", "../set-back/bad.csv"])
def test_no_name_in_the_ledger_leads_out_of_its_folder(place: Studio, bad: str) -> None:
    outside = place.root.parent / "outside"
    outside.mkdir()
    (outside / "fitting.json").write_text("{}", encoding="utf-8")
    ledger = opened(place)
    identity = "f" * 64
    ledger.accept(Entry(identity, "hostile", "accepted", 0, None, ((bad, bad),)), (bad, "signature"), "2026-11-01")
    ledger.move(identity, "reported", bad)
    ledger.close()
    before = tree(place)
    erase(place, "hostile")
    assert (outside / "fitting.json").exists()
    after = tree(place)
    assert {name for name in before | after if before.get(name) != after.get(name)} == {f"work/visits/{identity}.json"}


def test_links_are_removed_and_not_followed(place: Studio) -> None:
    outside = place.root.parent / "outside"
    (place.outbox / "2026-11-25 ulma s").rename(outside)
    (outside / "precious").mkdir()
    (outside / "precious" / "file").write_text("ours", encoding="utf-8")
    (place.outbox / "2026-11-25 ulma s").symlink_to(outside, target_is_directory=True)
    (place.outbox / "2026-11-25 other" / "photos").symlink_to(outside, target_is_directory=True)
    erase(place, "ulma s")
    erase(place, "other")
    assert list(place.outbox.iterdir()) == []
    assert (outside / "precious" / "file").read_text(encoding="utf-8") == "ours"
    assert (outside / "report.pdf").exists()


# --- stopped in the middle --------------------------------------------------------------------------------------------
CALLS = ("unlink", "rmdir", "rename", "replace", "mkdir")
STEPS = ("begin_forgetting", "blank", "end_forgetting")


def stopping(monkeypatch: pytest.MonkeyPatch, number: int, end: BaseException, *, after: bool) -> None:
    """Have the disk's or the ledger's call of that number be the last one."""
    made = 0

    def counted(owner: object, name: str) -> None:
        real = getattr(owner, name)

        def call(*words: object, **named: object) -> object:
            nonlocal made
            made += 1
            if made == number + 1 and not after:
                raise end
            try:
                return real(*words, **named)
            finally:
                if made == number + 1:
                    raise end

        monkeypatch.setattr(owner, name, call)

    for name in CALLS:
        counted(os, name)
    for name in STEPS:
        counted(Ledger, name)
    counted(ledger_tables, "copies")


class KilledError(BaseException):
    """Stands for kill -9: nothing of ours may catch it."""


@pytest.mark.parametrize("after", [pytest.param(False), pytest.param(True, marks=pytest.mark.slow)])
def test_killed_at_any_step_the_next_start_ends_it_and_nothing_comes_back(
    bench: "Bench", place: Studio, monkeypatch: pytest.MonkeyPatch, *, after: bool
) -> None:
    import shutil  # noqa: PLC0415

    answers.save(place.profiles, Profile("driver u", profiles.fingerprint(["a"]), Given(column_units={"Carry": "yd"})))
    whole = place.root.with_name("whole")
    shutil.copytree(place.root, whole, symlinks=True)
    begun, number = 0, 0
    while True:
        shutil.rmtree(place.root)
        shutil.copytree(whole, place.root, symlinks=True)
        with monkeypatch.context() as patched:
            stopping(patched, number, KilledError(), after=after)
            try:
                erase(place, "ulma s")
                break
            except KilledError:
                number += 1
        bench.events.clear()
        inbox = bench.open()
        inbox.erase_old()
        bench.go(inbox)
        bench.go(inbox)
        inbox.ledger.close()
        if "ulma s" not in states(place):
            begun += 1
            assert left(place) == [], number
            assert list(place.root.rglob(".*")) == []
        else:
            assert number == 1, "only before the ledger was told may it all still be there"
            assert not after
        assert "reported" not in bench.kinds()
        assert (place.outbox / "2026-11-25 other" / "report.pdf").exists()
    assert begun > 15


def test_a_disk_that_refuses_leaves_it_to_be_ended_and_a_half_erased_visit_is_not_made_again(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pipeline import issuing, settings, workshop  # noqa: PLC0415

    with monkeypatch.context() as patched:
        patched.setattr(os, "rename", lambda *_words: (_ for _ in ()).throw(PermissionError(13, "in use")))
        with pytest.raises(PermissionError, match="in use"):
            erase(place, "ulma s")
    ledger = opened(place)
    with pytest.raises(FolderError, match="cannot be made again"):
        issuing.again(
            place, ledger, place.outbox / "2026-11-25 ulma s", settings=settings.load(), logo=None, answers={},
            today=TODAY, workshop=workshop.SHARED,
        )  # fmt: skip
    ledger.close()
    assert finish(place) == 2
    assert finish(place) == 0
    assert left(place) == []


def test_the_ledgers_file_has_no_deleted_word_while_another_program_has_it_open(place: Studio) -> None:
    reading = opened(place)
    assert len(reading.all_kept()) == 5
    for path in place.work.glob("ledger*"):
        assert path.stat().st_size < 10_000_000
    erase(place, "ulma s")
    found = {path.name for path in place.work.glob("ledger*") if b"ulma s" in path.read_bytes()}
    reading.close()
    assert found == set()


def test_what_an_older_program_deleted_without_overwriting_it_goes_from_the_file_too(place: Studio) -> None:
    older = sqlite3.connect(place.work / "ledger.sqlite3", isolation_level=None)
    older.execute("pragma secure_delete=off")
    older.execute("create table letter (words)")
    older.executemany("insert into letter values (?)", [("To Ulma Sömmersand. " * 50,)] * 20)
    older.execute("drop table letter")
    older.close()
    assert "Ulma Sömmersand".encode() in (place.work / "ledger.sqlite3").read_bytes()
    erase(place, "ulma s")
    assert left(place) == []


def test_a_reader_in_the_middle_of_its_reading_is_told_and_the_next_try_ends_it(
    place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database, "LONGEST_WAIT_S", 0)
    reading = sqlite3.connect(place.work / "ledger.sqlite3", isolation_level=None)
    reading.execute("begin")
    reading.execute("select * from visit").fetchall()
    with pytest.raises(OSError, match="ledger: "):
        erase(place, "ulma s")
    assert states(place)[""] == "forgetting"
    reading.execute("rollback")
    reading.close()
    assert finish(place) == 2
    assert left(place) == []


def test_nothing_is_known_of_a_visit_that_is_erased(place: Studio) -> None:
    erase(place, "ulma s")
    ledger = opened(place)
    visits = visit_words.visits(place, ledger)
    ledger.close()
    assert {visit.kept.entry.name for visit in visits} == {"other", "ulma later", "bad"}


def test_no_shot_of_theirs_is_left_in_the_archive(bench: "Bench") -> None:
    for name in ("a", "b"):
        bench.shots[f"shots {name}"] = (200.0, 201.0)
        bench.drop(f"{name}.csv", f"shots {name}")
    inbox = bench.open()
    bench.go(inbox)
    ids = {entry.name: entry.id for entry in inbox.ledger.entries("reported")}
    folder = inbox.archive.folder
    inbox.ledger.close()
    erase(bench.studio, "a")
    text = "".join(path.read_text(encoding="utf-8") for path in folder.rglob("*.parquet"))
    assert ids["a"] not in text
    assert text.count(ids["b"]) == 2
