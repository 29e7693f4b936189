"""The ledger's visits in short, for lists: one row a visit, many at once."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from pipeline import database
from pipeline.ledger_tables import ORIGINALS, VISITS

_FACTS = "visit.toml"


@dataclass(frozen=True, slots=True)
class Listed:
    """A visit in a list; facts is where its visit.toml is kept in work/accepted, empty when it has none."""

    id: str
    name: str
    state: str
    received: str
    place: str
    facts: str


class ListNotes:
    """The list of a studio's ledger; trouble with the database comes out as OSError."""

    def __init__(self, engine: sa.Engine, studio: str) -> None:
        self._engine = engine
        self._studio = studio

    def visits(self, states: Sequence[str], first: int = 0, count: int | None = None) -> list[Listed]:
        """List visits in these states, the newest first, all or from the place `first` on."""
        facts = (ORIGINALS.c.studio == VISITS.c.studio) & (ORIGINALS.c.visit == VISITS.c.id)
        facts &= sa.func.lower(ORIGINALS.c.name) == _FACTS
        query = sa.select(
            VISITS.c.id, VISITS.c.name, VISITS.c.state, VISITS.c.received,
            sa.func.coalesce(VISITS.c.place, ""), sa.func.coalesce(sa.func.min(ORIGINALS.c.stored), ""),
        )  # fmt: skip
        query = query.join_from(VISITS, ORIGINALS, facts, isouter=True)
        query = query.where(VISITS.c.studio == self._studio, VISITS.c.state.in_(states))
        query = query.group_by(VISITS.c.studio, VISITS.c.id)  # a folder may hold Visit.toml beside visit.toml
        query = query.order_by(VISITS.c.received.desc(), VISITS.c.id).offset(first).limit(count)
        with database.transaction(self._engine, only_reads=True) as connection:
            return [Listed(*row) for row in connection.execute(query)]

    def facts(self) -> list[str]:
        """Give where every visit.toml is kept."""
        query = sa.select(ORIGINALS.c.stored).where(ORIGINALS.c.studio == self._studio)
        query = query.where(sa.func.lower(ORIGINALS.c.name) == _FACTS).distinct()
        with database.transaction(self._engine, only_reads=True) as connection:
            return list(connection.execute(query).scalars())

    def last_at(self, places: Collection[str] | None = None) -> set[str]:
        """Name the visits whose report is the newest of a folder in outbox/: of several that share one, the last.

        Of some folders, few of them, or all.
        """
        query = sa.select(VISITS.c.place, VISITS.c.id).where(VISITS.c.studio == self._studio)
        query = query.where(VISITS.c.state == "reported", VISITS.c.place.is_not(None))
        if places is not None:
            query = query.where(VISITS.c.place.in_(list(places)))
        with database.transaction(self._engine, only_reads=True) as connection:
            rows = connection.execute(query.order_by(VISITS.c.received, VISITS.c.id))
            return set({row.place: row.id for row in rows}.values())
