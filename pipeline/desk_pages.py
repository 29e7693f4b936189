"""What the desk's pages say: the line on top, the list of visits, the words for states and moments."""

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.status import WatcherState

PAGE = 50  # visits
SHOWN = ("accepted", "processing", "waiting", "reported", "held", "set_back")
_STATES = {
    "accepted": "waits for its turn",
    "processing": "is being worked on",
    "waiting": "looks half-written; waits for its end",
    "reported": "has its report",
    "held": "waits for your answer",
    "set_back": "was set back",
    "superseded": "was half-written; the longer file took its place",
    "archived": "is in the archive, without a report",
    "not_archived": "could not be read into the archive",
    "replaced": "was split or joined; other visits took its place",
    "forgetting": "is being erased",
}
_WATCHERS = {
    "busy": "Another baywright command is at work on this folder.",
    "never": "Nobody watches the drop folder: what is put there stays until a watcher runs.",
    "stopped": "Nobody watches the drop folder: the watcher was stopped at {since}.",
    "ended": "Nobody watches the drop folder: the watcher ended without being asked after {since}.",
    "silent": "The watcher does not answer any more. Stop it and start it again.",
}


@dataclass(frozen=True, slots=True)
class Top:
    """The line on top of every page."""

    doing: str
    needs: int
    well: bool
    trouble: tuple[str, ...] = ()

    @property
    def wants(self) -> str:
        """Say how many things need a person."""
        if not self.needs:
            return "Nothing needs you."
        return "1 thing needs you." if self.needs == 1 else f"{self.needs} things need you."


def top(watcher: WatcherState, tally: Mapping[str, tuple[int, str]], needs: int, fault: str = "") -> Top:
    """Say what the program is doing and how many things need a person; fault is why our own watcher ended."""
    if fault:
        return Top(f"The watcher ended: {fault}", needs + 1, well=False)
    if watcher.state != "running":
        since = local(watcher.since) if watcher.since else ""
        return Top(_WATCHERS[watcher.state].format(since=since), needs + 1, well=False, trouble=watcher.trouble)
    left = sum(tally[state][0] for state in ("accepted", "processing", "waiting") if state in tally)
    ready = "The drop folder is watched: new files are found by themselves."
    at_work = (
        "At work: 1 visit waits for its report." if left == 1 else f"At work: {left} visits wait for their reports."
    )
    return Top(at_work if left else ready, needs + bool(watcher.trouble), not watcher.trouble, watcher.trouble)


@dataclass(frozen=True, slots=True)
class Row:
    """One visit in the list."""

    id: str
    name: str
    when: str
    state: str
    said: str
    letter: str = ""


def mark(*shown: object) -> str:
    """Give a short mark of what a page shows: the same mark, nothing new."""
    return hashlib.sha256(repr(shown).encode()).hexdigest()[:16]


def state_words(state: str) -> str:
    """Say in words what became of a visit."""
    return _STATES.get(state, state.replace("_", " "))


def local(moment: str) -> str:
    """Write a moment by the clock on the wall; one that is no moment, of a damaged ledger, as it stands there."""
    try:
        return dt.datetime.fromisoformat(moment).astimezone().strftime("%Y-%m-%d %H:%M")
    except (ValueError, OverflowError):
        return moment[:16]


def pages(count: int) -> int:
    """Give the number of pages for so many visits."""
    return max(1, -(-count // PAGE))


def whole_number(text: str | None, most: int) -> int:
    """Read the number of a page; anything else is the first one."""
    return min(max(1, int(text)), most) if text and text.isdecimal() and text.isascii() and len(text) < 9 else 1
