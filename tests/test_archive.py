"""The archive of a studio: every visit's shots once, whatever is killed, joined, corrected or erased."""

import datetime as dt
import errno
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import archive, studio, sum_files
from pipeline.archive import Archive
from pipeline.backlog import Backlog
from pipeline.errors import ReportError
from pipeline.inbox import Inbox
from pipeline.rollup_records import ArchiveManifest
from pipeline.upkeep import Upkeep
from pipeline.work_messages import visit_key

if TYPE_CHECKING:
    from tests.conftest import Bench


class KilledError(BaseException):
    """Stands for a kill."""


@contextmanager
def opened(bench: "Bench") -> Iterator[Inbox]:
    inbox = bench.open()
    try:
        yield inbox
    finally:
        inbox.ledger.close()


def counted(kept: Archive) -> list[str]:
    """Give the shots that count, as a reader finds them: in the files the ledger names, less what is gone."""
    said = archive.manifest(kept.studio, kept.settings, kept.ledger)
    lines = [line for path in said.paths for line in path.read_text(encoding="utf-8").splitlines()]
    return sorted(line for line in lines if visit_key(line.split()[0]) not in said.gone)


def on_disk(kept: Archive) -> list[Path]:
    return sorted(path for path in kept.folder.rglob("*") if path.is_file())


def visits(kept: Archive) -> list[str]:
    return sorted({line.split()[0] for line in counted(kept)})


def reported(inbox: Inbox) -> dict[str, str]:
    return {entry.name: entry.id for entry in inbox.ledger.entries("reported")}


def never() -> bool:
    return False


# --- filing -----------------------------------------------------------------------------------------------------------
def test_a_visit_with_a_report_is_filed_by_its_month_for_its_owner_alone(bench: "Bench") -> None:
    bench.drop("a.csv", "shots")
    with opened(bench) as inbox:
        bench.go(inbox)
        kept = inbox.archive
        assert visits(kept) == [reported(inbox)["a"]]
        [path] = on_disk(kept)
        assert path.parent.name == "ym=2026-11"
        assert path.parent.parent.name == f"studio={studio.identity(bench.studio)}"
        assert path.stat().st_mode & 0o077 == 0
        assert all(folder.stat().st_mode & 0o077 == 0 for folder in (path.parent, path.parent.parent, kept.folder))


def test_what_is_set_back_is_not_filed(bench: "Bench") -> None:
    bench.drop("a.csv", "no table")
    with opened(bench) as inbox:
        bench.go(inbox)
        assert on_disk(inbox.archive) == []
        assert inbox.ledger.archive.lacking() == []


def test_a_visit_that_came_again_with_more_shots_counts_once(bench: "Bench") -> None:
    bench.shots |= {"one": (200.0, 201.0, 202.0), "two": (200.0, 201.0, 202.0, 203.0)}
    bench.drop("a.csv", "one")
    with opened(bench) as inbox:
        bench.go(inbox)
        assert len(counted(inbox.archive)) == 3
        bench.drop("a.csv", "two")
        bench.go(inbox)
        assert bench.reports() == ["2026-11-25 a"]
        assert len(counted(inbox.archive)) == 4
        assert len(visits(inbox.archive)) == 1
        assert inbox.ledger.archive.lacking() == []


def test_when_the_archive_refuses_the_report_stands_and_the_daily_upkeep_files_it(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.drop("a.csv", "shots")
    with opened(bench) as inbox:
        with monkeypatch.context() as patched:
            patched.setattr("pipeline.archive._write", _full)
            bench.go(inbox)
        assert bench.kinds()[-2:] == ["reported", "trouble"]
        assert counted(inbox.archive) == []
        Upkeep(inbox).go_on(never)
        assert visits(inbox.archive) == [reported(inbox)["a"]]


def _full(*_given: object) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_child_that_fails_at_the_rows_costs_no_report(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_given: object) -> None:
        msg = "no"
        raise ReportError(msg)

    bench.drop("a.csv", "shots")
    with opened(bench) as inbox:
        with monkeypatch.context() as patched:
            patched.setattr("tests.conftest.InThisProcess.rows", broken)
            bench.go(inbox)
            Upkeep(inbox).go_on(never)
        assert bench.reports() == ["2026-11-25 a"]
        assert inbox.ledger.archive.lacking() == [reported(inbox)["a"]]


@pytest.mark.parametrize("where", ["pipeline.archive._write", "pipeline.ledger_archive.ArchiveNotes.file"])
@pytest.mark.parametrize("when", ["before", "after"])
def test_killed_while_filing_every_visit_counts_once_after_the_next_start(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch, where: str, when: str
) -> None:
    bench.drop("a.csv", "shots")
    with opened(bench) as inbox, monkeypatch.context() as patched:
        patched.setattr(where, _killing(where, when))
        with pytest.raises(KilledError):
            bench.go(inbox)
    with opened(bench) as inbox:
        inbox.recover()
        bench.go(inbox)
        Upkeep(inbox).go_on(never)
        assert visits(inbox.archive) == [reported(inbox)["a"]]
        assert len(counted(inbox.archive)) == 1


def _killing(where: str, when: str) -> object:
    import importlib  # noqa: PLC0415 - only here

    owner, _, name = where.rpartition(".")
    module, _, kind = owner.rpartition(".") if owner.endswith("Notes") else (owner, "", "")
    found = importlib.import_module(module or owner)
    real = getattr(getattr(found, kind) if kind else found, name)

    def kill(*given: object, **named: object) -> None:
        if when == "after":
            real(*given, **named)
        raise KilledError

    return kill


# --- files that are gone ----------------------------------------------------------------------------------------------
def test_a_file_that_somebody_took_away_is_made_again_from_the_originals(bench: "Bench") -> None:
    with opened(bench) as inbox:
        several(bench, inbox)
        bench.drop("old.csv", "shots old")
        Backlog(inbox, lambda _done, _of: None).run()
        kept, before = inbox.archive, counted(inbox.archive)
        archived = inbox.ledger.entries("archived")[0].id
        lost = {row.path for row in inbox.ledger.archive.filed() if row.visit in (archived, reported(inbox)["b"])}
        assert len(lost) == 2
        for path in lost:
            (kept.folder / path).unlink()
        Upkeep(inbox).go_on(never)
        assert counted(kept) == before
        assert bench.kinds()[-1] != "trouble"
        assert kept.let_go() == 0  # nothing is missing any more


def test_a_shared_archive_whose_disk_is_away_is_not_made_again_in_its_place(bench: "Bench", tmp_path: Path) -> None:
    shared = tmp_path / "shared"
    shared.mkdir()
    bench.extra_settings = f"archive = '{shared}'\n"
    with opened(bench) as inbox:
        bench.drop("a.csv", "shots")
        bench.go(inbox)
        kept, before = inbox.archive, counted(inbox.archive)
        assert len(before) == 1
        shared.rename(tmp_path / "away")
        shared.mkdir()
        Upkeep(inbox).go_on(never)
        assert bench.kinds()[-1] == "trouble"
        assert list(shared.iterdir()) == []
        shared.rmdir()
        (tmp_path / "away").rename(shared)
        assert counted(kept) == before


# --- joining ----------------------------------------------------------------------------------------------------------
def several(bench: "Bench", inbox: Inbox, names: str = "abc") -> None:
    for name in names:
        bench.shots[f"shots {name}"] = tuple(200.0 + i for i in range(3))
        bench.drop(f"{name}.csv", f"shots {name}")
    bench.go(inbox)


def test_a_month_is_joined_into_one_file_and_the_old_ones_go_a_day_later(bench: "Bench") -> None:
    with opened(bench) as inbox:
        several(bench, inbox)
        kept, before = inbox.archive, counted(inbox.archive)
        assert kept.join_months(never) == 1
        assert len(before) == 9
        assert counted(kept) == before
        assert len(on_disk(kept)) == 4
        kept.sweep()
        assert len(on_disk(kept)) == 4  # somebody may be reading them
        for path in on_disk(kept):
            os.utime(path, (0, time.time() - archive._KEPT_S - 1))
        kept.sweep()
        assert len(on_disk(kept)) == 1
        assert counted(kept) == before
        assert kept.join_months(never) == 0


def test_what_counts_no_more_is_dropped_when_its_month_is_joined(bench: "Bench") -> None:
    bench.shots |= {"one": (200.0, 201.0, 202.0), "two": (200.0, 201.0, 202.0, 203.0)}
    with opened(bench) as inbox:
        several(bench, inbox, "b")
        for content in ("one", "two"):
            bench.drop("a.csv", content)
            bench.go(inbox)
        kept, before = inbox.archive, counted(inbox.archive)
        assert archive.manifest(kept.studio, kept.settings, kept.ledger).gone
        kept.join_months(never)
        said = archive.manifest(kept.studio, kept.settings, kept.ledger)
        assert not said.gone
        assert len(said.paths) == 1
        assert counted(kept) == before


@pytest.mark.parametrize("where", ["pipeline.archive._write", "pipeline.ledger_archive.ArchiveNotes.swap"])
@pytest.mark.parametrize("when", ["before", "after"])
def test_killed_while_joining_nothing_is_lost_or_counted_twice(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch, where: str, when: str
) -> None:
    with opened(bench) as inbox:
        several(bench, inbox)
        before = counted(inbox.archive)
        with monkeypatch.context() as patched:
            patched.setattr(where, _killing(where, when))
            with pytest.raises(KilledError):
                inbox.archive.join_months(never)
        assert counted(inbox.archive) == before
        inbox.archive.join_months(never)
        inbox.archive.sweep(older_than_s=0.0)
        assert counted(inbox.archive) == before
        assert len(on_disk(inbox.archive)) == 1


def test_a_reader_between_two_files_finds_all_of_them_while_a_month_is_joined(bench: "Bench") -> None:
    with opened(bench) as inbox:
        several(bench, inbox)
        kept = inbox.archive
        said = archive.manifest(kept.studio, kept.settings, kept.ledger)
        first = said.paths[0].read_text(encoding="utf-8")
        kept.join_months(never)
        kept.sweep()
        rest = "".join(path.read_text(encoding="utf-8") for path in said.paths[1:])
        assert sorted((first + rest).splitlines()) == counted(kept)


def test_what_was_filed_while_a_month_was_joined_stays(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(bench) as inbox:
        several(bench, inbox)
        notes, real = inbox.ledger.archive, archive._write

        def meanwhile(folder: Path, path: str, content: bytes) -> None:
            real(folder, path, content)
            notes.drop([visits(inbox.archive)[0]])  # by another program

        with monkeypatch.context() as patched:
            patched.setattr("pipeline.archive._write", meanwhile)
            assert inbox.archive.join_months(never) == 0
        assert len(counted(inbox.archive)) == 6


def test_files_large_enough_are_left_alone(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(bench) as inbox:
        several(bench, inbox, "abcd")
        before, size = counted(inbox.archive), on_disk(inbox.archive)[0].stat().st_size
        monkeypatch.setattr("pipeline.archive._MOST_BYTES", 2 * size)
        assert inbox.archive.join_months(never) == 2  # two and two
        assert inbox.archive.join_months(never) == 0
        assert counted(inbox.archive) == before


def test_it_stops_between_two_months(bench: "Bench") -> None:
    with opened(bench) as inbox:
        several(bench, inbox)
        assert inbox.archive.join_months(lambda: True) == 0


# --- erasing ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("joined", [False, True])
def test_erasing_leaves_no_row_of_a_visit_in_any_file_and_keeps_the_others(bench: "Bench", *, joined: bool) -> None:
    with opened(bench) as inbox:
        several(bench, inbox)
        kept, gone = inbox.archive, reported(inbox)["b"]
        if joined:
            kept.join_months(never)  # and the old files still lie there
        before = counted(kept)
        sums = kept.folder / sum_files.FOLDER / on_disk(kept)[0].parent.relative_to(kept.folder)
        sums.mkdir(parents=True)
        (sums / "x.parquet").write_bytes(b"sums of all")
        kept.erase([gone])
        assert counted(kept) == [line for line in before if not line.startswith(gone)]
        assert not any(gone in path.read_text(encoding="utf-8") for path in on_disk(kept))
        assert list(sums.iterdir()) == []
        assert kept.left_of([gone]) == []
        assert inbox.ledger.archive.filed(gone) == []


@pytest.mark.parametrize("where", ["pipeline.archive._write", "pipeline.ledger_archive.ArchiveNotes.swap"])
@pytest.mark.parametrize("when", ["before", "after"])
def test_killed_while_erasing_and_begun_again_nothing_of_it_is_left(
    bench: "Bench", monkeypatch: pytest.MonkeyPatch, where: str, when: str
) -> None:
    with opened(bench) as inbox:
        several(bench, inbox)
        kept, gone = inbox.archive, reported(inbox)["b"]
        kept.join_months(never)
        kept.sweep(older_than_s=0.0)
        with monkeypatch.context() as patched:
            patched.setattr(where, _killing(where, when))
            with pytest.raises(KilledError):
                kept.erase([gone])
        assert gone not in visits(kept)
        kept.erase([gone])
        assert len(counted(kept)) == 6
        assert not any(gone in path.read_text(encoding="utf-8") for path in on_disk(kept))


def test_a_file_nobody_named_is_said_to_be_left(bench: "Bench") -> None:
    with opened(bench) as inbox:
        several(bench, inbox, "a")
        stray = on_disk(inbox.archive)[0].with_name("stray.parquet")
        stray.write_bytes(b"?")
        assert inbox.archive.left_of(["00" * 32]) == [stray]
        assert inbox.archive.left_of([reported(inbox)["a"]]) == on_disk(inbox.archive)


# --- several studios --------------------------------------------------------------------------------------------------
def test_a_shared_folder_is_where_the_studio_says(bench: "Bench", tmp_path: Path) -> None:
    (bench.studio.root / "studio.toml").write_text(f'archive = "{tmp_path / "all"}"\n', encoding="utf-8")
    settings = studio.settings_of(bench.studio)
    assert archive.root(bench.studio, settings) == tmp_path / "all"
    (bench.studio.root / "studio.toml").write_text('archive = "../all"\n', encoding="utf-8")
    assert archive.root(bench.studio, studio.settings_of(bench.studio)) == bench.studio.root / "../all"


def test_sweeping_leaves_another_studio_alone(bench: "Bench") -> None:
    with opened(bench) as inbox:
        several(bench, inbox, "a")
        other = inbox.archive.folder / "studio=other" / "ym=2026-11" / "x.parquet"
        other.parent.mkdir(parents=True)
        other.write_bytes(b"theirs")
        inbox.archive.sweep(older_than_s=0.0)
        assert other.read_bytes() == b"theirs"


# --- learning ---------------------------------------------------------------------------------------------------------
def test_what_the_archive_teaches_is_remembered_and_a_drift_is_told_once_a_day(bench: "Bench") -> None:
    with opened(bench) as inbox:
        several(bench, inbox, "a")
        inbox.workshop.lesson = ("what was learned", ["Bay 2 reads higher."])  # type: ignore[attr-defined]
        upkeep = Upkeep(inbox)
        for _ in range(3):
            upkeep.go_on(never)
        assert [event.message for event in bench.events if event.kind == "drift"] == ["Bay 2 reads higher."]
        assert inbox.ledger.remembered(archive.HISTORY) == "what was learned"
        assert archive.drifting(inbox.ledger) == ("Bay 2 reads higher.",)
        bench.today += dt.timedelta(days=1)
        inbox.workshop.lesson = ("", [])  # type: ignore[attr-defined]
        upkeep.go_on(never)
        assert bench.kinds().count("drift") == 1
        assert archive.drifting(inbox.ledger) == ()
        assert inbox.ledger.remembered(archive.HISTORY) == ""


def test_a_damaged_memory_of_bays_is_none(bench: "Bench") -> None:
    with opened(bench) as inbox:
        for damaged in ("", "{", "5", "null"):
            inbox.ledger.changed(archive.DRIFTING, damaged)
            assert archive.drifting(inbox.ledger) == ()


def test_only_this_studios_own_shots_teach_it(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(bench) as inbox:
        several(bench, inbox, "ab")
        asked: list[Path] = []

        def learn(_self: object, paths: list[Path], *_more: object) -> tuple[str, list[str]]:
            asked.extend(paths)
            return "", []

        monkeypatch.setattr("tests.conftest.InThisProcess.learn", learn)
        other = inbox.archive.folder / "studio=other" / "ym=2026-11" / "x.parquet"
        real = archive.manifest
        monkeypatch.setattr(
            "pipeline.archive.manifest",
            lambda *given: ArchiveManifest((other, *real(*given).paths)),
        )
        inbox.archive.learn()
        assert asked == list(real(inbox.studio, inbox.settings, inbox.ledger).paths)
