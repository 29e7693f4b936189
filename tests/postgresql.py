"""A PostgreSQL server of the tests' own: made in a temporary folder, reached through a socket in it, and gone again."""

import os
import pwd
import shutil
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from pipeline.database import Shared

REQUIRED = "BAYWRIGHT_REQUIRE_POSTGRESQL"  # set where a missing server is a failure and no reason to skip
PASSWORD = "open: sesame/@"  # noqa: S105 - with all that an address would take for its own marks


@dataclass(frozen=True)
class Server:
    """A running server; every test gets a studio of its own in the one database, or a database of its own."""

    url: sa.URL

    def studio(self, *, alone: bool = False) -> Shared:
        return Shared(self.url, uuid.uuid4().hex, alone)

    def new_database(self) -> sa.URL:
        name = f"baywright_{uuid.uuid4().hex[:8]}"
        with self.connected() as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return self.url.set(database=name)

    @contextmanager
    def connected(self, url: sa.URL | None = None) -> Iterator[Any]:
        """Reach the server past the ledger."""
        import psycopg  # noqa: PLC0415 - only where there is a server

        to = url or self.url
        with psycopg.connect(
            host=str(to.query["host"]), user=to.username, password=to.password, dbname=to.database, autocommit=True
        ) as connection:
            yield connection


def _tools() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).parent if on_path else None


def _lacking(what: str) -> None:
    """Skip loudly, or fail where a server is required."""
    said = f"{what}: THE LEDGER IS NOT TESTED ON POSTGRESQL. apt-get install postgresql, pip install '.[test]'"
    if os.environ.get(REQUIRED):
        pytest.fail(said)
    pytest.skip(said)


def _other_user() -> str | None:
    """Name whom the server runs as: it refuses to run as root."""
    if os.geteuid():
        return None
    known = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in known else "nobody"


@contextmanager
def server(*, durable: bool = False) -> Iterator[Server]:
    """Run a server for as long as this lasts; durable waits for the disk as a real one does."""
    tools, user = _tools(), _other_user()
    if tools is None:
        _lacking("no PostgreSQL server on this machine")
    try:
        import psycopg  # noqa: F401, PLC0415 - a part one may do without
    except ImportError:
        _lacking("the package psycopg is missing")
    with tempfile.TemporaryDirectory(
        prefix="bw-pg-", dir="/tmp", ignore_cleanup_errors=True
    ) as folder:  # a socket has a short path
        if user:
            shutil.chown(folder, user)
        home = Path(folder)
        (home / "password").write_text(PASSWORD, encoding="utf-8")

        def tool(name: str, *words: str) -> None:
            subprocess.run(
                [f"{tools}/{name}", *words],
                user=user, cwd=folder, check=True, timeout=60, stdout=subprocess.DEVNULL, stdin=subprocess.DEVNULL,
            )  # fmt: skip

        made = ("--no-sync", "--no-locale", "-E", "UTF8", "-U", "baywright", "-A", "scram-sha-256")
        tool("initdb", "-D", f"{home}/data", *made, "--pwfile", f"{home}/password")
        options = f"-c listen_addresses='' -c fsync={'on' if durable else 'off'} -c unix_socket_directories={home}"
        tool("pg_ctl", "-D", f"{home}/data", "-o", options, "-w", "-l", f"{home}/log", "start")
        try:
            yield Server(
                sa.URL.create(
                    "postgresql+psycopg", "baywright", PASSWORD, database="postgres", query={"host": str(home)}
                )
            )
        finally:
            tool("pg_ctl", "-D", f"{home}/data", "-m", "immediate", "-w", "stop")
