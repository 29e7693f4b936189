"""The desk's first page: what arrived, what needs a person, and how files are handed in."""

from pathlib import Path

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipeline import (
    answers,
    desk_list,
    desk_pages,
    desk_uploads,
    issuing,
    manifests,
    notes,
    profiles,
    questions,
    setting_back,
)
from pipeline import desk_facts as facts
from pipeline.desk_forms import back, field, is_refresh, page, posted, visit_of
from pipeline.desk_room import Room, heard_rows
from pipeline.ledger import Entry
from pipeline.questions import HAND

_MOST_ASKED = 10  # visits that need a person, on one page


def routes(room: Room) -> list[Route]:
    """Give the addresses of this page and its forms."""

    def arrived(request: Request) -> Response:
        return _page(room, request)

    def upload(request: Request, form: FormData) -> Response:
        return _upload(room, request, form)

    def answer(request: Request, form: FormData) -> Response:
        return back(request, _from(form), _answer(room, visit_of(room, request), form))

    def again(request: Request, form: FormData) -> Response:
        return back(request, _from(form), _again(room, visit_of(room, request)))

    def settled(request: Request, form: FormData) -> Response:
        return back(request, _from(form), _settled(room, visit_of(room, request)))

    return [
        Route("/", arrived),
        Route("/upload", posted(upload), methods=["POST"]),
        Route("/visit/{visit}/answer", posted(answer), methods=["POST"]),
        Route("/visit/{visit}/again", posted(again), methods=["POST"]),
        Route("/visit/{visit}/settled", posted(settled), methods=["POST"]),
    ]


def _from(form: FormData) -> str:
    """Give the page a form stood on, of the two that have it."""
    place = field(form, "from")
    return place if place.startswith("/visit/") and place[7:].isalnum() else "/"


# --- showing ----------------------------------------------------------------------------------------------------------
def _page(room: Room, request: Request, code: int = 200, fault: str = "") -> Response:
    wanted = desk_list.wanted(request.query_params)
    found = desk_list.found(room, wanted, request.query_params.get("page"))
    first = found.number == 1 and not wanted.any
    asking = room.asking() if first else []
    heard = heard_rows(room) if first else []
    mark = desk_pages.mark(room.top(), found.rows, heard)
    if is_refresh(request) and request.query_params.get("seen") == mark:
        return Response(status_code=204)  # nothing new: the page is left as it is, and so is what has the focus
    return page(
        room, request, "arrived", code, found=found, wanted=wanted, which=desk_list.WHICH, mark=mark, first=first,
        asking=[asked(room, entry) for entry in asking[:_MOST_ASKED]], more=max(0, len(asking) - _MOST_ASKED),
        heard=heard, fault=fault, here="/", most_mb=room.settings.largest_file_mb,
        left_alone=is_refresh(request) and "asked" in request.query_params,  # what somebody chooses there stays
    )  # fmt: skip


def asked(room: Room, entry: Entry) -> dict[str, object]:
    """Give what a visit that needs a person asks, or why it was set back."""
    note = notes.read(room.place.set_back / f"{entry.place}.txt")
    question = room.question(entry) if entry.state == "held" else None
    return {
        "id": entry.id,
        "name": entry.name,
        "held": entry.state == "held",
        "settled": room.is_settled(entry.state, entry.place or ""),
        "what": note.what if note else question.what if question else "",
        "to_do": note.to_do if note else "",
        "question": question,
        "copies": bool(entry.originals),
    }


# --- forms ------------------------------------------------------------------------------------------------------------
def _upload(room: Room, request: Request, form: FormData) -> Response:
    uploads = [item for item in form.getlist("files") if isinstance(item, UploadFile) and item.filename]
    files = [(upload.filename or "", upload.file.read()) for upload in uploads]
    together = field(form, "together") == "yes"
    largest = int(room.settings.largest_file_mb * 1_000_000)
    fault = desk_uploads.refusal(files, largest, together=together)
    if fault:
        return _page(room, request, 422, fault)
    try:
        names = desk_uploads.hand_in(room.place, files, field(form, "visit").strip(), together=together)
    except OSError as refused:
        return _page(room, request, 500, f"It could not be put into the drop folder: {refused.strerror}.")
    room.wake()
    said = f"“{names[0]}” is" if len(names) == 1 else f"{len(names)} files are"
    return back(request, "/", f"{said} in the drop folder. The report comes by itself.")


def _answer(room: Room, entry: Entry, form: FormData) -> str:
    """Keep an answer for every file of the layout, or the hand for this visit alone."""
    question = room.question(entry) if entry.state == "held" else None
    if question is None:
        return f"“{entry.name}” asks nothing any more."
    chosen = {str(number): field(form, str(number)) for number, _ in enumerate(question.items)}
    given = questions.given(question, chosen)
    if given is None:
        return f"“{entry.name}”: choose one answer for each column."
    with room.writing:
        if room.ledger.entry(entry.id) != entry:  # of two answers at one moment the first one counts
            return f"“{entry.name}” asks nothing any more."
        if question.items[0].kind == HAND:
            _keep_hand(room, entry, str(given.handed))
            said = f"“{entry.name}” is tried again."
        else:
            layout = profiles.Profile(Path(question.file).stem, profiles.fingerprint(question.header), given)
            answers.save(room.place.profiles, profiles.parse(profiles.written(layout), "answer"))
            for held in room.ledger.entries("held"):  # as the intake will: meanwhile none asks what was answered
                room.ledger.try_again(held.id)
            said = f"Remembered for every file with these headings. “{entry.name}” is tried again."
    room.wake()
    return said


def _keep_hand(room: Room, entry: Entry, hand: str) -> None:
    """Note the hand with this visit: the next golfer of the same layout may have the other one."""
    before = facts.kept(room.place, entry).content
    said = facts.written(before, {**facts.shown(before), "hand": hand})
    setting_back.clear(room.place, entry)
    manifests.keep(room.place, room.ledger, issuing.with_facts_of(room.place, entry, said))
    room.ledger.try_again(entry.id)


def _again(room: Room, entry: Entry) -> str:
    """Have a visit tried again."""
    if not entry.originals or not room.ledger.try_again(entry.id):
        return f"“{entry.name}” cannot be tried again. Drop its file again."
    room.wake()
    return f"“{entry.name}” is tried again."


def _settled(room: Room, entry: Entry) -> str:
    """Take note and copy away: staff have dealt with it."""
    if entry.state != "set_back":
        return f"“{entry.name}” is not set back any more."
    setting_back.clear(room.place, entry)
    return f"“{entry.name}” is settled."
