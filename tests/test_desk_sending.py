"""Sending a letter from the desk: what was confirmed and nothing else, once, or once more on purpose."""

import smtplib
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from pipeline import mailing
from pipeline.errors import LetterError
from pipeline.letter import Letter
from tests.conftest import Bench
from tests.desk import Desk
from tests.desk_letters import entry, path, post, set_mail, step, with_a_letter, with_letters


@dataclass
class Post:
    """A way to a mail server that keeps what it is given, or refuses it."""

    got: list[tuple[str, list[str], bytes]] = field(default_factory=list)
    opened: Callable[[], object] = lambda: None
    before: Callable[[], object] = lambda: None
    fault: Exception | None = None

    def sendmail(self, sender: str, to: list[str], content: bytes) -> None:
        """Take a letter."""
        self.before()
        if self.fault:
            raise self.fault
        self.got.append((sender, to, content))


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> Post:
    made = Post()

    @contextmanager
    def connected(_to: object) -> Iterator[Post]:
        made.opened()
        yield made

    monkeypatch.setattr("pipeline.mailing.connected", connected)
    return made


@pytest.fixture
def desk(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    made = with_a_letter(bench, monkeypatch)
    set_mail(made)
    yield made
    made.room.ledger.close()


def page(desk: Desk) -> str:
    return desk.client.get(f"/visit/{entry(desk).id}").text


def test_it_is_sent_as_it_was_shown_and_noted_before_and_after(desk: Desk, server: Post) -> None:
    found = page(desk)
    assert (
        "It goes to <strong><bdi>aspen@example.org</bdi></strong> with the subject <q><bdi>Report 1</bdi></q>" in found
    )
    assert "and the report <bdi>r.pdf</bdi>, through mail.example, port 587" in found
    seen: list[str] = []
    server.before = lambda: seen.append(step(desk).gone.words)
    code, said = post(desk, "/send")
    assert (code, "The letter was sent to aspen@example.org." in said, "Sent from here on 20" in said) == (
        303,
        True,
        True,
    )
    assert "It may have been sent: sending began on" in seen[0]
    [(sender, to, content)] = server.got
    assert (sender, to) == ("desk@studio.example", ["aspen@example.org"])
    assert b"Subject: Report 1\r\n" in content
    assert b"X-Unsent" not in content
    assert b"X-Baywright" not in content
    assert "has its report, letter sent 20" in desk.client.get("/").text
    assert desk.client.get("/?which=unsent").text.count("aspen") == 0


def test_a_second_click_sends_nothing(desk: Desk, server: Post) -> None:
    first = {"number": "0", "mark": step(desk).mark}
    assert post(desk, "/send", **first)[0] == 303
    code, said = post(desk, "/send", **first)
    assert (code, "It was sent on 20" in said, "Nothing was sent now." in said) == (502, True, True)
    assert "--again" not in said
    assert "Send it again only when you mean to." in page(desk)
    assert post(desk, "/send", number="1")[0] == 303
    assert post(desk, "/send", number="1")[0] == 502
    assert post(desk, "/send", number="")[0] == 502
    assert len(server.got) == 2


def test_two_clicks_at_the_same_moment_are_one(desk: Desk, server: Post) -> None:
    assert post(desk, "/send")[0] == 303
    server.before = lambda: time.sleep(0.1)
    with ThreadPoolExecutor(2) as pool:
        codes = list(pool.map(lambda _: post(desk, "/send", number="1")[0], range(2)))
    assert sorted(codes) == [303, 502]
    assert len(server.got) == 2


def test_when_another_program_sends_it_at_this_moment_nothing_is_sent(desk: Desk, server: Post) -> None:
    one, version = entry(desk).id, step(desk).version
    server.opened = lambda: desk.room.ledger.begin_sending(one, version, "2026-11-25T10:00:00+00:00")
    code, said = post(desk, "/send")
    assert (code, "Another baywright is sending it at this moment." in said) == (502, True)
    assert server.got == []


def test_after_staffs_own_note_it_is_not_sent_by_an_old_page(desk: Desk, server: Post) -> None:
    post(desk, "/sent")
    code, said = post(desk, "/send", number="0")
    assert (code, "Staff noted on 20" in said) == (502, True)
    assert server.got == []


def test_another_letter_than_the_one_shown_is_not_sent(desk: Desk, server: Post) -> None:
    mark = step(desk).mark
    post(desk, text="other words")
    code, said = post(desk, "/send", mark=mark)
    assert (code, "so it was not sent" in said) == (409, True)
    path(desk).parent.joinpath("report.pdf").write_bytes(b"%PDF-another")
    code, said = post(desk, "/send")
    assert (code, "carries another PDF" in said) == (502, True)
    assert server.got == []
    assert step(desk).gone.note is None


def test_words_that_were_typed_and_not_saved_are_neither_left_behind_nor_lost(desk: Desk, server: Post) -> None:
    shown = step(desk)
    code, said = post(desk, "/send", text="Dear Aspen,\r\nsee you.", words=shown.words)
    assert (code, "did not save it yet, so it was not sent" in said) == (409, True)
    assert "\nDear Aspen,\nsee you.</textarea>" in said
    assert '<p class="kept">In the letter now:</p><pre class="letter note">Hello,' in said
    post(desk, text="of the other tab")
    code, said = post(desk, "/send", mark=shown.mark, words=shown.words, text="mine")
    assert (code, "What you typed is still in the fields" in said, "\nmine</textarea>" in said) == (409, True, True)
    old = shown.typed.text  # nobody typed anything: what stood there then is not put back
    code, said = post(desk, "/send", mark=shown.mark, words=shown.words, text=old, subject=shown.typed.subject)
    assert (code, "What you typed" in said, "\nof the other tab\n</textarea>" in said) == (409, False, True)
    assert server.got == []
    assert post(desk, "/send", words=step(desk).words)[0] == 303
    assert [b"of the other tab" in content for _, _, content in server.got] == [True]


def test_a_letter_changed_at_this_moment_is_not_sent(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    letter_in = mailing.letter_in

    def changed_first(folder: Path) -> Letter:
        monkeypatch.undo()
        with_letters(monkeypatch)
        content = path(desk).read_bytes()
        path(desk).write_bytes(content.replace(b"Hello", b"Hullo"))
        return letter_in(folder)

    monkeypatch.setattr(mailing, "connected", lambda _: pytest.fail("it went out"))
    monkeypatch.setattr(mailing, "letter_in", changed_first)
    code, said = post(desk, "/send")
    assert (code, "so it was not sent" in said) == (409, True)
    assert step(desk).gone.note is None


def test_trouble_is_said_in_words_with_what_to_do(desk: Desk, server: Post) -> None:
    server.fault = smtplib.SMTPRecipientsRefused({"aspen@example.org": (550, b"no such <user>")})
    code, said = post(desk, "/send")
    assert (code, "The mail server refused the letter (550 no such &lt;user&gt;). Nothing was sent." in said) == (
        502,
        True,
    )
    assert "Not sent yet." in page(desk)
    server.fault = LetterError(
        "mail.example, port 587: its certificate is not trusted. Check smtp_host. Nothing was sent."
    )
    said = post(desk, "/send")[1]
    assert "The mail server mail.example, port 587: its certificate is not trusted. Check “Mail server”." in said
    assert "Nothing was sent. See “Letters by e-mail” on the page Settings.</p>" in said
    server.fault = ConnectionResetError()
    code, said = post(desk, "/send", number=str(step(desk).gone.number))
    assert (code, "before you send it once more.</p>" in said, "--again" in said) == (502, True, False)
    assert "look into the mailbox of desk@studio.example, or ask" in said
    assert "sending began on" in page(desk)


def test_without_mail_or_address_it_is_not_offered_and_not_done(desk: Desk, server: Post) -> None:
    set_mail(desk, smtp_user="desk")
    code, said = post(desk, "/send")
    assert (code, "The mail server needs a password" in said, "Nothing was sent." in said) == (422, True, True)
    assert "for “Name to log in with”. Write it" in said
    assert "name that file in “File with the mail password”, or" in said
    set_mail(desk, smtp_host="")
    assert "Send it" not in page(desk)
    assert 'set up mail in the <a href="/settings">settings</a>' in page(desk)
    code, said = post(desk, "/send")
    assert (code, "“Mail server” must be set" in said) == (422, True)
    set_mail(desk)
    path(desk).write_bytes(path(desk).read_bytes().replace(b"To: aspen@example.org\r\n", b""))
    assert "Send it" not in page(desk)
    code, said = post(desk, "/send")
    assert (code, "The letter has no address." in said) == (502, True)
    assert server.got == []
