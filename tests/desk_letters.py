"""Letters for the desk's tests: a bench whose reports have one, and the ways a letter is read and changed."""

import email
from dataclasses import replace
from email import policy
from email.message import EmailMessage
from pathlib import Path

import pytest

from pipeline import desk_letter, letter
from pipeline.branding import Logo
from pipeline.ledger import Entry
from pipeline.letter import Letter, words_mark
from pipeline.records import Fitting
from pipeline.settings import Settings
from tests import conftest
from tests.conftest import Bench
from tests.desk import Desk, desk_on

FACTS = 'customer = "Aspen"\nemail = "aspen@example.org"\nhand = "right"\n'


def files(fitting: Fitting, settings: Settings, logo: Logo | None) -> dict[str, bytes]:
    """Make a report's files with a letter, whose PDF differs from version to version."""
    pdf = f"%PDF-{fitting.visit_id} {fitting.version} {fitting.facts}".encode()
    subject, text = f"Report {fitting.version}", f"Hello,\n\nversion {fitting.version} is attached.\n"
    to = fitting.facts.email or ""
    written = Letter(fitting.visit_id, to, subject, text, pdf, "r.pdf", words_mark(subject, text))
    made = letter.message(written, settings, desk_letter.now().replace(2026, 11, 25, 12, 0, 0, 0), unsent=True)
    return conftest._files(fitting, settings, logo) | {"report.pdf": pdf, "letter.eml": made.as_bytes()}


def with_letters(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the bench's reports carry letters."""
    monkeypatch.setattr("pipeline.visits.outputs.files", files)


def with_a_letter(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """Give a desk with one visit whose report has a letter."""
    with_letters(monkeypatch)
    made = desk_on(bench)
    made.enter()
    bench.drop("aspen/shots.csv", "fine")
    bench.drop("aspen/visit.toml", FACTS)
    made.go()
    return made


def entry(desk: Desk) -> Entry:
    """Give the newest visit with a report."""
    found, _ = desk.room.ledger.newest(("reported",), 0, 1)[0]
    return found


def path(desk: Desk) -> Path:
    """Give where its letter lies."""
    return desk.room.place.outbox / str(entry(desk).place) / "letter.eml"


def message(desk: Desk) -> EmailMessage:
    """Read its letter as a mail program does."""
    return email.message_from_bytes(path(desk).read_bytes(), policy=policy.default)


def text_of(desk: Desk) -> str:
    """Give its words."""
    body = message(desk).get_body()
    assert body
    return str(body.get_content()).replace("\r\n", "\n")


def step(desk: Desk) -> desk_letter.LetterStep:
    """Give the step as the page shows it."""
    found = desk_letter.shown(desk.room, entry(desk), {})
    assert found
    return found


def post(desk: Desk, end: str = "", **fields: str) -> tuple[int, str]:
    """Send one of the step's forms as the page has it, but for these fields; gives code, and the page that follows."""
    now = step(desk)
    given = {
        "mark": now.mark, "version": now.version, "number": str(now.gone.number), "subject": now.typed.subject,
        "text": now.typed.text,
    }  # fmt: skip
    answer = desk.post(f"/visit/{entry(desk).id}/letter{end}", **{**given, **fields})
    if answer.status_code != 303:
        return answer.status_code, answer.text
    return 303, desk.client.get(answer.headers["location"]).text


def set_mail(desk: Desk, **more: object) -> None:
    """Set the studio's mail up."""
    given = {"mail_from": "desk@studio.example", "smtp_host": "mail.example", **more}
    desk.room.settings = replace(desk.room.settings, **given)  # type: ignore[arg-type]
