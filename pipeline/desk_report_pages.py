"""The desk's look at a report page by page, in pictures, as most tablets' browsers cannot show a PDF.

Each address names the version: what is looked at stays what it is, whatever is made meanwhile.
"""

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipeline import desk_fitting, issuing
from pipeline.desk_forms import page, visit_of
from pipeline.desk_issuing import folder_of
from pipeline.desk_room import Room
from pipeline.errors import ReportError
from pipeline.ledger import Entry
from pipeline.studio import EARLIER

_LARGEST = 50_000_000  # bytes; one of 2,000 shots has two million
_NOT_SHOWN = "This report cannot be shown as pages. Open the PDF itself."


def routes(room: Room) -> list[Route]:
    """Give the addresses of the page and of its pictures."""

    def pages(request: Request) -> Response:
        return _pages(room, request, visit_of(room, request))

    def picture(request: Request) -> Response:
        return _picture(room, request, visit_of(room, request))

    return [Route("/visit/{visit}/pages", pages), Route("/visit/{visit}/page-{number:int}.png", picture)]


def pdf(room: Room, entry: Entry, version: str) -> bytes | None:
    """Read the PDF of a version, an earlier one or the newest; None when there is no such."""
    folder = folder_of(room, entry)
    if folder is None or not (version.isdecimal() and version.isascii()):
        return None
    earlier = desk_fitting.content(room, folder / EARLIER / f"version {version}" / "report.pdf", _LARGEST)
    if earlier is not None or version != _newest(room, entry):
        return earlier
    return desk_fitting.content(room, folder / "report.pdf", _LARGEST)


def _newest(room: Room, entry: Entry) -> str:
    folder = folder_of(room, entry)
    known = issuing.issued(folder) if folder else None
    return str(known.version) if known else ""


def _pages(room: Room, request: Request, entry: Entry) -> Response:
    version = request.query_params.get("version") or _newest(room, entry)
    content = pdf(room, entry, version)
    if content is None:
        raise HTTPException(404, "There is no such report here.")
    try:
        sizes, fault = room.side.pages(content), ""
    except ReportError:
        sizes, fault = (), _NOT_SHOWN
    return page(room, request, "report_pages", visit=entry, version=version, sizes=sizes, fault=fault, here="")


def _picture(room: Room, request: Request, entry: Entry) -> Response:
    content = pdf(room, entry, request.query_params.get("version", ""))
    try:
        drawn = None if content is None else room.side.picture(content, request.path_params["number"])
    except ReportError:
        drawn = None
    if drawn is None:
        raise HTTPException(404, "There is no such page here.")
    return Response(drawn, media_type="image/png")
