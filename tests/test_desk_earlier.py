"""A customer's other visits: found by name or address and never guessed, side by side with what can be said of them."""

import datetime as dt
import json
import os
from collections.abc import Iterator

import pytest

from pipeline import desk_earlier, desk_trend, issuing
from pipeline.archive import Archive
from pipeline.desk_earlier import EarlierStep
from pipeline.desk_room import Room
from pipeline.forgetting import erase, plan, words_of
from pipeline.ledger import Entry
from pipeline.visit_words import visits as all_visits
from tests.conftest import InThisProcess
from tests.desk_visits import fitting_of, identity, note, room_in, set_of, visit

FIRST, SECOND, THIRD = [200.0, 202.0, 204.0, 206.0], [220.0, 222.0, 224.0, 226.0], [213.0, 221.0, 226.0, 232.0]


def report(name: str, day: str, carries: list[float]) -> object:
    return fitting_of(identity(name), day, [set_of("Own driver", carries)])


@pytest.fixture
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    made = room_in(tmp_path_factory.mktemp("earlier") / "studio")
    both, name, address = (
        'customer = "Aspen B"\nemail = "A@b.example"\n',
        'customer = " aspen  b"\n',
        'email = "a@B.example "\n',
    )
    visits = [
        visit(made, "spring", both, fitting=report("spring", "2026-03-02", FIRST)),
        visit(made, "summer", name, fitting=report("summer", "2026-06-10", SECOND)),
        visit(made, "address", address, "archived"),
        visit(made, "held", name + "# held\n", "held"),
        visit(made, "grown a", name + "# a\n", place="shared"),
        visit(made, "grown b", name + "# b\n", place="shared", fitting=report("grown b", "2026-07-01", THIRD)),
        visit(made, "gone", name + "# c\n", "superseded"),
        visit(made, "like", 'customer = "Aspen"\nemail = "xa@b.example"\n'),
        visit(made, "nobody"),
        visit(made, "empty", 'customer = " "\nemail = ""\n'),
    ]
    note(made, visits)
    yield made
    made.ledger.close()


def entry(room: Room, name: str) -> Entry:
    found = room.ledger.entry(identity(name))
    assert found
    return found


def others(step: EarlierStep) -> list[tuple[str, str, str]]:
    return [(one.day, one.name, one.why) for one in step.visits]


def test_other_visits_are_found_by_the_same_name_or_address_alone(room: Room) -> None:
    assert others(desk_earlier.shown(room, entry(room, "spring"))) == [
        ("2026-07-01", "grown b", "same name"),
        ("2026-06-10", "summer", "same name"),
        ("2026-01-01", "held", "same name"),
        ("2026-01-01", "address", "same address"),
    ]
    assert [name for _, name, _ in others(desk_earlier.shown(room, entry(room, "address")))] == ["spring"]
    assert [name for _, name, _ in others(desk_earlier.shown(room, entry(room, "grown a")))] == [
        "summer", "spring", "held",
    ]  # fmt: skip
    assert not desk_earlier.shown(room, entry(room, "like")).visits
    assert not desk_earlier.shown(room, entry(room, "nobody")).known
    assert not desk_earlier.shown(room, entry(room, "empty")).known


def test_a_correction_counts_at_once_and_after_a_restart(room: Room) -> None:
    assert others(desk_earlier.shown(room, entry(room, "like"))) == []
    corrected = issuing.with_facts_of(room.place, entry(room, "summer"), b'customer = "aspen"\n')
    room.ledger.keep(corrected)
    fresh = Room(room.place, room.settings, room.ledger, room.workshop, room.side)
    for at_work in (room, fresh):
        assert others(desk_earlier.shown(at_work, entry(room, "like"))) == [("2026-06-10", "summer", "same name")]
        assert "summer" not in str(others(desk_earlier.shown(at_work, entry(room, "spring"))))


def test_an_erased_visit_leaves_nothing_of_it_here(room: Room) -> None:
    desk_earlier.shown(room, entry(room, "spring"))
    assert room.ledger.letters.mark(identity("summer"), "a version", 0, "2026-11-25T10:00:00+00:00")
    visits = all_visits(room.place, room.ledger)
    chosen = [one for one in visits if one.kept.entry.name == "summer"]
    kept = Archive(room.place, room.settings, room.ledger, InThisProcess())
    erase(kept, plan(room.place, visits, chosen, words_of(visits, chosen)), dt.date(2026, 11, 25))
    assert "summer" not in str(others(desk_earlier.shown(room, entry(room, "spring"))))
    stored = {path.name for path in room.place.accepted.iterdir()}
    assert set(room.people._known) <= stored
    assert room.ledger.letters.last([identity("summer")]) == {}


def test_what_a_club_did_stands_with_its_range_and_whether_it_changed(room: Room) -> None:
    step = desk_earlier.shown(room, entry(room, "summer"))
    [part] = step.parts
    assert (part.kind, part.heads) == ("driver", ("Carry",))
    assert [(row.day, row.label, row.cells) for row in part.rows] == [
        ("2026-03-02", "Own driver", ("222\u00a0yd (218 to 226)",)),
        ("2026-06-10", "Own driver", ("244\u00a0yd (240 to 248)",)),
        ("2026-07-01", "Own driver", ("244\u00a0yd (240 to 248)",)),
    ]
    assert part.sentence.startswith(
        "Whether carry on 2026-07-01 differs from that on 2026-06-10 is not settled: allowing"
    )
    [chart] = part.charts
    assert chart.count("<circle") == 3
    assert "style=" not in chart
    assert "2026-03-02: 222 yd (218 to 226)" in chart


def test_more_visits_than_can_be_shown_are_counted(room: Room) -> None:
    note(room, [visit(room, f"more {number}", f'customer = "aspen b"\n# {number}\n') for number in range(20)])
    step = desk_earlier.shown(room, entry(room, "spring"))
    assert (len(step.visits), step.more) == (12, 12)


# --- one after the other ----------------------------------------------------------------------------------------------
def days(first: dict[str, object], second: dict[str, object], altitude_m: float = 0.0) -> list[desk_trend.Trend]:
    one = json.dumps(fitting_of("1", "2026-03-02", [first])).encode()
    two = json.dumps(fitting_of("2", "2026-06-10", [second], altitude_m)).encode()
    return desk_trend.trends([*desk_trend.read(two, "2")[1], *desk_trend.read(one, "1")[1]])


def test_a_change_is_judged_as_clubs_of_one_visit_are() -> None:
    [trend] = days(set_of("A", FIRST), set_of("B", SECOND))
    assert trend.change
    assert [day.date.month for day in trend.days] == [3, 6]
    assert trend.change.verdict == "likely_real"
    assert trend.change.difference_m == pytest.approx(20)
    # Welch with 6 degrees of freedom: 20 ± 2.4469 · sqrt(2 · 6.6667 / 4)
    assert (trend.change.low_m, trend.change.high_m) == pytest.approx((15.533, 24.467), abs=1e-3)
    [trend] = days(set_of("A", [200.0, 200.1] * 9), set_of("B", [200.0, 200.2] * 9))
    assert trend.change
    assert trend.change.verdict == "same"


def test_what_makes_a_report_more_careful_does_so_here() -> None:
    [plain] = days(set_of("A", FIRST), set_of("B", SECOND))
    [with_mishits] = days(set_of("A", FIRST), {**set_of("B", SECOND), "n_mishit": 3})
    iron = set_of("I", FIRST, category="iron", number=7, own=False, letter="B")
    several = [
        json.dumps(fitting_of(visit, day, [set_of("A", carries), iron])).encode()
        for visit, day, carries in (("1", "2026-03-02", FIRST), ("2", "2026-06-10", SECOND))
    ]
    of_two, _ = desk_trend.trends([*desk_trend.read(several[0], "1")[1], *desk_trend.read(several[1], "2")[1]])
    assert plain.change
    for wider in (with_mishits.change, of_two.change):
        assert wider
        assert wider.low_m < plain.change.low_m - 0.1


def test_what_cannot_be_compared_is_not() -> None:
    own = set_of("A", FIRST)
    for other, altitude_m, why in (
        (set_of("B", SECOND[:2]), 0.0, "few shots"),
        (set_of("B", SECOND, source="modelled"), 0.0, "other source"),
        (set_of("B", SECOND, uneven=True), 0.0, "uneven"),
        (set_of("B", SECOND), 900.0, "other air"),
    ):
        [trend] = days(own, other, altitude_m)
        assert trend.change
        assert (trend.change.why_not, trend.change.verdict) == (why, "")


def test_only_a_club_of_the_same_kind_stands_beside_another() -> None:
    assert days(set_of("A", FIRST), set_of("B", SECOND, category="wood")) == []
    assert days(set_of("A", FIRST, category="iron", number=7), set_of("B", SECOND, category="iron", number=8)) == []
    assert [
        trend.kind
        for trend in days(set_of("A", FIRST, category="iron", number=7), set_of("A", SECOND, category="iron", number=7))
    ] == ["iron 7"]
    tried = [set_of("A", FIRST, own=False), set_of("B", SECOND, own=False, letter="B")]
    day, clubs = desk_trend.read(json.dumps(fitting_of("1", "2026-03-02", tried)).encode(), "1")
    assert (day, clubs) == (dt.date(2026, 3, 2), [])
    tried[1]["own_club"] = True
    _, [club] = desk_trend.read(json.dumps(fitting_of("1", "2026-03-02", tried)).encode(), "1")
    assert (club.label, club.carries_m) == ("B", tuple(SECOND))


@pytest.mark.parametrize("content", [b"", b"{}", b"[]", b"null", b"[" * 100_000, b'{"visit": {"id": "1"}}', b"\xff"])
def test_a_damaged_report_says_nothing(content: bytes) -> None:
    assert desk_trend.read(content, "1") == (None, [])


def test_a_report_of_another_visit_says_nothing() -> None:
    assert desk_trend.read(json.dumps(fitting_of("1", "2026-03-02", [])).encode(), "2") == (None, [])


def test_hostile_names_are_text(room: Room) -> None:
    hostile = fitting_of(identity("spring"), "2026-03-02", [set_of("<script>", FIRST, category=None)])
    for name in ("spring", "summer"):
        given = {**hostile, "visit": {"id": identity(name), "date": "2026-03-02"}}
        (room.place.outbox / f"2026 {name}" / "fitting.json").write_text(json.dumps(given))
    step = desk_earlier.shown(room, entry(room, "spring"))
    assert step.parts
    assert all("<script" not in chart for part in step.parts for chart in part.charts)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_or_a_huge_file_in_a_reports_place_keeps_nobody_waiting(room: Room) -> None:
    spring = room.place.outbox / "2026 spring" / "fitting.json"
    spring.unlink()
    os.mkfifo(spring)
    with (room.place.outbox / "shared" / "fitting.json").open("r+b") as file:
        file.truncate(60_000_000)
    step = desk_earlier.shown(room, entry(room, "summer"))
    assert [day for day, name, _ in others(step) if name in ("spring", "grown b")] == ["2026-01-01", "2026-01-01"]
