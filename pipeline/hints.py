"""Hints that something lies in the drop folder: file events where they are to be had. Only a look is believed."""

import os
import re
import sys
import threading
from dataclasses import dataclass, field
from pathlib import Path

from watchdog.events import FileSystemEvent, FileSystemEventHandler
from watchdog.observers import Observer
from watchdog.observers.api import BaseObserver

from pipeline.resources import table

EVENTS, LOOKS = "events", "looks"
_MOUNTS = Path("/proc/mounts")


class _Waker(FileSystemEventHandler):
    """Sets a flag on any event; which one does not matter."""

    def __init__(self, flag: threading.Event) -> None:
        self._flag = flag

    def on_any_event(self, event: FileSystemEvent) -> None:
        """Wake the loop."""
        if event.event_type not in ("opened", "closed_no_write"):
            self._flag.set()


@dataclass(slots=True)
class Hints:
    """The file events of one folder; without them `why` says so, and looks go on all the same."""

    folder: Path
    wake: threading.Event
    why: str = ""
    _observer: BaseObserver | None = None
    _heard: tuple[int, int] | None = field(default=None)  # device and number of the folder the events are of

    @property
    def source(self) -> str:
        """Give what finds a new file first: `events`, or `looks` alone."""
        return EVENTS if self._observer else LOOKS

    def start(self) -> None:
        """Listen for file events, if the system has any for this folder."""
        self._heard, kind = _identity(self.folder), file_system(self.folder)
        if kind in table("drop_folder")["no_events"]:
            self.why = f"the drop folder lies on a network or shared drive ({kind}), which tells of no changes"
            return
        try:
            observer = Observer()
            observer.schedule(_Waker(self.wake), str(self.folder), recursive=True)
            observer.start()
        except OSError as fault:
            self.why = f"the system has no file events left ({fault.strerror})"
            return
        self._observer, self.why = observer, ""

    def check(self) -> None:
        """Notice that the events have died, or that another folder now lies in the place of the one listened to."""
        if _identity(self.folder) not in (self._heard, None):
            self.stop()
            self.start()
        elif self._observer and not _alive(self._observer):
            self.stop()
            self.why = "the file events have stopped"

    def stop(self) -> None:
        """Listen no more."""
        if self._observer:
            self._observer.stop()
            self._observer.join(timeout=2)
        self._observer = None


def _alive(observer: BaseObserver) -> bool:
    return observer.is_alive() and all(emitter.is_alive() for emitter in observer.emitters)


def _identity(folder: Path) -> tuple[int, int] | None:
    try:
        found = folder.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def file_system(folder: Path) -> str:
    """Name the kind of file system a folder lies on; empty where the system does not say."""
    if not sys.platform.startswith("linux"):
        return ""
    try:
        mounts, place = os.fsdecode(_MOUNTS.read_bytes()), str(folder.resolve())
    except OSError:
        return ""
    return _kind(mounts, place)


def _kind(mounts: str, place: str) -> str:
    """Find the mount a place lies in: the longest one, of two at the same place the later one."""
    found, longest = "", -1
    for line in mounts.splitlines():
        point, kind = (re.sub(r"\\(\d{3})", lambda code: chr(int(code[1], 8)), word) for word in line.split(" ")[1:3])
        inside = place == point or place.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= longest:
            found, longest = kind, len(point)
    return found
