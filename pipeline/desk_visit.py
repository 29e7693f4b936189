"""The desk's page about one visit: who, clubs and shots, which make the next version; its report and its letter."""

from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipeline import (
    desk_changes,
    desk_columns,
    desk_earlier,
    desk_facts,
    desk_fitting,
    desk_issuing,
    desk_letter,
    desk_levers,
    desk_pages,
    desk_regroup,
    desk_report_pages,
    issuing,
)
from pipeline.desk_arrived import asked
from pipeline.desk_changes import FaultyFieldsError
from pipeline.desk_forms import back, field, filled, page, posted, visit_of
from pipeline.desk_issuing import folder_of
from pipeline.desk_room import Room
from pipeline.errors import PipelineError, SettingsError
from pipeline.issuing import Again
from pipeline.ledger import Entry
from pipeline.records import Refusal
from pipeline.studio import EARLIER

_FILES = {
    "report.pdf": ("application/pdf", "inline"),
    "letter.eml": ("message/rfc822", "attachment"),
    "shots.csv": ("text/csv; charset=utf-8", "attachment"),
}
_LARGEST = 100_000_000
_MOST_FIELDS = 5_000  # two for each shot of the largest visit
_CHANGED_MEANWHILE = (
    "Somebody changed this visit while you were at it, so yours was not kept. Under each field you changed stands what "
    "is kept now; all others show that already. Put right what is wrong, then press the button again."
)
_KEPT_ALREADY = "All of that is kept already: the newest version has it."
# a browser's own viewer of PDFs styles its page itself
_FILE_POLICY = "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'"


def routes(room: Room) -> list[Route]:
    """Give the addresses of this page, its files and its form."""

    def visit(request: Request) -> Response:
        return _page(room, request, visit_of(room, request))

    def file(request: Request) -> Response:
        return _file(room, visit_of(room, request), request.path_params["file"])

    def flight(request: Request) -> Response:
        folder = folder_of(room, visit_of(room, request))
        drawn = desk_fitting.flight(room, folder, request.path_params["shot"])
        if drawn is None:
            raise HTTPException(404, "There is no such shot here.")
        return Response(drawn, media_type="image/svg+xml")

    def change(request: Request, form: FormData) -> Response:
        return _change(room, request, visit_of(room, request), form)

    return [
        Route("/visit/{visit}", visit),
        Route("/visit/{visit}/facts", posted(change, _MOST_FIELDS), methods=["POST"]),
        Route("/visit/{visit}/flight/{shot}.svg", flight),
        Route("/visit/{visit}/{file}", file),
    ]


# --- showing ----------------------------------------------------------------------------------------------------------
def _page(
    room: Room, request: Request, entry: Entry, code: int = 200, /, typed: Mapping[str, str] | None = None,
    fault: str = "", faults: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    shown = _shown(room, entry, request.query_params, typed, faults or {})
    return page(room, request, "visit", code, fault=fault, **shown)


def _shown(
    room: Room, entry: Entry, query: Mapping[str, str], typed: Mapping[str, str] | None, faults: Mapping[str, str]
) -> dict[str, Any]:
    """Give all the page shows of a visit."""
    folder = folder_of(room, entry)
    known = issuing.issued(folder) if folder else None
    newer = known.visit_id if known and known.visit_id != entry.id else ""
    report = desk_fitting.report(room, folder) if known and not newer else None
    form = desk_fitting.form(room, entry, report, typed, faults) if known and not newer else None
    return {
        "visit": entry, "state": desk_pages.state_words(entry.state), "known": known, "newer": newer, "form": form,
        "here": "", "files": sorted(name for name, _ in entry.originals),
        "letter": desk_letter.shown(room, entry, query), "earlier": _earlier(folder) if folder else [],
        "earlier_visits": desk_earlier.shown(room, entry),
        "asked": asked(room, entry) if entry.state in ("held", "set_back") else None,
        "levers": desk_levers.shown(room, entry, query),
        "regroup": desk_regroup.shown(room, entry, may=form is not None, report=report),
        "columns": desk_columns.shown(room, entry) if form else None,
    }  # fmt: skip


def look_ahead(room: Room) -> None:
    """Make the newest visit's page for nobody: all that is loaded on the way need not be loaded for the first asker."""
    for newest in room.ledger.list.visits(("reported",), 0, 1):
        entry = room.ledger.entry(newest.id)
        if entry:
            common = {"top": room.top(), "word": "", "said": "", "studio": room.settings.name, "fault": ""}
            filled("visit", **common, **_shown(room, entry, {}, None, {}))


def _earlier(folder: Path) -> list[str]:
    """Name the earlier versions, the newest first."""
    with suppress(OSError):
        numbers = [path.name.removeprefix("version ") for path in (folder / EARLIER).glob("version *")]
        return sorted((number for number in numbers if number.isdecimal()), key=int, reverse=True)
    return []


def _file(room: Room, entry: Entry, name: str) -> Response:
    """Hand out a file of a report's folder; the PDF of a version is `version-<number>.pdf`."""
    folder, content = folder_of(room, entry), None
    number = name.removeprefix("version-").removesuffix(".pdf")
    if name == f"version-{number}.pdf":
        content = desk_report_pages.pdf(room, entry, number)
    elif folder and name in _FILES:
        content = desk_fitting.content(room, folder / name, _LARGEST)
    if content is None:
        raise HTTPException(404, "There is no such file here.")
    kind, how = _FILES.get(name, _FILES["report.pdf"])
    shown = f'{how}; filename="{name}"'
    return Response(
        content, media_type=kind, headers={"content-disposition": shown, "content-security-policy": _FILE_POLICY}
    )


# --- changing ---------------------------------------------------------------------------------------------------------
def _change(room: Room, request: Request, entry: Entry, form: FormData) -> Response:
    """Keep corrected facts and make the next version; nobody's earlier change is lost."""
    typed = {key: field(form, key) for key in form if key not in ("word", "mark")}
    try:
        with room.writing, room.alone():
            newest = room.ledger.entry(entry.id) or entry
            kept, report = desk_facts.kept(room.place, newest), desk_fitting.report(room, folder_of(room, newest))
            known = desk_changes.shown(kept.content, report)
            if field(form, "mark") != kept.mark or desk_changes.strays(typed, known):
                former = desk_facts.former(room.place, field(form, "mark"))
                typed = desk_changes.rebased(typed, former, known, report)
                if desk_changes.is_kept(kept.content, typed, known, report):
                    return back(request, f"/visit/{entry.id}", _KEPT_ALREADY)
                return _page(room, request, newest, 409, typed=typed, fault=_CHANGED_MEANWHILE)
            content = desk_changes.written(kept.content, {**known, **typed}, report)
            same = desk_changes.says_the_same(content, kept.content)
            outcome = desk_issuing.issue(room, newest, room.answers().by_layout, None if same else content)
    except FaultyFieldsError as fault:
        return _page(room, request, entry, 422, typed=typed, faults=fault.faults)
    except (PipelineError, OSError) as fault:
        said = fault.strerror if isinstance(fault, OSError) else str(fault)
        code = 422 if isinstance(fault, SettingsError) else 503
        return _page(room, request, entry, code, typed=typed, fault=f"{said} No new version was made.")
    if isinstance(outcome, Refusal):
        said = " ".join(part for part in (outcome.what, outcome.to_do) if part)
        return _page(room, request, entry, 422, typed=typed, fault=f"{said} No new version was made.")
    return back(request, f"/visit/{entry.id}", _became(outcome))


def _became(outcome: Again) -> str:
    if outcome.new:
        return f"Version {outcome.version} is made. The one before is kept."
    what = "It is kept; nothing of it is in the report" if outcome.kept else "Nothing has changed"
    return f"{what}: version {outcome.version} stands."
