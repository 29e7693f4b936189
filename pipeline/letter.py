"""The letter that carries a report to the customer: its words, and the e-mail message made of them (RFC 5322)."""

import datetime as dt
import email
import hashlib
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from email import policy
from email.errors import MessageError
from email.headerregistry import Address
from email.message import EmailMessage
from email.utils import format_datetime

from pipeline import wording
from pipeline.addresses import address
from pipeline.errors import LetterError
from pipeline.records import Fitting
from pipeline.settings import Settings
from pipeline.wording import Page

LONGEST_NAME, LONGEST_SUBJECT = 60, 150
_POLICY = policy.SMTP.clone(max_line_length=76)  # the most that RFC 2045 allows an encoded line
_WRITTEN = "X-Baywright-Words"  # in a draft: a mark of the words the program wrote into it
_MARK = re.compile(r"[0-9a-f]{16}")
_NO_DOMAIN = "baywright.invalid"  # a domain that can never be anyone's (RFC 2606)
_IN_NAMES = re.compile(r"[^\w '&+-]+")  # punctuation has a meaning in address lines, and a name does not need it


@dataclass(frozen=True, slots=True)
class Letter:
    """What a letter says and carries; `to` is one valid address, or empty, and has no name beside it.

    written is a mark of the words the program wrote; empty in a draft from before there was one.
    """

    visit_id: str
    to: str
    subject: str
    text: str
    pdf: bytes
    pdf_name: str
    written: str = ""

    @property
    def version(self) -> str:
        """Name the version of the report it carries: the same bytes, the same version."""
        return version_of(self.pdf)

    @property
    def reworded(self) -> bool:
        """Tell whether staff changed its words."""
        return bool(self.written) and self.written != words_mark(self.subject, self.text)


def version_of(pdf: bytes) -> str:
    """Name the version of a report by its bytes."""
    return hashlib.sha256(pdf).hexdigest()[:16]


def words_mark(subject: str, text: str) -> str:
    """Give a mark of a letter's words, however mail programs space and fold them."""
    return hashlib.sha256("".join(f"{subject} {text}".split()).encode(errors="replace")).hexdigest()[:16]


# --- words --------------------------------------------------------------------------------------------------------
def write(fitting: Fitting, settings: Settings, pdf: bytes) -> Letter:
    """Write the letter of a report, with the report's own sentences."""
    page = wording.page_of(fitting, settings)
    day = page.words.day(fitting.date)
    subject = page.words.say("letter.subject", date=day)
    name = page.words.say("letter.file_name", day=fitting.date.isoformat())
    version, number = wording.version(page), wording.version_number(page)
    title = _subject(", ".join(part for part in (subject, version) if part))
    text = _text(_lines(page, day))
    return Letter(
        visit_id=fitting.visit_id,
        to=address(fitting.facts.email or "") or "",
        subject=title,
        text=text,
        pdf=pdf,
        pdf_name=_file_name("-".join(part for part in (name, number) if part)),
        written=words_mark(title, text),
    )


def _lines(page: Page, day: str) -> list[str]:
    facts = wording.facts(page)
    suggestions = " ".join(wording.suggestions(page, facts))
    own_words = " ".join((page.fitting.facts.recommendation or "")[:2000].split())
    said = [
        page.words.get("letter.hello"),
        page.words.say("letter.attached", date=day),
        f"{wording.lead(page, facts)} {wording.under(page, facts)}",
        *([f"{page.words.get('headings.recommendation')}: {own_words}"] if own_words else []),
        page.words.say("letter.suggest", suggestions=suggestions),
        page.words.get("letter.more"),
        page.words.get("letter.ask"),
    ]
    sender = [line[:80] for line in (page.settings.name, page.settings.address_line) if line]
    return [*(line for part in said for line in (part, "")), *sender]


def address_note(email_given: str | None) -> str:
    """Say that the e-mail address staff gave was left out of the letter, if it was."""
    if not email_given or address(email_given):
        return ""
    return "the letter has no address: the email in visit.toml is not one plain address"


# --- characters ---------------------------------------------------------------------------------------------------
def _line(text: str) -> str:
    """Put a text on one line without control, direction or other invisible characters; no-break spaces stay."""
    seen = "".join(" " if unicodedata.category(c)[0] == "C" or c in "\u2028\u2029" else c for c in text)
    return re.sub(" +", " ", seen).strip()


def _subject(text: str) -> str:
    """Put a text on one line that no library takes for an encoded one, in which lines of a head could hide."""
    return _line(text).replace("=?", "= ?")[:LONGEST_SUBJECT].strip()


def _text(lines: Sequence[str]) -> str:
    return "\n".join(_line(line) for line in lines).strip() + "\n"


def _name(text: str) -> str:
    """Make a name fit for an address line: letters, marks, digits and little else, of limited length."""
    kept = "".join(c if unicodedata.category(c)[0] == "M" else _IN_NAMES.sub(" ", c) for c in _line(text))
    return " ".join(kept.split())[:LONGEST_NAME].strip()


def _file_name(text: str) -> str:
    plain = re.sub(r"[^A-Za-z0-9-]+", "-", text.removesuffix(".pdf")).strip("-")[:80]
    return f"{plain or 'report'}.pdf"


# --- the message --------------------------------------------------------------------------------------------------
def message(letter: Letter, settings: Settings, when: dt.datetime, *, unsent: bool) -> EmailMessage:
    """Make the e-mail message; the same letter, settings and time always give the same bytes.

    unsent marks it for mail programs as a draft to be looked at. Headers are made of checked addresses, cleaned names
    and our own words only.
    """
    made = EmailMessage(policy=_POLICY)
    if settings.mail_from:
        mailbox, _, domain = settings.mail_from.partition("@")
        made["From"] = Address(_name(settings.name), mailbox, domain)
    if settings.mail_reply_to:
        made["Reply-To"] = settings.mail_reply_to
    if letter.to:
        made["To"] = letter.to
    made["Subject"] = _subject(letter.subject)
    made["Date"] = format_datetime(when)
    mark = hashlib.sha256(f"{letter.visit_id} {letter.version}".encode()).hexdigest()[:32]
    made["Message-ID"] = f"<{mark}@{settings.mail_from.rpartition('@')[2] or _NO_DOMAIN}>"
    if unsent:
        made["X-Unsent"] = "1"
        if letter.written:
            made[_WRITTEN] = letter.written
    made.set_content(letter.text, charset="utf-8", cte="quoted-printable")
    made.add_attachment(letter.pdf, maintype="application", subtype="pdf", filename=letter.pdf_name)
    made.set_boundary(f"=_{mark}")  # neither base64 nor quoted-printable can hold these two characters
    return made


def draft(fitting: Fitting, settings: Settings, pdf: bytes) -> EmailMessage:
    """Make the draft that lies beside a report; its time is noon of the visit's day."""
    noon = dt.datetime.combine(fitting.date, dt.time(12), dt.UTC)
    return message(write(fitting, settings, pdf), settings, noon, unsent=True)


# --- reading a draft back -----------------------------------------------------------------------------------------
def read(content: bytes, visit_id: str) -> Letter:
    """Read a draft, which staff may have changed; raises LetterError unless it is one plain text and one PDF."""
    try:
        found = email.message_from_bytes(content, policy=policy.SMTP)
        text, pdf = _parts(found)
        to = _to(found)
        subject, name = str(found["Subject"] or ""), pdf.get_filename() or ""
        written = str(found[_WRITTEN] or "").strip()
        body, attached = text.get_content(), pdf.get_content()
    except (MessageError, ValueError, LookupError, AttributeError, TypeError) as fault:
        msg = "letter.eml: it is damaged and cannot be read as a letter. Send report.pdf with a letter of your own."
        raise LetterError(msg) from fault
    lines, mark = _text(body.splitlines()), written if _MARK.fullmatch(written) else ""
    return Letter(visit_id, to, _subject(subject), lines, attached, _file_name(name), mark)


def reworded(content: bytes, visit_id: str, subject: str, text: str, settings: Settings) -> bytes:
    """Write a draft with other words; whom it goes to, what it carries, its day and its ids stay.

    Raises LetterError as `read` does. The words are taken as in any letter: one line of subject, nothing invisible.
    """
    before = read(content, visit_id)
    words = replace(before, subject=_subject(subject), text=_text(text.splitlines()))
    return message(words, settings, _time(content), unsent=True).as_bytes()


def _time(content: bytes) -> dt.datetime:
    """Give the time a draft carries; the beginning of time where it carries none that can be read."""
    try:
        found = email.message_from_bytes(content, policy=policy.SMTP)["Date"].datetime
    except (MessageError, ValueError, AttributeError, TypeError):
        found = None
    return found if isinstance(found, dt.datetime) else dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


def _parts(found: EmailMessage) -> tuple[EmailMessage, EmailMessage]:
    """Give the text and the PDF of a letter."""
    leaves = [part for part in found.walk() if not part.is_multipart()]
    if [part.get_content_type() for part in leaves] != ["text/plain", "application/pdf"]:
        msg = (
            "letter.eml: it was changed and is no longer one plain text with one PDF. "
            "Send it from your mail program instead."
        )
        raise LetterError(msg)
    return leaves[0], leaves[1]


def _to(found: EmailMessage) -> str:
    """Give the one address a letter is to; empty when there is none."""
    if found["Cc"] or found["Bcc"] or len(found.get_all("To", [])) > 1:
        msg = "letter.eml: it is to several people. A report goes to one; send it from your mail program instead."
        raise LetterError(msg)
    to = found["To"]
    if not to:
        return ""
    plain = address(to.addresses[0].addr_spec) if len(to.addresses) == 1 else None
    if plain is None:
        msg = "letter.eml: its To line is not one plain address. Correct the line, or give the address with --to."
        raise LetterError(msg)
    return plain
