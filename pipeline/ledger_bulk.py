"""The ledger asked and told about many visits at once: one question, one transaction."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from pipeline import database
from pipeline.ledger_archive import ArchiveNotes
from pipeline.ledger_tables import ARCHIVED, ORIGINALS, SIGHTINGS, VISITS

_AT_ONCE = 400  # visits in one question


@dataclass(frozen=True, slots=True)
class Outcome:
    """A visit only to be archived, or made on the desk; path is the archive's file with its rows, if it has any."""

    id: str
    name: str
    state: str
    received: str
    place: str | None
    originals: tuple[tuple[str, str], ...]  # (name as dropped, name in work/accepted)
    sightings: tuple[tuple[str, str], ...]  # (place in the drop folder, signature)
    path: str | None = None


class BulkNotes:
    """The bulk part of a studio's ledger; trouble with the database comes out as OSError."""

    def __init__(self, engine: sa.Engine, studio: str, archive: ArchiveNotes) -> None:
        self._engine = engine
        self._studio = studio
        self._archive = archive

    def states(self, visits: Collection[str]) -> dict[str, str]:
        """Give the states of those visits that the ledger knows."""
        found: dict[str, str] = {}
        with database.transaction(self._engine, only_reads=True) as connection:
            for these in self._some(VISITS, VISITS.c.id, visits):
                query = sa.select(VISITS.c.id, VISITS.c.state).where(these)
                found.update((row.id, row.state) for row in connection.execute(query))
        return found

    def filed(self, visits: Collection[str]) -> set[str]:
        """Give those of some visits that the archive has, or had, rows of."""
        found: set[str] = set()
        with database.transaction(self._engine, only_reads=True) as connection:
            for these in self._some(ARCHIVED, ARCHIVED.c.visit, visits):
                found.update(connection.execute(sa.select(ARCHIVED.c.visit).where(these)).scalars())
        return found

    def at_places(self, places: Collection[str], states: Collection[str]) -> dict[str, set[str]]:
        """Give the visits in some states that came from places in the drop folder: place → ids."""
        found: dict[str, set[str]] = {}
        known = sa.select(VISITS.c.id).where(VISITS.c.studio == self._studio, VISITS.c.state.in_(states))
        with database.transaction(self._engine, only_reads=True) as connection:
            for these in self._some(SIGHTINGS, SIGHTINGS.c.place, places):
                query = sa.select(SIGHTINGS.c.place, SIGHTINGS.c.visit).where(these, SIGHTINGS.c.visit.in_(known))
                for place, visit in connection.execute(query):
                    found.setdefault(place, set()).add(visit)
        return found

    def note(self, outcomes: Sequence[Outcome], replaced: Collection[str], before: Collection[str]) -> None:
        """Note visits with originals, sightings and rows in the archive, in one transaction.

        What the ledger knew of them in one of the states `before` is forgotten; `replaced` are visits whose files have
        grown into these: they count no more.
        """
        with database.transaction(self._engine) as connection:
            for these in self._some(VISITS, VISITS.c.id, [outcome.id for outcome in outcomes]):
                connection.execute(sa.delete(VISITS).where(these, VISITS.c.state.in_(before)))
            for these in self._some(ORIGINALS, ORIGINALS.c.visit, [outcome.id for outcome in outcomes]):
                connection.execute(sa.delete(ORIGINALS).where(these))
            self._supersede(connection, replaced)
            self._note(connection, outcomes)
            filed = [{"visit": one.id, "path": one.path, "gone": 0} for one in outcomes if one.path]
            self._add(connection, ARCHIVED, filed)

    def _note(self, connection: sa.Connection, outcomes: Sequence[Outcome]) -> None:
        self._add(connection, VISITS, [
            {"id": one.id, "name": one.name, "state": one.state, "attempts": 0, "received": one.received,
             "place": one.place}
            for one in outcomes
        ])  # fmt: skip
        self._add(connection, ORIGINALS, [
            {"visit": one.id, "position": position, "name": name, "stored": stored}
            for one in outcomes for position, (name, stored) in enumerate(one.originals)
        ])  # fmt: skip
        self._see(connection, ((one.id, *sighting) for one in outcomes for sighting in one.sightings))

    def supersede(self, visits: Collection[str]) -> None:
        """Note that later visits stand for these; their rows count no more."""
        if visits:
            with database.transaction(self._engine) as connection:
                self._supersede(connection, visits)

    def _supersede(self, connection: sa.Connection, visits: Collection[str]) -> None:
        for these in self._some(VISITS, VISITS.c.id, visits):
            connection.execute(sa.update(VISITS).where(these).values(state="superseded"))
        self._archive.leave_out(connection, visits)

    def regroup(self, new: Sequence[Outcome], former: Collection[str]) -> None:
        """Note new visits in the place of former ones, in one transaction: these have no report and count no more."""
        with database.transaction(self._engine) as connection:
            for these in self._some(VISITS, VISITS.c.id, former):
                connection.execute(sa.update(VISITS).where(these).values(state="replaced", place=None))
            self._archive.leave_out(connection, former)
            self._note(connection, new)

    def made_at(self, beginning: str) -> list[str]:
        """Name the visits, in the order they came, made at a place that begins so: its signature is their id."""
        there = SIGHTINGS.c.place.startswith(beginning, autoescape=True) & (SIGHTINGS.c.signature == SIGHTINGS.c.visit)
        seen = sa.select(SIGHTINGS.c.visit).where(SIGHTINGS.c.studio == self._studio, there)
        query = sa.select(VISITS.c.id).where(VISITS.c.studio == self._studio, VISITS.c.id.in_(seen))
        with database.transaction(self._engine, only_reads=True) as connection:
            return list(connection.execute(query.order_by(VISITS.c.received, VISITS.c.id)).scalars())

    def see(self, sightings: Iterable[tuple[str, str, str]]) -> None:
        """Note that visits that are known lie in the drop folder as well (visit, place, signature)."""
        with database.transaction(self._engine) as connection:
            self._see(connection, sightings)

    def _see(self, connection: sa.Connection, sightings: Iterable[tuple[str, str, str]]) -> None:
        rows = [{"visit": visit, "place": place, "signature": signature} for visit, place, signature in sightings]
        self._add(connection, SIGHTINGS, rows)

    def _add(self, connection: sa.Connection, table: sa.Table, rows: Sequence[Mapping[str, object]]) -> None:
        """Insert rows of this studio; what is there already stays."""
        if rows:
            insert = sqlite.insert(table) if self._engine.dialect.name == "sqlite" else postgresql.insert(table)
            connection.execute(insert.on_conflict_do_nothing(), [{"studio": self._studio, **row} for row in rows])

    def _some(self, table: sa.Table, key: sa.Column[str], wanted: Collection[str]) -> Iterator[sa.ColumnElement[bool]]:
        """Restrict a statement to this studio and to some of the keys at a time."""
        listed = list(wanted)
        for start in range(0, len(listed), _AT_ONCE):
            yield (table.c.studio == self._studio) & key.in_(listed[start : start + _AT_ONCE])
