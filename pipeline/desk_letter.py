"""The step "The letter" of a visit's page: its words as staff want them, its sending, staff's note that they did."""

import datetime as dt
import hashlib
import os
import re
import tomllib
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pipeline import desk_facts, desk_former, issuing, letter, mailing, settings_form, studio
from pipeline.desk_former import Former
from pipeline.desk_room import Room
from pipeline.desk_sent import NOT_SENT, SENT, Gone
from pipeline.errors import LetterError
from pipeline.ledger import Entry
from pipeline.letter import LONGEST_SUBJECT, Letter, words_mark

LONGEST_TEXT = 20_000
_SETTING = re.compile(r"\b(?:mail_from|smtp_(?:host|port|security|user|password_file))\b")
_LARGEST = 100_000_000


@dataclass(frozen=True, slots=True)
class Words:
    """A letter's words: as they stand in it, or as somebody typed them."""

    subject: str
    text: str

    @property
    def mark(self) -> str:
        """Tell these words from others, however they are spaced."""
        return words_mark(self.subject, self.text)


_NO_WORDS, _UNSENT = Words("", ""), Gone(NOT_SENT)


@dataclass(frozen=True, slots=True)
class LetterStep:
    """What the step shows; mark tells one state of letter.eml from another, trouble why it cannot be read.

    typed is what is in the fields, kept what stands in letter.eml where that is something else; before is when the
    letter of an earlier version went out.
    """

    trouble: str = ""
    letter: Letter | None = None
    mark: str = ""
    version: str = ""
    typed: Words = _NO_WORDS
    kept: Words | None = None
    gone: Gone = _UNSENT
    before: str = ""
    former: Former | None = None
    consent: str = ""
    server: str = ""  # through which it would be sent; empty when no mail is set up
    fault_at: str = ""  # the field at fault: subject or text
    there: bool = True
    taken_from: str = ""  # the version whose words are in the field
    is_asked: bool = False  # a form of this step brought somebody here

    @property
    def words(self) -> str:
        """Tell the words of letter.eml from others; empty where it cannot be read."""
        return words_mark(self.letter.subject, self.letter.text) if self.letter else ""

    @property
    def is_sent(self) -> bool:
        """Tell whether it went out for all that is known."""
        return self.gone.state == SENT


def shown(
    room: Room, entry: Entry, query: Mapping[str, str], *, typed: Words | None = None, fault_at: str = ""
) -> LetterStep | None:
    """Put the step together; None where a visit has no letter of its own.

    In the page's query `words` is the number of an earlier version whose words are put into the field, not yet kept.
    """
    folder = folder_of(room, entry)
    if folder is None:
        return None
    consent = _consent(desk_facts.kept(room.place, entry).content)
    content = b""
    try:
        content = content_in(room, folder)
        found = letter.read(content, entry.id)
    except LetterError as fault:
        return LetterStep(trouble=_upper(str(fault)), consent=consent, there=bool(content))
    gone, before = _sendings(room, entry, folder)
    as_kept = Words(found.subject, found.text)
    words_of = query.get("words", "")
    taken = desk_former.words(folder, words_of) if words_of else ""
    in_fields = typed or (Words(found.subject, taken) if taken else as_kept)
    return LetterStep(
        letter=found, mark=mark_of(content), version=room.sent.version(folder), gone=gone, before=before,
        typed=in_fields, kept=as_kept if in_fields != as_kept else None, taken_from=words_of if taken else "",
        former=desk_former.former(folder) if not found.reworded and gone.state == NOT_SENT else None,
        consent=consent, fault_at=fault_at, is_asked="letter" in query,
        server="" if mailing.missing(room.settings) else f"{room.settings.smtp_host}, port {room.settings.smtp_port}",
    )  # fmt: skip


def _sendings(room: Room, entry: Entry, folder: Path) -> tuple[Gone, str]:
    """Give whether this letter went out, and when one of an earlier version did."""
    others = [one.id for one in room.ledger.at_same_place(entry.id) if one.place == entry.place]
    notes = room.ledger.letters.last([entry.id, *others])
    gone = room.sent.gone(folder, notes.get(entry.id))
    earlier = [note for of_visit in notes.values() for note in of_visit.values() if note != gone.note]
    return gone, Gone(SENT, max(earlier, key=lambda note: note.at)).words if earlier else ""


def folder_of(room: Room, entry: Entry) -> Path | None:
    """Give the folder with the report of a visit; None when there is none, or a later visit took it over."""
    folder = room.place.outbox / entry.place if entry.state == "reported" and entry.place else None
    known = issuing.issued(folder) if folder else None
    return folder if known and known.visit_id == entry.id else None


def content_in(room: Room, folder: Path) -> bytes:
    """Read letter.eml; raises LetterError when it is not there, or leads out of the studio."""
    path = folder / "letter.eml"
    with suppress(OSError):
        inside = path.resolve(strict=True).is_relative_to(room.place.outbox.resolve())
        if inside and path.is_file() and path.stat().st_size <= _LARGEST:
            return path.read_bytes()
    msg = "letter.eml is not there any more. Making the next version of the report makes it anew."
    raise LetterError(msg)


def mark_of(content: bytes) -> str:
    """Give a mark of what letter.eml holds."""
    return hashlib.sha256(content).hexdigest()[:32]


def _consent(content: bytes) -> str:
    with suppress(ValueError, RecursionError):
        said = tomllib.loads(content.decode("utf-8-sig")).get("consent")
        return said.strip() if isinstance(said, str) else ""
    return ""


# --- words ------------------------------------------------------------------------------------------------------------
class ChangedError(LetterError):
    """letter.eml is not what the form was made from."""


class UnsavedError(LetterError):
    """The fields have other words than letter.eml."""


def faulty(words: Words) -> tuple[str, str]:
    """Say what is wrong with words, and in which field; nothing when they will do."""
    if not words.subject.strip():
        return "The letter needs a subject.", "subject"
    if len(words.subject) > LONGEST_SUBJECT:
        return f"The subject is too long: at most {LONGEST_SUBJECT} characters.", "subject"
    if not words.text.strip():
        return "The letter needs some words.", "text"
    if len(words.text) > LONGEST_TEXT:
        return f"The letter is too long: at most {LONGEST_TEXT:,} characters.", "text"
    return "", ""


def save(room: Room, entry: Entry, words: Words, mark: str) -> None:
    """Write other words into letter.eml; what it carries and whom it goes to stay.

    Raises ChangedError when it is not what the mark says, LetterError when it is no letter, FolderError while another
    program is at work on the studio, and OSError.
    """
    with room.writing, room.alone():
        folder, content = _unchanged(room, entry, mark)
        made = letter.reworded(content, entry.id, words.subject, words.text, room.settings)
        studio.write_file(folder / "letter.eml", made, studio.SHARED)


def _unchanged(room: Room, entry: Entry, mark: str) -> tuple[Path, bytes]:
    newest = room.ledger.entry(entry.id) or entry
    folder = folder_of(room, newest)
    if folder is None:
        msg = "There is no report of this visit any more."
        raise LetterError(msg)
    content = content_in(room, folder)
    if mark_of(content) != mark:
        msg = "The letter was changed meanwhile."
        raise ChangedError(msg)
    return folder, content


# --- sending ----------------------------------------------------------------------------------------------------------
def send(room: Room, entry: Entry, mark: str, number: int, typed: Words | None = None) -> str:
    """Send the letter that was shown, once, or once more than the `number` of times that was shown; gives whom to.

    typed: the words in the fields, where there are some. Raises ChangedError when it is not that letter, UnsavedError
    when other words were typed, LetterError and SettingsError with what to do.
    """
    found = mailing.letter_in(_unchanged(room, entry, mark)[0])
    _unchanged(room, entry, mark)  # what was read between is that letter, and no newer one
    if typed and typed.mark != words_mark(found.subject, found.text):
        raise UnsavedError
    if not found.to:
        msg = "The letter has no address. Write the customer's e-mail address under “Who is it?”. Nothing was sent."
        raise LetterError(msg)
    last = room.ledger.last_sending(entry.id, found.version)
    if (last.number if last else 0) != number:
        why = mailing.earlier(found, room.ledger) or "it is noted in another way than this page said"
        msg = f"{_upper(why)}. Nothing was sent now."
        raise LetterError(msg)
    server = mailing.server(room.settings, room.place.root, os.environ)
    made = letter.message(found, room.settings, now(), unsent=False)
    try:
        mailing.send(found, made, server, room.ledger, now, again=number > 0)
    except LetterError as fault:
        said = str(fault).replace("the mailbox of mail_from", f"the mailbox of {room.settings.mail_from}")
        raise LetterError(_for_the_desk(said, f"{server}:")) from fault
    return found.to


def _for_the_desk(said: str, through: str) -> str:
    """Say what went wrong without the options of the command, and call settings as their page does."""
    said = said.replace(through, f"The mail server {through}")
    plain = said.replace(" To send it once more, add --again.", "").replace("send it with --again", "send it once more")
    return with_labels(plain)


def with_labels(said: str) -> str:
    """Call the settings in a sentence about mail as the page of settings does, and say where they are."""
    named = _SETTING.sub(lambda found: f"“{settings_form.label_of(found.group())}”", said)
    return _upper(said if named == said else f"{named} See “Letters by e-mail” on the page Settings.")


def _upper(said: str) -> str:
    return said[:1].upper() + said[1:]


def note_sent(room: Room, entry: Entry, version: str, number: int) -> bool:
    """Note that staff sent the letter themselves; False when something else happened to it meanwhile."""
    folder = folder_of(room, entry)
    if folder is None or not version or room.sent.version(folder) != version:
        return False
    return room.ledger.letters.mark(entry.id, version, number, now().isoformat())


def now() -> dt.datetime:
    """Give the time."""
    return dt.datetime.now(dt.UTC)
