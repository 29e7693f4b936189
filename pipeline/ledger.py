"""The ledger: which content was dropped, and what became of it. SQLite on the studio's own disk."""

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.dialects.sqlite import insert

from pipeline.errors import FolderError

FINISHED_WITHOUT_REPORT = ("superseded", "held", "set_back")  # dropped again, such a visit is tried again

_tables = sa.MetaData()
VISITS = sa.Table(
    "visit", _tables,
    sa.Column("id", sa.String, primary_key=True),
    sa.Column("name", sa.String, nullable=False),
    # accepted | processing | waiting | superseded | reported | held | set_back
    sa.Column("state", sa.String, nullable=False),
    sa.Column("attempts", sa.Integer, nullable=False, default=0),
    sa.Column("received", sa.String, nullable=False),
    sa.Column("place", sa.String),  # folder name in outbox/ or file name in set-back/
)  # fmt: skip
ORIGINALS = sa.Table(
    "original", _tables,
    sa.Column("visit", sa.String, primary_key=True),
    sa.Column("position", sa.Integer, primary_key=True),
    sa.Column("name", sa.String, nullable=False),
    sa.Column("stored", sa.String, nullable=False),  # file name in work/accepted
)  # fmt: skip
REMEMBERED = sa.Table(
    "remembered", _tables,
    sa.Column("key", sa.String, primary_key=True),
    sa.Column("value", sa.String, nullable=False),
)  # fmt: skip
SIGHTINGS = sa.Table(
    "sighting", _tables,
    sa.Column("place", sa.String, primary_key=True),
    sa.Column("signature", sa.String, primary_key=True),
    sa.Column("visit", sa.String, nullable=False),
)  # fmt: skip

SENDINGS = sa.Table(  # no address: the letter in outbox/ has it, and doubles are found without it
    "sending", _tables,
    sa.Column("visit", sa.String, primary_key=True),
    sa.Column("version", sa.String, primary_key=True),  # of the report
    sa.Column("number", sa.Integer, primary_key=True),  # 1, and one more for every time it was sent on purpose again
    sa.Column("state", sa.String, nullable=False),  # sending | sent
    sa.Column("at", sa.String, nullable=False),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sending:
    """One sending of a letter; still `sending` when the program stopped before it knew how it ended."""

    visit: str
    version: str
    number: int
    state: str
    at: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One dropped visit in the ledger."""

    id: str
    name: str
    state: str
    attempts: int
    place: str | None
    originals: tuple[tuple[str, str], ...]  # (name as dropped, name in work/accepted)


def _durable(connection: object, _record: object) -> None:
    """Make commits survive a power cut, and let readers and the writer work side by side."""
    cursor = connection.cursor()  # type: ignore[attr-defined]
    cursor.execute("PRAGMA journal_mode=WAL")
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.close()


class Ledger:
    """The ledger of one studio; a full disk or a locked file comes out as OSError."""

    def __init__(self, path: Path) -> None:
        self._engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)))
        sa.event.listen(self._engine, "connect", _durable)
        try:
            _tables.create_all(self._engine)
        except sa.exc.DatabaseError as fault:
            self.close()
            msg = (
                f"{path}: the ledger cannot be used ({fault.orig}). If it is damaged, move it away and start again: "
                "a new one is made, the dropped files are read once more, and no report is made twice. "
                "Which letters were sent is then no longer known."
            )
            raise FolderError(msg) from fault

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    @contextmanager
    def _transaction(self) -> Iterator[sa.Connection]:
        """Open a transaction; what the disk refuses is an OSError, as for any other file."""
        try:
            with self._engine.begin() as connection:
                yield connection
        except sa.exc.OperationalError as fault:
            raise OSError(errno.EIO, f"ledger: {fault.orig}") from fault

    def seen(self, place: str, signature: str) -> bool:
        """Tell whether exactly this file, unchanged, was taken before."""
        query = sa.select(SIGHTINGS.c.visit).where(SIGHTINGS.c.place == place, SIGHTINGS.c.signature == signature)
        with self._transaction() as connection:
            return connection.execute(query).first() is not None

    def accept(self, entry: Entry, sighting: tuple[str, str], received: str) -> bool:
        """Note a dropped visit, in one transaction; False when there is nothing to do: the content is known.

        Content that was held, set back or superseded before is tried again, under the name it now has.
        """
        again = (VISITS.c.id == entry.id) & VISITS.c.state.in_(FINISHED_WITHOUT_REPORT)
        with self._transaction() as connection:
            connection.execute(sa.delete(VISITS).where(again))
            new = connection.execute(
                insert(VISITS)
                .values(id=entry.id, name=entry.name, state=entry.state, attempts=0, received=received)
                .on_conflict_do_nothing()
            ).rowcount
            if new:
                self._note_originals(connection, entry)
            earlier = sa.select(SIGHTINGS.c.visit).where(SIGHTINGS.c.place == sighting[0])
            half_written = (VISITS.c.state == "waiting") & VISITS.c.id.in_(earlier) & (VISITS.c.id != entry.id)
            connection.execute(sa.update(VISITS).where(half_written).values(state="superseded"))
            seen = insert(SIGHTINGS).values(place=sighting[0], signature=sighting[1], visit=entry.id)
            connection.execute(seen.on_conflict_do_nothing())
        return bool(new)

    @staticmethod
    def _note_originals(connection: sa.Connection, entry: Entry) -> None:
        connection.execute(sa.delete(ORIGINALS).where(ORIGINALS.c.visit == entry.id))
        rows = [
            {"visit": entry.id, "position": i, "name": name, "stored": stored}
            for i, (name, stored) in enumerate(entry.originals)
        ]
        if rows:
            connection.execute(insert(ORIGINALS), rows)

    def move(self, identity: str, state: str, place: str | None = None, *, crashed: bool = False) -> None:
        """Put a visit into a state; crashed counts one attempt against it."""
        change = sa.update(VISITS).where(VISITS.c.id == identity).values(state=state, place=place)
        if crashed:
            change = change.values(attempts=VISITS.c.attempts + 1)
        with self._transaction() as connection:
            connection.execute(change)

    def changed(self, key: str, value: str) -> bool:
        """Remember a value; tells whether it differs from the one remembered before."""
        with self._transaction() as connection:
            known = connection.execute(sa.select(REMEMBERED.c.value).where(REMEMBERED.c.key == key)).scalar()
            new = insert(REMEMBERED).values(key=key, value=value)
            connection.execute(new.on_conflict_do_update(index_elements=["key"], set_={"value": value}))
        return known != value

    def entries(self, *states: str) -> list[Entry]:
        """List the visits in these states, in the order they came."""
        query = sa.select(VISITS).where(VISITS.c.state.in_(states)).order_by(VISITS.c.received, VISITS.c.id)
        with self._transaction() as connection:
            rows = connection.execute(query).all()
            return [self._entry(connection, row) for row in rows]

    def entry(self, identity: str) -> Entry | None:
        """Give one visit."""
        with self._transaction() as connection:
            row = connection.execute(sa.select(VISITS).where(VISITS.c.id == identity)).first()
            return self._entry(connection, row) if row else None

    def at_same_place(self, identity: str) -> list[Entry]:
        """List the reported visits that came from the same place in the drop folder as this one, the newest first."""
        places = sa.select(SIGHTINGS.c.place).where(SIGHTINGS.c.visit == identity)
        there = sa.select(SIGHTINGS.c.visit).where(SIGHTINGS.c.place.in_(places), SIGHTINGS.c.visit != identity)
        query = sa.select(VISITS).where(VISITS.c.id.in_(there), VISITS.c.state == "reported")
        with self._transaction() as connection:
            rows = connection.execute(query.order_by(VISITS.c.received.desc(), VISITS.c.id)).all()
            return [self._entry(connection, row) for row in rows]

    def keep(self, entry: Entry) -> None:
        """Note other originals for a visit: those with which it is worked out from now on."""
        with self._transaction() as connection:
            self._note_originals(connection, entry)

    @staticmethod
    def _entry(connection: sa.Connection, row: sa.Row[tuple[object, ...]]) -> Entry:
        query = sa.select(ORIGINALS.c.name, ORIGINALS.c.stored).where(ORIGINALS.c.visit == row.id)
        originals = tuple((r.name, r.stored) for r in connection.execute(query.order_by(ORIGINALS.c.position)))
        return Entry(row.id, row.name, row.state, row.attempts, row.place, originals)

    # --- letters -------------------------------------------------------------------------------------------------
    def last_sending(self, visit: str, version: str) -> Sending | None:
        """Give the last sending of a visit's letter in that version."""
        of_letter = (SENDINGS.c.visit == visit) & (SENDINGS.c.version == version)
        query = sa.select(SENDINGS).where(of_letter).order_by(SENDINGS.c.number.desc())
        with self._transaction() as connection:
            row = connection.execute(query).first()
        return Sending(*row) if row else None

    def begin_sending(self, visit: str, version: str, at: str, *, again: bool = False) -> Sending | None:
        """Note that a letter is about to be sent; None when that was noted before and again was not asked for.

        One statement, so that of two programs at the same time only one gets to send.
        """
        of_letter = (SENDINGS.c.visit == visit) & (SENDINGS.c.version == version)
        last = sa.func.coalesce(sa.select(sa.func.max(SENDINGS.c.number)).where(of_letter).scalar_subquery(), 0)
        new = insert(SENDINGS).values(
            visit=visit, version=version, number=last + 1 if again else 1, state="sending", at=at
        )
        with self._transaction() as connection:
            row = connection.execute(new.on_conflict_do_nothing().returning(*SENDINGS.c)).first()
        return Sending(*row) if row else None

    def end_sending(self, sending: Sending, at: str, *, sent: bool) -> None:
        """Note that a letter was sent, or forget the sending when it surely was not."""
        keys = (SENDINGS.c.visit, SENDINGS.c.version, SENDINGS.c.number)
        this = sa.tuple_(*keys) == sa.tuple_(sending.visit, sending.version, sending.number)
        change = sa.update(SENDINGS).values(state="sent", at=at) if sent else sa.delete(SENDINGS)
        with self._transaction() as connection:
            connection.execute(change.where(this))
