"""Columns of a visit's files that nobody knows: staff say what they are, for every file with the same headings."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipeline import answers, desk_issuing, profiles, questions, unknown_columns
from pipeline.desk_forms import back, field, page, posted, visit_of
from pipeline.desk_room import Room
from pipeline.errors import PipelineError
from pipeline.issuing import Again
from pipeline.ledger import Entry
from pipeline.records import Given, Refusal
from pipeline.schema import measurements
from pipeline.unknown_columns import AS_STATED, Layout, Unknown

_OTHERS_NOW = (
    "What is known of these columns has changed meanwhile, so nothing was kept. Below stands what is still open."
)


@dataclass(frozen=True, slots=True)
class Field:
    """One unknown column: its field, first values as written, and (quantity, ((value, words), …)) to choose from."""

    key: str
    heading: str
    file: str
    values: tuple[str, ...]
    groups: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    alone: bool  # no other column of the file has its heading


@dataclass(frozen=True, slots=True)
class ColumnsShown:
    """What the section shows: its fields, what was chosen, and what is wrong with it; several: of several layouts."""

    fields: tuple[Field, ...]
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    several: bool


def routes(room: Room) -> list[Route]:
    """Give the address of the form."""

    def remember(request: Request, form: FormData) -> Response:
        return _remember(room, request, visit_of(room, request), form)

    return [Route("/visit/{visit}/columns", posted(remember), methods=["POST"])]


def shown(
    room: Room, entry: Entry, typed: Mapping[str, str] | None = None, faults: Mapping[str, str] | None = None
) -> ColumnsShown | None:
    """Give the section; None when every column of the visit is known."""
    layouts = room.left_aside(entry)
    fields = tuple(_field(one, column) for one in layouts for column in one.columns)
    return ColumnsShown(fields, typed or {}, faults or {}, len(layouts) > 1) if fields else None


def _field(layout: Layout, column: Unknown) -> Field:
    groups = tuple(
        (
            measurements()[name].said,
            tuple((f"{name}|{unit}", f"{measurements()[name].called}, {_in(unit)}") for unit in units),
        )
        for name, units in column.choices
        if name in measurements()
    )
    return Field(layout.key(column), column.heading, layout.file, column.values, groups, column.alone)


def _in(unit: str) -> str:
    return {AS_STATED: "in the unit the file states", "one": "as a number"}.get(unit) or questions.in_unit(unit)


# --- the form ---------------------------------------------------------------------------------------------------------
def _page(
    room: Room, request: Request, entry: Entry, code: int, fault: str = "", *,
    typed: Mapping[str, str] | None = None, faults: Mapping[str, str] | None = None,
) -> Response:  # fmt: skip
    """Show the section alone, with what went wrong."""
    columns = shown(room, entry, typed, faults)
    return page(room, request, "columns", code, visit=entry, columns=columns, fault=fault, here="")


def _remember(room: Room, request: Request, entry: Entry, form: FormData) -> Response:
    """Try what staff say of columns on this visit, and keep it for their layouts when that gives a report."""
    typed = {key: value for key in form if key != "word" and (value := field(form, key))}
    try:
        with room.writing, room.alone():
            newest = room.ledger.entry(entry.id) or entry
            layouts = room.left_aside(newest)
            asked = unknown_columns.keys(layouts)
            if typed.keys() - asked.keys():
                return _page(room, request, newest, 409, _OTHERS_NOW, typed=typed)
            if not typed:
                return _page(room, request, newest, 422, "Choose for at least one column what it is.")
            new, faults = unknown_columns.answered(layouts, typed)
            if faults:
                return _page(room, request, newest, 422, typed=typed, faults=faults)
            outcome = _tried(room, newest, layouts, new)
    except (PipelineError, OSError) as fault:
        said = fault.strerror if isinstance(fault, OSError) else str(fault)
        return _page(room, request, entry, 503, f"{said} Nothing was kept.", typed=typed)
    if isinstance(outcome, Refusal):
        faults = _at_fields(outcome, {key: asked[key] for key in typed})
        return _page(room, request, entry, 422, typed=typed, faults=faults)
    room.wake()
    made = f"Version {outcome.version} is made." if outcome.new else f"Version {outcome.version} stands."
    return back(request, f"/visit/{entry.id}", f"{made} The answer is remembered for every file with these headings.")


def _tried(room: Room, entry: Entry, layouts: Sequence[Layout], new: Mapping[str, Given]) -> Again | Refusal:
    """Issue the visit with new answers over those that are known; only when that gives a report they are kept."""
    named = [profiles.Profile(Path(one.file).stem, one.layout, new[one.layout]) for one in layouts if one.layout in new]
    checked = [profiles.parse(profiles.written(one), "answer") for one in named]
    known = room.answers().by_layout
    over = {one.fingerprint: profiles.joined(known.get(one.fingerprint, Given()), one.given) for one in checked}
    outcome = desk_issuing.issue(room, entry, {**known, **over})
    if isinstance(outcome, Again):
        for one in checked:
            answers.save(room.place.profiles, one)
    return outcome


def _at_fields(refusal: Refusal, asked: Mapping[str, str]) -> dict[str, str]:
    """Put the reader's words to the fields of the columns they name; to all that were chosen when they name none."""
    said = " ".join(part for part in (refusal.what, refusal.to_do) if part)
    named = {key: heading for key, heading in asked.items() if heading in said}
    return {key: f"“{heading}”: {said}" for key, heading in (named or asked).items()}
