"""Tidying the drop folder, when the studio wants it: what has its report is moved to done/, and nothing else is."""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pipeline import arrivals, studio
from pipeline.arrivals import Arrival
from pipeline.ledger import ARCHIVED, Ledger
from pipeline.studio import Studio

_LOG = logging.getLogger("baywright")


@dataclass(slots=True)
class Tidier:
    """Moves what is done out of a drop folder; tell hears once why that cannot be done."""

    studio: Studio
    ledger: Ledger
    tell: Callable[[str], None]
    _told: bool = False

    def tidy(self) -> None:
        """Move what has its report or was archived, file or folder, if it is still what it was when it was taken."""
        try:
            for arrival in list(arrivals.look(self.studio.inbox)):
                visit = self.ledger.taken_as(arrival.place, arrival.signature)
                if visit and visit.state in ("reported", ARCHIVED) and self._move(arrival):
                    _LOG.info("Visit %s: what was dropped was moved to done/.", visit.id[:8])
        except OSError as fault:
            if not self._told:
                why = f"what is done cannot be moved out of inbox/ to done/ ({fault.strerror}); it stays where it is."
                self.tell(why)
            self._told = True

    def _move(self, arrival: Arrival) -> bool:
        """Move one visit, under its own name or the next free one; tells whether it was.

        What changed at the last moment goes back: there may be shots in it that no report has.
        """
        source = _source(arrival, self.studio.inbox)
        before = _state(source) if source else []
        if source is None or _signature(source) != arrival.signature:
            return False
        self.studio.done.mkdir(exist_ok=True)
        stem, ending = (source.name, "") if source.is_dir() else (source.stem, source.suffix)
        target = studio.free_place(self.studio.done, stem, ending)
        source.rename(target)
        if _state(target) != before and not source.exists():
            target.rename(source)
            return False
        return True


def _source(arrival: Arrival, inbox: Path) -> Path | None:
    """Give the file or folder of a visit; None for a folder that holds more than was taken."""
    path = arrival.paths[0]
    if path.parent == inbox:
        return path
    return path.parent if set(path.parent.iterdir()) == set(arrival.paths) else None


def _signature(path: Path) -> str:
    found = arrivals.of_path(path)
    return found.signature if found else ""


def _state(path: Path) -> list[tuple[int, int, int]]:
    """Give what a change of a file, or of a folder's files, shows in: their numbers, sizes and times of writing."""
    files = sorted(path.iterdir()) if path.is_dir() else [path]
    return [(found.st_ino, found.st_size, found.st_mtime_ns) for found in (file.lstat() for file in files)]
