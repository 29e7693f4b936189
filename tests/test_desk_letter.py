"""The letter at the desk: its words, staff's note that they sent it, and nothing of staff's lost."""

from collections.abc import Iterator

import pytest

from pipeline import desk_former, status
from pipeline.desk_facts import kept
from pipeline.studio import lock
from tests.conftest import Bench
from tests.desk import OWN_SCRIPTS, Desk, scripts
from tests.desk_letters import entry, message, path, post, step, text_of, with_a_letter


@pytest.fixture
def desk(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    made = with_a_letter(bench, monkeypatch)
    yield made
    made.room.ledger.close()


def page(desk: Desk, query: str = "") -> str:
    return desk.client.get(f"/visit/{entry(desk).id}{query}").text


def next_version(desk: Desk, **facts: str) -> None:
    one = entry(desk)
    given = {"customer": "Aspen", "email": "aspen@example.org", "mark": kept(desk.room.place, one).mark}
    assert desk.post(f"/visit/{one.id}/facts", **{**given, **facts}).status_code == 303


# --- words ------------------------------------------------------------------------------------------------------------
def test_the_letter_stands_in_the_fields_and_other_words_are_kept_with_all_else(desk: Desk) -> None:
    before, found = message(desk), page(desk)
    assert 'value="Report 1"' in found
    assert "version 1 is attached." in found
    code, said = post(desk, subject="Your report, Aspen", text="Dear Aspen,\r\n\r\ngood swings.\r\n")
    assert (code, "The letter is saved." in said) == (303, True)
    after = message(desk)
    assert after["Subject"] == "Your report, Aspen"
    assert text_of(desk) == "Dear Aspen,\n\ngood swings.\n"
    for name in ("To", "Date", "Message-ID", "X-Unsent", "X-Baywright-Words"):
        assert after[name] == before[name] is not None
    [pdf], [former] = list(after.iter_attachments()), list(before.iter_attachments())
    assert (pdf.get_content(), pdf.get_filename()) == (former.get_content(), former.get_filename())
    assert path(desk).stat().st_mode & 0o007 == 0


def test_nothing_is_smuggled_into_the_head(desk: Desk) -> None:
    names = message(desk).keys()
    hostile = "x\r\nBcc: thief@example.org\r\n\r\n\u202ebody"
    assert post(desk, subject=hostile, text="a\r\n.\r\nBcc: thief@example.org\x00\r\n")[0] == 303
    found = message(desk)
    assert found.keys() == names
    assert found["Subject"] == "x Bcc: thief@example.org body"
    assert len(list(found.walk())) == 3


def test_a_letter_changed_meanwhile_is_not_written_over(desk: Desk) -> None:
    mark = step(desk).mark
    path(desk).write_bytes(path(desk).read_bytes().replace(b"Hello,", b"Good day <b>,"))
    before = path(desk).read_bytes()
    code, said = post(desk, mark=mark, subject="Mine", text="my <i>words</i>")
    assert code == 409
    assert "was changed while you were at it" in said
    assert 'value="Mine"' in said
    assert "my &lt;i&gt;words&lt;/i&gt;</textarea>" in said
    assert "In the letter now: <bdi>Report 1</bdi>" in said
    assert "Good day &lt;b&gt;," in said
    assert path(desk).read_bytes() == before
    newest = said.split('name="mark" value="')[1].split('"')[0]
    assert post(desk, mark=newest, text="my words")[0] == 303
    assert text_of(desk) == "my words\n"


def test_what_is_no_letter_keeps_what_was_typed(desk: Desk) -> None:
    before = path(desk).read_bytes()
    for field, typed, why in (
        ("subject", " ", "The letter needs a subject."),
        ("subject", "a" * 151, "The subject is too long"),
        ("text", "\n", "The letter needs some words."),
        ("text", "a" * 20_001, "The letter is too long"),
    ):
        code, said = post(desk, **{"text": "my own words", "subject": "my own", field: typed})
        assert (code, why in said, "Nothing was saved." in said) == (422, True, True)
        assert f'aria-invalid="true" aria-describedby="letter-{field}-fault"' in said
        assert f'id="letter-{field}-fault">{why}' in said
        assert ("my own words" in said) == (field == "subject")
    assert path(desk).read_bytes() == before
    assert post(desk, subject="a" * 150, text="a" * 20_000)[0] == 303


def test_while_another_program_may_replace_the_letter_nothing_is_written(desk: Desk) -> None:
    desk.room.own = None
    held = lock(desk.bench.studio)
    try:
        code, said = post(desk, text="my own words")
    finally:
        held.release()
    assert (code, "Another program watches this studio" in said, "my own words" in said) == (503, True, True)
    assert "my own words" not in text_of(desk)


def test_a_letter_that_is_none_is_said(desk: Desk) -> None:
    before, address = step(desk), f"/visit/{entry(desk).id}/letter"
    secret = desk.bench.studio.root.parent / "secret"
    secret.write_text("top secret")
    for damage, said in (
        ("no letter", "no longer one plain text"),
        ("gone", "is not there any more"),
        ("a link", "is not there"),
    ):
        path(desk).unlink(missing_ok=True)
        if damage == "no letter":
            path(desk).write_bytes(b"Subject: x\n\nonly text")
        if damage == "a link":
            path(desk).symlink_to(secret)
        found = page(desk)
        assert said in found
        assert "top secret" not in found
        code = desk.post(address, mark=before.mark, subject="x", text="y").status_code
        assert code == (409 if damage == "no letter" else 503)
    assert secret.read_text() == "top secret"


def test_a_letter_saved_twice_by_a_double_click_is_no_conflict(desk: Desk) -> None:
    mark = step(desk).mark
    for _ in range(2):
        code, said = post(desk, mark=mark, text="my words")
        assert (code, "The letter is saved." in said) == (303, True)
    assert post(desk, mark=mark, text="other words")[0] == 409
    assert text_of(desk) == "my words\n"


def test_hostile_words_are_text(desk: Desk) -> None:
    post(desk, subject='"><script>alert(1)</script>', text="</textarea><script>")
    found = page(desk)
    assert scripts(found) == OWN_SCRIPTS
    assert found.count("</textarea>") == 3


# --- the next version -------------------------------------------------------------------------------------------------
def test_words_of_staff_outlive_the_next_version(desk: Desk) -> None:
    post(desk, subject="For <you>", text="Dear Aspen,\nmy own words.")
    next_version(desk, hand="left")
    assert "version 2 is attached." in text_of(desk)
    found = page(desk)
    assert "You had changed the letter of version 1." in found
    assert "my own words." in found
    assert "For &lt;you&gt;" in found
    taken = page(desk, "?words=1")
    assert "my own words.\n</textarea>" in taken
    assert "not saved yet" in taken
    assert "version 2 is attached." in text_of(desk)
    post(desk, text="Dear Aspen,\nmy own words.")
    assert "You had changed the letter of version 1." not in page(desk)


def test_a_letter_nobody_changed_is_replaced_without_a_word(desk: Desk) -> None:
    next_version(desk, hand="left")
    assert "letter of version 1" not in page(desk)
    assert step(desk).former is None


def test_words_of_a_version_there_is_not_are_none(desk: Desk) -> None:
    for number in ("7", "../1", "²", "", "1" * 30):
        found = desk.client.get(f"/visit/{entry(desk).id}", params={"words": number})
        assert (found.status_code, "not saved yet" in found.text) == (200, False)


def test_of_many_versions_the_last_words_of_staff_are_offered(desk: Desk) -> None:
    post(desk, text="first words")
    next_version(desk, hand="left")
    post(desk, text="second words")
    next_version(desk, hand="right")
    next_version(desk, hand="left")
    found = step(desk).former
    assert found
    assert (found.number, found.certain, found.text) == (2, True, "second words\n")


def test_a_letter_that_says_not_who_wrote_it_may_be_staffs(desk: Desk) -> None:
    plain = path(desk).read_bytes().splitlines(keepends=True)
    path(desk).write_bytes(b"".join(line for line in plain if not line.startswith(b"X-Baywright-Words")))
    next_version(desk, hand="left")
    assert "had a letter that somebody may have changed" in page(desk)


def test_a_letter_of_another_kind_is_where_it_was(desk: Desk) -> None:
    path(desk).write_bytes(b"Subject: x\nContent-Type: text/html\n\n<b>mine</b>")
    next_version(desk, hand="left")
    assert "<code>earlier/version 1</code>" in page(desk)
    assert desk_former.words(path(desk).parent, "1") == ""


# --- noted as sent ----------------------------------------------------------------------------------------------------
def test_staff_note_that_they_sent_it_and_take_that_back(desk: Desk) -> None:
    assert "Not sent yet." in page(desk)
    assert "letter not sent yet" in desk.client.get("/").text
    code, said = post(desk, "/sent")
    assert (code, "Noted as sent on 20" in said, "Noted: the letter was sent." in said) == (303, True, True)
    assert "has its report, letter sent 20" in desk.client.get("/").text
    assert "Note that I sent it myself" not in said
    assert status._letter(path(desk).parent, entry(desk).id, desk.room.ledger) == "sent"
    assert "The note is taken back." in post(desk, "/not-sent")[1]
    assert "Not sent yet." in page(desk)


def test_a_note_that_comes_too_late_notes_nothing(desk: Desk) -> None:
    one, before = entry(desk), step(desk)
    post(desk, "/sent")
    assert "nothing was noted" in post(desk, "/sent", number="0")[1]
    assert "nothing was noted" in post(desk, "/not-sent", number="7")[1]
    assert len(desk.room.ledger.letters.last([one.id])[one.id]) == 1
    next_version(desk, hand="left")
    assert "nothing was noted" in post(desk, "/sent", version=before.version)[1]
    assert "nothing was noted" in post(desk, "/sent", version="0" * 16)[1]
    found = page(desk)
    assert "Not sent yet." in found
    assert "Of an earlier version: noted as sent on 20" in found


def test_after_a_lost_ledger_staff_may_say_that_it_went_out(desk: Desk) -> None:
    one, now = entry(desk), step(desk)
    desk.room.ledger.adopt([], [(one.id, now.version)], "2026-11-25T10:00:00+00:00")
    assert "It may have been sent: the ledger was lost before 2026-11-25" in page(desk)
    assert "letter may have been sent" in desk.client.get("/").text
    assert "Noted as sent on 20" in post(desk, "/sent")[1]
    assert "It may have been sent" in post(desk, "/not-sent")[1]


def test_what_went_out_cannot_be_taken_back(desk: Desk) -> None:
    one, now = entry(desk), step(desk)
    begun = desk.room.ledger.begin_sending(one.id, now.version, "2026-11-25T10:00:00+00:00")
    assert begun
    desk.room.ledger.end_sending(begun, "2026-11-25T10:00:00+00:00", sent=True)
    assert "nothing was noted" in post(desk, "/not-sent")[1]
    assert "Sent from here on 2026-11-25" in page(desk)


# --- consent ----------------------------------------------------------------------------------------------------------
def test_what_the_customer_agreed_to_is_shown_and_its_lack_is_said(desk: Desk) -> None:
    assert "no consent noted" in page(desk)
    desk.bench.drop("birch/shots.csv", "other")
    desk.bench.drop("birch/visit.toml", 'consent = "report by <e-mail>"\n')
    desk.go()
    found = page(desk)
    assert "report by &lt;e-mail&gt;" in found
    assert "no consent noted" not in found
    assert "<e-mail>" not in text_of(desk)


def test_a_visit_whose_report_another_took_over_has_no_letter(desk: Desk) -> None:
    old = entry(desk)
    desk.bench.shots["more"] = (200.0, 210.0)
    desk.bench.drop("aspen/shots.csv", "more")
    desk.go()
    assert entry(desk).id != old.id
    assert 'id="letter"' not in desk.client.get(f"/visit/{old.id}").text
    answer = desk.post(f"/visit/{old.id}/letter", mark="x", subject="a", text="b")
    assert (answer.status_code, "no report of this visit" in answer.text) == (503, True)
    assert desk.client.get("/").text.count("letter not sent yet") == 1  # of two rows
