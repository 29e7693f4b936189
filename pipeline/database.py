"""The database a ledger lies in: a file of SQLite on the studio's own disk, or PostgreSQL for several studios."""

import errno
import hashlib
import sqlite3
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from pipeline import passwords
from pipeline.errors import MissingPartError, SettingsError
from pipeline.settings import Settings

PASSWORD_VARIABLE = "BAYWRIGHT_LEDGER_PASSWORD"  # noqa: S105 - its name, not a password
LONGEST_WAIT_FOR_STUDIO_S = 3.0  # the server needs a moment to notice that a program was killed
LONGEST_WAIT_S = 5  # for another program that has the database at this moment
_DRIVER = "postgresql+psycopg"
_ALONE_IN_FILE = ""  # the studio's key in a database of its own
# A commit is on disk when it is said to be; a computer that was switched off gives the studio free within a minute.
_SESSION = f"""
SET synchronous_commit = on;
SET lock_timeout = '{LONGEST_WAIT_S}s';
SET statement_timeout = '30s';
SET tcp_keepalives_idle = 20;
SET tcp_keepalives_interval = 10;
SET tcp_keepalives_count = 3
"""


@dataclass(frozen=True, slots=True)
class Shared:
    """A PostgreSQL database, and which of its studios this is; alone refuses a second program that asks for it."""

    url: sa.URL
    studio: str
    alone: bool = False


def key(where: Path | Shared) -> str:
    """Give the studio's key in every table."""
    return where.studio if isinstance(where, Shared) else _ALONE_IN_FILE


def named(where: Path | Shared) -> str:
    """Name a database for people, without its password."""
    return f"database {where.url.database}" if isinstance(where, Shared) else str(where)


# --- settings ---------------------------------------------------------------------------------------------------------
def url(settings: Settings, root: Path, environment: Mapping[str, str]) -> sa.URL | None:
    """Give the PostgreSQL database of studio.toml with its password; None when the ledger is a file of its own.

    Raises SettingsError, which never repeats what is set: there may be a password in it.
    """
    if not settings.ledger:
        return None
    at = root / "studio.toml"
    try:
        given = sa.make_url(settings.ledger)
    except (sa.exc.ArgumentError, ValueError):
        given = None
    if given is None or given.get_backend_name() != "postgresql" or not given.database:
        msg = f"{at}: ledger must be an address such as postgresql+psycopg://user@host/database, or empty."
        raise SettingsError(msg)
    if given.password is not None or "password" in given.query:
        msg = (
            f"{at}: ledger must not have a password in it. Write it into a text file that only you may read and name "
            f"that file in ledger_password_file, or set the variable {PASSWORD_VARIABLE}."
        )
        raise SettingsError(msg)
    found = passwords.find(PASSWORD_VARIABLE, settings.ledger_password_file, "ledger_password_file", root, environment)
    return given.set(drivername=_DRIVER, password=found or None)


# --- opening ----------------------------------------------------------------------------------------------------------
def engine(where: Path | Shared) -> sa.Engine:
    """Make the way to a database; what goes wrong with its rows is never told with their values."""
    if isinstance(where, Path):
        made = sa.create_engine(
            sa.URL.create("sqlite", database=str(where)), hide_parameters=True, connect_args={"timeout": LONGEST_WAIT_S}
        )
        sa.event.listen(made, "connect", _durable)
        sa.event.listen(made, "begin", _begin)
        return made
    try:
        # One connection, so that the studio's lock and everything written under it live and die together.
        made = sa.create_engine(
            where.url, hide_parameters=True, pool_size=1, max_overflow=0, pool_pre_ping=True,
            connect_args={"connect_timeout": 10, "application_name": "baywright"},
        )  # fmt: skip
    except ImportError as fault:
        msg = (
            "the ledger lies in PostgreSQL (ledger in studio.toml), and the part that speaks to it is missing. "
            "Install it: pip install 'baywright[postgresql]'"
        )
        raise MissingPartError(msg) from fault
    sa.event.listen(made, "connect", lambda connection, _record: _prepare(connection, where))
    return made


def _durable(connection: Any, _record: object) -> None:  # noqa: ANN401 - the driver's
    """Make commits survive a power cut, and let readers and the writer work side by side."""
    connection.isolation_level = None  # transactions begin where we say so, not at the first change
    cursor = connection.cursor()
    _write_ahead(cursor)
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.execute("PRAGMA secure_delete=ON")  # what is deleted is overwritten
    cursor.close()


def _write_ahead(cursor: sqlite3.Cursor) -> None:
    """Have changes written ahead; SQLite waits for others with everything but this, so we do."""
    end = time.monotonic() + LONGEST_WAIT_S
    while True:
        try:
            cursor.execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError as fault:
            if "locked" not in str(fault) or time.monotonic() >= end:
                raise
            time.sleep(0.02)
        else:
            return


def _begin(connection: sa.Connection) -> None:
    """Begin a transaction; one that will write waits for the others now, not when it has read what they change."""
    reads = connection.get_execution_options().get("only_reads")
    connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")


def _prepare(connection: Any, where: Shared) -> None:  # noqa: ANN401 - the driver's
    """Set a connection up and take the studio's lock, which the server holds for as long as the connection lives."""
    connection.execute(_SESSION)
    if where.alone:
        end = time.monotonic() + LONGEST_WAIT_FOR_STUDIO_S
        query, number = "SELECT pg_try_advisory_lock(%s)", lock_number(where.studio)
        while connection.execute(query, [number]).fetchone() != (True,):
            if time.monotonic() < end:
                time.sleep(0.05)
                continue
            connection.close()
            msg = "another baywright, perhaps on another computer, is at work on this studio. Stop it first"
            raise BlockingIOError(errno.EAGAIN, msg)
    connection.commit()


def lock_number(name: str) -> int:
    """Give the number PostgreSQL knows a lock by."""
    return int.from_bytes(hashlib.sha256(f"baywright {name}".encode()).digest()[:8], "big", signed=True)


# --- transactions -----------------------------------------------------------------------------------------------------
@contextmanager
def transaction(to: sa.Engine, *, only_reads: bool = False) -> Iterator[sa.Connection]:
    """Open a transaction; what the database refuses is an OSError, as for any other file."""
    try:
        with to.connect().execution_options(only_reads=only_reads) as connection, connection.begin():
            yield connection
    except sa.exc.SQLAlchemyError as fault:
        raise OSError(errno.EIO, f"ledger: {reason(fault)}") from fault


def reason(fault: sa.exc.SQLAlchemyError) -> str:
    """Say in one line what a database refused."""
    said = str(fault.orig if isinstance(fault, sa.exc.DBAPIError) and fault.orig else fault)
    lines = [line.strip() for line in said.splitlines()]
    return next((line for line in lines if line), type(fault).__name__)


def write_anew(to: sa.Engine) -> None:
    """Leave no deleted word in a file of SQLite, its log or its free pages; a server looks after its files itself."""
    if to.dialect.name != "sqlite":
        return
    try:
        connection = to.raw_connection()
        try:
            cursor = connection.cursor()
            cursor.execute("VACUUM")
            [busy, *_] = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            cursor.close()
        finally:
            connection.close()
    except sqlite3.Error as fault:
        raise OSError(errno.EIO, f"ledger: {fault}") from fault
    if busy:
        raise OSError(errno.EBUSY, "ledger: another program is reading it")
