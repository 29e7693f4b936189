"""Old exports read into the archive: each once, whatever is killed in between, and no report of any."""

import datetime as dt
import errno
import importlib
import io
import itertools
import json
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import archive, arrivals, backlog, manifests, rebuilding, retention, status
from pipeline.arrivals import Arrival, ChangedMeanwhileError
from pipeline.backlog import Backlog, Summary
from pipeline.commands import status as status_words
from pipeline.commands.backlog_words import Progress, progress, sentences
from pipeline.errors import FolderError
from pipeline.inbox import Inbox
from pipeline.records import Refusal
from pipeline.tidying import Tidier
from pipeline.upkeep import Upkeep
from pipeline.work_messages import Archived, Batch
from pipeline.workshop import FaultError, StoppedError
from tests.conftest import TODAY, InThisProcess
from tests.test_archive import KilledError, counted, never, on_disk, opened, visits

if TYPE_CHECKING:
    from tests.conftest import Bench


def read(inbox: Inbox) -> Summary:
    return Backlog(inbox, lambda _done, _of: None).run()


def ids(inbox: Inbox, *states: str) -> list[str]:
    return sorted(entry.id for entry in inbox.ledger.entries(*states))


def names(inbox: Inbox, *states: str) -> list[str]:
    return sorted(entry.name for entry in inbox.ledger.entries(*states))


def status_of(bench: "Bench", inbox: Inbox) -> status.Status:
    return status.collect(bench.studio, inbox.settings, inbox.ledger, (), dt.datetime.now(dt.UTC))


@contextmanager
def read_already(bench: "Bench", *contents: str) -> Iterator[Inbox]:
    """Have files 0.csv, 1.csv … archived."""
    for number, content in enumerate(contents):
        bench.drop(f"{number}.csv", content)
    with opened(bench) as inbox:
        read(inbox)
        bench.events.clear()
        yield inbox


# --- what becomes of them ---------------------------------------------------------------------------------------------
def test_old_exports_are_archived_without_reports(bench: "Bench") -> None:
    bench.drop("visit/a.csv", "folder")
    with read_already(bench, "one", "two") as inbox:
        assert names(inbox, "archived") == ["0", "1", "visit"]
        assert visits(inbox.archive) == ids(inbox, "archived")
        assert len(counted(inbox.archive)) == 3
        assert bench.reports() == bench.set_back() == []
        assert len(list(bench.studio.accepted.iterdir())) == 3
        assert len(manifests.listed(bench.studio)) == 3


def test_the_watcher_and_the_upkeep_leave_them_alone(bench: "Bench") -> None:
    with read_already(bench, "one", "no unit") as inbox:
        before = counted(inbox.archive)
        worked = len(bench.worked_out)
        bench.go(inbox)
        Upkeep(inbox).go_on(never)
        assert bench.events == []
        assert len(bench.worked_out) == worked
        assert counted(inbox.archive) == before
        assert names(inbox, "archived", "not_archived") == ["0", "1"]


def test_the_second_run_finds_nothing_new(bench: "Bench") -> None:
    with read_already(bench, "one", "two") as inbox:
        found = read(inbox)
        assert (found.archived, found.known, found.reasons) == (0, 0, {})
        assert len(bench.worked_out) == 2


def test_the_same_content_counts_once(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.backlog._MOST_VISITS", 2)  # in one batch, and in two
    for number, content in enumerate(["one", "one", "two", "one"]):
        os.utime(bench.drop(f"{number}.csv", content), (number, number))
    with opened(bench) as inbox:
        found = read(inbox)
        assert (found.archived, found.known) == (2, 2)
        assert len(counted(inbox.archive)) == 2
        assert len(inbox.ledger.seen_of([(one.place, one.signature) for one in arrivals.look(bench.studio.inbox)])) == 4
        assert sorted(len(kept.sightings) for kept in inbox.ledger.all_kept()) == [1, 3]
        kept = {identity: manifests.read(bench.studio, identity) for identity in ids(inbox, "archived")}
        assert {identity: one.sightings for identity, one in kept.items() if one} == {
            one.entry.id: one.sightings for one in inbox.ledger.all_kept()
        }


def test_what_has_its_report_already_is_left_as_it_is(bench: "Bench") -> None:
    bench.drop("a.csv", "shots")
    with opened(bench) as inbox:
        bench.go(inbox)
        bench.drop("b.csv", "shots")
        assert read(inbox).known == 1
        assert names(inbox, "reported") == ["a"]
        assert len(counted(inbox.archive)) == 1


def test_what_was_erased_does_not_come_back(bench: "Bench") -> None:
    with read_already(bench, "one") as inbox:
        (identity,) = ids(inbox, "archived")
        inbox.ledger.begin_forgetting([identity])
        inbox.ledger.blank([identity], "2026-11-25")
        inbox.ledger.end_forgetting([identity])
        for path in bench.studio.accepted.iterdir():
            path.unlink()
        bench.drop("again.csv", "one")
        found = read(inbox)
        assert (found.erased, found.archived) == (1, 0)
        assert names(inbox, "archived") == []
        assert list(bench.studio.accepted.iterdir()) == []
        assert read(inbox).erased == 0  # it is known where it lies


def test_a_file_without_a_day_counts_for_the_day_of_its_last_change(bench: "Bench") -> None:
    noon = 1_500_000_000  # in July 2017
    os.utime(bench.drop("a.csv", "one"), (noon, noon))
    os.utime(bench.drop("b.csv", "two"), (noon * 3, noon * 3))  # a clock that ran ahead
    with opened(bench) as inbox:
        read(inbox)
        assert {path.parent.name for path in on_disk(inbox.archive)} == {"ym=2017-07", f"ym={TODAY:%Y-%m}"}


# --- for a report after all -------------------------------------------------------------------------------------------
def test_dropped_again_or_named_it_gets_its_report_and_still_counts_once(bench: "Bench") -> None:
    with read_already(bench, "one", "two") as inbox:
        bench.drop("again.csv", "one")
        bench.go(inbox)
        assert bench.reports() == ["2026-11-25 again"]
        arrival = arrivals.of_path(bench.studio.inbox / "1.csv")
        assert arrival
        assert inbox.take(arrival)
        inbox.work_off()
        assert bench.reports() == ["2026-11-25 1", "2026-11-25 again"]
        assert len(counted(inbox.archive)) == len(visits(inbox.archive)) == 2
        assert names(inbox, "archived") == []


def grown(first: int, last: int) -> str:
    return "".join(f"shot {number}\n" for number in range(first, last))


def test_a_file_that_has_grown_stands_for_what_was_archived_of_it(bench: "Bench") -> None:
    with read_already(bench, grown(0, 4), grown(10, 14)) as inbox:
        bench.drop("0.csv", grown(0, 7))
        bench.drop("1.csv", grown(20, 27))  # the next golfer's, in a file of the same name
        found = read(inbox)
        assert found.archived == 2
        assert names(inbox, "archived") == ["0", "1", "1"]
        assert visits(inbox.archive) == ids(inbox, "archived")
        bench.drop("0.csv", grown(0, 9))
        bench.go(inbox)
        assert bench.reports() == ["2026-11-25 0"]
        assert visits(inbox.archive) == ids(inbox, "archived", "reported")
        assert len(counted(inbox.archive)) == 3


def test_what_a_later_state_stood_for_counts_again_when_it_comes_by_itself(bench: "Bench") -> None:
    with read_already(bench, grown(0, 4)) as inbox:
        (first,) = ids(inbox, "archived")
        bench.drop("0.csv", grown(0, 7))
        read(inbox)
        assert first not in visits(inbox.archive)
        bench.drop("elsewhere.csv", grown(0, 4))
        assert read(inbox).archived == 1
        assert first in visits(inbox.archive)
        assert len(counted(inbox.archive)) == 2


def test_a_file_that_has_grown_since_its_report_is_left_for_the_next_version(bench: "Bench") -> None:
    bench.drop("a.csv", grown(0, 4))
    with opened(bench) as inbox:
        bench.go(inbox)
        bench.drop("a.csv", grown(0, 6))
        assert read(inbox).with_report == 1
        assert len(counted(inbox.archive)) == 1
        bench.go(inbox)
        assert names(inbox, "reported") == ["a", "a"]


# --- what cannot be read ----------------------------------------------------------------------------------------------
def test_a_hundred_files_that_ask_the_same_make_one_note(bench: "Bench") -> None:
    for number in range(30):
        bench.drop(f"{number:02}/shots.csv", "no unit")
        bench.drop(f"{number:02}/more.csv", f"{number}")  # each its own content
        bench.answers[f"{number}"] = bench.answers["no unit"]
    bench.drop("bad.csv", "no table")
    bench.drop("empty.csv", "")
    bench.drop("good.csv", "shots")
    with opened(bench) as inbox:
        found = read(inbox)
        assert found.archived == 1
        assert {what: len(listed) for what, listed in found.reasons.items()} == {
            "No unit is stated for 'Ball speed'.": 30, "This is no table of shots.": 1,
            "The file looks half-written.": 1,
        }  # fmt: skip
        assert found.exit_code in (2, 3)
        noted = [name for name in bench.set_back() if name.endswith(".txt")]
        assert len(noted) == 3
        assert {"bad.csv", "bad.csv.txt", "empty.csv.txt"} < set(bench.set_back())
        assert "--backlog again" in (bench.studio.set_back / "bad.csv.txt").read_text(encoding="utf-8")
        assert len(ids(inbox, "not_archived")) == 32


def test_whatever_many_reasons_there_are_the_notes_end_at_some(bench: "Bench") -> None:
    for number in range(backlog._MOST_NOTES + 5):
        bench.drop(f"{number}.csv", f"bad {number}")
        bench.answers[f"bad {number}"] = Refusal("set_back", 2, f"Reason {number}.", "a.csv", "")
    with opened(bench) as inbox:
        assert len(read(inbox).reasons) == backlog._MOST_NOTES + 5
        assert len([name for name in bench.set_back() if name.endswith(".txt")]) == backlog._MOST_NOTES


def test_once_answered_all_of_them_are_archived_and_their_note_goes(bench: "Bench") -> None:
    bench.answers["no unit too"] = bench.answers["no unit"]
    with read_already(bench, "no unit", "no unit too") as inbox:
        assert bench.set_back() == ["0.csv", "0.csv.txt"]
        assert list(read(inbox).reasons.values()) == [["0", "1"]]  # the first one keeps its note
        assert bench.set_back() == ["0.csv", "0.csv.txt"]
        del bench.answers["no unit"], bench.answers["no unit too"]
        inbox.ledger.changed("profiles", "an answer came")
        bench.go(inbox)
        assert bench.reports() == []
        assert read(inbox).archived == 2
        assert bench.set_back() == []
        assert len(counted(inbox.archive)) == 2


def test_what_was_taken_out_of_the_drop_folder_is_not_asked_about_again(bench: "Bench") -> None:
    with read_already(bench, "no table", "no unit") as inbox:
        (bench.studio.inbox / "0.csv").unlink()
        assert list(read(inbox).reasons.values()) == [["1"]]


def test_a_file_too_large_is_not_read_and_says_so_each_time(bench: "Bench") -> None:
    bench.extra_settings = "largest_file_mb = 1\n"
    bench.drop("large.csv", "x" * 1_000_001)
    with opened(bench) as inbox:
        for _ in range(2):
            (what,) = read(inbox).reasons
            assert what.startswith("It is too large")
        assert bench.worked_out == []
        assert bench.set_back() == ["large.txt"]
        assert list(bench.studio.accepted.iterdir()) == []


def test_a_file_that_may_not_be_read_or_changes_is_left_for_the_next_run(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.drop("a.csv", "one")
    bench.drop("b.csv", "two")

    def failing(arrival: Arrival) -> object:
        if arrival.name == "a":
            raise ChangedMeanwhileError
        raise PermissionError(13, "Permission denied")

    with opened(bench) as inbox:
        with monkeypatch.context() as patched:
            patched.setattr("pipeline.arrivals.read", failing)
            assert read(inbox).changing == 2
        assert bench.kinds() == ["trouble"]
        assert read(inbox).archived == 2


def test_nothing_is_taken_while_the_disk_is_nearly_full(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    bench.drop("a.csv", "one")
    monkeypatch.setattr("pipeline.health.free_bytes", lambda _: 499_000_000)
    with opened(bench) as inbox, pytest.raises(FolderError, match="Make room"):
        read(inbox)


# --- what ends the child ----------------------------------------------------------------------------------------------
class Breaking(InThisProcess):
    """A workshop that breaks down over some visits, and notes the sizes of the batches it was given."""

    def __init__(self, names: dict[str, Exception]) -> None:
        super().__init__()
        self.names, self.sizes = names, list[int]()

    def archive(self, batch: Batch) -> Archived:
        self.sizes.append(len(batch.jobs))
        for job in batch.jobs:
            if job.name in self.names:
                raise self.names[job.name]
        return super().archive(batch)


def test_a_batch_that_ends_the_child_is_halved_until_the_one_at_fault_is_alone(bench: "Bench") -> None:
    for number in range(16):
        os.utime(bench.drop(f"{number}.csv", f"shots {number}"), (number, number))
    with opened(bench) as inbox:
        breaking = Breaking({"5": StoppedError("it took longer than 60 seconds")})
        inbox.workshop = breaking
        found = read(inbox)
        assert found.archived == 15
        assert list(found.reasons.items()) == [
            ("It was tried 3 times, and the last time it took longer than 60 seconds.", ["5"])
        ]
        assert breaking.sizes == [16, 8, 4, 4, 2, 1, 1, 1, 1, 2, 8]
        assert len(counted(inbox.archive)) == 15
        assert bench.set_back() == ["5.csv", "5.csv.txt"]


def test_a_fault_of_ours_is_not_tried_again(bench: "Bench") -> None:
    bench.drop("0.csv", "one")
    bench.drop("1.csv", "two")
    with opened(bench) as inbox:
        breaking = Breaking({"0": FaultError("ValueError: x", "here")})
        inbox.workshop = breaking
        (what,) = read(inbox).reasons
        assert what.startswith("The program met a fault of its own")
        assert breaking.sizes == [2, 1, 1]


# --- kills ------------------------------------------------------------------------------------------------------------
STEPS = (
    "pipeline.studio.write_files", "pipeline.archive.Archive.add", "pipeline.manifests.write_all",
    "pipeline.ledger_bulk.BulkNotes.note", "pipeline.setting_back.put",
)  # fmt: skip


def killing(where: str, when: str, number: int) -> Callable[..., object]:
    owner, _, name = where.rpartition(".")
    module, _, kind = owner.rpartition(".")
    holder = importlib.import_module(owner) if not kind[0].isupper() else getattr(importlib.import_module(module), kind)
    real = getattr(holder, name)
    calls = itertools.count(1)

    def kill(*given: object, **named: object) -> object:
        last = next(calls) == number
        if last and when == "before":
            raise KilledError
        found = real(*given, **named)
        if last:
            raise KilledError
        return found

    return kill


@pytest.mark.parametrize(("where", "when"), list(itertools.product(STEPS, ("before", "after"))))
def test_killed_anywhere_each_counts_once_after_the_next_start(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch, where: str, when: str
) -> None:
    monkeypatch.setattr("pipeline.backlog._MOST_VISITS", 3)
    for number in range(8):
        bench.drop(f"{number}.csv", "no unit" if number == 4 else f"shots {number}")
    for number in (1, 2):
        with opened(bench) as inbox, monkeypatch.context() as patched:
            patched.setattr(where, killing(where, when, number))
            with pytest.raises(KilledError) if where != STEPS[-1] or number == 1 else suppress(KilledError):
                read(inbox)
        with opened(bench) as inbox:  # the watcher in between makes no report of them
            bench.go(inbox)
            assert bench.reports() == []
    with opened(bench) as inbox:
        read(inbox)
        assert names(inbox, "archived") == [str(number) for number in range(8) if number != 4]
        assert names(inbox, "not_archived") == ["4"]
        assert bench.set_back() == ["4.csv", "4.csv.txt"]
        assert visits(inbox.archive) == ids(inbox, "archived")
        assert len(counted(inbox.archive)) == 7
        inbox.archive.sweep(older_than_s=0)
        assert bench.reports() == []


def test_until_it_has_come_to_its_end_the_watcher_leaves_the_rest_alone(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.drop("old.csv", "one")
    with opened(bench) as inbox, monkeypatch.context() as patched:
        patched.setattr("pipeline.studio.write_files", killing("pipeline.studio.write_files", "before", 1))
        with pytest.raises(KilledError):
            read(inbox)
    with opened(bench) as inbox:
        os.utime(bench.drop("new.csv", "two"), (9e9, 9e9))
        bench.go(inbox)
        bench.go(inbox)
        assert bench.reports() == ["2026-11-25 new"]
        assert [event.name for event in bench.events if event.kind == "waiting"] == ["inbox"]
        assert status_of(bench, inbox).backlog
        said = list(status_words.sentences(status_of(bench, inbox)))
        assert len([line for line in said if line.endswith("--backlog")]) == 1
        read(inbox)
        assert not status_of(bench, inbox).backlog
        assert names(inbox, "archived") == ["old"]
        bench.drop("later.csv", "three")
        bench.go(inbox)
        assert "2026-11-25 later" in bench.reports()


# --- a lost ledger, older manifests -----------------------------------------------------------------------------------
def lose_ledger(bench: "Bench") -> None:
    for path in bench.studio.work.glob("ledger.sqlite3*"):
        path.unlink()


def test_a_lost_ledger_makes_no_reports_of_them_and_they_count_as_before(bench: "Bench") -> None:
    with read_already(bench, "one", "two", "no unit") as inbox:
        before = counted(inbox.archive)
    lose_ledger(bench)
    with opened(bench) as inbox:
        bench.go(inbox)
        assert names(inbox, "archived") == ["0", "1"]
        assert [(entry.name, entry.place) for entry in inbox.ledger.entries("not_archived")] == [("2", "2.csv")]
        assert bench.reports() == []
        Upkeep(inbox).go_on(never)
        assert counted(inbox.archive) == before
        assert read(inbox).archived == 0


def test_a_report_made_later_counts_more_than_the_manifest(bench: "Bench") -> None:
    with read_already(bench, "one") as inbox:
        bench.drop("again.csv", "one")
        bench.go(inbox)
    lose_ledger(bench)
    with opened(bench) as inbox:
        assert names(inbox, "reported") == ["again"]


def test_a_manifest_of_a_former_version_is_that_of_a_visit_to_be_reported(bench: "Bench") -> None:
    with read_already(bench, "one") as inbox:
        (identity,) = ids(inbox, "archived")
    path = bench.studio.visits / f"{identity}.json"
    said = json.loads(path.read_text(encoding="utf-8"))
    assert said.pop("state") == "archived"
    path.write_text(json.dumps(said), encoding="utf-8")
    found = manifests.read(bench.studio, identity)
    assert found
    assert found.entry.state == "accepted"
    for odd in ("reported", "nonsense", 7):
        path.write_text(json.dumps({**said, "state": odd}), encoding="utf-8")
        found = manifests.read(bench.studio, identity)
        assert found
        assert found.entry.state == "accepted"
    with opened(bench) as inbox:
        assert rebuilding.reconcile(bench.studio, inbox.ledger) == ""


# --- the rest of the program ------------------------------------------------------------------------------------------
def test_status_counts_them_and_shows_what_is_asked(bench: "Bench") -> None:
    bench.answers["no unit too"] = bench.answers["no unit"]
    with read_already(bench, "one", "no unit", "no unit too", "no table") as inbox:
        found = status_of(bench, inbox)
        assert "without reports: 1; 3 could not be read." in "\n".join(status_words.sentences(found))
        assert (found.archived, found.not_archived) == (1, 3)
        assert [visit.name for visit in (*found.held, *found.set_back)] == ["1", "3"]
        assert (found.not_taken, found.waiting) == ((), ())


def test_keep_days_erases_them_with_their_shots(bench: "Bench") -> None:
    with read_already(bench, "one", "no unit") as inbox:
        for days in range(1, 12):
            retention.erase_old(inbox.archive, 3, TODAY.replace(year=2027) + dt.timedelta(days))
        assert names(inbox, "archived", "not_archived") == []
        assert (counted(inbox.archive), on_disk(inbox.archive)) == ([], [])
        assert list(bench.studio.accepted.iterdir()) == []


def test_forget_erases_an_old_export_and_its_shots(bench: "Bench", run: Callable[..., tuple[int, str, str]]) -> None:
    bench.drop("tuesday/shots.csv", "one")
    bench.drop("tuesday/visit.toml", 'customer = "Customer 0142"\n')
    with read_already(bench, "two") as inbox:
        assert len(counted(inbox.archive)) == 2
    code, out, _ = run("forget", bench.studio.root, "Customer 0142", "--yes")
    assert (code, "tuesday, archived" in out) == (0, True)
    with opened(bench) as inbox:
        assert names(inbox, "archived") == ["0"]
        assert visits(inbox.archive) == ids(inbox, "archived")
        assert len(list(bench.studio.accepted.iterdir())) == 1
        assert (read(inbox).erased, read(inbox).archived) == (0, 0)  # it lies there still and is known as erased


def test_a_tidy_drop_folder_loses_what_was_archived_and_keeps_the_rest(bench: "Bench") -> None:
    with read_already(bench, "one", "no unit") as inbox:
        Tidier(bench.studio, inbox.ledger, lambda _: None).tidy()
        assert [path.name for path in bench.studio.done.iterdir()] == ["0.csv"]
        assert [path.name for path in bench.studio.inbox.iterdir()] == ["1.csv"]


# --- words ------------------------------------------------------------------------------------------------------------
class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_is_a_line_now_and_then_and_one_at_the_end() -> None:
    clock = itertools.count(0.0, 6.0)
    out = io.StringIO()
    said = Progress(out, lambda: next(clock))
    for done in (0, 100, 200, 300, 400):
        said.tell(done, 400)
    assert out.getvalue().splitlines() == [
        "200 of 400 old exports, 17 a second, about 12 s still",
        "400 of 400 old exports, 17 a second",
    ]


def test_on_a_terminal_it_is_one_line_written_anew() -> None:
    clock = itertools.count(0.0, 0.5)
    out = Terminal()
    said = Progress(out, lambda: next(clock))
    for done in (0, 1000, 2000):
        said.tell(done, 2000)
    first, second, third = out.getvalue().lstrip("\r").split("\r")
    assert first == "0 of 2,000 old exports"
    assert second == "1,000 of 2,000 old exports, 2,000 a second, about 1 s still"
    assert third == "2,000 of 2,000 old exports, 2,000 a second".ljust(len(second)) + "\n"


def test_nothing_to_do_says_nothing() -> None:
    out = io.StringIO()
    Progress(out).tell(0, 0)
    assert out.getvalue() == ""


@pytest.mark.parametrize(
    ("done", "seconds", "left"), [(10, 1.0, "89 s"), (10, 10.0, "15 min"), (10, 100.0, "2 h 28 min"), (899, 1.0, "1 s")]
)
def test_how_long_still_is_said_in_the_unit_a_person_would_choose(done: int, seconds: float, left: str) -> None:
    assert progress(done, 900, seconds).endswith(f"about {left} still")


def test_the_summary_names_the_first_few_of_each_reason() -> None:
    found = Summary(archived=9_990, known=3)
    for number in range(1_200):
        found.refuse(f"file {number}", Refusal("held", 3, "No unit is stated.", "a", ""))
    found.refuse("odd", Refusal("set_back", 2, "This is no table.", "a", ""))
    assert list(sentences(found)) == [
        "archived: 9,990 visits, without reports",
        "3 were there before with the same content",
        "not archived: 1,201 visits. set-back/ has one of each kind with a note.",
        "  1,200: No unit is stated. (file 0, file 1, file 2 and 1,197 more)",
        "  1: This is no table. (odd)",
        "When that is settled, start it again with --backlog; what is not archived now is then tried again.",
    ]
    assert found.exit_code == 3
    assert len(list(sentences(replace(found, reasons={f"r{n}": ["x"] for n in range(15)})))) == 3 + 10 + 1 + 1


def test_the_command(bench: "Bench", run: Callable[..., tuple[int, str, str]]) -> None:
    bench.drop("a.csv", "one")
    code, out, _ = run("process", bench.studio.root, "--backlog")
    assert (code, out.splitlines()[-1]) == (0, "archived: 1 visit, without reports")
    bench.drop("b.csv", "no unit")
    code, out, _ = run("process", bench.studio.root, "--backlog")
    assert code == 3
    assert run("process", bench.studio.root, bench.studio.inbox / "a.csv", "--backlog")[0] == 6
    assert run("process", bench.studio.root)[:2] == (0, "nothing new\n")
    assert bench.reports() == []
    assert archive.root(bench.studio, bench.open().settings).is_dir()
    assert Path(bench.studio.root / "set-back" / "b.csv.txt").is_file()


@pytest.mark.parametrize(
    "where", ["studio.write_files", "manifests.write_all", "archive.Archive.add", "ledger_bulk.BulkNotes.note"]
)
def test_a_full_disk_ends_it_plainly_and_it_goes_on_later(
    bench: "Bench", run: Callable[..., tuple[int, str, str]], monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    def full(*_given: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    bench.drop("a.csv", "one")
    with monkeypatch.context() as patched:
        patched.setattr(f"pipeline.{where}", full)
        code, _, err = run("process", bench.studio.root, "--backlog")
        assert code == 7
        assert "No space left on device). Nothing is lost: start it again." in err
    assert run("process", bench.studio.root, "--backlog")[0] == 0
    with opened(bench) as inbox:
        assert len(counted(inbox.archive)) == 1
