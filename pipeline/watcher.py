"""The loop of `baywright watch`: file events only wake it, a look at the folder decides."""

import threading
import time
from collections.abc import Callable
from pathlib import Path

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer

from pipeline.inbox import Event, Inbox


class _Waker(FileSystemEventHandler):
    """Sets a flag on any event; which one does not matter."""

    def __init__(self, flag: threading.Event) -> None:
        self._flag = flag

    def on_any_event(self, event: FileSystemEvent) -> None:
        """Wake the loop."""
        if event.event_type not in ("opened", "closed_no_write"):
            self._flag.set()


def start_hints(folder: Path, wake: threading.Event) -> Callable[[], None] | None:
    """Listen for file events; gives a stop function, or None where the system has no events left or none at all."""
    try:
        observer = Observer()
        observer.schedule(_Waker(wake), str(folder), recursive=True)
        observer.start()
    except OSError:
        return None

    def stop() -> None:
        observer.stop()
        observer.join(timeout=2)

    return stop


def watch(inbox: Inbox, stop: threading.Event) -> None:
    """Take and work off whatever comes, until `stop` is set; the folder going away is told once and waited out."""
    wake = threading.Event()
    end_hints = start_hints(inbox.studio.inbox, wake)
    inbox.recover()
    away = False
    try:
        while not stop.is_set():
            found = []
            try:
                found = inbox.settled()
                away = False
            except OSError as fault:
                if not away:
                    inbox.tell(Event("trouble", "inbox", f"the drop folder cannot be read: {fault.strerror}; waiting"))
                away = True
            inbox.take_all(found, stop.is_set)
            inbox.work_off(stop.is_set)
            _pause(inbox, wake, stop)
    finally:
        if end_hints:
            end_hints()


def _pause(inbox: Inbox, wake: threading.Event, stop: threading.Event) -> None:
    """Wait until the next look is due, less when an event comes."""
    end = time.monotonic() + inbox.next_look()
    while (left := end - time.monotonic()) > 0 and not wake.is_set() and not stop.wait(min(left, 0.2)):
        pass
    wake.clear()
    stop.wait(0.05)  # a burst of events is one look
