"""What commands print about events, and the parts they share."""

import argparse
import logging
import logging.handlers
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from io import TextIOWrapper

    from filelock import FileLock

    from pipeline.branding import Logo
    from pipeline.events import Event
    from pipeline.inbox import Inbox
    from pipeline.ledger import Ledger
    from pipeline.settings import Settings
    from pipeline.studio import Studio

_HEADS = {
    "reported": "report ",
    "held": "held   ",
    "set_back": "set back",
    "waiting": "waiting",
    "known": "known  ",
    "erased": "erased ",
    "drift": "device ",
    "trouble": "trouble",
}


def add_folder(parser: argparse.ArgumentParser) -> None:
    """Add the studio folder to a command."""
    parser.add_argument("folder", type=Path, metavar="DIR", help="the studio folder")


def printable(text: str) -> str:
    """Make a text from outside safe for a terminal."""
    return "".join(c if c.isprintable() else "�" for c in text)


def typed_in(path: Path) -> str:
    """Write a path as one types it into a console."""
    return f'"{path}"' if " " in str(path) else str(path)


def tell(event: "Event") -> None:
    """Print an event in one or two lines; a console that has gone away stops nothing."""
    with suppress(OSError):
        _tell(event)


def _tell(event: "Event") -> None:
    print(f"{_HEADS[event.kind]:9}{printable(event.name)}: {printable(event.message)}", flush=True)
    if event.place:
        times = ", ".join(f"{name} {seconds:.1f} s" for name, seconds in event.seconds.items())
        print(f"{'':9}→ {printable(str(event.place))}" + (f"  ({times})" if times else ""), flush=True)


def lock_for_now(studio: "Studio") -> "FileLock":
    """Take the studio for a moment's work; says how to end a watcher that has it."""
    from pipeline.errors import FolderError
    from pipeline.studio import lock

    try:
        return lock(studio)
    except FolderError as fault:
        msg = f"{fault} A running watcher is stopped with Ctrl-C; nothing is lost, start it again after this."
        raise FolderError(msg) from fault


def open_ledger(studio: "Studio", settings: "Settings", *, alone: bool = False) -> "Ledger":
    """Open the ledger of a studio, with its log; alone refuses a second program, on whatever computer.

    A ledger that was lost is made anew, so that no letter is sent twice and no visit is unknown.
    """
    from pipeline.rebuilding import reconcile

    ledger = plain_ledger(studio, settings, alone=alone)
    try:
        said = "" if ledger.tally() else reconcile(studio, ledger)
    except OSError as fault:
        from pipeline.errors import FolderError

        ledger.close()
        msg = f"{studio.root}: the ledger was lost and cannot be made anew ({fault.strerror or fault})."
        raise FolderError(msg) from fault
    if said:
        print(f"{_HEADS['trouble']:9}ledger: {said}", file=sys.stderr)
    return ledger


def plain_ledger(studio: "Studio", settings: "Settings", *, alone: bool) -> "Ledger":
    """Open the ledger as it is, with the log: one that was lost stays empty."""
    import os

    from pipeline import database
    from pipeline.ledger import Ledger
    from pipeline.studio import identity, restrict

    _log_to(studio.work / "log.txt")
    shared = database.url(settings, studio.root, os.environ)
    where = database.Shared(shared, identity(studio), alone) if shared else studio.work / "ledger.sqlite3"
    ledger = Ledger(where, may_change_tables=alone)
    restrict(studio)  # its file was made as the umask has it
    return ledger


def open_inbox(studio: "Studio", settings: "Settings") -> "Inbox":
    """Make the intake of a studio, with its log."""
    from pipeline.inbox import Inbox

    logo = open_logo(studio, settings)
    return Inbox(studio, settings, plain_ledger(studio, settings, alone=True), tell, logo=logo)


def open_logo(studio: "Studio", settings: "Settings") -> "Logo | None":
    """Read the studio's logo and draw it once: what cannot be drawn is said now, and stands in no report's way."""
    from pipeline import branding
    from pipeline.errors import ReportError, SettingsError
    from pipeline.studio import logo
    from pipeline.workshop import SHARED

    found = logo(studio, settings)
    if found:
        try:
            SHARED.draw(branding.page(found), "logo")
        except ReportError as fault:
            msg = (
                f"{studio.root / settings.logo}: not used as logo: it cannot be drawn. "
                'Save it simpler, or set logo = "" in studio.toml.'
            )
            raise SettingsError(msg) from fault
    return found


class _QuietLog(logging.handlers.RotatingFileHandler):
    """A log that stops nothing and fills no console when it cannot be written: a full disk is told elsewhere."""

    def _open(self) -> "TextIOWrapper":
        """Make the file one for its owner alone."""
        from pipeline.studio import PRIVATE

        Path(self.baseFilename).touch(mode=PRIVATE)
        return super()._open()

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 - the library's name
        """Say nothing."""


def _log_to(path: Path) -> None:
    """Write the program's log to that file and nowhere else; it names no customer."""
    log = logging.getLogger("baywright")
    for earlier in [handler for handler in log.handlers if isinstance(handler, logging.FileHandler)]:
        log.removeHandler(earlier)
        earlier.close()
    handler = _QuietLog(path, maxBytes=1_000_000, backupCount=3, encoding="utf-8", delay=True)
    handler.setFormatter(logging.Formatter("%(asctime)s %(message)s", "%Y-%m-%d %H:%M:%S"))
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.propagate = False
