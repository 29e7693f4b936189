"""What the ledger knows of the archive: which file has a visit's rows, and whether they still count."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

import sqlalchemy as sa

from pipeline import database
from pipeline.ledger_tables import ARCHIVED, VISITS

_COLUMNS = (ARCHIVED.c.studio, ARCHIVED.c.visit, ARCHIVED.c.path, ARCHIVED.c.gone)
_FILED = ("reported", "archived")  # states of visits whose shots belong into the archive
_AT_ONCE = 400


@dataclass(frozen=True, slots=True, order=True)
class Filed:
    """A visit whose rows lie in a file of the archive; path is relative to its folder."""

    studio: str
    visit: str
    path: str
    gone: bool


class ArchiveNotes:
    """The archive's part of a studio's ledger; trouble with the database comes out as OSError."""

    def __init__(self, engine: sa.Engine, studio: str) -> None:
        self._engine = engine
        self._studio = studio

    def _mine(self) -> sa.ColumnElement[bool]:
        return ARCHIVED.c.studio == self._studio

    def filed(self, visit: str | None = None, *, every_studio: bool = False) -> list[Filed]:
        """List what is filed, of all visits or one, in one statement, so that nothing changes within; by path."""
        query = sa.select(*_COLUMNS)
        if not every_studio:
            query = query.where(self._mine())
        if visit is not None:
            query = query.where(ARCHIVED.c.visit == visit)
        with database.transaction(self._engine, only_reads=True) as connection:
            rows = [Filed(row.studio, row.visit, row.path, bool(row.gone)) for row in connection.execute(query)]
        return sorted(rows, key=lambda row: (row.path, row.visit, row.studio))

    def lacking(self) -> list[str]:
        """Name the visits with shots that no file of the archive has, in the order they came.

        Of several visits whose reports share a folder only the last one counts: it has the shots of the others.
        """
        visits = sa.select(VISITS.c.id, VISITS.c.place, VISITS.c.received)
        visits = visits.where(VISITS.c.studio == self._studio, VISITS.c.state.in_(_FILED))
        there = sa.select(ARCHIVED.c.visit).where(self._mine(), ARCHIVED.c.gone == 0)
        with database.transaction(self._engine, only_reads=True) as connection:
            last = {row.place or row.id: row.id for row in connection.execute(visits.order_by(VISITS.c.received))}
            known = set(connection.execute(there).scalars())
        return [identity for identity in last.values() if identity not in known]

    def file(self, paths: Mapping[str, str]) -> None:
        """Note the files (visit → path) that have the visits' rows from now on.

        What lay elsewhere of them, or of another visit whose report has the same place, counts no more.
        """
        with database.transaction(self._engine) as connection:
            self.leave_out(connection, paths)
            for identity in paths:
                self.leave_out(connection, [row.id for row in connection.execute(self._sharing(identity))])
            self._insert(connection, ((visit, path) for visit, path in paths.items()))

    def _sharing(self, identity: str) -> sa.Select[tuple[str]]:
        """Ask for the other visits whose report has the same place."""
        of_studio = VISITS.c.studio == self._studio
        place = sa.select(VISITS.c.place).where(of_studio, VISITS.c.id == identity, VISITS.c.place.is_not(None))
        return sa.select(VISITS.c.id).where(of_studio, VISITS.c.place.in_(place), VISITS.c.id != identity)

    def _insert(self, connection: sa.Connection, rows: Iterable[tuple[str, str]]) -> None:
        made = [{"studio": self._studio, "visit": visit, "path": path, "gone": 0} for visit, path in rows]
        for row in made:
            this = self._mine() & (ARCHIVED.c.visit == row["visit"]) & (ARCHIVED.c.path == row["path"])
            connection.execute(sa.delete(ARCHIVED).where(this))
        if made:
            connection.execute(sa.insert(ARCHIVED), made)

    def leave_out(self, connection: sa.Connection, visits: Collection[str]) -> None:
        """Note within a transaction that the rows of visits count no more."""
        for start in range(0, len(visits), _AT_ONCE):
            some = list(visits)[start : start + _AT_ONCE]
            these = sa.update(ARCHIVED).where(self._mine(), ARCHIVED.c.visit.in_(some), ARCHIVED.c.gone == 0)
            connection.execute(these.values(gone=1))

    def drop(self, visits: Collection[str]) -> None:
        """Note that the rows of visits count no more."""
        with database.transaction(self._engine) as connection:
            self.leave_out(connection, visits)

    def swap(self, old: Collection[Filed], path: str) -> bool:
        """Let one file stand for what others held, in one transaction; False when that has changed since it was read.

        Rows that were gone are not in the new file; an empty path: no file has the rows any more.
        """
        places = sorted({row.path for row in old})
        with database.transaction(self._engine) as connection:
            there = self._mine() & ARCHIVED.c.path.in_(places)
            found = [
                Filed(r.studio, r.visit, r.path, bool(r.gone))
                for r in connection.execute(sa.select(*_COLUMNS).where(there))
            ]
            if sorted(found) != sorted(old):
                return False
            connection.execute(sa.delete(ARCHIVED).where(there))
            self._insert(connection, ((row.visit, path) for row in old if path and not row.gone))
        return True
