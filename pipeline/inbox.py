"""From the drop folder to the outbox: settle, take, work off, file away; a bad file never stops the rest."""

import datetime as dt
import hashlib
import logging
import time
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field

from pipeline import (
    arrivals,
    history_text,
    issuing,
    manifests,
    rebuilding,
    regrouping,
    retention,
    setting_back,
    studio,
    visit_facts,
    workshop,
)
from pipeline.answers import Answers
from pipeline.archive import HISTORY, Archive
from pipeline.arrivals import Arrival, ChangedMeanwhileError
from pipeline.branding import Logo
from pipeline.errors import INTERNAL_EXIT_CODE, FolderError, MissingPartError, ReportError, UnreadableFileError, trail
from pipeline.events import PAUSE_AFTER_TROUBLE_S, Event, Troubles
from pipeline.ledger import ARCHIVED, BACKLOG, REPLACED, Entry, Ledger
from pipeline.plurals import many
from pipeline.records import Refusal, ShotFile
from pipeline.settings import Settings
from pipeline.settling import Settling
from pipeline.studio import Studio
from pipeline.work_messages import Worked
from pipeline.workshop import FaultError, StoppedError, Workshop

MOST_CRASHES = 3
MOST_AHEAD = 100  # visits taken and not yet worked on: however many are dropped, the others stay where they are
_LOG = logging.getLogger("baywright")


def _never() -> bool:
    return False


def _nothing(_identity: str) -> None:
    pass


@dataclass(slots=True)
class Inbox:
    """The intake of one studio; clock is monotonic, today is the local day, tell hears of every event."""

    studio: Studio
    settings: Settings
    ledger: Ledger
    tell: Callable[[Event], None]
    clock: Callable[[], float] = time.monotonic
    today: Callable[[], dt.date] = dt.date.today
    logo: Logo | None = None
    workshop: Workshop = field(default_factory=lambda: workshop.SHARED)
    begins: Callable[[str], None] = _nothing  # hears of the visit that is worked on next
    troubles: Troubles = field(init=False)
    erased_too: bool = False  # take what was erased on request or because of its age
    _settling: Settling = field(init=False)
    _give_up: dict[str, float] = field(default_factory=dict)
    _troubles: Counter[str] = field(default_factory=Counter)  # visit → how often the disk or a folder refused
    _not_before: float = 0.0
    _answers: Answers = field(default_factory=Answers)
    _erased_old_on: dt.date | None = None
    _backlog_told: bool = False

    def __post_init__(self) -> None:
        self._settling = Settling(self.studio, self.ledger)
        self.troubles = Troubles(self._hear, self.clock, self.settings.scan_seconds)

    def _hear(self, event: Event) -> None:
        self.tell(event)  # whoever listens by then

    def take_up(self, settings: Settings, logo: Logo | None) -> None:
        """Go on with other settings; whoever changes them keeps the workshop to itself meanwhile."""
        self.settings, self.logo, self.troubles.every_s = settings, logo, settings.scan_seconds

    @property
    def archive(self) -> Archive:
        """Give the archive of all visits' shots."""
        return Archive(self.studio, self.settings, self.ledger, self.workshop)

    # --- start ---------------------------------------------------------------------------------------------------
    def recover(self) -> None:
        """Sweep what a killed run left, mend the ledger, and count a crash against the visit it died on."""
        try:
            studio.sweep(self.studio)
            if said := rebuilding.reconcile(self.studio, self.ledger):
                self.tell(Event("trouble", "ledger", said))
            regrouping.finish(self.studio, self.ledger)
            for entry in self.ledger.entries("processing"):
                self.ledger.move(entry.id, "accepted", crashed=True)
        except OSError as fault:
            msg = f"{self.studio.root}: cannot be written to ({fault.strerror})."
            raise FolderError(msg) from fault

    def erase_old(self) -> None:
        """Once a day, erase what is older than keep_days, and end what a killed run had begun to erase."""
        today = self.today()
        if today == self._erased_old_on:
            return
        self._erased_old_on = today
        try:
            if said := retention.erase_old(self.archive, self.settings.keep_days, today):
                self.tell(Event("erased", "keep_days", said))
        except OSError as fault:
            self.troubles.tell("keep_days", fault)

    # --- taking --------------------------------------------------------------------------------------------------
    def settled(self) -> list[Arrival]:
        """Look once; give the visits that stood still long enough and were not taken before, oldest first."""
        return self.without_backlog(self._settling.look(self.clock(), self.settings.settle_seconds))

    def without_backlog(self, found: Iterable[Arrival]) -> list[Arrival]:
        """Leave out what lay there when a backlog was begun that is not at its end: no report is to be made of it."""
        begun = int(self.ledger.remembered(BACKLOG) or 0)
        kept = [arrival for arrival in found if arrival.changed_ns >= begun] if begun else list(found)
        if begun and not self._backlog_told:
            self._backlog_told = True
            what = "old exports are left alone until baywright process DIR --backlog has come to its end"
            self.tell(Event("waiting", "inbox", what))
        return kept

    def next_look(self) -> float:
        """Give the seconds until the next look is due: sooner than scan_seconds when something will have settled."""
        return min([self.settings.scan_seconds, *self._settling.due(self.clock(), self.settings.settle_seconds)])

    def take_all(self, found: Iterable[Arrival], stop: Callable[[], bool] = _never) -> bool:
        """Take visits until `stop`, or until enough wait to be worked on: then True, what is left may be taken later.

        Trouble of the surroundings leaves the rest for later.
        """
        left = iter(found)
        try:
            tally = self.ledger.tally()
        except OSError as fault:
            self.troubles.tell("ledger", fault)
            return False
        # a half-written file that waits for its end keeps nobody waiting
        ahead = sum(tally[state][0] for state in ("accepted", "processing") if state in tally)
        while not stop() and self.clock() >= self._not_before:
            if ahead >= MOST_AHEAD:
                return True
            arrival = next(left, None)
            if arrival is None:
                break
            try:
                ahead += self.take(arrival) is not None
            except OSError as fault:
                self.troubles.tell(arrival.name, fault)
                self._not_before = self.clock() + PAUSE_AFTER_TROUBLE_S
        return False

    def take(self, arrival: Arrival) -> str | None:
        """Copy a visit's files to work/accepted and note it; its id, or None when there is nothing new to do."""
        if too_large := self.too_large(arrival):
            self._refuse_unread(arrival, too_large)
            return None
        files = self._read(arrival)
        if files is None:
            self._settling.forget(arrival.place)  # look again later, from the start
            return None
        shots, facts = visit_facts.parted(files)
        identity = issuing.visit_id(shots, facts.decode(errors="replace"))
        if not any(file.content for file in shots):  # empty files have nothing in common but being empty
            identity = hashlib.sha256(arrival.signature.encode()).hexdigest()
        if self._was_erased(arrival, identity):
            return None
        entry = Entry(
            identity, arrival.name, "accepted", 0, None, tuple(issuing.keep(self.studio, file) for file in files)
        )
        new = manifests.accept(self.studio, self.ledger, entry, (arrival.place, arrival.signature), _now())
        self._settling.forget(arrival.place)
        if new:
            _LOG.info("Visit %s was taken, %s.", identity[:8], many(len(files), "file"))
            return identity
        _LOG.info("Visit %s was dropped again unchanged.", identity[:8])
        known = self.ledger.entry(identity)
        where = f"its report is in outbox/{known.place}" if known and known.place else "its report is being made"
        if known and known.state == REPLACED:
            where = "it was split or joined on the desk"
        self.tell(Event("known", arrival.name, f"the same content was dropped before; {where}"))
        return None

    def _was_erased(self, arrival: Arrival, identity: str) -> bool:
        """Tell whether a content was erased and must not come back by itself; nothing of it is kept."""
        day = self.ledger.forgotten(identity)
        if day and self.erased_too:
            self.ledger.take_again(identity)
            return False
        if day is None:
            return False
        self.ledger.see_forgotten(identity, arrival.signature)
        self._settling.forget(arrival.place)
        what = (
            f"the same content was erased on {day or self.today()}, so it was not taken. Delete it here as well; to "
            "take it all the same, name it: baywright process DIR FILE --erased-too"
        )
        self.tell(Event("known", arrival.name, what))
        return True

    def _read(self, arrival: Arrival) -> tuple[ShotFile, ...] | None:
        """Read a visit's files, or None when that must wait; a file that may not be read is told once."""
        try:
            return arrivals.read(arrival)
        except ChangedMeanwhileError:
            what = "it changed while it was being read; it is looked at again."
            self.tell(Event("waiting", arrival.name, what, UnreadableFileError.exit_code))
        except FileNotFoundError:  # taken away again
            return None
        except OSError as fault:
            self.troubles.tell(arrival.name, fault)
        return None

    def too_large(self, arrival: Arrival) -> Refusal | None:
        """Refuse a visit that is not even to be read: too large, or too many files."""
        limit = int(self.settings.largest_file_mb * 1_000_000)
        if arrival.size <= limit and len(arrival.paths) <= arrivals.MOST_FILES:
            return None
        most = f"{limit // 1_000_000} MB and {arrivals.MOST_FILES} files"
        what = f"It is too large to be the exports of one visit: at most {most}."
        to_do = "Drop the exports of one visit only."
        return Refusal("set_back", UnreadableFileError.exit_code, what, arrival.place, to_do)

    def _refuse_unread(self, arrival: Arrival, refusal: Refusal) -> None:
        """Set a visit back without reading it."""
        self._settling.forget(arrival.place)
        identity = hashlib.sha256(arrival.signature.encode()).hexdigest()
        entry = Entry(identity, arrival.name, "accepted", 0, None, ())
        if self.ledger.accept(entry, (arrival.place, arrival.signature), _now()):
            self._set_back(entry, refusal)

    # --- working off ---------------------------------------------------------------------------------------------
    def work_off(self, stop: Callable[[], bool] = _never) -> bool:
        """Work on everything accepted until `stop`; trouble of the surroundings (disk full) blames no file.

        A visit that met trouble, or whose working-out had to be stopped, is tried last, and the second trouble in one
        go ends it for a while: no visit is kept waiting by another one. True when a stopped one is to be tried again.
        """
        if self.clock() < self._not_before:
            return False
        troubles, again = 0, False
        try:
            self._try_held_again()
            entries = self.ledger.entries("accepted", "processing", "waiting")
        except OSError as fault:
            self.troubles.tell("ledger", fault)
            return False
        for entry in sorted(entries, key=lambda e: (e.attempts, self._troubles[e.id])):
            if stop() or troubles > 1:
                break
            if entry.state == "waiting" and self.clock() < self._give_up.get(entry.id, 0.0):
                continue
            try:
                with self.workshop.alone():
                    again |= self.work(entry)
            except OSError as fault:
                troubles += 1
                self._troubles[entry.id] += 1
                self._not_before = self.clock() + PAUSE_AFTER_TROUBLE_S
                self.troubles.tell(entry.name, fault)
                with suppress(OSError):
                    self.ledger.move(entry.id, "accepted")
        return again

    def _try_held_again(self) -> None:
        """When staff's answers have changed since the last look, every visit that waits for one is tried again."""
        for fault in self._answers.look(self.studio.profiles):
            self.tell(Event("trouble", "profiles", fault))
        if self.ledger.changed("profiles", self._answers.signature):
            for entry in self.ledger.entries("held"):
                self.ledger.move(entry.id, "accepted")

    def work(self, entry: Entry) -> bool:
        """Work on one visit and file the outcome away; True when it had to be stopped and is to be tried again.

        Only OSError and MissingPartError come out of here.
        """
        if entry.attempts >= MOST_CRASHES:
            what = f"Working on it stopped the program {entry.attempts} times."
            self._set_back(entry, Refusal("set_back", INTERNAL_EXIT_CODE, what, entry.name, TELL_US))
            return False
        self.ledger.move(entry.id, "processing")
        self.begins(entry.id)
        start = self.clock()
        try:
            outcome = self.work_out(entry)
            if isinstance(outcome, Refusal):
                self._refused(entry, outcome)
            else:
                self._report(entry, outcome, start)
        except StoppedError as fault:
            return self._stopped(entry, fault)
        except OSError:
            raise
        except MissingPartError:  # the machine's fault, not the visit's
            self.ledger.move(entry.id, "accepted")
            raise
        except Exception as fault:  # noqa: BLE001 - whatever it is, it must not stop the others
            where = fault.trail if isinstance(fault, FaultError) else trail(fault)
            _LOG.error("Visit %s met a fault of ours: %s.", entry.id[:8], where)
            what = "The program met a fault of its own; it is written in work/log.txt."
            self._set_back(entry, Refusal("set_back", INTERNAL_EXIT_CODE, what, entry.name, TELL_US))
        return False

    def work_out(self, entry: Entry) -> Worked | Refusal:
        """Have a visit worked out, and nothing else done with it."""
        job = issuing.job_of(
            self.studio, entry, settings=self.settings, logo=self.logo, answers=self._answers.by_layout,
            today=self.today(), history=history_text.read(self.ledger.remembered(HISTORY)),
        )  # fmt: skip
        return job if isinstance(job, Refusal) else self.workshop.work_out(job)

    def _stopped(self, entry: Entry, fault: StoppedError) -> bool:
        """Count against a visit that the process working on it hung, died or ran out of memory; it is tried again."""
        self.ledger.move(entry.id, "accepted", crashed=True)
        _LOG.error("Visit %s: %s.", entry.id[:8], fault.why)
        if entry.attempts + 1 < MOST_CRASHES:
            self.tell(Event("waiting", entry.name, f"{fault.why}; it is tried again after the others"))
            return True
        what = f"It was tried {MOST_CRASHES} times, and the last time {fault.why}."
        self._set_back(entry, Refusal("set_back", fault.exit_code, what, entry.name, fault.to_do))
        return False

    def _report(self, entry: Entry, worked: Worked, start: float) -> None:
        """Put the report into the visit's folder, unless a killed run has done that, and note it."""
        analysed = rendered = self.clock()
        place = issuing.written_before(self.studio, entry, worked)
        message = worked.message
        if place is None:
            place, version = issuing.place_of(self.studio, self.ledger, entry, worked)
            files = issuing.files_of(self.workshop, version, self.today())
            rendered = self.clock()
            studio.write_version(place, files, version)
            message += f"; version {version}, the one before is kept in {studio.EARLIER}/" if version > 1 else ""
        self.ledger.move(entry.id, "reported", place.name)
        setting_back.clear(self.studio, entry)
        seconds = {"analyse": analysed - start, "render": rendered - analysed, "write": self.clock() - rendered}
        lacking = " It lacks some characters in the typeface." * worked.lacks_characters
        _LOG.info("Visit %s has its report.%s", entry.id[:8], lacking)  # not which: in order they would spell a name
        self.tell(Event("reported", entry.name, message, 0, place / "report.pdf", seconds))
        self.file_last(entry.id)

    def file_last(self, identity: str) -> None:
        """File the shots of the visit worked out last; what fails is made up for by the daily upkeep.

        They stand for those of an archived visit whose file has grown into this one.
        """
        try:
            if entry := self.ledger.entry(identity):
                former = self.ledger.at_same_place(identity, ARCHIVED)
                grown = [one.id for one in former if issuing.has_grown_into(self.studio, one, entry)]
                self.ledger.bulk.supersede(grown)
            self.archive.file_last(identity)
        except OSError as fault:
            self.troubles.tell("archive", fault)
        except ReportError as fault:
            _LOG.error("Visit %s is not in the archive yet: %s.", identity[:8], type(fault).__name__)

    def _refused(self, entry: Entry, refusal: Refusal) -> None:
        """Hold, set back, or wait a while for a file that looks half-written."""
        if refusal.outcome == "wait":
            deadline = self._give_up.setdefault(entry.id, self.clock() + self.settings.give_up_seconds)
            if self.clock() < deadline:
                if entry.state != "waiting":
                    self.tell(Event("waiting", entry.name, refusal.what))
                self.ledger.move(entry.id, "waiting")
                return
        self._set_back(entry, refusal)

    def _set_back(self, entry: Entry, refusal: Refusal) -> None:
        """Put copies of the originals and a note of the same name into set-back/."""
        name = setting_back.put(self.studio, entry, refusal)
        state = "held" if refusal.outcome == "held" else "set_back"
        self.ledger.move(entry.id, state, name)
        became = "waits for an answer" if state == "held" else "was set back"
        _LOG.info("Visit %s %s (code %d).", entry.id[:8], became, refusal.exit_code)
        message = " ".join(part for part in (refusal.what, refusal.to_do) if part)
        self.tell(Event(state, entry.name, message, refusal.exit_code, self.studio.set_back / f"{name}.txt"))


TELL_US = "Keep the file and tell whoever looks after this program; the other files go on."


def _now() -> str:
    return dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")
