"""The page about one visit: its files, and corrected facts that make the next version without losing anybody's."""

from collections.abc import Iterator

import pytest

from pipeline import desk_visit
from pipeline.desk_facts import kept
from pipeline.studio import lock
from pipeline.unknown_columns import Layout
from pipeline.work_messages import Job
from tests.conftest import Bench
from tests.desk import Desk, desk_on, entry, page


@pytest.fixture
def desk(bench: Bench) -> Iterator[Desk]:
    made = desk_on(bench)
    made.enter()
    bench.drop("aspen/shots.csv", "fine")
    bench.drop("aspen/visit.toml", 'customer = "Aspen"\nhand = "right"\n[[build]]\nlabel = "Own"\nloft_deg = 9.5\n')
    made.go()
    yield made
    made.room.ledger.close()


def change(desk: Desk, mark: str | None = None, **fields: str) -> tuple[int, str]:
    """Send the form, as it stands but for these fields."""
    one = entry(desk)
    given = {"customer": "Aspen", "hand": "right", "mark": kept(desk.room.place, one).mark if mark is None else mark}
    answer = desk.post(f"/visit/{one.id}/facts", **{**given, **fields})
    return answer.status_code, answer.text


def test_the_page_shows_what_is_known(desk: Desk) -> None:
    found = page(desk)
    assert "<h1><bdi>aspen</bdi></h1>" in found
    assert 'value="Aspen"' in found
    assert 'value="right" checked' in found
    assert "It has its report." in found


def test_what_the_newest_page_needs_is_read_before_somebody_asks(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def left_aside(job: Job) -> tuple[Layout, ...]:
        asked.append(job.name)
        return ()

    monkeypatch.setattr(desk.room.side, "left_aside", left_aside)
    desk_visit.look_ahead(desk.room)
    assert asked == ["aspen"]
    assert "<h1>" in page(desk)
    assert asked == ["aspen"]


def test_nothing_is_read_ahead_where_nothing_is(bench: Bench) -> None:
    made = desk_on(bench)
    desk_visit.look_ahead(made.room)
    made.room.ledger.close()


def test_the_report_is_handed_out_to_be_looked_at(desk: Desk) -> None:
    answer = desk.client.get(f"/visit/{entry(desk).id}/report.pdf")
    assert (answer.status_code, answer.content) == (200, b"%PDF-")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"].startswith("inline")
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]


@pytest.mark.parametrize(
    "name", ["fitting.json", "letter.eml", "x", "..%2freport.pdf", "version-2.pdf", "version-.pdf", "version-².pdf"]
)
def test_no_other_file_is_handed_out(desk: Desk, name: str) -> None:
    assert desk.client.get(f"/visit/{entry(desk).id}/{name}").status_code == 404


def test_a_version_is_handed_out_by_its_number(desk: Desk) -> None:
    answer = desk.client.get(f"/visit/{entry(desk).id}/version-1.pdf")
    assert (answer.status_code, answer.content) == (200, b"%PDF-")
    assert answer.headers["content-disposition"] == 'inline; filename="version-1.pdf"'


def test_a_link_out_of_the_studio_is_not_followed(desk: Desk) -> None:
    secret = desk.bench.studio.root.parent / "secret"
    secret.write_bytes(b"secret")
    report = desk.bench.studio.outbox / str(entry(desk).place) / "report.pdf"
    report.unlink()
    report.symlink_to(secret)
    assert desk.client.get(f"/visit/{entry(desk).id}/report.pdf").status_code == 404


def test_corrected_facts_make_the_next_version_and_keep_the_one_before(desk: Desk) -> None:
    assert change(desk, customer="Aspen Two", hand="left")[0] == 303
    found = page(desk)
    assert "Version 2 is made. The one before is kept." in found
    assert 'value="Aspen Two"' in found
    assert desk.client.get(f"/visit/{entry(desk).id}/version-1.pdf").status_code == 200
    content = kept(desk.room.place, entry(desk)).content.decode()
    assert 'hand = "left"' in content
    assert "loft_deg = 9.5" in content
    filed = desk.room.ledger.archive.filed(entry(desk).id)
    assert len([row for row in filed if not row.gone]) == 1


def test_an_unchanged_form_makes_no_version(desk: Desk) -> None:
    assert change(desk)[0] == 303
    assert "Nothing has changed: version 1 stands." in page(desk)


def test_what_no_report_prints_is_kept_without_a_new_version(desk: Desk) -> None:
    assert change(desk, consent="report by <e-mail>")[0] == 303
    found = page(desk)
    assert "It is kept; nothing of it is in the report: version 1 stands." in found
    assert 'value="report by &lt;e-mail&gt;"' in found
    assert b'consent = "report by <e-mail>"' in kept(desk.room.place, entry(desk)).content
    assert len([row for row in desk.room.ledger.archive.filed(entry(desk).id) if not row.gone]) == 1
    assert change(desk, consent="report by <e-mail>")[0] == 303
    assert "Nothing has changed: version 1 stands." in page(desk)


def test_of_two_tabs_the_second_does_not_undo_the_first(desk: Desk) -> None:
    mark = kept(desk.room.place, entry(desk)).mark
    assert change(desk, mark, customer="Aspen First")[0] == 303
    code, said = change(desk, mark, customer="Aspen Second")
    assert code == 409
    assert "Somebody changed this visit while you were at it" in said
    assert 'value="Aspen Second"' in said
    assert "Kept now: <bdi>Aspen First</bdi>" in said
    assert b"Aspen First" in kept(desk.room.place, entry(desk)).content
    newest = said.split('name="mark" value="')[1].split('"')[0]
    assert change(desk, newest, customer="Aspen Second")[0] == 303
    assert b"Aspen Second" in kept(desk.room.place, entry(desk)).content


@pytest.mark.parametrize(("field", "typed"), [("email", "nobody"), ("date", "soon"), ("altitude_m", "high")])
def test_what_is_not_understood_keeps_what_was_typed(desk: Desk, field: str, typed: str) -> None:
    before = kept(desk.room.place, entry(desk))
    code, said = change(desk, **{field: typed, "notes": "my words"})
    assert code == 422
    assert f'value="{typed}"' in said
    assert "my words" in said
    assert "Nothing was kept yet: 1 field needs you" in said
    assert f'<a href="#{field}">' in said
    assert f'aria-invalid="true" aria-describedby="{field}-hint {field}-fault"' in said
    assert f'id="{field}-fault"' in said
    assert kept(desk.room.place, entry(desk)) == before


def test_facts_with_which_no_report_can_be_made_are_not_kept(desk: Desk) -> None:
    before = kept(desk.room.place, entry(desk))
    desk.bench.answers["fine"] = desk.bench.answers["no table"]
    code, said = change(desk, hand="left")
    assert code == 422
    assert "This is no table of shots. Export the shots as CSV text. No new version was made." in said
    assert kept(desk.room.place, entry(desk)) == before


def test_while_another_program_has_the_studio_no_version_is_made(desk: Desk) -> None:
    desk.room.own = None
    held = lock(desk.bench.studio)
    try:
        code, said = change(desk, hand="left")
        assert (code, "Another program watches this studio" in said) == (503, True)
    finally:
        held.release()
    assert change(desk, hand="left")[0] == 303


def test_a_watcher_of_ours_that_ended_keeps_nobody_from_a_version(desk: Desk) -> None:
    assert desk.room.own
    desk.room.own.alive = False
    held = lock(desk.bench.studio)  # ours, as long as the desk runs
    try:
        assert change(desk, hand="left")[0] == 303
    finally:
        held.release()


def test_hostile_facts_are_text(desk: Desk) -> None:
    change(desk, customer='"><script>alert(1)</script>', notes="</textarea><b>")
    found = page(desk)
    assert "<script>" not in found
    assert "</textarea><b>" not in found
    assert found.count("</textarea>") == 2


def test_a_visit_that_grew_shows_where_its_report_went(desk: Desk) -> None:
    desk.bench.shots["more"] = (200.0, 210.0)
    desk.bench.drop("aspen/shots.csv", "more")
    desk.go()
    new, old = (found for found, _ in desk.room.ledger.newest(("reported",), 0, 2))
    assert new.place == old.place
    found = desk.client.get(f"/visit/{old.id}").text
    assert f'href="/visit/{new.id}"' in found
    assert "make the next version" not in found
    answer = desk.post(f"/visit/{old.id}/facts", mark=kept(desk.room.place, old).mark, hand="left")
    assert answer.status_code == 503


def test_a_held_visit_has_its_question_on_its_own_page(desk: Desk) -> None:
    desk.bench.drop("b.csv", "no table")
    desk.go()
    [back] = desk.room.ledger.entries("set_back")
    found = desk.client.get(f"/visit/{back.id}").text
    assert "Why it was set back" in found
    assert "This is no table of shots." in found
    assert f'name="from" value="/visit/{back.id}"' in found


def test_the_page_of_a_visit_at_work_follows_it_by_itself_and_offers_nothing_to_fill_in(desk: Desk) -> None:
    desk.bench.drop("late.csv", "fine")
    inbox = desk.room.own.inbox if desk.room.own else None
    assert inbox
    inbox.take_all(inbox.settled())
    desk.bench.now += 3
    inbox.take_all(inbox.settled())
    [at_work] = desk.room.ledger.entries("accepted")
    found = desk.client.get(f"/visit/{at_work.id}").text
    assert f'<a href="/visit/{at_work.id}">Look again</a>' in found
    assert f'id="follow" hx-get="/visit/{at_work.id}" hx-trigger="every 4s" hx-select="#main"' in found
    assert ("<h2" in found, "Write the customer" in found) == (False, False)
    inbox.work_off()
    assert 'id="follow"' not in desk.client.get(f"/visit/{at_work.id}").text
