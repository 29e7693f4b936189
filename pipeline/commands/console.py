"""What commands print about events, and the parts they share."""

import argparse
import logging
import logging.handlers
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.branding import Logo
    from pipeline.inbox import Event, Inbox
    from pipeline.ledger import Ledger
    from pipeline.settings import Settings
    from pipeline.studio import Studio

_HEADS = {
    "reported": "report ",
    "held": "held   ",
    "set_back": "set back",
    "waiting": "waiting",
    "known": "known  ",
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


def open_ledger(studio: "Studio") -> "Ledger":
    """Open the ledger of a studio, with its log."""
    from pipeline.ledger import Ledger

    _log_to(studio.work / "log.txt")
    return Ledger(studio.work / "ledger.sqlite3")


def open_inbox(studio: "Studio", settings: "Settings") -> "Inbox":
    """Make the intake of a studio, with its log."""
    from pipeline.inbox import Inbox

    logo = open_logo(studio, settings)
    return Inbox(studio, settings, open_ledger(studio), tell, logo=logo)


def open_logo(studio: "Studio", settings: "Settings") -> "Logo | None":
    """Read the studio's logo and draw it once: what cannot be drawn is said now, and stands in no report's way."""
    from pipeline import outputs, pdf
    from pipeline.errors import ReportError, SettingsError
    from pipeline.studio import logo

    found = logo(studio, settings)
    if found:
        try:
            pdf.make(outputs.logo_page(found), "logo")
        except ReportError as fault:
            msg = (
                f"{studio.root / settings.logo}: not used as logo: it cannot be drawn. "
                'Save it simpler, or set logo = "" in studio.toml.'
            )
            raise SettingsError(msg) from fault
    return found


def _log_to(path: Path) -> None:
    """Write the program's log to that file and nowhere else; it names no customer."""
    log = logging.getLogger("baywright")
    for earlier in [handler for handler in log.handlers if isinstance(handler, logging.FileHandler)]:
        log.removeHandler(earlier)
        earlier.close()
    handler = logging.handlers.RotatingFileHandler(
        path, maxBytes=1_000_000, backupCount=3, encoding="utf-8", delay=True
    )
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.propagate = False
