"""A letter from the desk to a real mail server, in a real browser: confirmed, sent once, refused in plain words."""

import email
import re
from collections.abc import Iterator
from contextlib import contextmanager
from email import policy
from email.message import EmailMessage
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import trustme

from pipeline import mailing
from pipeline import studio as studio_module
from pipeline.studio import Studio
from tests.test_desk_browser import FAULTS, browser, wait_for
from tests.test_desk_command import started
from tests.test_mailing import PASSWORD, Server, configure, free_port

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

__all__ = ["browser"]
pytestmark = pytest.mark.slow
SHOTS = "Club,Ball speed (mph),Carry (yd)\n" + "".join(
    f"{club},{140 + i % 3},{carry + i}\n" for club, carry in (("Own driver", 226), ("K", 240)) for i in range(8)
)
TO = "customer@example.org"
WORDS = "Dear Aspen,\n\nyour report – “K” carried best.\n.\nUntil Monday, Grüße"
HEADS = ["From", "To", "Subject", "Date", "Message-ID", "MIME-Version", "Content-Type"]


@pytest.fixture
def post(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Server:
    """Give a mail server that does not run yet, whose authority this machine trusts."""
    authority = trustme.CA()
    authority.cert_pem.write_to_path(tmp_path / "authority.pem")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "authority.pem"))  # the desk inherits it
    monkeypatch.delenv(mailing.PASSWORD_VARIABLE, raising=False)
    return Server(free_port(), "starttls", authority.issue_cert("127.0.0.1"))


@contextmanager
def running(post: Server) -> Iterator[None]:
    controller = post.controller()
    controller.ready_timeout = 60.0
    controller.start()
    try:
        yield
    finally:
        controller.stop()


@pytest.fixture
def place(tmp_path: Path, post: Server) -> Studio:
    """Give a studio whose studio.toml names that server."""
    made = studio_module.create(tmp_path / "studio")
    configure(made.root, post)
    return made


@contextmanager
def at_the_desk(browser: "Browser", place: Studio, *, script: bool = False) -> "Iterator[Page]":
    """Open the desk; a console that says anything but the answers we ask for is a fault."""
    with started(place) as (_, address):
        context = browser.new_context(java_script_enabled=script, viewport={"width": 1024, "height": 800})
        context.set_default_timeout(60_000)
        page = context.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda fault: said.append(str(fault)))
        page.goto(address)
        yield page
        context.close()
        # 409: not what was shown; 502: the mail server did not take it
        assert [words for words in said if "409" not in words and "502" not in words] == []


def with_a_letter(page: "Page", place: Studio) -> None:
    """Go from a cold start to the page of a visit whose letter has an address."""
    given = place.root / "aspen.csv"
    given.write_text(SHOTS)
    page.get_by_label("Drop files on this field").set_input_files(given)
    page.get_by_role("button", name="Hand in").click()
    wait_for(page, "has its report")
    page.get_by_role("link", name="aspen", exact=True).click()
    page.get_by_text("nobody yet: write the e-mail address above").wait_for()
    assert page.get_by_text("Send it").count() == 0  # to nobody
    page.get_by_label("E-mail address").fill(TO)
    page.get_by_role("button", name="Save and make the next version").click()
    said(page, "Version 2 is made. The one before is kept.")


def said(page: "Page", words: str) -> None:
    page.locator("main > p.said[role=status]").get_by_text(words, exact=True).wait_for()


def reworded(page: "Page", subject: str = "Your fitting", text: str = WORDS) -> None:
    page.get_by_label("Subject", exact=True).fill(subject)
    page.get_by_label("Words", exact=True).fill(text)
    page.get_by_role("button", name="Save the letter").click()
    said(page, "The letter is saved.")


def confirming(page: "Page", again: str = "Send it") -> str:
    """Open the confirming step; gives its words."""
    page.locator("summary").get_by_text(f"{again} to {TO}").click()
    step = page.locator("details.sure[open] > div")
    step.wait_for()
    return " ".join(step.inner_text().split())


def send(page: "Page") -> None:
    page.get_by_role("button", name="Send it now", exact=True).click()


def only_report(place: Studio) -> Path:
    [folder] = [path for path in place.outbox.iterdir() if not path.name.startswith(".")]
    return folder


def arrived(post: Server) -> EmailMessage:
    content = post.got[0].content
    assert isinstance(content, bytes)
    return email.message_from_bytes(content, _class=EmailMessage, policy=policy.default)


def text_of(letter: EmailMessage) -> str:
    body = letter.get_body()
    assert body is not None
    return str(body.get_content())


def home_of(page: "Page") -> str:
    return re.sub(r"(:\d+).*", r"\1/", page.url)


def still_to_be_sent(page: "Page") -> list[str]:
    page.goto(f"{home_of(page)}?which=unsent")
    page.get_by_role("heading", name="What arrived").wait_for()
    return page.locator("tbody th").all_inner_texts()


@pytest.mark.parametrize("script", [False, True])
def test_from_a_cold_start_to_a_letter_that_arrived(
    browser: "Browser",
    place: Studio,
    post: Server,
    script: bool,  # noqa: FBT001
) -> None:
    with running(post), at_the_desk(browser, place, script=script) as page:
        with_a_letter(page, place)
        try_without_saving(page, post)
        reworded(page)
        visit = page.url.split("?")[0]
        assert still_to_be_sent(page) == ["aspen"]
        page.goto(f"{visit}#letter")
        shown = page.get_by_label("Words", exact=True).input_value()
        asked = confirming(page)
        page.locator("details.sure > summary").click()  # thought better of it
        page.get_by_role("button", name="Send it now").wait_for(state="hidden")
        page.reload()
        page.get_by_text("Not sent yet.").wait_for()
        assert post.got == []
        confirming(page)
        send(page)
        said(page, f"The letter was sent to {TO}.")
        page.locator("section[aria-labelledby=letter] strong").get_by_text("Sent from here on 20").wait_for()
        page.wait_for_load_state()  # the style sheet, too
        assert page.evaluate(FAULTS) == []
        it_arrived(post, place, shown, asked)
        page.reload()
        page.get_by_text("Sent from here on 20").first.wait_for()
        assert still_to_be_sent(page) == []
        page.goto(home_of(page))
        page.get_by_role("row", name="aspen").get_by_text("has its report, letter sent 20").wait_for()
        assert len(post.got) == 1


def try_without_saving(page: "Page", post: Server) -> None:
    page.get_by_label("Words", exact=True).fill(WORDS)
    confirming(page)
    send(page)
    page.get_by_role("alert").get_by_text("You changed the letter and did not save it yet").wait_for()
    assert page.get_by_label("Words", exact=True).input_value() == WORDS
    assert post.got == []


def it_arrived(post: Server, place: Studio, shown: str, asked: str) -> None:
    """Hold what arrived against the words on the page, the confirming step and the report as it lies there."""
    [envelope] = post.got
    assert (envelope.mail_from, envelope.rcpt_tos) == ("desk@studio.example", [TO])
    assert post.encrypted == [True]
    letter = arrived(post)
    assert letter.keys() == HEADS
    assert (letter["To"], letter["Subject"]) == (TO, "Your fitting")
    assert text_of(letter).splitlines() == shown.splitlines() == WORDS.splitlines()
    [attached] = letter.iter_attachments()
    pdf, name = attached.get_content(), str(attached.get_filename())
    assert pdf.startswith(b"%PDF-")
    assert pdf == (only_report(place) / "report.pdf").read_bytes()
    assert name.endswith("-version-2.pdf")
    assert f"It goes to {TO} with the subject Your fitting and the report {name}, through 127.0.0.1" in asked


def test_only_on_purpose_is_it_sent_twice(browser: "Browser", place: Studio, post: Server) -> None:
    with running(post), at_the_desk(browser, place) as page:
        with_a_letter(page, place)
        other = page.context.new_page()  # a second tab, which still offers to send it for the first time
        other.goto(page.url)
        confirming(other)
        confirming(page)
        send(page)
        said(page, f"The letter was sent to {TO}.")
        page.reload()
        page.go_back()
        page.get_by_text("The letter", exact=True).first.wait_for()
        page.go_forward()
        page.get_by_text("Sent from here on 20").first.wait_for()
        assert len(post.got) == 1
        send(other)
        other.get_by_role("alert").get_by_text("Nothing was sent now.").wait_for()
        assert other.get_by_role("alert").inner_text().startswith("It was sent on 20")
        other.reload()  # which sends the form once more
        other.get_by_role("alert").get_by_text("Nothing was sent now.").wait_for()
        assert len(post.got) == 1
        asked = confirming(other, "Send it once more")
        assert "Send it again only when you mean to." in asked
        other.get_by_role("button", name="Send it now, once more").click()
        said(other, f"The letter was sent to {TO}.")
        assert len(post.got) == 2
        confirming(page, "Send it once more")  # the first tab knows of one sending only
        page.get_by_role("button", name="Send it now, once more").click()
        page.get_by_role("alert").get_by_text("Nothing was sent now.").wait_for()
        assert len(post.got) == 2


def set_password(root: Path, password: str) -> None:
    (root / "mail password.txt").write_text(f"{password}\n", encoding="utf-8")


@pytest.mark.parametrize("script", [False, True])
def test_a_server_that_is_down_or_refuses_leaves_all_as_it_was(
    browser: "Browser",
    place: Studio,
    post: Server,
    script: bool,  # noqa: FBT001
) -> None:
    with at_the_desk(browser, place, script=script) as page:
        with_a_letter(page, place)
        reworded(page)
        confirming(page)
        send(page)  # nobody listens at that port
        found = refused(page)
        assert f"The mail server 127.0.0.1, port {post.port}: it cannot be reached" in found
        with running(post):
            set_password(place.root, "battery staple")
            confirming(page)
            send(page)
            page.get_by_role("alert").get_by_text("or the password").wait_for()
            assert "it refused" in refused(page)
            assert len(post.logins) >= 1
            assert post.got == []
            page.goto(re.sub(r"/letter/send$", "", page.url))
            page.get_by_text("Not sent yet.").wait_for()
            assert page.get_by_label("Words", exact=True).input_value() == WORDS + "\n"
            set_password(place.root, PASSWORD)
            confirming(page)
            send(page)
            said(page, f"The letter was sent to {TO}.")
        assert text_of(arrived(post)).splitlines() == WORDS.splitlines()
        assert len(post.got) == 1


def refused(page: "Page") -> str:
    """Give what is said of a letter that did not go out, on a page that still has it."""
    alert = page.get_by_role("alert")
    alert.get_by_text("Nothing was sent.").wait_for()
    assert page.get_by_text("Not sent yet.").count() == 1
    assert page.get_by_label("Subject", exact=True).input_value() == "Your fitting"
    assert page.get_by_label("Words", exact=True).input_value() == WORDS + "\n"
    page.wait_for_load_state()  # the style sheet, too
    assert page.evaluate(FAULTS) == []
    found = alert.inner_text()
    assert PASSWORD not in found
    assert "smtp_" not in found
    assert "--" not in found
    return found


def test_no_name_and_no_subject_adds_a_line_to_the_head(browser: "Browser", place: Studio, post: Server) -> None:
    hostile = "=?utf-8?q?Aspen=0D=0ABcc:_thief@example.org?= \\r\\nBcc: thief@example.org %0d%0aBcc: thief@example.org"
    with running(post), at_the_desk(browser, place) as page:
        with_a_letter(page, place)
        page.get_by_label("Customer", exact=True).fill(hostile)
        page.get_by_label("What you recommend").fill(f"Take K.\r\nBcc: thief@example.org\r\n\r\n{hostile}")
        page.get_by_role("button", name="Save and make the next version").click()
        said(page, "Version 3 is made. The one before is kept.")
        assert hostile[:40] in page.get_by_label("Words", exact=True).input_value()
        page.get_by_label("Subject", exact=True).fill(hostile)
        page.get_by_role("button", name="Save the letter").click()
        said(page, "The letter is saved.")
        confirming(page)
        send(page)
        said(page, f"The letter was sent to {TO}.")
    [envelope] = post.got
    assert envelope.rcpt_tos == [TO]
    letter = arrived(post)
    assert letter.keys() == HEADS
    assert letter["Subject"] == hostile.replace("=?", "= ?")
    assert [part.get_content_type() for part in letter.walk()] == ["multipart/mixed", "text/plain", "application/pdf"]
