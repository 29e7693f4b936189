"""The step “What each lever was worth” of a visit's page: the report's comparison and levers, and “What if?”."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from pipeline import desk_whatif, fitting_file, fitting_record, report, studio, whatif_words, wording
from pipeline.desk_forms import is_refresh, visit_of
from pipeline.desk_room import Room
from pipeline.desk_whatif import Panel
from pipeline.errors import FolderError
from pipeline.ledger import Entry

_FILE = "fitting.json"
_WHERE = f"{_FILE} beside the report"
# twice what a visit of 2,000 shots needs; the worst that can stand in it takes half a second and 120 MB to read
_LARGEST = 5_000_000


@dataclass(frozen=True, slots=True)
class LeversShown:
    """What the step shows: what the report says of clubs and levers, in its own language; fault says why it cannot."""

    said: Mapping[str, Any] | None = None
    panel: Panel | None = None
    fault: str = ""


def routes(room: Room) -> list[Route]:
    """Give the address at which a page with script asks for the answer alone."""

    def what_if(request: Request) -> Response:
        return _what_if(room, request, visit_of(room, request))

    return [Route("/visit/{visit}/what-if", what_if)]


def shown(room: Room, entry: Entry, given: Mapping[str, str]) -> LeversShown | None:
    """Give the step for a visit, its panel as filled in; None while it has no report of its own."""
    try:
        content = _content(room, entry)
        panel = None if content is None else _panel(room, entry, content, given)
        if content is None or panel is None:
            return None
        with fitting_file.understood(_WHERE):
            said = report.of_levers(wording.page_of(fitting_record.read(content, _WHERE), room.settings))
        return LeversShown(said, panel)
    except FolderError as fault:
        return LeversShown(fault=str(fault))


def _content(room: Room, entry: Entry) -> bytes | None:
    """Read what the report says in figures; None when there is no report."""
    if entry.state != "reported" or not entry.place:
        return None
    path = room.place.outbox / entry.place / _FILE
    try:
        return studio.read_plain(path, _LARGEST)
    except FileNotFoundError:
        return None
    except OSError as fault:
        msg = f"{_WHERE}: it cannot be read ({fault.strerror}). Try it again in a while."
        raise FolderError(msg) from fault
    except ValueError as fault:
        msg = f"{_WHERE}: {fault}, so it is none of this program's. Put the one of the report back."
        raise FolderError(msg) from fault


def _panel(room: Room, entry: Entry, content: bytes, given: Mapping[str, str]) -> Panel | None:
    """Give the panel; None where a later visit with these shots has its report."""
    kept = fitting_file.read(content, _WHERE)
    if kept.visit_id != entry.id:
        return None
    with fitting_file.understood(_WHERE):
        return desk_whatif.panel(kept, whatif_words.shown_to_staff(room.settings.units_shown), given)


def _what_if(room: Room, request: Request, entry: Entry) -> Response:
    """Give the panel alone, with its answer; somebody who comes by the address is led to the whole page."""
    if not is_refresh(request):
        return RedirectResponse(f"/visit/{entry.id}?{request.url.query}#what-if", 303)
    content = _content(room, entry)
    panel = None if content is None else _panel(room, entry, content, request.query_params)
    if panel is None:
        raise HTTPException(404, "This visit has no report any more. Load the page again.")
    template = report.environment().get_template("desk/what_if.html.j2")
    return HTMLResponse(template.render(visit=entry, panel=panel))
