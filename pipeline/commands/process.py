"""`baywright process DIR [FILE…]`."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.commands.console import add_folder, open_inbox, printable, tell
from pipeline.errors import FolderError, SettingsError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.arrivals import Arrival
    from pipeline.events import Event
    from pipeline.inbox import Inbox
    from pipeline.settings import Settings
    from pipeline.studio import Studio


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.add_argument(
        "files", type=Path, nargs="*", metavar="FILE", help="files or folders to take; else all of inbox/"
    )
    parser.add_argument(
        "--erased-too", action="store_true", help="take the FILEs named although their content was erased before"
    )
    parser.add_argument(
        "--backlog",
        action="store_true",
        help="read old exports in inbox/ into the archive, in bulk and without making reports",
    )
    parser.epilog = (
        "Gives 0 when every visit got its report, else the exit code of the first one that did not.\n"
        "With --backlog it gives 0 when all is in the archive. Stop it with Ctrl-C; started again it goes on.\n"
        "example:\n  baywright process ~/fitting-studio"
    )


def run(given: argparse.Namespace) -> int:
    """Work off the drop folder, or the files named."""
    from pipeline.studio import lock, opened
    from pipeline.workshop import SHARED

    if given.erased_too and not given.files:
        msg = "--erased-too: name the FILEs to take."
        raise SettingsError(msg)
    if given.backlog and given.files:
        msg = "--backlog reads what lies in inbox/: name no FILE beside it."
        raise SettingsError(msg)
    SHARED.prepare()  # it loads while we load the rest
    studio, settings = opened(given.folder)
    import pipeline.inbox  # noqa: F401 - the rest

    SHARED.version()  # a missing part is said before any file is touched
    held = lock(studio)
    try:
        if given.backlog:
            return _read_backlog(studio, settings)
        events = work_off(studio, settings, given.files, erased_too=given.erased_too)
    finally:
        held.release()
    if not events:
        print("nothing new")
    return next((event.exit_code for event in events if event.exit_code), 0)


def work_off(studio: "Studio", settings: "Settings", files: "list[Path]", *, erased_too: bool = False) -> "list[Event]":
    """Take everything that lies there now and work it off; gives the events."""
    from dataclasses import replace

    from pipeline.events import Event
    from pipeline.tidying import Tidier
    from pipeline.upkeep import Upkeep

    events: list[Event] = []

    def hear(event: "Event") -> None:
        events.append(event)
        tell(event)

    inbox = open_inbox(studio, replace(settings, give_up_seconds=0.0))
    inbox.tell, inbox.erased_too = hear, erased_too
    try:
        inbox.recover()
        inbox.erase_old()
        found = iter([_named(path) for path in files]) if files else _new(inbox)
        while inbox.take_all(found):
            inbox.work_off()
        while inbox.work_off():
            pass
        if settings.tidy == "move":
            Tidier(studio, inbox.ledger, lambda why: hear(Event("trouble", "inbox", why))).tidy()
        Upkeep(inbox).go_on(lambda: False)
    finally:
        inbox.ledger.close()
    return events


def _read_backlog(studio: "Studio", settings: "Settings") -> int:
    """Read old exports into the archive; gives the exit code."""
    from pipeline.backlog import Backlog
    from pipeline.commands.backlog_words import Progress, sentences
    from pipeline.events import Event
    from pipeline.tidying import Tidier
    from pipeline.upkeep import Upkeep

    inbox = open_inbox(studio, settings)
    try:
        inbox.recover()
        inbox.erase_old()
        found = Backlog(inbox, Progress().tell).run()
        if settings.tidy == "move":
            Tidier(studio, inbox.ledger, lambda why: inbox.tell(Event("trouble", "inbox", why))).tidy()
        Upkeep(inbox).go_on(lambda: False)
    except OSError as fault:
        why = fault.strerror or fault
        msg = f"{studio.root}: the disk, a folder or the ledger refused ({why}). Nothing is lost: start it again."
        raise FolderError(msg) from fault
    finally:
        inbox.ledger.close()
    for line in sentences(found):
        print(printable(line))
    return found.exit_code


def _named(path: Path) -> "Arrival":
    """Give the visit at a path named on the command line; it is taken even if it was taken before."""
    from pipeline import arrivals

    if not path.exists():
        msg = f"{path}: there is no such file or folder."
        raise FolderError(msg)
    if not (path.is_file() or path.is_dir()):
        msg = f"{path}: this is neither a file nor a folder."
        raise FolderError(msg)
    try:
        found = arrivals.of_path(path.resolve())
    except OSError as fault:
        msg = f"{path}: cannot be read: {fault.strerror}."
        raise FolderError(msg) from fault
    if found is None:
        msg = f"{path}: there is no shot file in this folder."
        raise FolderError(msg)
    return found


def _new(inbox: "Inbox") -> "Iterator[Arrival]":
    from pipeline import arrivals

    found = inbox.without_backlog(arrivals.look(inbox.studio.inbox))
    return (arrival for arrival in found if not inbox.ledger.seen(arrival.place, arrival.signature))
