"""The desk's way to split a visit that is two, and to join two that are one."""

import datetime as dt
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pipeline import (
    cut_files,
    desk_facts,
    desk_fitting,
    desk_pages,
    desk_uploads,
    issuing,
    regrouped_facts,
    regrouping,
)
from pipeline.cut_files import Cut
from pipeline.desk_forms import back, field, page, posted, visit_of
from pipeline.desk_issuing import folder_of
from pipeline.desk_report import Report
from pipeline.desk_room import Room, today
from pipeline.errors import PipelineError, SettingsError
from pipeline.issuing import Issued
from pipeline.ledger import REPLACED, Entry, Kept
from pipeline.records import Refusal, ShotFile

Parts = Callable[[Sequence[Entry], str, dt.date], list[Kept]]  # former visits, when they came, their day
_MOST_LISTED = 50
_LONGEST_NAME = 80
_CHOOSE = (
    "Tick the files of the other visit and leave at least one unticked, or choose from which shot on it is the other."
)
_CHOOSE_SHOT = "Choose from which shot on it is the other visit."


@dataclass(frozen=True, slots=True)
class Choice:
    """How a visit is to be split: by numbers of files, or from which shot on; and the other one's name."""

    files: frozenset[str] = frozenset()
    shot: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True)
class Regroup:
    """What a visit's page shows of it; successors are in its place now, former ones are what it was made from."""

    files: tuple[str, ...]
    mark: str
    may: bool
    shots: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = ()  # file → where it may be cut, with words for it
    successors: tuple[Entry, ...] = ()
    former: tuple[Entry, ...] = ()
    choice: Choice = Choice()


@dataclass(frozen=True, slots=True)
class Other:
    """A visit that may be joined with this one."""

    id: str
    name: str
    day: str
    customer: str


def routes(room: Room) -> list[Route]:
    """Give the addresses of these forms."""

    def how(request: Request) -> Response:
        return _how(room, request, visit_of(room, request), Choice())

    def split(request: Request, form: FormData) -> Response:
        return _split(room, request, visit_of(room, request), form)

    def which(request: Request) -> Response:
        return _which(room, request, visit_of(room, request))

    def sure(request: Request) -> Response:
        return _sure(room, request, visit_of(room, request), _other(room, request))

    def join(request: Request, form: FormData) -> Response:
        return _join(room, request, visit_of(room, request), form)

    return [
        Route("/visit/{visit}/split", how),
        Route("/visit/{visit}/split", posted(split), methods=["POST"]),
        Route("/visit/{visit}/join", which),
        Route("/visit/{visit}/join/{other}", sure),
        Route("/visit/{visit}/join/{other}", posted(join), methods=["POST"]),
    ]


def shown(room: Room, entry: Entry, *, may: bool, report: Report | None, choice: Choice | None = None) -> Regroup:
    """Give what stands on a visit's page; `may`: it can be split and joined; report: what its report says."""
    files = tuple(name for name, _ in regrouping.shot_files(entry))
    return Regroup(
        files, _mark(entry), may, _shots(report, files) if may else (), _in_place_of(room, entry),
        _former(room, entry), choice or Choice(),
    )  # fmt: skip


def _in_place_of(room: Room, entry: Entry) -> tuple[Entry, ...]:
    """Give the visits that stand in the place of a replaced one now."""
    if entry.state != REPLACED:
        return ()
    noted = tuple(_after(room, entry.id).values())
    return noted or _with_its_files(room, entry)


def _after(room: Room, identity: str) -> dict[str, Entry]:
    """Follow from a replaced visit to those made from it, and on where these were split or joined in turn."""
    found: dict[str, Entry] = {}
    for one in map(room.ledger.entry, regrouping.made_from(room.ledger, identity)):
        if one and one.state == REPLACED:
            found |= _after(room, one.id)
        elif one and one.state in desk_pages.SHOWN:
            found[one.id] = one
    return found


def _with_its_files(room: Room, entry: Entry) -> tuple[Entry, ...]:
    """Find what has a replaced visit's files, where nothing is noted: of earlier states, by an older baywright."""
    mine = {stored for _, stored in regrouping.shot_files(entry)}
    there = room.ledger.entries(*desk_pages.SHOWN)
    return tuple(one for one in there if mine & {stored for _, stored in regrouping.shot_files(one)})


def _former(room: Room, entry: Entry) -> tuple[Entry, ...]:
    """Give the visits from which one was made on the desk, its namesake first; without those that were erased."""
    kept = room.ledger.kept(entry.id)
    found = map(room.ledger.entry, regrouping.former_of(kept) if kept else ())
    return tuple(
        sorted((one for one in found if one and one.state == REPLACED), key=lambda one: one.name != entry.name)
    )


def _shots(report: Report | None, files: Sequence[str]) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """Give the shots of each file from which on it may be another visit: all but the first one."""
    found: dict[str, list[tuple[str, str]]] = {name: [] for name in files}
    for shot in report.shots if report else ():
        if shot.file in found:
            place = f"{files.index(shot.file)}:{shot.line}"
            found[shot.file].append((place, f"shot {shot.number}, {shot.club.label[:40]}, line {shot.line}"))
    return tuple((name, tuple(places[1:])) for name, places in found.items() if places[1:])


def _mark(*entries: Entry) -> str:
    """Tell one state of visits from another."""
    return desk_pages.mark(*((entry.id, entry.state, entry.place, entry.originals) for entry in entries))


def _newest(room: Room, entry: Entry) -> Issued | None:
    """Give what a visit's report says of itself; None when it has none, or a later one has taken its place."""
    known = issuing.issued(room.place.outbox / entry.place) if entry.state == "reported" and entry.place else None
    return known if known and known.visit_id == entry.id else None


# --- splitting --------------------------------------------------------------------------------------------------------
def _how(
    room: Room, request: Request, entry: Entry, choice: Choice, code: int = 200, /, fault: str = ""
) -> Response:  # fmt: skip
    """Ask how a visit is to be split; after a refusal as it was chosen before."""
    newest = room.ledger.entry(entry.id) or entry
    if _newest(room, newest) is None:
        raise HTTPException(404, "There is no newest report of this visit, so it cannot be split.")
    report = desk_fitting.report(room, folder_of(room, newest))
    regroup = shown(room, newest, may=True, report=report, choice=choice)
    return page(room, request, "split", code, visit=newest, regroup=regroup, fault=fault, here="")


def _split(room: Room, request: Request, entry: Entry, form: FormData) -> Response:
    """Make two visits of one: the chosen files are the second, and of a file that is cut what follows."""
    chosen = frozenset(text for text in form.getlist("file") if isinstance(text, str))
    choice = Choice(chosen, field(form, "from"), _name(field(form, "name")))
    files, known = regrouping.shot_files(entry), _newest(room, entry)
    cut = _cut(files, known, choice.shot)
    whole = [(number, one) for number, one in enumerate(files) if cut is None or one[0] != cut.file]
    away = [one for number, one in whole if str(number) in chosen]
    stay = [one for number, one in whole if str(number) not in chosen]

    def left_alone(code: int, why: str) -> Response:
        return _how(room, request, entry, choice, code, fault=f"{why} It was not split.")

    if choice.shot and cut is None:
        return left_alone(422, "No shot of this visit stands there.")
    if cut is None and not (away and stay):
        return left_alone(422, _CHOOSE if len(files) > 1 else _CHOOSE_SHOT)
    try:
        halves = _halves(room, files, cut)
    except SettingsError as refused:
        return left_alone(422, str(refused))
    name = choice.name or f"{entry.name}, second"

    def parts(former: Sequence[Entry], received: str, day: dt.date) -> list[Kept]:
        before = desk_facts.kept(room.place, former[0]).content
        one = regrouped_facts.first(before, {file for file, _ in stay}, day, cut)
        two = regrouped_facts.second(before, {file for file, _ in away}, day, cut)
        return [
            regrouping.made_of(room.place, room.ledger, entry.name, [*stay, *halves[:1]], one, received),
            regrouping.made_of(room.place, room.ledger, name, [*away, *halves[1:]], two, received),
        ]

    wanted = cut_files.marks(known.told, [file for file, _ in away], cut) if known and cut else ()
    fault = _regroup(room, [entry], field(form, "mark"), parts, wanted)
    if fault:
        return left_alone(409, fault)
    said = f"“{entry.name}” is two visits now, the other is “{name}”. Open that one and say who it is of."
    return back(request, "/", said)


def _cut(files: Sequence[tuple[str, str]], known: Issued | None, said: str) -> Cut | None:
    """Read from which shot on it is the other visit, as `<number of the file>:<line>`; None when none is there."""
    found = re.fullmatch(r"([0-9]{1,4}):([0-9]{1,7})", said)
    if found is None or known is None or int(found[1]) >= len(files):
        return None
    return cut_files.cut_at(known.told, files[int(found[1])][0], int(found[2]))


def _halves(room: Room, files: Sequence[tuple[str, str]], cut: Cut | None) -> list[tuple[str, str]]:
    """Keep the halves of the file that is cut; gives their names and those of their copies."""
    if cut is None:
        return []
    parted = cut_files.halves((room.place.accepted / dict(files)[cut.file]).read_bytes(), cut)
    if parted is None:
        msg = f"“{cut.file}” is no text of lines, so it cannot be cut. Export the two visits once more, each by itself."
        raise SettingsError(msg)
    return [issuing.keep(room.place, ShotFile(cut.file, content)) for content in parted]


def _name(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text).strip()[:_LONGEST_NAME]


# --- joining ----------------------------------------------------------------------------------------------------------
def _which(room: Room, request: Request, entry: Entry) -> Response:
    """List the visits of the same day, or those whose names have what is searched for."""
    known = _newest(room, entry)
    if known is None:
        raise HTTPException(404, "There is no newest report of this visit, so it cannot be joined with another one.")
    find = request.query_params.get("find", "").strip()[:_LONGEST_NAME]
    folded = find.casefold()
    last = {
        one.place: one for one in room.ledger.entries("reported") if one.id != entry.id and one.place != entry.place
    }
    fitting = [
        one
        for place, one in last.items()
        if (folded in f"{one.name} {place}".casefold() if find else str(place).startswith(known.date.isoformat()))
    ]
    others = [_as_other(room, one) for one in fitting[-_MOST_LISTED:][::-1]]
    return page(
        room, request, "join", visit=entry, find=find, day=known.date.isoformat(), here="",
        others=others, more=max(0, len(fitting) - _MOST_LISTED),
    )  # fmt: skip


def _as_other(room: Room, entry: Entry) -> Other:
    facts = desk_facts.kept(room.place, entry).content
    return Other(entry.id, entry.name, str(entry.place)[:10], desk_facts.shown(facts)["customer"])


def _other(room: Room, request: Request) -> Entry:
    found = room.ledger.entry(request.path_params["other"])
    if found is None or _newest(room, found) is None or found.id == request.path_params["visit"]:
        raise HTTPException(404, "There is no such visit with a report any more.")
    return found


def _sure(
    room: Room, request: Request, entry: Entry, other: Entry, code: int = 200, /, fault: str = ""
) -> Response:  # fmt: skip
    """Show both before they are joined."""
    known, of_other = _newest(room, entry), _newest(room, other)
    if known is None or of_other is None:
        raise HTTPException(404, "One of the two has no report any more.")
    mine, theirs = (desk_facts.kept(room.place, one).content for one in (entry, other))
    rows = regrouped_facts.differing(mine, theirs)
    days = known.date != of_other.date
    if days and not any(words == "Day" for words, *_ in rows):
        rows = [("Day", known.date.isoformat(), of_other.date.isoformat(), True), *rows]
    return page(
        room, request, "join_sure", code, visit=entry, other=other, rows=rows, here="", fault=fault,
        files=[name for name, _ in _joined(entry, other)[0]],
        doubtful=days or any(doubtful for *_, doubtful in rows), mark=_mark(entry, other),
    )  # fmt: skip


def _joined(one: Entry, two: Entry) -> tuple[list[tuple[str, str]], dict[str, str]]:
    """Give the shot files of both, each once and no two of one name; and how the second one's are called then."""
    files = list(regrouping.shot_files(one))
    names = {name for name, _ in files}
    renamed = {}
    for name, stored in regrouping.shot_files(two):
        same = next((file for file, copy in files if copy == stored), None)  # in both: it counts once
        renamed[name] = same or next(free for free in desk_uploads.numbered(name) if free not in names)
        if same is None:
            names.add(renamed[name])
            files.append((renamed[name], stored))
    return files, renamed


def _join(room: Room, request: Request, entry: Entry, form: FormData) -> Response:
    """Make one visit of two."""
    other = _other(room, request)
    mine, theirs = (desk_facts.kept(room.place, one).content for one in (entry, other))
    known, of_other = _newest(room, entry), _newest(room, other)
    days = known is not None and of_other is not None and known.date != of_other.date
    doubtful = days or any(doubt for *_, doubt in regrouped_facts.differing(mine, theirs))
    if doubtful and field(form, "sure") != "yes":
        return _sure(
            room, request, entry, other, 422, fault="They differ. Tick the box if they are one visit all the same."
        )

    def parts(former: Sequence[Entry], received: str, day: dt.date) -> list[Kept]:
        one, two = former
        files, renamed = _joined(one, two)
        facts = regrouped_facts.joined(mine, theirs, renamed, day)
        return [regrouping.made_of(room.place, room.ledger, one.name, files, facts, received)]

    fault = _regroup(room, [entry, other], field(form, "mark"), parts)
    if fault:
        return _sure(room, request, entry, other, 409, fault=f"{fault} They were not joined.")
    return back(request, "/", f"“{entry.name}” and “{other.name}” are one visit now. Its report comes by itself.")


# --- both -------------------------------------------------------------------------------------------------------------
def _regroup(
    room: Room, former: Sequence[Entry], mark: str, parts: Parts, wanted: Sequence[frozenset[str]] = ()
) -> str:
    """Put new visits in the place of former ones, once each is known to give a report; else says why not.

    wanted: the marks of the shots each new visit must have, where a file was cut.
    """
    try:
        with room.writing, room.alone():
            regrouping.finish(room.place, room.ledger)  # one that a kill left
            found = [kept for kept in (room.ledger.kept(entry.id) for entry in former) if kept]
            entries = [kept.entry for kept in found]
            known = [_newest(room, entry) for entry in entries]
            if known[0] is None or None in known or _mark(*entries) != mark:
                return "Somebody made a change meanwhile. Look again, then press the button once more."
            new = parts(entries, max(kept.received for kept in found), known[0].date)
            for kept, shots in zip_longest(new, wanted):
                if why := _refusal(room, kept.entry, shots):
                    return f"“{kept.entry.name}” would have no report: {why}"
            regrouping.begin(room.place, room.ledger, new, entries)
    except (PipelineError, OSError) as fault:
        if regrouping.is_begun(room.place):
            why = "The disk or a folder refused a part of it. It is begun, and the rest is done at the next start."
            raise HTTPException(503, why) from fault
        return str(fault) if isinstance(fault, PipelineError) else f"The disk or a folder refused: {fault.strerror}."
    room.wake()
    return ""


def _refusal(room: Room, entry: Entry, wanted: frozenset[str] | None) -> str:
    """Say why a visit would have no report, if it would have none, or not of the shots that are wanted."""
    job = issuing.job_of(
        room.place, entry, settings=room.settings, logo=None, answers=room.answers().by_layout, today=today(),
        history=None,
    )  # fmt: skip
    outcome = job if isinstance(job, Refusal) else room.side.work_out(job)
    if isinstance(outcome, Refusal):
        return outcome.what
    return "" if wanted is None or outcome.shots == wanted else "cut there, the file is read otherwise."
