"""What the ledger knows of letters beyond their sending: the last note of each, and staff's word that they sent it."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from pipeline import database
from pipeline.ledger_tables import SENDINGS

_SENDING = (SENDINGS.c.visit, SENDINGS.c.version, SENDINGS.c.number, SENDINGS.c.state, SENDINGS.c.at)
_MARKED = "marked"


@dataclass(frozen=True, slots=True)
class Sending:
    """One sending of a letter; still `sending` when the program stopped before it knew how it ended.

    `unknown` stands for all there may have been before the ledger was lost; `marked` is staff's word that they sent it
    from their mail program.
    """

    visit: str
    version: str
    number: int
    state: str
    at: str


class LetterNotes:
    """The letters' part of a studio's ledger; trouble with the database comes out as OSError."""

    def __init__(self, engine: sa.Engine, studio: str) -> None:
        self._engine = engine
        self._studio = studio

    def _mine(self) -> sa.ColumnElement[bool]:
        return SENDINGS.c.studio == self._studio

    def last(self, visits: Collection[str] | None = None) -> dict[str, Mapping[str, Sending]]:
        """Give the last note on each letter, of some visits or all: visit → version of its report → note."""
        query = sa.select(*_SENDING).where(self._mine())
        if visits is not None:
            query = query.where(SENDINGS.c.visit.in_(list(visits)))
        found: dict[str, dict[str, Sending]] = {}
        with database.transaction(self._engine, only_reads=True) as connection:
            for row in connection.execute(query.order_by(SENDINGS.c.number)):
                found.setdefault(row.visit, {})[row.version] = Sending(*row)
        return dict(found)

    def mark(self, visit: str, version: str, after: int, at: str) -> bool:
        """Note that staff sent a letter themselves; False when anything was noted since its note number `after`."""
        rows = sa.select(sa.func.count()).where(self._of_letter(visit, version), SENDINGS.c.number > after)
        values = {"visit": visit, "version": version, "number": after + 1, "state": _MARKED, "at": at}
        insert = sqlite.insert(SENDINGS) if self._engine.dialect.name == "sqlite" else postgresql.insert(SENDINGS)
        new = insert.values(studio=self._studio, **values).on_conflict_do_nothing().returning(SENDINGS.c.number)
        with database.transaction(self._engine) as connection:
            if connection.execute(rows).scalar():
                return False
            return connection.execute(new).first() is not None

    def unmark(self, visit: str, version: str, number: int) -> bool:
        """Take staff's word back; False when that note is not such a word, or is there no more."""
        this = self._of_letter(visit, version) & (SENDINGS.c.number == number) & (SENDINGS.c.state == _MARKED)
        with database.transaction(self._engine) as connection:
            return connection.execute(sa.delete(SENDINGS).where(this).returning(SENDINGS.c.number)).first() is not None

    def _of_letter(self, visit: str, version: str) -> sa.ColumnElement[bool]:
        return self._mine() & (SENDINGS.c.visit == visit) & (SENDINGS.c.version == version)
