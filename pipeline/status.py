"""How a studio is: read beside a running watcher, without its lock, and without changing anything."""

import datetime as dt
import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline import archive, arrivals, health, issuing, notes
from pipeline.answers import Answers
from pipeline.errors import FolderError, MappingError, SettingsError, UnreadableFileError
from pipeline.health import Health
from pipeline.ledger import ARCHIVED, BACKLOG, NOT_ARCHIVED, Entry, Ledger
from pipeline.letter import Letter
from pipeline.settings import Settings
from pipeline.staff_words import shell_word
from pipeline.studio import Studio

SCHEMA = 1
_NEWEST = 5
_STATES = {"accepted": "waits", "processing": "worked on", "waiting": "half-written"}


@dataclass(frozen=True, slots=True)
class WatcherState:
    """Whether a watcher runs, and how it is.

    running | silent: does not look any more | stopped: when asked to | ended: killed, switched off or by a fault |
    never: none has run yet | busy: another command has the studio, or a watcher that is starting.
    """

    state: str
    since: str | None = None  # when it started; of one that is no more, when it was last heard of
    looked_ago_s: float | None = None
    hints: str | None = None
    hints_why: str = ""
    working_on: str | None = None
    working_since: str | None = None
    trouble: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Waiting:
    """A visit that was taken and has no report yet; state is waits | worked on | half-written."""

    name: str
    state: str


@dataclass(frozen=True, slots=True)
class Held:
    """A visit with a note in set-back/: what it says, and the command that answers it."""

    name: str
    what: str
    to_do: str
    command: str
    note: str


@dataclass(frozen=True, slots=True)
class Reported:
    """A report in outbox/; letter is sent | begun | not sent, empty where this program sends none."""

    folder: str
    version: int
    letter: str


@dataclass(frozen=True, slots=True)
class Status:
    """How a studio is; `needs` are the sentences for a person, none when all is well."""

    studio: str
    at: str
    watcher: WatcherState
    not_taken: tuple[str, ...] | None  # None: inbox/ cannot be looked at
    waiting: tuple[Waiting, ...]
    held: tuple[Held, ...]
    set_back: tuple[Held, ...]
    reports: tuple[Reported, ...]
    free_bytes: int
    low_disk: bool
    drifting: tuple[str, ...]  # a sentence for each bay whose device reads otherwise than it did
    faults: tuple[str, ...]  # of studio.toml and of work/profiles
    needs: tuple[str, ...]
    exit_code: int
    archived: int = 0  # old exports whose shots are in the archive, without reports
    not_archived: int = 0  # old exports that could not be read
    backlog: bool = False  # reading them was begun and is not at its end
    schema: int = SCHEMA


def collect(
    place: Studio, settings: Settings | None, ledger: Ledger | None, faults: tuple[str, ...], now: dt.datetime
) -> Status:
    """Look at everything; settings and ledger are None where they cannot be read, and faults say why."""
    known, watched = health.read(place), is_locked(place)
    watcher = watcher_state(known, now, locked=watched, alive=known is not None and _is_alive(known))
    not_taken = _not_taken(place, ledger)
    entries = ledger.entries(*_STATES, "held", "set_back", NOT_ARCHIVED) if ledger else []
    tally = ledger.tally() if ledger else {}
    asked = {
        state: tuple(_with_note(place, [e for e in entries if e.state == state])) for state in ("held", "set_back")
    }
    unread = tuple(_with_note(place, [e for e in entries if e.state == NOT_ARCHIVED and e.place]))
    free = health.free_bytes(place.work if place.work.is_dir() else place.root)
    found = Status(
        studio=str(place.root.resolve()),
        at=now.isoformat(timespec="seconds"),
        watcher=watcher,
        not_taken=not_taken,
        waiting=tuple(Waiting(entry.name, _STATES[entry.state]) for entry in entries if entry.state in _STATES),
        held=(*asked["held"], *(visit for visit in unread if visit.command)),
        set_back=(*asked["set_back"], *(visit for visit in unread if not visit.command)),
        reports=tuple(_reports(place, settings, ledger)),
        free_bytes=free,
        low_disk=free < health.RESERVE_BYTES,
        drifting=archive.drifting(ledger) if ledger else (),
        faults=(*faults, *Answers().look(place.profiles)),
        needs=(),
        exit_code=0,
        archived=tally.get(ARCHIVED, (0, ""))[0],
        not_archived=tally.get(NOT_ARCHIVED, (0, ""))[0],
        backlog=bool(ledger and ledger.remembered(BACKLOG)),
    )
    wants = list(_needs(found))
    return replace(found, needs=tuple(said for _, said in wants), exit_code=wants[0][0] if wants else 0)


# --- the watcher ------------------------------------------------------------------------------------------------------
def is_locked(place: Studio) -> bool:
    """Tell whether a program has the studio; `studio.lock` waits longer than we hold what we tried."""
    path = place.work / "lock"
    if not path.exists():
        return False
    try:
        with FileLock(path, timeout=0.1, poll_interval=0.02):
            return False
    except Timeout:
        return True


def _is_alive(known: Health) -> bool:
    """Tell whether the process of a health record is there; taken for granted where asking would end it."""
    if os.name != "posix":
        return True
    try:
        os.kill(known.pid, 0)
    except ProcessLookupError:
        return False
    except OSError:  # it is another user's
        pass
    return True


def watcher_state(known: Health | None, now: dt.datetime, *, locked: bool, alive: bool) -> WatcherState:
    """Judge the last health record by the lock and by whether its process is still there."""
    running = known is not None and known.state == health.RUNNING
    if known is None or not (locked and running and alive):
        state = "never" if known is None else "ended" if running else "stopped"
        return WatcherState("busy" if locked else state, known.written if known else None)
    return WatcherState(
        "silent" if health.is_silent(known, now) else "running",
        known.started,
        round(health.silent_for_s(known, now), 1),
        known.hints,
        known.hints_why,
        known.working_on,
        known.working_since,
        known.trouble,
    )


# --- the folders ------------------------------------------------------------------------------------------------------
def _not_taken(place: Studio, ledger: Ledger | None) -> tuple[str, ...] | None:
    """Name what lies in the drop folder and was not taken as it lies there; None when it cannot be looked at."""
    try:
        found = list(arrivals.look(place.inbox))
    except OSError:
        return None
    known = ledger.seen_of([(one.place, one.signature) for one in found]) if ledger else set()
    return tuple(one.place for one in found if (one.place, one.signature) not in known)


def _with_note(place: Studio, entries: list[Entry]) -> Iterator[Held]:
    """Give the visits whose note still lies in set-back/: where staff took it away, it was dealt with."""
    for entry in entries:
        path = place.set_back / f"{entry.place}.txt"
        note = notes.read(path)
        if note:
            yield Held(entry.name, note.what, note.to_do, note.command, str(path.relative_to(place.root)))


def _reports(place: Studio, settings: Settings | None, ledger: Ledger | None) -> Iterator[Reported]:
    """Give the newest reports, and whether their letters were sent where this program sends letters."""
    made = []
    for path in place.outbox.glob("[!.]*/report.pdf"):
        with suppress(OSError):
            made.append((path.stat().st_mtime_ns, path.parent))
    for _, folder in sorted(made, reverse=True)[:_NEWEST]:
        known = issuing.issued(folder)
        if known:
            sends = ledger is not None and settings is not None and settings.smtp_host
            yield Reported(folder.name, known.version, _letter(folder, known.visit_id, ledger) if sends else "")


def _letter(folder: Path, visit: str, ledger: Ledger | None) -> str:
    """Tell whether the letter with the report that lies in a folder was sent."""
    letter = Letter(visit, "", "", "", (folder / "report.pdf").read_bytes(), "")
    last = ledger.last_sending(visit, letter.version) if ledger else None
    if last is None:
        return "not sent"
    return "sent" if last.state in ("sent", "marked") else "begun"


# --- what a person must do --------------------------------------------------------------------------------------------
def _needs(found: Status) -> Iterator[tuple[int, str]]:
    """Say what needs a person, the gravest first, each with its exit code."""
    folder, command = FolderError.exit_code, f"baywright watch {shell_word(found.studio)}"
    left = len(found.not_taken or ()) + len(found.waiting)
    watcher = found.watcher.state
    if watcher == "silent":
        yield folder, f"the watcher does not look any more (stop it and start it again: {command})"
    elif watcher in ("ended", "stopped") or (watcher == "never" and left):
        yield folder, f"no watcher runs (start it: {command})"
    if found.not_taken is None:
        yield folder, "the drop folder cannot be looked at"
    if found.low_disk:
        yield folder, "the disk is nearly full (make room, and the watcher goes on by itself)"
    if found.watcher.trouble and found.not_taken is not None and not found.low_disk:
        yield folder, "the watcher meets trouble that lasts"
    if found.faults:
        yield SettingsError.exit_code, "a setting or an answer is not understood"
    if found.held:
        yield (
            MappingError.exit_code,
            _counted(len(found.held), "visit waits for an answer", "visits wait for an answer"),
        )
    if found.set_back:
        said = _counted(len(found.set_back), "visit was set back", "visits were set back")
        yield UnreadableFileError.exit_code, f"{said} (delete the note in set-back/ when that is settled)"


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"
