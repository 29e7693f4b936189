"""The ledger's tables, which version of them a database has, and the steps from one version to the next."""

import os
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

import sqlalchemy as sa

from pipeline import database
from pipeline.errors import FolderError
from pipeline.resources import table

VERSION = 3
_UNKNOWN, _EMPTY, _UNVERSIONED = -1, 0, 1
_text = sa.String().with_variant(sa.String(collation="C"), "postgresql")  # sorted alike by both, whatever the language

_tables = sa.MetaData()
ABOUT = sa.Table("about", _tables, sa.Column("version", sa.Integer, primary_key=True))
VISITS = sa.Table(
    "visit", _tables,
    sa.Column("studio", _text, primary_key=True),
    sa.Column("id", _text, primary_key=True),
    sa.Column("name", _text, nullable=False),
    # accepted | processing | waiting | superseded | reported | held | set_back | archived | not_archived | replaced
    # | forgetting | forgotten
    sa.Column("state", _text, nullable=False),
    sa.Column("attempts", sa.Integer, nullable=False),
    sa.Column("received", _text, nullable=False),
    sa.Column("place", _text),  # folder name in outbox/ or file name in set-back/
    sa.Index("visit_state", "studio", "state"),
)  # fmt: skip
ORIGINALS = sa.Table(
    "original", _tables,
    sa.Column("studio", _text, primary_key=True),
    sa.Column("visit", _text, primary_key=True),
    sa.Column("position", sa.Integer, primary_key=True),
    sa.Column("name", _text, nullable=False),
    sa.Column("stored", _text, nullable=False),  # file name in work/accepted
)  # fmt: skip
REMEMBERED = sa.Table(
    "remembered", _tables,
    sa.Column("studio", _text, primary_key=True),
    sa.Column("key", _text, primary_key=True),
    sa.Column("value", _text, nullable=False),
)  # fmt: skip
SIGHTINGS = sa.Table(
    "sighting", _tables,
    sa.Column("studio", _text, primary_key=True),
    sa.Column("place", _text, primary_key=True),
    sa.Column("signature", _text, primary_key=True),
    sa.Column("visit", _text, nullable=False),
    sa.Index("sighting_visit", "studio", "visit"),
)  # fmt: skip
SENDINGS = sa.Table(  # no address: the letter in outbox/ has it, and doubles are found without it
    "sending", _tables,
    sa.Column("studio", _text, primary_key=True),
    sa.Column("visit", _text, primary_key=True),
    sa.Column("version", _text, primary_key=True),  # of the report
    sa.Column("number", sa.Integer, primary_key=True),  # 1, and one more for every time it was sent on purpose again
    sa.Column("state", _text, nullable=False),  # sending | sent | marked | unknown
    sa.Column("at", _text, nullable=False),
)  # fmt: skip

ARCHIVED = sa.Table(  # which file of the archive has a visit's rows; where gone is 1 they count no more
    "archived", _tables,
    sa.Column("studio", _text, primary_key=True),
    sa.Column("visit", _text, primary_key=True),
    sa.Column("path", _text, primary_key=True),
    sa.Column("gone", sa.Integer, nullable=False),
)  # fmt: skip


def opened(where: Path | database.Shared, *, may_change_tables: bool) -> sa.Engine:
    """Open a ledger's database with its tables; raises FolderError that says what is wrong and what to do.

    Tables of an older version are only changed by a program that has the studio for itself.
    """
    engine = database.engine(where)
    try:
        _check(engine, where)
        _prepare(engine, where, may_change_tables=may_change_tables)
    except OSError as fault:
        engine.dispose()
        raise FolderError(_unusable(where, fault)) from fault
    except FolderError:
        engine.dispose()
        raise
    return engine


def _check(engine: sa.Engine, where: Path | database.Shared) -> None:
    """Look a ledger's file through for damage; a server does that for itself."""
    if isinstance(where, Path):
        with database.transaction(engine, only_reads=True) as connection:
            found = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
        if found != "ok":
            raise OSError(None, f"ledger: {str(found).splitlines()[-1]}")


def _unusable(where: Path | database.Shared, fault: OSError) -> str:
    """Say why a ledger cannot be opened, and what to do."""
    why = str(fault.strerror or fault).removeprefix("ledger: ")
    if isinstance(where, database.Shared):
        if isinstance(fault, BlockingIOError):
            return f"{database.named(where)}: {why}, or let it do the work."
        return (
            f"{database.named(where)}: the ledger cannot be used ({why}). Check ledger in studio.toml, the password "
            "and the network."
        )
    return (
        f"{where}: the ledger cannot be used ({why}). If it is damaged, move it away together with {where.name}-wal "
        f"and {where.name}-shm, where they are, and start again: a new one is made from the copies in work/, and no "
        "report is made twice. Which letters were sent is then no longer known."
    )


# --- versions ---------------------------------------------------------------------------------------------------------
def _prepare(engine: sa.Engine, where: Path | database.Shared, *, may_change_tables: bool) -> None:
    """Make the tables, or bring those of an older version up to today's, a transaction a step.

    A file is copied aside before. Raises FolderError for a newer version, or for what is no ledger.
    """
    with database.transaction(engine, only_reads=True) as connection:
        found = _version(connection)
    if found == _UNKNOWN or (found == _UNVERSIONED and not isinstance(where, Path)):
        msg = f"{database.named(where)}: it has tables that are not of a ledger. Give the ledger a database of its own."
        raise FolderError(msg)
    if found > VERSION:
        msg = (
            f"{database.named(where)}: the ledger was written by a newer baywright (its version {found}; this one knows"
            f" {VERSION}). Install the newer baywright again; nothing was changed."
        )
        raise FolderError(msg)
    if _EMPTY < found < VERSION:
        if not may_change_tables:
            msg = (
                f"{database.named(where)}: the ledger was written by an older baywright. Stop that one if it still "
                "runs, then start baywright watch or baywright process, which bring it up to date."
            )
            raise FolderError(msg)
        if isinstance(where, Path):
            _copy_aside(where, found)
    for step in range(found, VERSION):
        with database.transaction(engine) as connection:
            _take_step(connection, step)


def _version(connection: sa.Connection) -> int:
    """Tell which version of the tables is there; asked once, as another program may be making them."""
    there = sa.inspect(connection)
    names = there.get_table_names()
    if "about" in names:
        if [column["name"] for column in there.get_columns("about")] != ["version"]:
            return _UNKNOWN
        return connection.execute(sa.select(sa.func.max(ABOUT.c.version))).scalar() or _UNKNOWN
    return _UNVERSIONED if "visit" in names else _EMPTY


def _take_step(connection: sa.Connection, step: int) -> None:
    """Go from one version to the next, unless another program did meanwhile; a new ledger gets today's at once."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("SELECT pg_advisory_xact_lock(%s)", (database.lock_number("tables"),))
    if _version(connection) != step:
        return
    if step == _EMPTY:
        _tables.create_all(connection)
        connection.execute(sa.insert(ABOUT).values(version=VERSION))
        return
    for statement in table("ledger_steps")[str(step)]["statements"]:
        connection.exec_driver_sql(statement)
    connection.execute(sa.update(ABOUT).values(version=step + 1))


def copies(ledger: Path) -> list[Path]:
    """List the copies kept of a ledger's file from before its tables changed."""
    return sorted(ledger.parent.glob(f"{ledger.stem} version *{ledger.suffix}"))


def _copy_aside(ledger: Path, version: int) -> None:
    """Copy a ledger's file beside it, whole, as it was in that version."""
    place, number = ledger.with_name(f"{ledger.stem} version {version}{ledger.suffix}"), 2
    while place.exists():
        place, number = place.with_stem(f"{ledger.stem} version {version} ({number})"), number + 1
    aside = place.with_name(f".{place.name}.part")
    try:
        aside.unlink(missing_ok=True)
        with closing(sqlite3.connect(ledger)) as source, closing(sqlite3.connect(aside)) as target:
            source.backup(target)
        with aside.open("rb+") as copy:
            os.fsync(copy.fileno())
        aside.replace(place)
    except (OSError, sqlite3.Error) as fault:
        with suppress(OSError):
            aside.unlink()
        msg = (
            f"{ledger}: it must be brought up to this baywright's version, and could not be copied aside before "
            f"({getattr(fault, 'strerror', None) or fault}). Make room on the disk and start again."
        )
        raise FolderError(msg) from fault
