"""The list of visits on the desk's first page: looked through by name and customer, filtered, a page at a time."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from pipeline import desk_pages, desk_sent
from pipeline.desk_pages import SHOWN, Row
from pipeline.desk_room import Room
from pipeline.ledger_letters import Sending
from pipeline.ledger_list import Listed
from pipeline.visit_words import folded

WHICH = (
    ("", "all"),
    ("asks", "needs an answer"),
    ("back", "set back"),
    ("report", "with a report"),
    ("unsent", "letter still to be sent"),
)
_STATES = {"asks": ("held",), "back": ("set_back",), "report": ("reported",), "unsent": ("reported",)}
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the list is to show: words as typed, and one of WHICH."""

    words: str
    which: str

    @property
    def any(self) -> bool:
        """Tell whether anything is left out."""
        return bool(self.words or self.which)

    def address(self, number: int, **more: str) -> str:
        """Give the address of one of its pages."""
        parts = {"words": self.words, "which": self.which, "page": str(number) if number > 1 else "", **more}
        query = urlencode({key: value for key, value in parts.items() if value})
        return f"/?{query}" if query else "/"


@dataclass(frozen=True, slots=True)
class Page:
    """One page of the list; count is of all its pages."""

    rows: list[Row]
    count: int
    number: int

    @property
    def pages(self) -> int:
        """Give the number of pages."""
        return desk_pages.pages(self.count)


def wanted(query: Mapping[str, str]) -> Wanted:
    """Read what is asked for; a filter nobody knows is none."""
    which = query.get("which", "")
    return Wanted(query.get("words", "").strip()[:_LONGEST], which if which in _STATES else "")


def found(room: Room, asked: Wanted, page: str | None) -> Page:
    """Give a page of the list."""
    if not asked.any:
        return _newest(room, page)
    listed = room.ledger.list.visits(_STATES.get(asked.which, SHOWN))
    if asked.words:
        listed = list(_with_words(room, listed, folded(asked.words)))
    notes = room.ledger.letters.last()
    if asked.which == "unsent":
        listed = list(_unsent(room, listed, notes))
    number = desk_pages.whole_number(page, desk_pages.pages(len(listed)))
    start = (number - 1) * desk_pages.PAGE
    return Page(_rows(room, listed[start : start + desk_pages.PAGE], notes), len(listed), number)


def _newest(room: Room, page: str | None) -> Page:
    tally = room.ledger.tally()
    count = sum(tally[state][0] for state in SHOWN if state in tally)
    number = desk_pages.whole_number(page, desk_pages.pages(count))
    listed = room.ledger.list.visits(SHOWN, (number - 1) * desk_pages.PAGE, desk_pages.PAGE)
    return Page(_rows(room, listed, room.ledger.letters.last([one.id for one in listed])), count, number)


def _with_words(room: Room, listed: Sequence[Listed], words: str) -> Iterator[Listed]:
    """Pick the visits with these words in their name or in their customer's."""
    people = room.people.all_of(room.place, room.ledger.list.facts())
    for one in listed:
        person = people.get(one.facts)
        if words in folded(one.name) or (person is not None and words in person.name):
            yield one


def _unsent(room: Room, listed: Sequence[Listed], notes: Mapping[str, Mapping[str, Sending]]) -> Iterator[Listed]:
    """Pick the visits whose newest letter has not gone out, as far as is known."""
    newest = room.ledger.list.last_at()
    for one in listed:
        # without a note it has not gone out, and no path need be made: paths for thousands take long
        if one.id in newest and (one.id not in notes or _gone(room, one, notes).state != desk_sent.SENT):
            yield one
    room.sent.keep_only(one.place for one in listed)


def _rows(room: Room, listed: Sequence[Listed], notes: Mapping[str, Mapping[str, Sending]]) -> list[Row]:
    newest = room.ledger.list.last_at({one.place for one in listed if one.state == "reported"})
    return [
        Row(
            one.id, one.name, desk_pages.local(one.received), one.state,
            desk_pages.state_words(one.state) + ", settled" * room.is_settled(one.state, one.place),
            _gone(room, one, notes).short if one.id in newest else "",
        )
        for one in listed
    ]  # fmt: skip


def _gone(room: Room, one: Listed, notes: Mapping[str, Mapping[str, Sending]]) -> desk_sent.Gone:
    return room.sent.gone(room.place.outbox / one.place, notes.get(one.id))


def look_ahead(room: Room) -> None:
    """Read beforehand what a search and the letters not sent yet need, while nobody waits for it."""
    room.people.all_of(room.place, room.ledger.list.facts())
    found(room, Wanted("", "unsent"), None)
