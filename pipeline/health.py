"""The watcher's health record, work/health.json: how it is, for `baywright status`. No name of a customer or file."""

import datetime as dt
import json
import shutil
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from pipeline.studio import Studio

FILE_NAME = "health.json"
SCHEMA = 1
RUNNING, STOPPED = "running", "stopped"
RESERVE_BYTES = 500_000_000  # below it nothing new is begun: the rest of the disk is for those who tidy it up
LONGEST_SILENCE_S = 60.0
LONGEST_WORK_S = 180.0  # a visit in hand may keep the watcher from looking: two steps of 60 s, and writing
_LARGEST = 100_000


@dataclass(frozen=True, slots=True)
class Health:
    """What a watcher last said of itself; times are UTC in ISO form, looked_ago_s is by its own monotonic clock."""

    state: str  # running | stopped
    program: str
    pid: int
    started: str
    written: str
    looked: str | None  # the last look at the drop folder that went well
    looked_ago_s: float | None
    hints: str  # events | looks
    hints_why: str
    trouble: tuple[str, ...]
    visits: Mapping[str, int]  # state in the ledger → how many
    oldest_waiting: str | None
    working_on: str | None  # the first letters of a visit's id
    working_since: str | None
    free_bytes: int
    low_disk: bool
    schema: int = SCHEMA


def write(place: Studio, health: Health) -> None:
    """Keep the record: aside, then renamed. Not forced to disk, because after a power cut it is old anyway."""
    path = place.work / FILE_NAME
    aside = path.with_name(f".{FILE_NAME}.part")
    aside.touch(mode=0o600)
    aside.write_text(json.dumps(asdict(health), indent=1) + "\n", encoding="utf-8")
    aside.replace(path)


def read(place: Studio) -> Health | None:
    """Give the last record; None when there is none, it is damaged, or another version wrote it."""
    path = place.work / FILE_NAME
    try:
        with path.open("rb") as source:
            document = json.loads(source.read(_LARGEST))
        if document["schema"] != SCHEMA:
            return None
        document["trouble"] = tuple(document["trouble"])
        found = Health(**document)
        for moment in (found.written, found.started):
            dt.datetime.fromisoformat(moment)
    except (FileNotFoundError, ValueError, LookupError, TypeError):
        return None
    return found


def silent_for_s(health: Health, now: dt.datetime) -> float:
    """Give how long ago the watcher last looked at the drop folder, or began, in seconds."""
    since_written = _seconds(health.written, now)
    if health.looked_ago_s is None:
        return _seconds(health.started, now)
    return since_written + health.looked_ago_s


def is_silent(health: Health, now: dt.datetime) -> bool:
    """Tell whether a watcher that should be running does not look any more; a visit in hand gives it more time."""
    at_work = health.working_since is not None and _seconds(health.working_since, now) <= LONGEST_WORK_S
    return silent_for_s(health, now) > LONGEST_SILENCE_S and not at_work


def _seconds(moment: str, now: dt.datetime) -> float:
    """Give the seconds since a moment; a clock put back makes them none."""
    return max(0.0, (now - dt.datetime.fromisoformat(moment)).total_seconds())


def free_bytes(folder: Path) -> int:
    """Give the free space of the disk a folder lies on, in bytes."""
    return shutil.disk_usage(folder).free
