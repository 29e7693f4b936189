"""`baywright desk DIR`."""

import argparse
from contextlib import contextmanager
from typing import TYPE_CHECKING

from pipeline.commands.console import add_folder, open_inbox, open_ledger, open_logo
from pipeline.errors import FolderError, SettingsError

if TYPE_CHECKING:
    import socket
    from collections.abc import Iterator

    from pipeline.desk_keys import DeskKeys
    from pipeline.desk_room import OwnWatcher, Room
    from pipeline.events import Event
    from pipeline.settings import Settings
    from pipeline.studio import Studio
    from pipeline.workshop import Workshop

_LOOPBACK = ("127.0.0.1", "localhost")
_LONGEST_END_S = 90.0  # a visit in hand is finished first


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.add_argument("--port", type=int, default=0, metavar="N", help="listen there (default: any free port)")
    parser.add_argument("--address", default=_LOOPBACK[0], metavar="A", help="only 127.0.0.1, this computer itself")
    parser.add_argument("--no-browser", action="store_true", help="print the start address, open no browser")
    parser.add_argument(
        "--without-watcher", action="store_true", help="do not watch: show what a watcher beside the desk does"
    )
    parser.epilog = (
        "Watches the drop folder as well, unless told not to. Started again while it runs, it opens that one.\n"
        "Only this computer's own browser gets in, by the start address, which serves once.\n"
        "example:\n  baywright desk ~/fitting-studio      (stop with Ctrl-C)"
    )


def run(given: argparse.Namespace) -> int:
    """Show the desk until Ctrl-C or a request to end."""
    from pipeline.desk_keys import DeskKeys
    from pipeline.studio import opened

    _check(given)
    studio, settings = opened(given.folder)
    keys = DeskKeys(studio)
    held = keys.hold()
    if held is None:
        return _open_again(keys, given)
    try:
        _run(studio, settings, keys, given)
    finally:
        held.release()
    print("stopped; nothing is lost, start again with the same command", flush=True)
    return 0


def _open_again(keys: "DeskKeys", given: argparse.Namespace) -> int:
    """Open the desk that runs: its icon was pressed a second time."""
    port = keys.port()
    if port is None:
        msg = f"{given.folder}: the desk of this studio is starting or ending at this moment. Try it again."
        raise FolderError(msg)
    print(f"the desk of this studio runs already: {_shown(keys.address(port), given)}", flush=True)
    return 0


def _run(studio: "Studio", settings: "Settings", keys: "DeskKeys", given: argparse.Namespace) -> None:
    """Be the desk until asked to end."""
    keys.clear()  # what a killed one left
    with _bound(given.port) as listening:
        port = listening.getsockname()[1]
        try:
            with _room(studio, settings, watches=not given.without_watcher) as room:
                keys.note_port(port)
                print(f"the desk: {_shown(keys.address(port), given)}  (Ctrl-C stops)", flush=True)
                _serve(room, keys, listening)
        finally:
            keys.clear()


def _check(given: argparse.Namespace) -> None:
    """Refuse to listen for other computers."""
    if given.address not in _LOOPBACK:
        msg = (
            f"--address {given.address!r}: the desk listens for this computer alone. For others, put a reverse proxy "
            "with TLS and a log-in of its own in front of it, on this computer, that sends the desk's own address "
            "as Host and Origin."
        )
        raise SettingsError(msg)
    if not 0 <= given.port <= 65_535:
        msg = f"--port {given.port}: a port is a number from 1 to 65535."
        raise SettingsError(msg)


@contextmanager
def _bound(port: int) -> "Iterator[socket.socket]":
    import socket

    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows: nobody may listen beside us
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((_LOOPBACK[0], port))
            listening.listen()  # whoever comes before the server is ready waits a moment
        except OSError as fault:
            msg = f"--port {port}: cannot be listened on ({fault.strerror}). Leave it out to have a free one."
            raise FolderError(msg) from fault
        yield listening
    finally:
        listening.close()


def _shown(address: str, given: argparse.Namespace) -> str:
    """Open the browser, unless told not to."""
    import webbrowser

    if not given.no_browser:
        webbrowser.open(address)
    return address


# --- the room ---------------------------------------------------------------------------------------------------------
@contextmanager
def _room(studio: "Studio", settings: "Settings", *, watches: bool) -> "Iterator[Room]":
    """Open all the desk works with, and have the watcher run beside it if it is ours."""
    from pipeline.desk_room import Room
    from pipeline.workshop import SHARED, Workshop

    side = Workshop()
    side.prepare()  # it loads while nobody asks yet
    try:
        SHARED.version()  # a missing part is said at once
        if watches:
            with _watched(studio, settings, side) as room:
                yield room
            return
        ledger = open_ledger(studio, settings)
        try:
            yield Room(studio, settings, ledger, SHARED, side, open_logo(studio, settings))
        finally:
            ledger.close()
    finally:
        side.close()


@contextmanager
def _watched(studio: "Studio", settings: "Settings", side: "Workshop") -> "Iterator[Room]":
    import threading

    from pipeline.commands.console import tell
    from pipeline.desk_room import OwnWatcher, Room
    from pipeline.studio import lock
    from pipeline.workshop import SHARED

    try:
        held = lock(studio)
    except FolderError as fault:
        msg = f"{fault} To have the desk beside a watcher that runs, add --without-watcher."
        raise FolderError(msg) from fault
    try:
        inbox = open_inbox(studio, settings)
        own = OwnWatcher(inbox)
        room = Room(studio, settings, inbox.ledger, SHARED, side, inbox.logo, own)

        def hear(event: "Event") -> None:
            room.hear(event)
            tell(event)

        inbox.tell = hear
        thread = threading.Thread(target=_watch, args=(own,), name="watcher")
        thread.start()
        try:
            yield room
        finally:
            own.stop.set()
            thread.join(_LONGEST_END_S)
            inbox.ledger.close()
    finally:
        held.release()


def _watch(own: "OwnWatcher") -> None:
    """Watch, and keep why it ended if that was not asked for: the desk says it."""
    import logging

    from pipeline.errors import PipelineError, trail
    from pipeline.watcher import watch

    try:
        watch(own.inbox, own.stop, own.wake)
    except PipelineError as fault:
        own.fault = str(fault)
    except Exception as fault:  # noqa: BLE001 - the desk goes on and says so
        log = logging.getLogger("baywright")
        log.error("The watcher met a fault of ours: %s.", trail(fault))  # noqa: TRY400 - the text may hold a name
        own.fault = "a fault of ours, written in work/log.txt. Start the desk again."
    finally:
        own.alive = False


def _look_ahead(room: "Room") -> None:
    """Load what a visit's page and searches will need; whatever fails here is said when somebody asks."""
    from contextlib import suppress

    from pipeline import desk_list, desk_visit
    from pipeline.errors import PipelineError

    for ahead in (desk_visit.look_ahead, desk_list.look_ahead):
        with suppress(OSError, PipelineError):
            ahead(room)


# --- serving ----------------------------------------------------------------------------------------------------------
def _serve(room: "Room", keys: "DeskKeys", listening: "socket.socket") -> None:
    """Serve until asked to end."""
    import signal
    import threading

    import uvicorn

    from pipeline.desk_app import make

    for name in ("SIGINT", "SIGTERM", "SIGBREAK"):  # the server hands them on to us when it has ended
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: None)
    app = make(room, keys, listening.getsockname()[1])
    threading.Thread(target=_look_ahead, args=(room,), name="look-ahead", daemon=True).start()
    config = uvicorn.Config(
        app, log_config=None, access_log=False, lifespan="off", ws="none", http="h11", loop="asyncio",
        proxy_headers=False, server_header=False, limit_concurrency=64, timeout_keep_alive=5,
        timeout_graceful_shutdown=3,
    )  # fmt: skip
    uvicorn.Server(config).run(sockets=[listening])
