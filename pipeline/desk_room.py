"""What the desk works with: the studio, its ledger, the watcher in this program or beside it, and what was heard."""

import datetime as dt
import os
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

from pipeline import health, issuing, status, studio
from pipeline.answers import Answers
from pipeline.branding import Logo
from pipeline.desk_pages import Row, Top, local, top
from pipeline.desk_people import People
from pipeline.desk_sent import SentLetters
from pipeline.errors import FolderError, ReportError
from pipeline.events import Event
from pipeline.inbox import Inbox
from pipeline.ledger import Entry, Ledger
from pipeline.questions import Question
from pipeline.records import Refusal
from pipeline.settings import Settings
from pipeline.status import WatcherState
from pipeline.studio import Studio
from pipeline.unknown_columns import Layout
from pipeline.work_messages import Job
from pipeline.workshop import Workshop

_MOST_HEARD = 20
_MOST_QUESTIONS = 500


@dataclass(slots=True)
class OwnWatcher:
    """The watcher as a thread of this program: whether it still runs, and why not."""

    inbox: Inbox
    stop: threading.Event = field(default_factory=threading.Event)
    wake: threading.Event = field(default_factory=threading.Event)
    alive: bool = True
    fault: str = ""


@dataclass(slots=True)
class Room:
    """The desk of one studio; `workshop` makes reports, `side` answers staff without waiting for those."""

    place: Studio
    settings: Settings
    ledger: Ledger
    workshop: Workshop
    side: Workshop
    logo: Logo | None = None
    own: OwnWatcher | None = None
    heard: deque[tuple[str, Event]] = field(default_factory=lambda: deque(maxlen=_MOST_HEARD))
    writing: threading.Lock = field(default_factory=threading.Lock)  # one answer after the other
    people: People = field(default_factory=People)
    sent: SentLetters = field(default_factory=SentLetters)
    _looking: threading.Lock = field(default_factory=threading.Lock)
    _answers: Answers = field(default_factory=Answers)
    _questions: dict[tuple[Entry, str], Question | None] = field(default_factory=dict)
    _left_aside: dict[tuple[Entry, str], tuple[Layout, ...]] = field(default_factory=dict)

    # --- how it is -----------------------------------------------------------------------------------------------
    def hear(self, event: Event) -> None:
        """Keep what the intake says for the page."""
        self.heard.appendleft((local(now().isoformat()), event))

    def wake(self) -> None:
        """Have our own watcher look at once; one beside us finds out by itself."""
        if self.own:
            self.own.wake.set()

    def take_up(self, settings: Settings, logo: Logo | None) -> None:
        """Go on with other settings, and our own watcher between two visits; one beside us has its own."""
        if self.own:
            with self.workshop.alone():
                self.own.inbox.take_up(settings, logo)
        self.settings, self.logo = settings, logo
        self._questions = {}  # what is asked depends on the settings

    def watcher(self) -> WatcherState:
        """Say how the watcher is, ours or the one beside us."""
        known = health.read(self.place)
        if self.own and self.own.alive and (known is None or known.pid != os.getpid()):
            return WatcherState("running")  # it has just begun
        locked = self.own.alive if self.own else status.is_locked(self.place)
        return status.watcher_state(known, now(), locked=locked, alive=True)

    def top(self) -> Top:
        """Say the line on top of every page."""
        fault = self.own.fault if self.own else ""
        return top(self.watcher(), self.ledger.tally(), len(self.asking()), fault)

    def asking(self) -> list[Entry]:
        """List the visits that wait for a person, held ones first; where staff took the note away it is settled."""
        try:
            notes = set(os.listdir(self.place.set_back))  # noqa: PTH208 - one look for all of them
        except OSError:
            notes = set()
        found = self.ledger.entries("held", "set_back")
        left = [entry for entry in found if entry.state == "held" or f"{entry.place}.txt" in notes]
        return sorted(left, key=lambda entry: entry.state != "held")

    def is_settled(self, state: str, place: str) -> bool:
        """Tell whether a visit was set back, and staff took its note away since."""
        return state == "set_back" and not (self.place.set_back / f"{place}.txt").exists()

    # --- held visits ---------------------------------------------------------------------------------------------
    def question(self, entry: Entry) -> Question | None:
        """Give what a held visit asks; None when choices cannot settle it, or its copy is gone."""
        answers = self.answers()
        known, key = self._questions, (entry, answers.signature)  # with other facts it may ask something else
        with suppress(KeyError):
            return known[key]
        job = self._job(entry, answers)
        try:
            found = None if isinstance(job, Refusal) else self.side.question(job)
        except (ReportError, OSError):
            return None
        if len(known) >= _MOST_QUESTIONS:
            known.clear()
        known[key] = found
        return found

    def left_aside(self, entry: Entry) -> tuple[Layout, ...]:
        """Give the columns of a visit that nobody knows; none when its copy is gone or cannot be read just now."""
        answers = self.answers()
        known, key = self._left_aside, (entry, answers.signature)
        with suppress(KeyError):
            return known[key]
        job = self._job(entry, answers)
        try:
            found = () if isinstance(job, Refusal) else self.side.left_aside(job)
        except OSError:
            return ()
        except ReportError:  # it would be the same the next time, and cost as long
            found = ()
        if len(known) >= _MOST_QUESTIONS:
            known.clear()
        known[key] = found
        return found

    def _job(self, entry: Entry, answers: Answers) -> Job | Refusal:
        return issuing.job_of(
            self.place, entry, settings=self.settings, logo=None, answers=answers.by_layout, today=today(), history=None
        )

    def answers(self) -> Answers:
        """Give staff's answers as they are now; one that is not understood is passed over, as by the intake."""
        with self._looking:
            list(self._answers.look(self.place.profiles))
            return Answers(dict(self._answers.by_layout), self._answers.signature)

    # --- one at a time -------------------------------------------------------------------------------------------
    @contextmanager
    def alone(self) -> Iterator[None]:
        """Have the studio for a moment: between two visits of our own watcher, or while no other program has it.

        Raises FolderError while another program is at work on it.
        """
        if self.own:  # the studio's lock is ours for as long as we run
            with self.workshop.alone():
                yield
            return
        try:
            held = studio.lock(self.place)
        except FolderError as fault:
            msg = (
                "Another program watches this studio, and only it may write reports now. Stop it and start the desk "
                "alone (it watches, too), or try again when it has ended."
            )
            raise FolderError(msg) from fault
        try:
            yield
        finally:
            held.release()


def now() -> dt.datetime:
    """Give the time."""
    return dt.datetime.now(dt.UTC)


def today() -> dt.date:
    """Give the studio's day."""
    return dt.datetime.now().astimezone().date()


def heard_rows(room: Room) -> list[Row]:
    """Write what was heard lately, the newest first."""
    told = [
        (at, event) for at, event in list(room.heard) if event.kind not in ("held", "set_back")
    ]  # these stand above
    return [Row("", event.name, at, event.kind, event.message) for at, event in told[:5]]
