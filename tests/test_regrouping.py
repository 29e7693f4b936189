"""Visits split and joined: nothing is lost or counted twice, wherever the program is killed."""

import re
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import polars as pl
import pytest

from pipeline import (
    cut_files,
    desk_regroup,
    forgetting,
    issuing,
    manifests,
    regrouped_facts,
    regrouping,
    studio,
    traces,
    visit_words,
)
from pipeline.commands.report_folder import find
from pipeline.cut_files import Cut
from pipeline.desk_regroup import _mark
from pipeline.errors import FolderError
from pipeline.ledger import Entry, Kept, Ledger
from pipeline.reading import read_shot_file
from pipeline.records import Given, ShotFile
from tests.conftest import TODAY, Bench
from tests.desk import Desk, desk_on

FACTS = """customer = "Aspen"
hand = "right"
notes = "slow today"
[[build]]
label = "Own"
loft_deg = 9.5
[[shot]]
file = "a.csv"
line = 2
counts = false
reason = "talked to"
[[shot]]
file = "b.csv"
line = 3
counts = false
reason = "slipped"
"""


class KilledError(BaseException):
    """The program ends here."""


@pytest.fixture
def desk(bench: Bench) -> Iterator[Desk]:
    made = desk_on(bench)
    made.enter()
    bench.drop("aspen/a.csv", "one")
    bench.drop("aspen/b.csv", "two")
    bench.drop("aspen/visit.toml", FACTS)
    made.go()
    yield made
    made.room.ledger.close()


def named(desk: Desk, name: str, state: str = "reported") -> Entry:
    [found] = [entry for entry in desk.room.ledger.entries(state) if entry.name == name]
    return found


def mark_on(page: str, action: str) -> str:
    return page.split(f'action="{action}"')[1].split('name="mark" value="')[1].split('"', maxsplit=1)[0]


def asked(desk: Desk, **fields: str) -> tuple[int, str]:
    """Split the second file off; gives the answer's code and text."""
    one = named(desk, "aspen")
    mark = mark_on(desk.client.get(f"/visit/{one.id}").text, f"/visit/{one.id}/split")
    answer = desk.post(f"/visit/{one.id}/split", **{"mark": mark, "file": "1", **fields})
    return answer.status_code, answer.text


def split(desk: Desk, **fields: str) -> int:
    return asked(desk, **fields)[0]


def join(desk: Desk, one: Entry, other: Entry, **fields: str) -> int:
    way = f"/visit/{one.id}/join/{other.id}"
    mark = mark_on(desk.client.get(way).text, way)
    return desk.post(way, mark=mark, **fields).status_code


def counted(desk: Desk) -> list[str]:
    """Give the visits whose shots count in the archive."""
    return sorted(row.visit for row in desk.room.ledger.archive.filed() if not row.gone)


def facts(desk: Desk, entry: Entry) -> dict[str, object]:
    stored = dict(entry.originals)["visit.toml"]
    return tomllib.loads((desk.room.place.accepted / stored).read_text(encoding="utf-8"))


def names(entry: Entry) -> list[str]:
    return [name for name, _ in regrouping.shot_files(entry)]


# --- splitting --------------------------------------------------------------------------------------------------------
def test_a_split_visit_is_two_with_a_report_each_and_counts_no_more(desk: Desk) -> None:
    former = named(desk, "aspen")
    assert split(desk, name="birch") == 303
    desk.go()
    aspen, birch = named(desk, "aspen"), named(desk, "birch")
    assert (names(aspen), names(birch)) == (["a.csv"], ["b.csv"])
    assert counted(desk) == sorted([aspen.id, birch.id])
    assert desk.bench.reports() == ["2026-11-25 aspen", "2026-11-25 aspen (replaced)", "2026-11-25 birch"]
    assert named(desk, "aspen", "replaced").id == former.id
    assert former.id not in desk.client.get("/").text


def test_what_is_known_goes_where_it_belongs(desk: Desk) -> None:
    split(desk, name="birch")
    aspen, birch = facts(desk, named(desk, "aspen", "accepted")), facts(desk, named(desk, "birch", "accepted"))
    assert (aspen["customer"], aspen["hand"], aspen["date"]) == ("Aspen", "right", TODAY)
    assert [word["file"] for word in aspen["shot"]] == ["a.csv"]  # type: ignore[attr-defined]
    assert {*birch} == {"date", "build", "shot"}
    assert [word["file"] for word in birch["shot"]] == ["b.csv"]  # type: ignore[attr-defined]


def test_the_former_report_is_kept_whole_under_a_note(desk: Desk) -> None:
    split(desk)
    [folder] = desk.room.place.outbox.iterdir()
    assert sorted(path.name for path in folder.iterdir()) == ["earlier", "replaced.txt"]
    assert "replaced on the desk by aspen and aspen, second" in (folder / "replaced.txt").read_text(encoding="utf-8")
    assert (folder / "earlier" / "version 1" / "report.pdf").exists()


def test_the_page_of_the_former_visit_leads_to_those_in_its_place(desk: Desk) -> None:
    former = named(desk, "aspen")
    split(desk, name="birch")
    found = desk.client.get(f"/visit/{former.id}").text
    for name in ("aspen", "birch"):
        assert f'href="/visit/{named(desk, name, "accepted").id}"' in found
    assert "It was split or joined; other visits took its place." in found
    assert "/split" not in found


@pytest.mark.parametrize("chosen", [{"file": "9"}, {"file": ""}])
def test_without_a_choice_nothing_is_split(desk: Desk, chosen: dict[str, str]) -> None:
    before = desk.room.ledger.all_kept()
    code, said = asked(desk, **chosen)
    assert code == 422
    assert 'role="alert">Tick the files of the other visit and leave at least one unticked' in said
    assert "It was not split." in said
    assert desk.room.ledger.all_kept() == before


def test_a_refused_split_keeps_what_was_chosen(desk: Desk) -> None:
    desk.bench.answers["two"] = desk.bench.answers["no table"]
    code, said = asked(desk, name="aspen", **{"from": "", "file": "1"})
    assert code == 409
    assert 'name="file" value="1" checked>' in said
    assert 'name="file" value="0">' in said
    code, said = asked(desk, **{"from": "7:1", "name": '"><b>'})
    assert code == 422
    assert 'name="name" value="&#34;&gt;&lt;b&gt;"' in said
    aspen = named(desk, "aspen")
    assert mark_on(said, f"/visit/{aspen.id}/split") == _mark(aspen)


def test_what_was_changed_meanwhile_is_not_split(desk: Desk) -> None:
    before = desk.room.ledger.all_kept()
    code, said = asked(desk, mark="old")
    assert (code, "Somebody made a change meanwhile." in said) == (409, True)
    assert desk.room.ledger.all_kept() == before
    assert mark_on(said, f"/visit/{named(desk, 'aspen').id}/split") == _mark(named(desk, "aspen"))


def test_a_refused_split_is_asked_about_the_visit_as_it_is_by_then(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    aspen = named(desk, "aspen")

    def change(*_: object) -> str:  # while the split waits for its turn
        corrected = issuing.with_facts_of(desk.room.place, aspen, b'customer = "Ben"\n')
        manifests.keep(desk.room.place, desk.room.ledger, corrected)
        return "Somebody made a change meanwhile."

    monkeypatch.setattr(desk_regroup, "_regroup", change)
    code, said = asked(desk)
    assert code == 409
    assert mark_on(said, f"/visit/{aspen.id}/split") == _mark(named(desk, "aspen")) != _mark(aspen)


def test_what_was_split_meanwhile_is_not_split_again(desk: Desk) -> None:
    former = named(desk, "aspen")
    split(desk)
    assert desk.post(f"/visit/{former.id}/split", mark=_mark(former), file="1").status_code == 404
    assert desk.client.get(f"/visit/{former.id}/split").status_code == 404


def test_a_part_that_would_have_no_report_keeps_the_visit_whole(desk: Desk) -> None:
    desk.bench.answers["two"] = desk.bench.answers["no table"]
    before = desk.room.ledger.all_kept()
    assert "“birch” would have no report: This is no table of shots." in asked(desk, name="birch")[1]
    assert desk.room.ledger.all_kept() == before


GOLFERS = "heads\n" + "".join(f"shot {number}\n" for number in range(1, 6))
HALVES = ("heads\nshot 1\nshot 2\n", "heads\nshot 3\nshot 4\nshot 5\n")


def cut(desk: Desk, place: str, halves: tuple[tuple[float, ...], tuple[float, ...]], **fields: str) -> str:
    """Drop a file of five shots and cut it; gives what is said then."""
    desk.bench.shots |= {GOLFERS: (201.0, 202.0, 203.0, 204.0, 205.0)}
    desk.bench.shots |= dict(zip(HALVES, halves, strict=True))
    desk.bench.drop("two/both.csv", GOLFERS)
    words = "".join(
        f"[[shot]]\nfile = 'both.csv'\nline = {line}\ncounts = false\nreason = 'on {line}'\n" for line in (3, 5)
    )
    desk.bench.drop("two/visit.toml", f"customer = 'Aspen'\n{words}")
    desk.go()
    both = named(desk, "two")
    sent = {"mark": _mark(both), "from": place, "name": "other", **fields}
    answer = desk.post(f"/visit/{both.id}/split", **sent)
    said = answer.text or desk.client.get("/").text
    assert ('role="alert"' in said) is (answer.status_code != 303)
    desk.go()
    return said


def test_a_file_of_two_golfers_is_cut_and_words_on_shots_move_along(desk: Desk) -> None:
    said = cut(desk, "0:4", ((201.0, 202.0), (203.0, 204.0, 205.0)))
    assert "“two” is two visits now, the other is “other”." in said
    one, other = named(desk, "two"), named(desk, "other")
    kept = [(desk.room.place.accepted / dict(entry.originals)["both.csv"]).read_text() for entry in (one, other)]
    assert kept == list(HALVES)
    assert [(word["line"], word["reason"]) for word in facts(desk, one)["shot"]] == [(3, "on 3")]  # type: ignore[attr-defined]
    assert [(word["line"], word["reason"]) for word in facts(desk, other)["shot"]] == [(3, "on 5")]  # type: ignore[attr-defined]
    assert "customer" not in facts(desk, other)
    assert len(counted(desk)) == 3  # that of the fixture, and each half
    assert {"2026-11-25 two", "2026-11-25 two (replaced)", "2026-11-25 other"} < set(desk.bench.reports())


def leads_to(desk: Desk, visit: Entry) -> set[str]:
    """Give the visits to which the page of one leads as made from it, or as those it was made from."""
    page = desk.client.get(f"/visit/{visit.id}").text
    parts = re.findall(r"What took its place.*?</section>|On the desk it was made from.*?</p>", page, re.DOTALL)
    return set(re.findall(r'href="/visit/([0-9a-f]{64})"', " ".join(parts)))


def test_a_visit_that_was_cut_leads_to_its_halves_and_they_lead_back(desk: Desk) -> None:
    cut(desk, "0:4", ((201.0, 202.0), (203.0, 204.0, 205.0)))
    former, one, other = named(desk, "two", "replaced"), named(desk, "two"), named(desk, "other")
    assert leads_to(desk, former) == {one.id, other.id}
    for half in (one, other):
        assert leads_to(desk, half) == {former.id}
        assert "On the desk it was made from" in desk.client.get(f"/visit/{half.id}").text


def test_what_took_a_place_is_followed_to_what_stands_there_now(desk: Desk) -> None:
    former = named(desk, "aspen")
    cut(desk, "0:4", ((201.0, 202.0), (203.0, 204.0, 205.0)))
    two, half, other = named(desk, "two", "replaced"), named(desk, "two"), named(desk, "other")
    assert join(desk, named(desk, "aspen"), other) == 303
    desk.go()
    joined = named(desk, "aspen")
    assert leads_to(desk, two) == {half.id, joined.id}
    assert leads_to(desk, former) == leads_to(desk, other) - {two.id} == {joined.id}
    assert leads_to(desk, joined) == {former.id, other.id}
    assert split(desk) == 303
    desk.go()
    now = {named(desk, "aspen").id, named(desk, "aspen, second").id}
    assert leads_to(desk, former) == now
    assert leads_to(desk, two) == {half.id, *now}


def test_another_visit_with_the_same_file_took_nobodys_place(desk: Desk) -> None:
    desk.bench.drop("more/x.csv", "one")
    desk.bench.drop("more/y.csv", "four")
    desk.go()
    former = named(desk, "aspen")
    split(desk, name="birch")
    desk.go()
    assert leads_to(desk, former) == {named(desk, "aspen").id, named(desk, "birch").id}
    assert leads_to(desk, named(desk, "more")) == set()


def test_where_an_older_baywright_noted_nothing_the_files_lead_on(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    former = named(desk, "aspen")
    monkeypatch.setattr(regrouping, "_sightings", lambda identity, _: ((f"desk {identity[:8]}", identity),))
    split(desk, name="birch")
    assert leads_to(desk, former) == {named(desk, "aspen", "accepted").id, named(desk, "birch", "accepted").id}


def test_no_dropped_file_passes_for_a_half(desk: Desk) -> None:
    former = named(desk, "aspen")
    split(desk, name="birch")
    desk.bench.drop(f"desk {former.id} {'0' * 8}/z.csv", "five")
    desk.go()
    stranger = named(desk, f"desk {former.id} {'0' * 8}")
    assert leads_to(desk, stranger) == set()
    assert stranger.id not in leads_to(desk, former)


def test_halves_that_are_read_otherwise_leave_the_visit_whole(desk: Desk) -> None:
    said = cut(desk, "0:4", ((201.0, 202.0), (203.0, 204.0, 999.0)))
    assert "“other” would have no report: cut there, the file is read otherwise. It was not split." in said
    assert named(desk, "two").state == "reported"
    assert "2026-11-25 other" not in desk.bench.reports()


@pytest.mark.parametrize("place", ["0:2", "0:7", "1:4", "0", "0:-1", "9:4", "0:4:1"])
def test_where_no_other_shot_begins_nothing_is_cut(desk: Desk, place: str) -> None:
    assert "No shot of this visit stands there. It was not split." in cut(desk, place, ((1.0,), (1.0,)))


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_each_half_of_a_real_file_is_read_as_it_was(end: str) -> None:
    top = ["Bay: 2", "", "Club,Ball Speed,Carry", ",mph,yd"]
    rows = [f"Club {number // 4},{140 + number}.5,{220 + number}.25" for number in range(9)]
    content = end.join([*top, *rows, ""]).encode()
    whole = read_shot_file(ShotFile("a.csv", content), Given())
    told: list[cut_files.Told] = [("a.csv", line, {}) for line in whole.shots["line"]]
    where = cut_files.cut_at(told, "a.csv", 9)
    assert where == Cut("a.csv", 5, 9)
    parted = cut_files.halves(content, where)
    assert parted
    one, two = (read_shot_file(ShotFile("a.csv", half), Given()) for half in parted)
    assert one.meta == two.meta == whole.meta
    assert (one.shots.height, two.shots.height) == (4, 5)
    assert pl.concat([one.shots, two.shots]).drop("line").equals(whole.shots.drop("line"))
    assert [where.moved(line) for line in whole.shots["line"]] == [*one.shots["line"], *two.shots["line"]]


@pytest.mark.parametrize("content", [b"PK\3\4\0\n\n\n", "a\nb\nc\nd".encode("utf-16"), b'[{"a": 1}, {"a": 2}]'])
def test_what_is_no_text_of_lines_is_not_cut(content: bytes) -> None:
    assert cut_files.halves(content, Cut("a", 2, 3)) is None


def test_the_earlier_states_of_a_split_visit_count_no_more_either(desk: Desk) -> None:
    desk.bench.shots |= {"one and more": (200.0, 210.0)}
    desk.bench.drop("aspen/a.csv", "one and more")
    desk.go()
    grown = next(e for e in desk.room.ledger.entries("reported") if counted(desk) == [e.id])
    mark = mark_on(desk.client.get(f"/visit/{grown.id}").text, f"/visit/{grown.id}/split")
    desk.post(f"/visit/{grown.id}/split", mark=mark, file="1", name="birch")
    assert desk.room.ledger.archive.lacking() == []
    desk.go()
    assert len(desk.room.ledger.entries("replaced")) == 2
    assert counted(desk) == sorted(e.id for e in desk.room.ledger.entries("reported"))
    assert desk.room.ledger.archive.lacking() == []


def test_what_was_split_is_not_made_anew_by_dropping_it_again(desk: Desk) -> None:
    split(desk)
    desk.go()
    before = desk.room.ledger.states()
    for name, content in (("a.csv", "one"), ("b.csv", "two"), ("visit.toml", FACTS)):
        desk.bench.drop(f"again/{name}", content)
    desk.go()
    assert desk.room.ledger.states() == before
    assert any("it was split or joined on the desk" in event.message for _, event in desk.room.heard)


# --- joining ----------------------------------------------------------------------------------------------------------
def with_ben(desk: Desk, customer: str = "Aspen") -> tuple[Entry, Entry]:
    desk.bench.drop("more/a.csv", "three")
    said = f'customer = "{customer}"\nhand = "right"\nnotes = "his"\nbay = "2"\n'
    word = '[[build]]\nlabel = "New"\n[[shot]]\nfile = "a.csv"\nline = 5\ncounts = false\nreason = "wind"\n'
    desk.bench.drop("more/visit.toml", said + word)
    desk.go()
    return named(desk, "aspen"), named(desk, "more")


def test_two_visits_become_one_with_the_files_and_facts_of_both(desk: Desk) -> None:
    aspen, more = with_ben(desk)
    assert join(desk, aspen, more) == 303
    desk.go()
    [one] = desk.room.ledger.entries("reported")
    assert (one.name, names(one)) == ("aspen", ["a.csv", "b.csv", "a (2).csv"])
    said = facts(desk, one)
    assert (said["customer"], said["notes"], said["bay"]) == ("Aspen", "slow today", "2")
    assert [build["label"] for build in said["build"]] == ["Own", "New"]  # type: ignore[attr-defined]
    words = {(word["file"], word["line"]) for word in said["shot"]}  # type: ignore[attr-defined]
    assert words == {("a.csv", 2), ("b.csv", 3), ("a (2).csv", 5)}
    assert counted(desk) == [one.id]


def test_another_customer_is_joined_only_when_somebody_says_so(desk: Desk) -> None:
    aspen, birch = with_ben(desk, "Ben")
    found = desk.client.get(f"/visit/{aspen.id}/join/{birch.id}").text
    assert "<bdi>Aspen</bdi>" in found
    assert "<bdi>Ben</bdi>" in found
    assert join(desk, aspen, birch) == 422
    assert len(desk.room.ledger.entries("reported")) == 2
    assert join(desk, aspen, birch, sure="yes") == 303


def test_no_letter_about_one_customer_goes_to_another() -> None:
    other = b'customer = "Ben"\nemail = "birch@example.org"\n'
    assert b"birch@" not in regrouped_facts.joined(b'customer = "Aspen"\n', other, {}, TODAY)
    assert b"birch@" in regrouped_facts.joined(b'customer = "Ben"\n', other, {}, TODAY)
    assert b"birch@" in regrouped_facts.joined(b"", other, {}, TODAY)


def test_a_command_means_the_report_that_counts(desk: Desk) -> None:
    split(desk)
    desk.go()
    assert find(desk.room.place, "25 aspen, s").name == "2026-11-25 aspen, second"
    for name in ("2026-11-25 aspen", "2026-11-25 aspen (replaced)"):
        assert find(desk.room.place, name).name == name
    with pytest.raises(FolderError, match="no report has that"):
        find(desk.room.place, "(repl")


def test_those_of_the_same_day_are_listed_and_others_found_by_name(desk: Desk) -> None:
    aspen, more = with_ben(desk)
    way = f"/visit/{aspen.id}/join"
    assert f'href="{way}/{more.id}"' in desk.client.get(way).text
    assert f'href="{way}/{more.id}"' in desk.client.get(f"{way}?find=MOR").text
    assert "There is none." in desk.client.get(f"{way}?find=nobody").text
    assert f"{way}/{aspen.id}" not in desk.client.get(way).text
    assert desk.client.get(f"{way}/{aspen.id}").status_code == 404


def test_the_same_file_in_both_counts_once(desk: Desk) -> None:
    desk.bench.drop("more/x.csv", "one")
    desk.bench.drop("more/y.csv", "four")
    desk.go()
    one, other = named(desk, "aspen"), named(desk, "more")
    sure = desk.client.get(f"/visit/{one.id}/join/{other.id}").text
    assert "report of 3 files: <bdi>a.csv</bdi>, <bdi>b.csv</bdi>, <bdi>y.csv</bdi>." in sure
    join(desk, one, other)
    assert names(named(desk, "aspen", "accepted")) == ["a.csv", "b.csv", "y.csv"]


def test_split_and_joined_again_and_split_again_it_is_worked_out_each_time(desk: Desk) -> None:
    split(desk, name="birch")
    desk.go()
    join(desk, named(desk, "aspen"), named(desk, "birch"))
    desk.go()
    assert split(desk, name="birch") == 303
    desk.go()
    assert sorted(entry.name for entry in desk.room.ledger.entries("reported")) == ["aspen", "birch"]
    assert len(counted(desk)) == 2


# --- killed, lost, erased ---------------------------------------------------------------------------------------------
@dataclass
class _Step:
    """Kills at the n-th call of what it stands for."""

    then: Callable[..., object]
    left: int

    def __call__(self, *given: object, **named: object) -> object:
        self.left -= 1
        if self.left < 0:
            raise KilledError
        return self.then(*given, **named)


@pytest.mark.parametrize("number", range(9))
@pytest.mark.parametrize("ledger_lost", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_killed_anywhere_the_next_start_does_the_rest(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, number: int, *, ledger_lost: bool
) -> None:
    place, former = desk.room.place, named(desk, "aspen")
    step = _Step(lambda *_: None, number)

    def counting(then: Callable[..., object]) -> Callable[..., object]:
        def call(*given: object, **named_: object) -> object:
            step()
            return then(*given, **named_)

        return call

    with monkeypatch.context() as patched:
        patched.setattr(manifests, "write", counting(manifests.write))
        patched.setattr(studio, "write_version", counting(studio.write_version))
        patched.setattr(type(desk.room.ledger.bulk), "regroup", counting(type(desk.room.ledger.bulk).regroup))
        patched.setattr("pathlib.Path.rename", counting(__import__("pathlib").Path.rename))
        killed = False
        try:
            regrouping.begin(place, desk.room.ledger, _parts(desk, former), [former])
        except KilledError:
            killed = True
    assert killed or not (place.work / "regrouping.json").exists()
    desk.room.ledger.close()
    if ledger_lost:
        (place.work / "ledger.sqlite3").unlink()
    inbox = desk.bench.open()
    try:
        desk.bench.go(inbox)
        assert sorted(e.name for e in inbox.ledger.entries("reported")) == ["aspen", "birch"]
        assert [e.id for e in inbox.ledger.entries("replaced")] == [former.id]
        assert not (place.work / "regrouping.json").exists()
        assert desk.bench.reports() == ["2026-11-25 aspen", "2026-11-25 aspen (replaced)", "2026-11-25 birch"]
        reported = sorted(e.id for e in inbox.ledger.entries("reported"))
        assert sorted(row.visit for row in inbox.ledger.archive.filed() if not row.gone) == reported
    finally:
        inbox.ledger.close()


def _parts(desk: Desk, former: Entry) -> list[Kept]:
    one, two = regrouping.shot_files(former)
    said = desk.room.place.accepted / dict(former.originals)["visit.toml"]
    first = regrouped_facts.first(said.read_bytes(), {"a.csv"}, TODAY)
    second = regrouped_facts.second(said.read_bytes(), {"b.csv"}, TODAY)
    place, ledger = desk.room.place, desk.room.ledger
    return [
        regrouping.made_of(place, ledger, "aspen", [one], first, "2026-11-25T10:00:00"),
        regrouping.made_of(place, ledger, "birch", [two], second, "2026-11-25T10:00:00"),
    ]


def test_what_a_folder_refused_is_done_later_and_undoes_nothing(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(13, "in use")

    with monkeypatch.context() as patched:
        patched.setattr(studio, "write_version", refuse)
        assert split(desk, name="birch") == 503
    desk.go()
    birch = named(desk, "birch")
    corrected = issuing.with_facts_of(desk.room.place, birch, b'customer = "Ben"\n')
    manifests.keep(desk.room.place, desk.room.ledger, corrected)
    regrouping.finish(desk.room.place, desk.room.ledger)
    found = manifests.read(desk.room.place, birch.id)
    assert found
    assert found.entry.originals == named(desk, "birch").originals == corrected.originals
    assert "2026-11-25 aspen (replaced)" in desk.bench.reports()
    assert desk.client.get(f"/visit/{birch.id}").status_code == 200


def test_a_ledger_made_anew_knows_what_was_split(desk: Desk) -> None:
    split(desk, name="birch")
    desk.go()
    before, former = desk.room.ledger.states(), named(desk, "aspen", "replaced")
    halves = [named(desk, "aspen").id, named(desk, "birch").id]
    desk.room.ledger.close()
    (desk.room.place.work / "ledger.sqlite3").unlink()
    inbox = desk.bench.open()
    try:
        assert inbox.ledger.states() == before
        assert sorted(regrouping.made_from(inbox.ledger, former.id)) == sorted(halves)
        kept = [inbox.ledger.kept(half) for half in halves]
        assert [regrouping.former_of(half) for half in kept if half] == [[former.id], [former.id]]
    finally:
        inbox.ledger.close()


def test_whoever_is_forgotten_is_gone_from_the_visit_that_was_split_too(desk: Desk) -> None:
    split(desk, name="birch")
    desk.go()
    where, ledger, birch = desk.room.place, desk.room.ledger, named(desk, "birch")
    visits = visit_words.visits(where, ledger)
    chosen = forgetting.with_kin(where, visits, {birch.id})
    assert {visit.kept.entry.name for visit in chosen} == {"aspen", "birch"}
    plan = forgetting.plan(where, visits, chosen, traces.Words((), ()))
    assert desk.room.own
    forgetting.erase(desk.room.own.inbox.archive, plan, TODAY)
    stored = dict(birch.originals)["b.csv"]
    assert not (where.accepted / stored).exists()
    aspen = named(desk, "aspen")
    assert (where.accepted / dict(aspen.originals)["a.csv"]).exists()
    assert desk.bench.reports() == ["2026-11-25 aspen"]
    assert counted(desk) == [aspen.id]
    assert leads_to(desk, aspen) == set()
    assert "On the desk it was made from" not in desk.client.get(f"/visit/{aspen.id}").text
    former = next(
        identity for identity, state in ledger.states().items() if state == "forgotten" and identity != birch.id
    )
    assert regrouping.made_from(ledger, former) == [aspen.id]
    assert birch.id not in regrouping.made_from(ledger, former)


def test_erasing_one_half_proves_that_nothing_of_it_is_left(
    desk: Desk, run: Callable[..., tuple[int, str, str]]
) -> None:
    cut(desk, "0:4", ((201.0, 202.0), (203.0, 204.0, 205.0)))
    former, one, other = named(desk, "two", "replaced"), named(desk, "two"), named(desk, "other")
    desk.room.ledger.close()
    assert run("forget", desk.room.place.root, "two", "--yes")[0] == 0
    inbox = desk.bench.open()
    try:
        states = inbox.ledger.states()
        assert [states[each.id] for each in (former, one, other)] == ["forgotten", "forgotten", "reported"]
        assert regrouping.made_from(inbox.ledger, former.id) == [other.id]
    finally:
        inbox.ledger.close()


def test_whoever_is_forgotten_is_gone_from_the_file_that_was_cut_too(desk: Desk) -> None:
    cut(desk, "0:4", ((201.0, 202.0), (203.0, 204.0, 205.0)))
    where, one = desk.room.place, named(desk, "two")
    visits = visit_words.visits(where, desk.room.ledger)
    chosen = forgetting.with_kin(where, visits, {one.id})
    assert sorted(visit.kept.entry.state for visit in chosen) == ["replaced", "reported"]
    assert {visit.kept.entry.name for visit in chosen} == {"two"}


def test_whoever_is_forgotten_while_a_split_is_half_done_does_not_come_back(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, run: Callable[..., tuple[int, str, str]]
) -> None:
    former = named(desk, "aspen")
    with monkeypatch.context() as patched:
        patched.setattr(manifests, "write", _Step(manifests.write, 0))
        with pytest.raises(KilledError):
            regrouping.begin(desk.room.place, desk.room.ledger, _parts(desk, former), [former])
    desk.room.ledger.close()
    assert run("forget", desk.room.place.root, "Aspen", "--yes")[0] == 0
    inbox = desk.bench.open()
    try:
        assert [entry.name for entry in inbox.ledger.entries("accepted", "reported", "replaced")] == ["birch"]
    finally:
        inbox.ledger.close()


def test_the_other_half_stays_when_the_customer_is_forgotten(desk: Desk) -> None:
    split(desk, name="birch")
    desk.go()
    where, ledger = desk.room.place, desk.room.ledger
    visits = visit_words.visits(where, ledger)
    chosen = forgetting.with_kin(where, visits, forgetting.named(visits, "Aspen"))
    assert named(desk, "birch").id not in {visit.kept.entry.id for visit in chosen}


def test_nothing_is_to_be_finished_when_nothing_was_begun(bench: Bench) -> None:
    ledger = Ledger(bench.studio.work / "ledger.sqlite3")
    regrouping.finish(bench.studio, ledger)
    ledger.close()
