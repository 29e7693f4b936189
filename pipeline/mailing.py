"""Sending a letter once: an encrypted way to the studio's own mail server, and a note before and after."""

import datetime as dt
import json
import logging
import os
import smtplib
import ssl
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from email.message import EmailMessage
from pathlib import Path

from pipeline import passwords
from pipeline.errors import FolderError, LetterError, SettingsError
from pipeline.ledger import Ledger
from pipeline.ledger_letters import Sending
from pipeline.letter import Letter, read
from pipeline.settings import Settings

PASSWORD_VARIABLE = "BAYWRIGHT_SMTP_PASSWORD"  # noqa: S105 - its name, not a password
TIMEOUT_S = 30.0
_OURSELVES = "[127.0.0.1]"  # what we call ourselves towards the server; the computer's name is nobody's business
_NOTHING = "Nothing was sent."
_LOG = logging.getLogger("baywright")


@dataclass(frozen=True, slots=True)
class Server:
    """A mail server and how to log in there."""

    host: str
    port: int
    security: str  # starttls | tls
    user: str
    password: str

    def __str__(self) -> str:
        return f"{self.host}, port {self.port}"


# --- which letter ---------------------------------------------------------------------------------------------------
def letter_in(place: Path) -> Letter:
    """Read the letter of a report's folder, with the visit it is of; raises LetterError or FolderError."""
    try:
        content, report = (place / "letter.eml").read_bytes(), (place / "report.pdf").read_bytes()
        visit_id = str(json.loads((place / "fitting.json").read_bytes())["visit"]["id"])
    except OSError as fault:
        msg = f"{place}: letter.eml, report.pdf and fitting.json are needed, and one cannot be read ({fault.strerror})."
        raise FolderError(msg) from fault
    except (ValueError, LookupError, TypeError) as fault:
        msg = f"{place}: fitting.json is damaged, so it is not known whether the letter was sent before."
        raise FolderError(msg) from fault
    letter = read(content, visit_id)
    if letter.pdf != report:
        msg = f"{place}: letter.eml carries another PDF than the report.pdf beside it. Send it from your mail program."
        raise LetterError(msg)
    return letter


# --- settings and password ------------------------------------------------------------------------------------------
def missing(settings: Settings) -> list[str]:
    """Name the settings that sending needs and that are empty."""
    return [name for name in ("mail_from", "smtp_host") if not getattr(settings, name)]


def server(settings: Settings, root: Path, environment: Mapping[str, str]) -> Server:
    """Give the studio's mail server with its password; raises SettingsError when something is missing."""
    lacking = missing(settings)
    if lacking:
        msg = f"{root / 'studio.toml'}: {' and '.join(lacking)} must be set before a letter can be sent."
        raise SettingsError(msg)
    password = _password(settings, root, environment) if settings.smtp_user else ""
    return Server(settings.smtp_host, settings.smtp_port, settings.smtp_security, settings.smtp_user, password)


def _password(settings: Settings, root: Path, environment: Mapping[str, str]) -> str:
    found = passwords.find(PASSWORD_VARIABLE, settings.smtp_password_file, "smtp_password_file", root, environment)
    if not found:
        msg = (
            f"the mail server needs a password for smtp_user. Write it into a text file that only you may read and "
            f"name that file in smtp_password_file, or set the variable {PASSWORD_VARIABLE}."
        )
        raise SettingsError(msg)
    return found


def password_file_note() -> str:
    """Say what cannot be checked of a password file on this system, if so."""
    if os.name == "posix":
        return ""
    return (
        "whether others may read smtp_password_file cannot be checked on this system: keep it in a folder of your own"
    )


# --- the way to the server ------------------------------------------------------------------------------------------
@contextmanager
def connected(to: Server) -> Iterator[smtplib.SMTP]:
    """Open an encrypted way to a server whose certificate is trusted, and log in; nothing is said in the clear.

    Raises LetterError with what to do; then nothing was sent.
    """
    try:
        post = _open(to)
    except (OSError, UnicodeError) as fault:  # smtplib's and ssl's own are OSErrors
        msg = f"{to}: {_why(fault, to)} {_NOTHING}"
        raise LetterError(msg) from fault
    try:
        yield post
    finally:
        with suppress(OSError):
            post.quit()
        post.close()


def _open(to: Server) -> smtplib.SMTP:
    trusted = ssl.create_default_context()
    post: smtplib.SMTP
    if to.security == "tls":
        post = smtplib.SMTP_SSL(to.host, to.port, _OURSELVES, timeout=TIMEOUT_S, context=trusted)
    else:
        post = smtplib.SMTP(to.host, to.port, _OURSELVES, timeout=TIMEOUT_S)
    try:
        if to.security != "tls":
            post.starttls(context=trusted)
        post.ehlo()
        if to.user:
            post.login(to.user, to.password)
    except BaseException:
        post.close()
        raise
    return post


def _why(fault: Exception, to: Server) -> str:
    """Say why a server was not reached, and what to do."""
    if isinstance(fault, ssl.SSLCertVerificationError):
        return f"its certificate is not trusted ({fault.verify_message}). Check smtp_host."
    if isinstance(fault, smtplib.SMTPAuthenticationError):
        return "it refused smtp_user or the password. Check both."
    other = {"tls": "starttls", "starttls": "tls"}[to.security]
    if isinstance(fault, smtplib.SMTPNotSupportedError):
        return f'it offers no encryption or no log-in there. Check smtp_port, and try smtp_security = "{other}".'
    if isinstance(fault, UnicodeError):
        return "smtp_host, smtp_user or the password has characters that cannot be sent to a mail server."
    if isinstance(fault, smtplib.SMTPException | ssl.SSLError | TimeoutError):
        return f'it did not answer as a mail server does. Check smtp_port, and try smtp_security = "{other}".'
    return f"it cannot be reached ({getattr(fault, 'strerror', None) or fault}). Check smtp_host and the network."


# --- sending, once --------------------------------------------------------------------------------------------------
def earlier(letter: Letter, ledger: Ledger) -> str:
    """Say what the ledger knows of earlier sendings of this letter: nothing, sent, begun without an end, or lost."""
    last = ledger.last_sending(letter.visit_id, letter.version)
    if last is None:
        return ""
    when = dt.datetime.fromisoformat(last.at).astimezone().strftime("%Y-%m-%d %H:%M")
    if last.state == "sent":
        return f"it was sent on {when}"
    if last.state == "marked":
        return f"staff noted on {when} that they had sent it themselves"
    if last.state == "unknown":
        return f"the ledger was lost before {when}, so it may have been sent"
    return f"sending began on {when} and never ended, so it may have arrived"


def send(
    letter: Letter, made: EmailMessage, to: Server, ledger: Ledger, now: Callable[[], dt.datetime], *, again: bool
) -> None:
    """Send a letter once.

    Noted as `sending` before it is handed over and as `sent` after; when the server surely refused it, the note goes.
    What was noted before is refused unless again is asked for.
    """
    before = earlier(letter, ledger)
    if before and not again:
        msg = f"{before}. Nothing was sent now. To send it once more, add --again."
        raise LetterError(msg)
    with connected(to) as post:
        begun = ledger.begin_sending(letter.visit_id, letter.version, now().isoformat(), again=again)
        if begun is None:
            msg = f"another baywright is sending it at this moment. {_NOTHING}"
            raise LetterError(msg)
        _LOG.info("Visit %s: its letter is being sent.", letter.visit_id[:8])
        _hand_over(post, letter.to, made, lambda sent: _end(ledger, begun, now(), sent=sent))


def _hand_over(post: smtplib.SMTP, to: str, made: EmailMessage, ended: Callable[[bool], None]) -> None:
    """Hand the message over; a clear refusal ends the sending, a way that broke leaves it open."""
    sender = made["From"].addresses[0].addr_spec
    try:
        post.sendmail(sender, [to], made.as_bytes())
    except (smtplib.SMTPResponseException, smtplib.SMTPRecipientsRefused) as fault:
        ended(False)
        msg = f"the mail server refused the letter ({_answer(fault)}). {_NOTHING}"
        raise LetterError(msg) from fault
    except OSError as fault:
        msg = (
            "the way to the mail server broke while the letter was handed over. It may have arrived: "
            "look into the mailbox of mail_from, or ask the customer, before you send it with --again."
        )
        raise LetterError(msg) from fault
    ended(True)


def _answer(fault: smtplib.SMTPResponseException | smtplib.SMTPRecipientsRefused) -> str:
    """Give what the server said."""
    code: int
    said: bytes | str
    if isinstance(fault, smtplib.SMTPRecipientsRefused):
        code, said = next(iter(fault.recipients.values()))
    else:
        code, said = fault.smtp_code, fault.smtp_error
    text = said.decode(errors="replace") if isinstance(said, bytes) else said
    return f"{code} {''.join(c if c.isprintable() else ' ' for c in text)[:200]}"


def _end(ledger: Ledger, begun: Sending, at: dt.datetime, *, sent: bool) -> None:
    try:
        ledger.end_sending(begun, at.isoformat(), sent=sent)
    except OSError as fault:
        what = "was sent" if sent else "was refused by the mail server"
        msg = f"the letter {what}, but that could not be noted ({fault.strerror}); it stays noted as begun."
        raise LetterError(msg) from fault
    _LOG.info("Visit %s: its letter was %s.", begun.visit[:8], "sent" if sent else "refused by the mail server")
