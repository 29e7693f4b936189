"""The forms of the step "The letter": what each does, and the page that is shown when it cannot."""

import threading

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipeline import desk_letter
from pipeline.desk_forms import back, field, page, posted, visit_of
from pipeline.desk_letter import ChangedError, UnsavedError, Words
from pipeline.desk_room import Room
from pipeline.errors import LetterError, PipelineError
from pipeline.ledger import Entry

_CHANGED = (
    "letter.eml was changed while you were at it, so yours was not kept. Under the fields stands what is in it now. "
    "Take over what is right, then save again."
)
_NOT_THAT = "The letter was changed after this page was made, so it was not sent. Read it again, then send it."
_STILL_THERE = " What you typed is still in the fields, not saved. Check it against what is in the letter now."
_UNSAVED = "You changed the letter and did not save it yet, so it was not sent. Save the letter, then send it."


def routes(room: Room) -> list[Route]:
    """Give the addresses of the forms."""
    sending = threading.Lock()  # a second click waits for the first, and then finds its note

    def save(request: Request, form: FormData) -> Response:
        return _save(room, request, visit_of(room, request), form)

    def send(request: Request, form: FormData) -> Response:
        with sending:
            return _send(room, request, visit_of(room, request), form)

    def note(request: Request, form: FormData) -> Response:
        entry = visit_of(room, request)
        done = desk_letter.note_sent(room, entry, field(form, "version"), _number(form))
        return _back(request, entry, "Noted: the letter was sent." if done else _MEANWHILE)

    def take_back(request: Request, form: FormData) -> Response:
        entry = visit_of(room, request)
        done = room.ledger.letters.unmark(entry.id, field(form, "version"), _number(form))
        return _back(request, entry, "The note is taken back." if done else _MEANWHILE)

    forms = (("", save), ("/send", send), ("/sent", note), ("/not-sent", take_back))
    return [Route(f"/visit/{{visit}}/letter{end}", posted(handler), methods=["POST"]) for end, handler in forms]


_MEANWHILE = "Something else happened to this letter meanwhile, so nothing was noted. Look at how it stands now."


def _number(form: FormData) -> int:
    text = field(form, "number")
    return int(text) if text.isdecimal() and text.isascii() and len(text) < 9 else -1


def _back(request: Request, entry: Entry, said: str) -> Response:
    return back(request, f"/visit/{entry.id}?letter#letter", said)


def _page(
    room: Room, request: Request, entry: Entry, code: int, fault: str, *, typed: Words | None = None, at: str = ""
) -> Response:
    """Show the step alone, with what went wrong."""
    step = desk_letter.shown(room, room.ledger.entry(entry.id) or entry, {}, typed=typed, fault_at=at)
    return page(room, request, "letter", code, visit=entry, letter=step, fault=fault, here="")


def _typed(form: FormData) -> Words:
    return Words(field(form, "subject"), field(form, "text").replace("\r\n", "\n"))


def _save(room: Room, request: Request, entry: Entry, form: FormData) -> Response:
    typed = _typed(form)
    fault, at = desk_letter.faulty(typed)
    if fault:
        return _page(room, request, entry, 422, f"{fault} Nothing was saved.", typed=typed, at=at)
    try:
        desk_letter.save(room, entry, typed, field(form, "mark"))
    except ChangedError:
        step = desk_letter.shown(room, room.ledger.entry(entry.id) or entry, {}, typed=typed)
        if step and typed.mark == step.words:  # the button was pressed twice
            return _back(request, entry, "The letter is saved.")
        return _page(room, request, entry, 409, _CHANGED, typed=typed)
    except (PipelineError, OSError) as refused:
        said = refused.strerror if isinstance(refused, OSError) else str(refused)
        return _page(room, request, entry, 503, f"{said} Nothing was saved.", typed=typed)
    return _back(request, entry, "The letter is saved.")


def _send(room: Room, request: Request, entry: Entry, form: FormData) -> Response:
    typed = _typed(form) if "text" in form else None  # a letter that went out stands there without fields
    try:
        to = desk_letter.send(room, entry, field(form, "mark"), _number(form), typed)
    except ChangedError:
        if typed and typed.mark != field(form, "words"):
            return _page(room, request, entry, 409, _NOT_THAT + _STILL_THERE, typed=typed)
        return _page(room, request, entry, 409, _NOT_THAT)
    except UnsavedError:
        return _page(room, request, entry, 409, _UNSAVED, typed=typed)
    except LetterError as refused:
        return _page(room, request, entry, 502, str(refused))
    except PipelineError as refused:  # what is set, or a password, is not right
        return _page(room, request, entry, 422, desk_letter.with_labels(f"{refused} Nothing was sent."))
    return _back(request, entry, f"The letter was sent to {to}.")
