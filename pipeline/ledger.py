"""The ledger: which content was dropped, and what became of it. The same statements for SQLite and PostgreSQL."""

from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from pipeline import database
from pipeline.database import Shared
from pipeline.ledger_archive import ArchiveNotes
from pipeline.ledger_bulk import BulkNotes
from pipeline.ledger_letters import LetterNotes, Sending
from pipeline.ledger_list import ListNotes
from pipeline.ledger_tables import ORIGINALS, REMEMBERED, SENDINGS, SIGHTINGS, VISITS, opened

# taken by `process --backlog`: its shots are in the archive, or could not be read; nothing else is done with it
ARCHIVED, NOT_ARCHIVED = "archived", "not_archived"
REPLACED = "replaced"  # split or joined on the desk: other visits have its files
BACKLOG = "backlog"  # what is remembered while that is not at its end: when it was begun, in nanoseconds
# dropped again, or named, such a visit is tried again
FINISHED_WITHOUT_REPORT = ("superseded", "held", "set_back", ARCHIVED, NOT_ARCHIVED)
ERASED = ("forgetting", "forgotten")  # on request, or because it was old: only the hash of its content stays
_NAMELESS = ""  # the place of a file that holds erased content: its signature is known, its name is not
_ASKED_AT_ONCE = 400  # files in one question


@dataclass(frozen=True, slots=True)
class Entry:
    """One dropped visit in the ledger."""

    id: str
    name: str
    state: str
    attempts: int
    place: str | None
    originals: tuple[tuple[str, str], ...]  # (name as dropped, name in work/accepted)


@dataclass(frozen=True, slots=True)
class Kept:
    """All the ledger knows of a visit but its letters."""

    entry: Entry
    received: str
    sightings: tuple[tuple[str, str], ...]  # (place in the drop folder, signature)
    supersedes: tuple[str, ...] = ()  # ids of half-written visits whose place it takes; only while it is accepted


class Ledger:
    """The ledger of one studio; a full disk, a locked file or a server that is away comes out as OSError."""

    def __init__(self, where: Path | Shared, *, may_change_tables: bool = True) -> None:
        self._studio = database.key(where)
        self._engine = opened(where, may_change_tables=may_change_tables)
        self.archive = ArchiveNotes(self._engine, self._studio)
        self.bulk = BulkNotes(self._engine, self._studio, self.archive)
        self.letters = LetterNotes(self._engine, self._studio)
        self.list = ListNotes(self._engine, self._studio)

    def close(self) -> None:
        """Let go of the file or the server."""
        self._engine.dispose()

    def _reading(self) -> AbstractContextManager[sa.Connection]:
        return database.transaction(self._engine, only_reads=True)

    def _writing(self) -> AbstractContextManager[sa.Connection]:
        return database.transaction(self._engine)

    def _insert(self, table: sa.Table) -> sqlite.Insert | postgresql.Insert:
        """Begin an insert of this studio's that may say what to do on conflict, as each dialect has it."""
        made = sqlite.insert(table) if self._engine.dialect.name == "sqlite" else postgresql.insert(table)
        return made.values(studio=self._studio)

    def _mine(self, table: sa.Table) -> sa.ColumnElement[bool]:
        """Restrict a statement to the rows of this studio."""
        return table.c.studio == self._studio

    # --- visits --------------------------------------------------------------------------------------------------
    def seen(self, place: str, signature: str) -> bool:
        """Tell whether exactly this file, unchanged, was taken before."""
        this = self._mine(SIGHTINGS) & SIGHTINGS.c.place.in_((place, _NAMELESS)) & (SIGHTINGS.c.signature == signature)
        with self._reading() as connection:
            return connection.execute(sa.select(SIGHTINGS.c.visit).where(this)).first() is not None

    def seen_of(self, sightings: Sequence[tuple[str, str]]) -> set[tuple[str, str]]:
        """Tell which of these files (place, signature), unchanged, were taken before; for many at once."""
        found: set[tuple[str, str]] = set()
        with self._reading() as connection:
            for start in range(0, len(sightings), _ASKED_AT_ONCE):
                some = sightings[start : start + _ASKED_AT_ONCE]
                places, signatures = [place for place, _ in some], [signature for _, signature in some]
                these = SIGHTINGS.c.place.in_([*places, _NAMELESS]) & SIGHTINGS.c.signature.in_(signatures)
                query = sa.select(SIGHTINGS.c.place, SIGHTINGS.c.signature).where(self._mine(SIGHTINGS) & these)
                there = {(row.place, row.signature) for row in connection.execute(query)}
                found |= {one for one in some if one in there or (_NAMELESS, one[1]) in there}
        return found

    def accept(self, entry: Entry, sighting: tuple[str, str], received: str) -> bool:
        """Note a dropped visit, in one transaction; False when there is nothing to do: the content is known.

        Content that was held, set back or superseded before is tried again, under the name it now has.
        """
        with self._writing() as connection:
            return self._accept(connection, entry, sighting, received)

    def _accept(self, connection: sa.Connection, entry: Entry, sighting: tuple[str, str], received: str) -> bool:
        again = self._mine(VISITS) & (VISITS.c.id == entry.id) & VISITS.c.state.in_(FINISHED_WITHOUT_REPORT)
        connection.execute(sa.delete(VISITS).where(again))
        new = self._note_visit(connection, entry, received)
        half_written = self._half_written(sighting[0], entry.id)
        connection.execute(sa.update(VISITS).where(half_written).values(state="superseded"))
        self._note_sighting(connection, entry.id, sighting)
        return new

    def _half_written(self, place: str, but: str) -> sa.ColumnElement[bool]:
        """Restrict to visits from a place that wait for their end, but for one."""
        earlier = sa.select(SIGHTINGS.c.visit).where(self._mine(SIGHTINGS), SIGHTINGS.c.place == place)
        return self._mine(VISITS) & (VISITS.c.state == "waiting") & VISITS.c.id.in_(earlier) & (VISITS.c.id != but)

    def half_written(self, place: str, but: str) -> tuple[str, ...]:
        """Name the visits that `accept` would supersede: half-written ones from that place, but for one."""
        query = sa.select(VISITS.c.id).where(self._half_written(place, but)).order_by(VISITS.c.id)
        with self._reading() as connection:
            return tuple(connection.execute(query).scalars())

    def _note_sighting(self, connection: sa.Connection, identity: str, sighting: tuple[str, str]) -> None:
        seen = self._insert(SIGHTINGS).values(place=sighting[0], signature=sighting[1], visit=identity)
        connection.execute(seen.on_conflict_do_nothing())

    def _note_visit(self, connection: sa.Connection, entry: Entry, received: str) -> bool:
        """Note a visit with its originals; False when it is there already, or another program was quicker."""
        visit = self._insert(VISITS).values(
            id=entry.id, name=entry.name, state=entry.state, attempts=0, received=received, place=entry.place
        )
        new = connection.execute(visit.on_conflict_do_nothing().returning(VISITS.c.id)).first() is not None
        if new:
            self._note_originals(connection, entry)
        return new

    def _note_originals(self, connection: sa.Connection, entry: Entry) -> None:
        connection.execute(sa.delete(ORIGINALS).where(self._mine(ORIGINALS), ORIGINALS.c.visit == entry.id))
        rows = [
            {"studio": self._studio, "visit": entry.id, "position": i, "name": name, "stored": stored}
            for i, (name, stored) in enumerate(entry.originals)
        ]
        if rows:
            connection.execute(sa.insert(ORIGINALS), rows)

    def move(self, identity: str, state: str, place: str | None = None, *, crashed: bool = False) -> None:
        """Put a visit into a state; crashed counts one attempt against it."""
        change = sa.update(VISITS).where(self._mine(VISITS), VISITS.c.id == identity).values(state=state, place=place)
        if crashed:
            change = change.values(attempts=VISITS.c.attempts + 1)
        with self._writing() as connection:
            connection.execute(change)

    def keep(self, entry: Entry) -> None:
        """Note other originals for a visit: those with which it is worked out from now on."""
        with self._writing() as connection:
            self._note_originals(connection, entry)
            self.archive.leave_out(connection, (entry.id,))

    def changed(self, key: str, value: str) -> bool:
        """Remember a value; tells whether it differs from the one remembered before."""
        query = sa.select(REMEMBERED.c.value).where(self._mine(REMEMBERED), REMEMBERED.c.key == key)
        with self._reading() as connection:
            if connection.execute(query).scalar() == value:
                return False
        new = self._insert(REMEMBERED).values(key=key, value=value)
        with self._writing() as connection:
            connection.execute(new.on_conflict_do_update(index_elements=["studio", "key"], set_={"value": value}))
        return True

    def entries(self, *states: str) -> list[Entry]:
        """List the visits in these states, in the order they came."""
        return self._entries(VISITS.c.state.in_(states), (VISITS.c.received, VISITS.c.id))

    def newest(self, states: Sequence[str], first: int, count: int) -> list[tuple[Entry, str]]:
        """List visits in these states, the newest first, from the place `first` on, each with when it came."""
        query = sa.select(VISITS.c.id, VISITS.c.received).where(self._mine(VISITS), VISITS.c.state.in_(states))
        query = query.order_by(VISITS.c.received.desc(), VISITS.c.id).offset(first).limit(count)
        with self._reading() as connection:
            received = {row.id: row.received for row in connection.execute(query)}
        order = (VISITS.c.received.desc(), VISITS.c.id)
        return [(entry, received[entry.id]) for entry in self._entries(VISITS.c.id.in_(list(received)), order)]

    def try_again(self, identity: str) -> bool:
        """Have a visit that was held or set back tried again, as if it had never failed; False when it is neither."""
        this = self._mine(VISITS) & (VISITS.c.id == identity) & VISITS.c.state.in_(("held", "set_back"))
        change = sa.update(VISITS).where(this).values(state="accepted", place=None, attempts=0)
        with self._writing() as connection:
            return connection.execute(change.returning(VISITS.c.id)).first() is not None

    def entry(self, identity: str) -> Entry | None:
        """Give one visit."""
        return next(iter(self._entries(VISITS.c.id == identity, (VISITS.c.id,))), None)

    def taken_as(self, place: str, signature: str) -> Entry | None:
        """Give the visit as which exactly this file, unchanged, was taken."""
        this = self._mine(SIGHTINGS) & (SIGHTINGS.c.place == place) & (SIGHTINGS.c.signature == signature)
        with self._reading() as connection:
            identity = connection.execute(sa.select(SIGHTINGS.c.visit).where(this)).scalar()
        return self.entry(identity) if identity else None

    def tally(self) -> dict[str, tuple[int, str]]:
        """Count the visits in each state, with the day and time the oldest of them came."""
        query = sa.select(VISITS.c.state, sa.func.count(), sa.func.min(VISITS.c.received)).where(self._mine(VISITS))
        with self._reading() as connection:
            rows = connection.execute(query.group_by(VISITS.c.state)).all()
        return {state: (count, oldest) for state, count, oldest in rows}

    def at_same_place(self, identity: str, state: str = "reported") -> list[Entry]:
        """List the visits in a state that came from the same place in the drop folder as this one, the newest first."""
        of_studio = self._mine(SIGHTINGS)
        places = sa.select(SIGHTINGS.c.place).where(of_studio, SIGHTINGS.c.visit == identity)
        there = sa.select(SIGHTINGS.c.visit).where(of_studio, SIGHTINGS.c.place.in_(places))
        which = VISITS.c.id.in_(there) & (VISITS.c.id != identity) & (VISITS.c.state == state)
        return self._entries(which, (VISITS.c.received.desc(), VISITS.c.id))

    def _entries(self, which: sa.ColumnElement[bool], order: Sequence[sa.ColumnElement[str]]) -> list[Entry]:
        """Read visits with their originals in one statement, so that nothing changes between the two."""
        of_visit = (ORIGINALS.c.studio == VISITS.c.studio) & (ORIGINALS.c.visit == VISITS.c.id)
        columns = (VISITS.c.id, VISITS.c.name, VISITS.c.state, VISITS.c.attempts, VISITS.c.place)
        query = sa.select(*columns, ORIGINALS.c.name.label("original"), ORIGINALS.c.stored)
        query = query.join_from(VISITS, ORIGINALS, of_visit, isouter=True).where(self._mine(VISITS), which)
        found: dict[str, Entry] = {}
        originals: dict[str, list[tuple[str, str]]] = {}
        with self._reading() as connection:
            for row in connection.execute(query.order_by(*order, ORIGINALS.c.position)):
                found[row.id] = Entry(row.id, row.name, row.state, row.attempts, row.place, ())
                if row.stored is not None:
                    originals.setdefault(row.id, []).append((row.original, row.stored))
        return [replace(entry, originals=tuple(originals.get(entry.id, ()))) for entry in found.values()]

    # --- for a ledger that was lost --------------------------------------------------------------------------------
    def states(self) -> dict[str, str]:
        """Give every visit's state by its id."""
        query = sa.select(VISITS.c.id, VISITS.c.state).where(self._mine(VISITS))
        with self._reading() as connection:
            return {row.id: row.state for row in connection.execute(query)}

    def kept(self, identity: str) -> Kept | None:
        """Give all that is known of a visit."""
        entry = self.entry(identity)
        of_visit = self._mine(SIGHTINGS) & (SIGHTINGS.c.visit == identity)
        query = sa.select(SIGHTINGS.c.place, SIGHTINGS.c.signature).where(of_visit).order_by(*SIGHTINGS.primary_key)
        received = sa.select(VISITS.c.received).where(self._mine(VISITS), VISITS.c.id == identity)
        with self._reading() as connection:
            sightings = tuple((row.place, row.signature) for row in connection.execute(query))
            at = connection.execute(received).scalar()
        return Kept(entry, at, sightings) if entry and at else None

    def adopt(self, found: Iterable[Kept], unknown: Iterable[tuple[str, str]], at: str) -> None:
        """Note visits that the ledger does not know, in one transaction; a letter in unknown may have been sent.

        Unknown has the ids of visits and the versions of their letters. What has no outcome yet is accepted as it
        would have been when it came.
        """
        with self._writing() as connection:
            for kept in found:
                if kept.entry.state != "accepted":
                    self._note_visit(connection, kept.entry, kept.received)
                for sighting in kept.sightings:
                    if kept.entry.state == "accepted":
                        self._accept(connection, kept.entry, sighting, kept.received)
                    else:
                        self._note_sighting(connection, kept.entry.id, sighting)
            for visit, version in unknown:
                letter = self._insert(SENDINGS).values(visit=visit, version=version, number=1, state="unknown", at=at)
                connection.execute(letter.on_conflict_do_nothing())

    # --- letters -------------------------------------------------------------------------------------------------
    def _of_letter(self, visit: str, version: str) -> sa.ColumnElement[bool]:
        return self._mine(SENDINGS) & (SENDINGS.c.visit == visit) & (SENDINGS.c.version == version)

    def last_sending(self, visit: str, version: str) -> Sending | None:
        """Give the last sending of a visit's letter in that version."""
        query = sa.select(*_SENDING).where(self._of_letter(visit, version)).order_by(SENDINGS.c.number.desc())
        with self._reading() as connection:
            row = connection.execute(query).first()
        return Sending(*row) if row else None

    def begin_sending(self, visit: str, version: str, at: str, *, again: bool = False) -> Sending | None:
        """Note that a letter is about to be sent; None when that was noted before and again was not asked for.

        One statement, so that of two programs at the same time only one gets to send.
        """
        highest = sa.select(sa.func.max(SENDINGS.c.number)).where(self._of_letter(visit, version)).scalar_subquery()
        number = sa.func.coalesce(highest, 0) + 1 if again else 1
        new = self._insert(SENDINGS).values(visit=visit, version=version, number=number, state="sending", at=at)
        with self._writing() as connection:
            row = connection.execute(new.on_conflict_do_nothing().returning(*_SENDING)).first()
        return Sending(*row) if row else None

    def end_sending(self, sending: Sending, at: str, *, sent: bool) -> None:
        """Note that a letter was sent, or forget the sending when it surely was not."""
        this = self._of_letter(sending.visit, sending.version) & (SENDINGS.c.number == sending.number)
        change = sa.update(SENDINGS).values(state="sent", at=at) if sent else sa.delete(SENDINGS)
        with self._writing() as connection:
            connection.execute(change.where(this))

    # --- erasing -------------------------------------------------------------------------------------------------
    def all_kept(self) -> list[Kept]:
        """Give all that is known of every visit, in the order they came."""
        visits = sa.select(VISITS.c.id, VISITS.c.received).where(self._mine(VISITS))
        seen = sa.select(SIGHTINGS.c.visit, SIGHTINGS.c.place, SIGHTINGS.c.signature).where(self._mine(SIGHTINGS))
        with self._reading() as connection:
            received = {row.id: row.received for row in connection.execute(visits)}
            sightings: dict[str, list[tuple[str, str]]] = {}
            for row in connection.execute(seen.order_by(*SIGHTINGS.primary_key)):
                sightings.setdefault(row.visit, []).append((row.place, row.signature))
        entries = self._entries(sa.true(), (VISITS.c.received, VISITS.c.id))
        return [Kept(e, received[e.id], tuple(sightings.get(e.id, ()))) for e in entries if e.id in received]

    def begin_forgetting(self, identities: Iterable[str]) -> None:
        """Note that visits are being erased: nothing else is done with them, and what was begun is ended."""
        with self._writing() as connection:
            for identity in identities:
                change = sa.update(VISITS).where(self._mine(VISITS), VISITS.c.id == identity)
                reported = change.where(VISITS.c.state == "reported")
                connection.execute(reported.values(state="forgetting"))  # its place in outbox/ will be asked for
                others = change.where(VISITS.c.state.not_in(("reported", *ERASED)))
                connection.execute(others.values(state="forgetting", place=None))

    def blank(self, identities: Iterable[str], at: str) -> None:
        """Take every word of a person out of visits that are being erased; their content stays known by its hash."""
        with self._writing() as connection:
            for identity in identities:
                for table in (ORIGINALS, SENDINGS):
                    connection.execute(sa.delete(table).where(self._mine(table), table.c.visit == identity))
                of_visit = self._mine(SIGHTINGS) & (SIGHTINGS.c.visit == identity)
                signatures = connection.execute(sa.select(SIGHTINGS.c.signature).where(of_visit).distinct())
                for signature in signatures.scalars().all():
                    self._see_nameless(connection, identity, signature)
                connection.execute(sa.delete(SIGHTINGS).where(of_visit, SIGHTINGS.c.place != _NAMELESS))
                change = sa.update(VISITS).where(self._mine(VISITS), VISITS.c.id == identity)
                connection.execute(change.values(name="", place=None, attempts=0, received=at))

    def _see_nameless(self, connection: sa.Connection, identity: str, signature: str) -> None:
        seen = self._insert(SIGHTINGS).values(place=_NAMELESS, signature=signature, visit=identity)
        connection.execute(seen.on_conflict_do_nothing())

    def end_forgetting(self, identities: Iterable[str]) -> None:
        """Note that visits are erased, once no deleted word is left in the ledger's own file."""
        database.write_anew(self._engine)
        with self._writing() as connection:
            for identity in identities:
                change = sa.update(VISITS).where(self._mine(VISITS), VISITS.c.id == identity)
                connection.execute(change.values(state="forgotten"))

    def forgotten(self, identity: str) -> str | None:
        """Give the day on which a visit was erased, empty while it is being erased; None when it was not."""
        query = sa.select(VISITS.c.state, VISITS.c.received).where(self._mine(VISITS), VISITS.c.id == identity)
        with self._reading() as connection:
            row = connection.execute(query).first()
        if row is None or row.state not in ERASED:
            return None
        return str(row.received)[:10] if row.state == "forgotten" else ""

    def see_forgotten(self, identity: str, signature: str) -> None:
        """Note without its name that this file holds what was erased: it is not read again."""
        with self._writing() as connection:
            self._see_nameless(connection, identity, signature)

    def take_again(self, identity: str) -> None:
        """Lift the note that a visit was erased: it may be accepted as a new one."""
        with self._writing() as connection:
            of_visit = self._mine(VISITS) & (VISITS.c.id == identity) & (VISITS.c.state == "forgotten")
            connection.execute(sa.delete(VISITS).where(of_visit))
            nameless = self._mine(SIGHTINGS) & (SIGHTINGS.c.visit == identity) & (SIGHTINGS.c.place == _NAMELESS)
            connection.execute(sa.delete(SIGHTINGS).where(nameless))

    def remembered(self, key: str) -> str:
        """Give a remembered value; empty when there is none."""
        query = sa.select(REMEMBERED.c.value).where(self._mine(REMEMBERED), REMEMBERED.c.key == key)
        with self._reading() as connection:
            return str(connection.execute(query).scalar() or "")


_SENDING = (SENDINGS.c.visit, SENDINGS.c.version, SENDINGS.c.number, SENDINGS.c.state, SENDINGS.c.at)
