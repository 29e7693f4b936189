"""`baywright watch DIR`."""

import argparse

from pipeline.commands.console import add_folder, open_inbox


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.epilog = "example:\n  baywright watch ~/fitting-studio      (stop with Ctrl-C; start again, and it goes on)"


def run(given: argparse.Namespace) -> int:
    """Watch until Ctrl-C or a request to end."""
    import signal
    import threading

    from pipeline.studio import lock, opened
    from pipeline.watcher import watch
    from pipeline.workshop import SHARED

    SHARED.prepare()  # it loads while we load the rest
    studio, settings = opened(given.folder)
    held = lock(studio)
    stop = threading.Event()
    for name in ("SIGINT", "SIGTERM", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: stop.set())
    try:
        SHARED.version()  # a missing part is said at once, and the first report is quick
        inbox = open_inbox(studio, settings)
        print(f"watching {studio.inbox}  (Ctrl-C stops)", flush=True)
        try:
            watch(inbox, stop)
        finally:
            inbox.ledger.close()
    finally:
        held.release()
    print("stopped; nothing is lost, start again with the same command", flush=True)
    return 0
