"""keep_days: what is old is erased, what is young never, and a clock that is wrong erases nothing."""

import datetime as dt
import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline import forgetting, retention, studio
from pipeline.errors import FolderError
from pipeline.ledger import Entry, Kept, Ledger
from pipeline.studio import Studio
from pipeline.visit_words import Folder, Visit

if TYPE_CHECKING:
    from tests.conftest import Bench

TODAY = dt.date(2026, 11, 25)
LONG_AGO = dt.datetime(2020, 1, 1, tzinfo=dt.UTC).timestamp()


def days_ago(days: int) -> str:
    return (TODAY - dt.timedelta(days=days)).isoformat()


# --- the clock --------------------------------------------------------------------------------------------------------
def believed(days: list[str], remembered: str = "", received: tuple[str, ...] = ()) -> list[bool]:
    """Look on some days, one after the other; tells on which of them the clock was believed."""
    out, known = [], [dt.date.fromisoformat(day) for day in received]
    for day in days:
        remembered, is_right = retention.clock(remembered, known, dt.date.fromisoformat(day))
        out.append(is_right)
    return out


def test_a_new_studio_is_believed_after_a_week_of_days_that_follow_each_other() -> None:
    days = [f"2026-11-{day:02d}" for day in range(1, 11)]
    assert believed(days) == [False] * 7 + [True] * 3
    assert believed(["2026-11-01", "2026-11-01", "2026-11-08"]) == [False, False, True]


def test_the_days_on_which_visits_came_stand_for_looks_before() -> None:
    assert believed(["2026-11-25"], received=("2026-11-18", "2026-11-24")) == [True]
    assert believed(["2026-11-25"], received=("2026-11-24", "2026-11-24")) == [False]
    assert believed(["2026-11-25"], received=("2026-01-01", "2026-10-25")) == [True]
    assert believed(["2026-11-25"], received=("2026-01-01", "2026-10-24")) == [False]
    assert believed(["2026-11-25"], received=("2026-01-01", "2027-01-01")) == [False]


@pytest.mark.parametrize("wrong", ["2000-01-01", "2026-11-24", "2019-12-31", "2026-12-27", "2099-11-26"])
def test_a_clock_that_fell_back_or_jumped_is_not_believed(wrong: str) -> None:
    known = "2026-01-01 2026-11-25"
    assert believed(["2026-11-25", "2026-12-26"], known) == [True, True]
    assert believed([wrong, wrong], known) == [False, False]


@pytest.mark.parametrize("wrong", ["2000-01-01", "2026-12-27", "2099-11-26"])
def test_a_clock_put_right_again_is_believed_after_a_week(wrong: str) -> None:
    after = [f"2026-11-{day:02d}" for day in range(1, 10)]
    assert believed([wrong, *after], "2026-01-01 2026-10-31") == [False] * 8 + [True] * 2


def test_a_year_before_2020_is_not_believed_however_long_it_lasts() -> None:
    days = [(dt.date(2019, 12, 1) + dt.timedelta(days=day)).isoformat() for day in range(40)]
    assert believed(days, "2019-01-01 2019-12-01") == [False] * 37 + [True] * 3


@pytest.mark.parametrize("damaged", ["", "x", "2026-11-25", "2026-13-01 2026-11-25", "a b c"])
def test_a_damaged_memory_is_as_none(damaged: str) -> None:
    assert retention.clock(damaged, [], TODAY) == ("2026-11-25 2026-11-25", False)


# --- what is old ------------------------------------------------------------------------------------------------------
def visit(name: str, received: int, state: str = "reported", folder: Folder | None = None) -> Visit:
    entry = Entry(name, name, state, 0, None, ())
    return Visit(Kept(entry, days_ago(received) + "T12:00:00", ()), {}, (folder,) if folder else ())


def folder(name: str, *said: tuple[int, int | None]) -> Folder:
    days = [
        {"date": days_ago(day), "version_date": None if version is None else days_ago(version)} for day, version in said
    ]
    return Folder(Path(name), tuple(days))


@pytest.mark.parametrize(
    ("received", "said", "is_old"),
    [
        (366, [(366, None)], True),
        (365, [(366, None)], False),
        (366, [(365, None)], False),
        (366, [(400, 365), (400, None)], False),
        (366, [(400, 366), (400, None)], True),
        (366, [(366, None), (365, None)], False),
        (366, [(-3, None)], False),
        (366, [], True),
    ],
)
def test_old_is_what_has_nothing_of_the_last_days(
    received: int, said: list[tuple[int, int | None]], *, is_old: bool
) -> None:
    one = visit("a", received, folder=folder("a", *said))
    assert retention.old([one], TODAY - dt.timedelta(days=365)) == ([one] if is_old else [])


@pytest.mark.parametrize(
    "state", ["accepted", "processing", "waiting", "forgetting", "reported", "held", "set_back", "superseded"]
)
def test_what_is_still_to_be_worked_on_is_never_old(state: str) -> None:
    found = retention.old([visit("a", 9999, state)], TODAY)
    assert bool(found) is (state in ("reported", "held", "set_back", "superseded"))


def test_visits_that_share_a_folder_go_together_or_not_at_all() -> None:
    shared, own = folder("a", (400, None)), folder("b", (400, None))
    visits = [visit("first", 400, folder=shared), visit("second", 10, folder=shared), visit("other", 400, folder=own)]
    assert [found.kept.entry.name for found in retention.old(visits, TODAY - dt.timedelta(days=365))] == ["other"]


def test_a_day_that_cannot_be_read_is_not_old() -> None:
    one = visit("a", 400)
    damaged = replace(one, kept=replace(one.kept, received="yesterday"))
    odd = replace(one, folders=(Folder(Path("a"), ({"date": "a while ago"},)),))
    assert retention.old([damaged, odd], TODAY) == []


# --- in a studio ------------------------------------------------------------------------------------------------------
@pytest.fixture
def place(bench: "Bench", monkeypatch: pytest.MonkeyPatch) -> Studio:
    """Give a studio with visits of long ago and of today, and one that is held."""
    bench.extra_settings = "keep_days = 365"
    monkeypatch.setattr(retention, "_AT_A_TIME", 2)
    for name, days in (("a", 500), ("b", 450), ("c", 400), ("d", 366), ("e", 365), ("f", 1)):
        monkeypatch.setattr("pipeline.inbox._now", lambda days=days: days_ago(days) + "T09:00:00+00:00")
        bench.today = TODAY - dt.timedelta(days=days)
        bench.drop(f"{name}.csv", f"shots {name}")
        if name in "ad":  # the same visit.toml for two of them
            bench.drop(f"{name} too/shots.csv", f"more shots {name}")
            bench.drop(f"{name} too/visit.toml", "hand = 'left'")
        inbox = bench.open()
        bench.go(inbox)
        inbox.ledger.close()
    bench.today = TODAY
    bench.events.clear()
    return bench.studio


def look(bench: "Bench", keep_days: int | None = None) -> list[str]:
    """Give what is said at a start of the program."""
    if keep_days is not None:
        bench.extra_settings = f"keep_days = {keep_days}"
    bench.events.clear()
    inbox = bench.open()
    inbox.erase_old()
    inbox.ledger.close()
    return [f"{event.kind}: {event.message}" for event in bench.events]


def test_old_visits_go_with_all_that_is_theirs_and_it_is_told_once(bench: "Bench", place: Studio) -> None:
    for mark, when in (("a", LONG_AGO), ("b", dt.datetime.combine(TODAY, dt.time(), dt.UTC).timestamp())):
        left = place.accepted / f"{mark * 64}.toml"  # a visit.toml that was corrected
        left.touch()
        os.utime(left, (when, when))
    [said] = look(bench)
    assert said == (
        "erased: Visits are kept for 365 days (keep_days in studio.toml): 6 visits were erased with reports and "
        "originals. What still lies in inbox/ or done/ is yours to delete."
    )
    assert bench.reports() == ["2025-11-25 e", "2026-11-24 f"]
    assert sorted(path.read_bytes() for path in place.accepted.iterdir()) == [b"", b"shots e", b"shots f"]
    assert len(list(place.inbox.iterdir())) == 8
    assert look(bench) == []
    inbox = bench.open()
    bench.go(inbox)
    inbox.ledger.close()
    assert bench.events == []


def test_nothing_is_erased_without_the_setting_or_by_a_wrong_clock(bench: "Bench", place: Studio) -> None:
    assert look(bench, 0) == []
    for wrong in (dt.date(2099, 1, 1), dt.date(2019, 1, 1), TODAY - dt.timedelta(days=30)):
        bench.today = wrong
        assert look(bench, 1) == []
        assert look(bench, 1) == []
    assert len(list(place.outbox.iterdir())) == 8


def test_it_is_done_once_a_day(bench: "Bench", place: Studio) -> None:
    inbox = bench.open()
    inbox.erase_old()
    assert bench.kinds() == ["erased"]
    inbox.erase_old()
    bench.today = TODAY + dt.timedelta(days=1)
    inbox.erase_old()
    inbox.ledger.close()
    assert bench.kinds() == ["erased", "erased"]
    assert bench.reports() == ["2026-11-24 f"]
    assert "1 visit was erased" in bench.events[1].message
    assert place.outbox.is_dir()


def test_a_disk_that_refuses_is_trouble_and_the_next_start_goes_on(
    bench: "Bench", place: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_words: object) -> None:
        raise PermissionError(13, "in use")

    with monkeypatch.context() as patched:
        patched.setattr(os, "rename", refuse)
        [said] = look(bench)
    assert said.startswith("trouble: the disk or a folder refused: in use")
    assert bench.events[0].exit_code == FolderError.exit_code
    assert len(list(place.outbox.iterdir())) == 8
    [said] = look(bench)
    assert "6 visits were erased" in said
    assert bench.reports() == ["2025-11-25 e", "2026-11-24 f"]


def test_what_was_begun_on_request_is_ended_without_the_setting(bench: "Bench", place: Studio) -> None:
    ledger = Ledger(place.work / "ledger.sqlite3")
    [entry] = [kept.entry for kept in ledger.all_kept() if kept.entry.name == "f"]
    ledger.begin_forgetting([entry.id])
    ledger.close()
    assert look(bench, 0) == [
        "erased: 1 visit was erased with reports and originals. What still lies in inbox/ or done/ is yours to delete."
    ]
    assert "2026-11-24 f" not in bench.reports()
    assert forgetting.unused(place, ()) == sorted(place.accepted.iterdir())
    assert studio.open_to_others(place) == []
