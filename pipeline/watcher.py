"""The loop of `baywright watch`: file events only wake it, a look at the folder decides."""

import datetime as dt
import logging
import os
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace

from pipeline import __version__, health
from pipeline.arrivals import Arrival
from pipeline.errors import FolderError
from pipeline.events import Event
from pipeline.health import Health
from pipeline.hints import Hints
from pipeline.inbox import Inbox
from pipeline.tidying import Tidier
from pipeline.upkeep import Upkeep

LONGEST_WORK_WITHOUT_A_LOOK_S = 5.0
LONGEST_BETWEEN_RECORDS_S = 5.0
SHORTEST_BETWEEN_RECORDS_S = 0.5
_WORKED_OFF_LATER = ("accepted", "processing", "waiting")
_LOG = logging.getLogger("baywright")


def watch(inbox: Inbox, stop: threading.Event, wake: threading.Event | None = None) -> None:
    """Take and work off whatever comes, until `stop` is set; the folder going away is told once and waited out.

    Whoever sets `wake` has the next look at once.
    """
    wake = wake or threading.Event()
    watcher = _Watcher(inbox, stop, wake, Hints(inbox.studio.inbox, wake), _utc())
    watcher.run()


@dataclass(slots=True)
class _Watcher:
    """What the loop knows between two looks."""

    inbox: Inbox
    stop: threading.Event
    wake: threading.Event
    hints: Hints
    started: str
    away: str = ""  # why the drop folder could not be looked at
    full: bool = False
    upkeep: Upkeep = field(init=False)
    late: bool = False  # work is left, and a look is due
    tidying: bool = True  # something may be there to tidy: at the start, and after every report
    looked: str | None = None
    looked_well_at: float | None = None  # by our monotonic clock
    working_from: float = field(default_factory=time.monotonic)
    working_on: tuple[str, str] | None = None  # the visit in hand, and since when
    recorded_at: float = 0.0
    recorded: Health | None = None

    def __post_init__(self) -> None:
        self.upkeep = Upkeep(self.inbox)

    def run(self) -> None:
        """Go round until asked to stop; a fault that ends it leaves no word of a clean stop."""
        tell, tidier = self.inbox.tell, Tidier(self.inbox.studio, self.inbox.ledger, self._cannot_tidy)
        self.inbox.tell, self.inbox.begins = self._hearing(tell), self._begins
        self.inbox.recover()
        self.hints.start()
        _LOG.info("The watcher has started, version %s.", __version__)
        self._say_hints()
        try:
            while not self.stop.is_set():
                self._go_round()
                if self.tidying and self.inbox.settings.tidy == "move" and not self.away:
                    tidier.tidy()
                self.tidying = False
                self._record()
                self._pause()
            self._record(health.STOPPED)
            _LOG.info("The watcher was stopped.")
        finally:
            self.hints.stop()

    # --- one round -----------------------------------------------------------------------------------------------
    def _go_round(self) -> None:
        """Look, take what has settled, and work on it until the next look is due."""
        found = self._look()
        self._check_hints()
        self._is_full()
        with self.inbox.workshop.alone():
            self.inbox.erase_old()
        self.working_from, self.late = time.monotonic(), False
        more = self.inbox.take_all(found, self._is_over)
        self.inbox.work_off(self._is_over)
        self.late |= more
        if not more:
            with self.inbox.workshop.alone():
                self.upkeep.go_on(self._is_over)
        self.working_on = None

    def _look(self) -> list[Arrival]:
        began = time.monotonic()
        try:
            found = self.inbox.settled()
        except OSError as fault:
            why = f"the drop folder cannot be read: {fault.strerror}"
            if not self.away:
                self.inbox.tell(Event("trouble", "inbox", f"{why}; waiting"))
                _LOG.error("%s. It is tried again.", _sentence(why))
            self.away = why
            return []
        self.away, self.looked, self.looked_well_at = "", _utc(), began
        return found

    def _is_over(self) -> bool:
        """Tell whether nothing more is to be begun in this round."""
        self._record()
        self.late = time.monotonic() - self.working_from > LONGEST_WORK_WITHOUT_A_LOOK_S
        return self.stop.is_set() or self._is_full() or self.late

    def _check_hints(self) -> None:
        before = self.hints.why
        self.hints.check()
        if self.hints.why != before:
            self._say_hints()

    def _say_hints(self) -> None:
        _LOG.info("%s.", _sentence(self.hints.why or "file events tell of new files"))

    def _is_full(self) -> bool:
        """Tell whether too little of the disk is free to begin anything; said once, and once when it is over."""
        try:
            full = health.free_bytes(self.inbox.studio.work) < health.RESERVE_BYTES
        except OSError:  # whoever writes there next says why
            full = False
        if full != self.full:
            self.full = full
            reserve = health.RESERVE_BYTES // 1_000_000
            what = f"less than {reserve} MB of the disk are free; nothing new is begun until there is more room"
            said = what if full else "there is room on the disk again; work goes on"
            self.inbox.tell(Event("trouble", "disk", said, FolderError.exit_code if full else 0))
            _LOG.warning("%s.", _sentence(said))
        return full

    def _pause(self) -> None:
        """Wait until the next look is due, less when an event comes; not at all while work is left."""
        if self.late and not self.full:
            return
        end = time.monotonic() + self.inbox.next_look()
        while (left := end - time.monotonic()) > 0 and not self.wake.is_set() and not self.stop.wait(min(left, 0.2)):
            if time.monotonic() - self.recorded_at > LONGEST_BETWEEN_RECORDS_S:
                self._record()
        self.wake.clear()
        self.stop.wait(0.05)  # a burst of events is one look

    # --- the health record ---------------------------------------------------------------------------------------
    def _hearing(self, tell: Callable[[Event], None]) -> Callable[[Event], None]:
        """Hear every event on its way to staff."""

        def hear(event: Event) -> None:
            self.tidying |= event.kind in ("reported", "known")
            self.working_on = None
            tell(event)

        return hear

    def _cannot_tidy(self, why: str) -> None:
        self.inbox.tell(Event("trouble", "inbox", why))

    def _begins(self, identity: str) -> None:
        self.working_on = identity[:8], _utc()
        self._record(now=True)

    def _record(self, state: str = health.RUNNING, *, now: bool = False) -> None:
        """Write the health record when it says something new or is old; a disk that refuses it stops nothing."""
        age = time.monotonic() - self.recorded_at
        if state == health.RUNNING and self.recorded and age < SHORTEST_BETWEEN_RECORDS_S and not now:
            return
        with suppress(OSError):
            made = self._health(state)
            if self.recorded != _lasting(made) or age >= LONGEST_BETWEEN_RECORDS_S:
                health.write(self.inbox.studio, made)
                self.recorded, self.recorded_at = _lasting(made), time.monotonic()

    def _health(self, state: str) -> Health:
        tally = self.inbox.ledger.tally()
        waiting = [oldest for key, (_, oldest) in tally.items() if key in _WORKED_OFF_LATER]
        refused = [f"The disk or a folder refused: {why}." for why in self.inbox.troubles.lately()]
        return Health(
            state=state,
            program=__version__,
            pid=os.getpid(),
            started=self.started,
            written=_utc(),
            looked=self.looked,
            looked_ago_s=None if self.looked_well_at is None else round(time.monotonic() - self.looked_well_at, 3),
            hints=self.hints.source,
            hints_why=self.hints.why,
            trouble=tuple([_sentence(self.away) + "."] * bool(self.away) + refused),
            visits={key: count for key, (count, _) in sorted(tally.items())},
            oldest_waiting=min(waiting, default=None),
            working_on=self.working_on[0] if self.working_on else None,
            working_since=self.working_on[1] if self.working_on else None,
            free_bytes=health.free_bytes(self.inbox.studio.work),
            low_disk=self.full,
        )


def _lasting(made: Health) -> Health:
    """Give what of a record is news when it changes: neither the clock nor the last bytes of the disk."""
    return replace(made, written="", looked="", looked_ago_s=None, free_bytes=0)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _utc() -> str:
    return dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds")
