"""The desk as a web app for this computer's own browser: guard, pages, style sheet, and plain words for faults."""

import logging
import time
from collections.abc import Callable

from starlette.applications import Starlette
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from pipeline import (
    desk_arrived,
    desk_clubs,
    desk_columns,
    desk_letter_forms,
    desk_levers,
    desk_regroup,
    desk_report_pages,
    desk_settings,
    desk_visit,
    report,
)
from pipeline.desk_forms import posted
from pipeline.desk_guard import LEAVE, Guard, Keys, Sessions
from pipeline.desk_room import Room
from pipeline.errors import PipelineError, trail
from pipeline.resources import folder

_UPLOADS_AT_ONCE = 4  # times the largest visit
_STATIC = {
    "desk.css": "text/css; charset=utf-8", "mark.svg": "image/svg+xml",
    "forms.js": "text/javascript; charset=utf-8", "htmx.min.js": "text/javascript",
}  # fmt: skip
_FONTS = ("SourceSans3-Regular.ttf", "SourceSans3-Semibold.ttf")
_LOG = logging.getLogger("baywright")


def make(room: Room, keys: Keys, port: int, clock: Callable[[], float] = time.monotonic) -> Starlette:
    """Make the app; whatever it answers has passed the guard."""

    def most() -> int:
        return int(_UPLOADS_AT_ONCE * room.settings.largest_file_mb * 1_000_000)

    guard = Middleware(
        Guard, port=port, keys=keys, sessions=Sessions(clock), most_upload_bytes=most, fault=lambda f: _said(room, f)
    )
    routes = [
        Route("/static/{name}", _static),
        Route("/favicon.ico", lambda _: RedirectResponse("/static/mark.svg")),
        Route(LEAVE, posted(_leave), methods=["POST"]),
        *desk_arrived.routes(room),
        *desk_levers.routes(room),
        *desk_regroup.routes(room),
        *desk_columns.routes(room),
        *desk_report_pages.routes(room),
        *desk_visit.routes(room),
        *desk_letter_forms.routes(room),
        *desk_clubs.routes(room),
        *desk_settings.routes(room),
    ]

    async def said(_request: Request, fault: Exception) -> Response:
        return _said(room, fault)

    faults = dict.fromkeys((HTTPException, PipelineError, OSError), said)
    return Starlette(routes=routes, middleware=[guard], exception_handlers=faults)


def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name in _FONTS:
        return Response((folder("report_templates") / "fonts" / name).read_bytes(), media_type="font/ttf")
    if name not in _STATIC:
        raise HTTPException(404, "There is no such file here.")
    return Response((folder("report_templates") / "desk" / name).read_bytes(), media_type=_STATIC[name])


def _leave(request: Request, _form: FormData) -> Response:
    request.scope["desk_leave"]()
    html = report.environment().get_template("desk/left.html.j2").render()
    return HTMLResponse(html)


def _said(room: Room, fault: Exception) -> Response:
    """Say what went wrong in a sentence; of a fault of ours the log keeps the kind and place."""
    code, what = 500, ""
    if isinstance(fault, HTTPException):
        code, what = fault.status_code, str(fault.detail)
    elif isinstance(fault, PipelineError):
        what = str(fault)
    elif isinstance(fault, OSError):
        what = f"The disk or a folder refused: {fault.strerror or type(fault).__name__}. Try it again in a while."
    else:
        _LOG.error("The desk met a fault of ours: %s.", trail(fault))
        what = "A fault of ours, not of your files; it is written in work/log.txt. The watcher goes on."
    template = report.environment().get_template("desk/fault.html.j2")
    return HTMLResponse(template.render(what=what, studio=room.settings.name), code)
