"""The desk's pages and forms: templates filled in, forms taken only when this session's page made them."""

from collections.abc import Awaitable, Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from pipeline import report
from pipeline.desk_guard import REFRESH, Session, is_form_word
from pipeline.desk_room import Room
from pipeline.ledger import Entry

Handler = Callable[[Request, FormData], Response]
_MOST_FILES, _MOST_FIELDS = 500, 500


def session_of(request: Request) -> Session:
    """Give the session a request belongs to."""
    found: Session = request.scope["desk_session"]
    return found


def page(room: Room, request: Request, name: str, code: int = 200, /, **context: Any) -> HTMLResponse:  # noqa: ANN401
    """Fill in a page; what came of the last form is said once."""
    session = session_of(request)
    said = "" if is_refresh(request) else session.said
    session.said = session.said if is_refresh(request) else ""  # it is for the page somebody looks at
    common = {"top": room.top(), "word": session.word, "said": said, "studio": room.settings.name}
    return HTMLResponse(filled(name, **common, **{"fault": "", **context}), code)


def filled(name: str, **context: Any) -> str:  # noqa: ANN401
    """Fill in a template of the desk."""
    return report.environment().get_template(f"desk/{name}.html.j2").render(**context)


def is_refresh(request: Request) -> bool:
    """Tell whether a page asks by itself for what is new."""
    return REFRESH in request.headers


def back(request: Request, to: str, said: str) -> RedirectResponse:
    """Go on to a page, and say there what came of the form."""
    session_of(request).said = said
    return RedirectResponse(to, 303)


def posted(handler: Handler, most_fields: int = _MOST_FIELDS) -> Callable[[Request], Awaitable[Response]]:
    """Have a form of this session handled; the work is done beside the loop that answers others."""

    async def endpoint(request: Request) -> Response:
        async with request.form(max_files=_MOST_FILES, max_fields=most_fields) as form:
            if not is_form_word(request.scope, form):
                raise HTTPException(403, "This form is too old. Go back, load the page again and fill it in once more.")
            return await run_in_threadpool(handler, request, form)

    return endpoint


def field(form: FormData, name: str) -> str:
    """Give a field of a form as text; a file in its place is none."""
    value = form.get(name, "")
    return value if isinstance(value, str) else ""


def visit_of(room: Room, request: Request) -> Entry:
    """Give the visit an address names."""
    found = room.ledger.entry(request.path_params["visit"])
    if found is None or not found.name:
        raise HTTPException(404, "There is no such visit here.")
    return found
