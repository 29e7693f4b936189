"""The step "Earlier visits" of a visit's page: the customer's other visits, and how their clubs did."""

import datetime as dt
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from pipeline import desk_facts, desk_people, desk_trend, desk_trend_page, studio
from pipeline.desk_pages import SHOWN, local, state_words
from pipeline.desk_people import Person
from pipeline.desk_room import Room
from pipeline.desk_trend import ClubOnDay
from pipeline.desk_trend_page import CAUTION, TrendPart
from pipeline.ledger import ARCHIVED, Entry
from pipeline.ledger_list import Listed
from pipeline.shown import Shown
from pipeline.vocabulary import words

_MOST = 12  # visits shown: their reports are read for it
_LARGEST = 5_000_000  # as of the page's other readers: twice what a visit of 2,000 shots needs


@dataclass(frozen=True, slots=True)
class OtherVisit:
    """Another visit of the same customer; why says by what: same name, same address, or both."""

    id: str
    name: str
    day: str
    why: str
    state: str


@dataclass(frozen=True, slots=True)
class EarlierStep:
    """What the step shows; known is False when nobody said who the customer is."""

    known: bool
    this: str
    visits: tuple[OtherVisit, ...] = ()
    more: int = 0
    parts: tuple[TrendPart, ...] = ()
    caution: str = CAUTION


def shown(room: Room, entry: Entry) -> EarlierStep:
    """Find the customer's other visits, and put their reports side by side."""
    person = _person(room, entry)
    if not (person.name or person.address):
        return EarlierStep(known=False, this=entry.id)
    others = _others(room, entry, person)
    some = others[:_MOST]
    clubs = list(_read(room, entry.id, entry.place if entry.state == "reported" else None)[1])
    visits = []
    for one, why in some:
        day, found = _read(room, one.id, one.place if one.state == "reported" else None)
        clubs += found
        said = day.isoformat() if day else local(one.received)[:10]
        visits.append(OtherVisit(one.id, one.name, said, why, state_words(one.state)))
    writer = Shown(room.settings.units_shown, words("en"))
    parts = tuple(desk_trend_page.part(trend, writer) for trend in desk_trend.trends(clubs))
    in_order = tuple(sorted(visits, key=lambda visit: visit.day, reverse=True))
    return EarlierStep(known=True, this=entry.id, visits=in_order, more=len(others) - len(some), parts=parts)


def _person(room: Room, entry: Entry) -> Person:
    with suppress(OSError, ValueError, RecursionError):
        return desk_people.of(desk_facts.kept(room.place, entry).content)
    return Person()


def _others(room: Room, entry: Entry, person: Person) -> Sequence[tuple[Listed, str]]:
    """List the other visits of a customer, the newest first, with what they have in common.

    Of visits whose reports share a folder only the last one counts: it has the shots of the others.
    """
    people = room.people.all_of(room.place, room.ledger.list.facts())
    newest = room.ledger.list.last_at()
    found = []
    for one in room.ledger.list.visits((*SHOWN, ARCHIVED)):
        why = _why(person, people.get(one.facts, Person()))
        is_itself = one.id == entry.id or (entry.state == "reported" and one.place == entry.place)
        if why and not is_itself and (one.state != "reported" or one.id in newest):
            found.append((one, why))
    return found


def _why(person: Person, other: Person) -> str:
    same = [
        what
        for what, mine, theirs in (("name", person.name, other.name), ("address", person.address, other.address))
        if mine and mine == theirs
    ]
    return f"same {' and '.join(same)}" if same else ""


def _read(room: Room, visit: str, place: str | None) -> tuple[dt.date | None, list[ClubOnDay]]:
    """Read the report of a visit; nothing when it has none."""
    with suppress(OSError, ValueError):
        if place:
            return desk_trend.read(studio.read_plain(room.place.outbox / place / "fitting.json", _LARGEST), visit)
    return None, []
