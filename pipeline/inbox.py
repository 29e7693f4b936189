"""From the drop folder to the outbox: settle, take, work off, file away; a bad file never stops the rest."""

import datetime as dt
import hashlib
import logging
import shutil
import time
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from pipeline import arrivals, issuing, outputs, session, studio
from pipeline.answers import Answers
from pipeline.arrivals import Arrival, ChangedMeanwhileError
from pipeline.branding import Logo
from pipeline.errors import INTERNAL_EXIT_CODE, FolderError, MissingPartError, PipelineError, UnreadableFileError
from pipeline.ledger import Entry, Ledger
from pipeline.records import Fitting, Refusal, ShotFile
from pipeline.settings import Settings
from pipeline.studio import Studio

MOST_CRASHES = 3
PAUSE_AFTER_TROUBLE_S = 30.0
_LOG = logging.getLogger("baywright")


def _never() -> bool:
    return False


@dataclass(frozen=True, slots=True)
class Event:
    """Something staff may want to know; kind is reported | held | set_back | waiting | known | trouble."""

    kind: str
    name: str
    message: str
    exit_code: int = 0
    place: Path | None = None
    seconds: dict[str, float] = field(default_factory=dict)


@dataclass(slots=True)
class _Pending:
    signature: str
    since: float


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
    _pending: dict[str, _Pending] = field(default_factory=dict)
    _seen: dict[str, str] = field(default_factory=dict)  # place → signature already in the ledger
    _give_up: dict[str, float] = field(default_factory=dict)
    _troubles: Counter[str] = field(default_factory=Counter)  # visit → how often the disk or a folder refused
    _said: set[tuple[str, str]] = field(default_factory=set)
    _not_before: float = 0.0
    _answers: Answers = field(default_factory=Answers)

    # --- start ---------------------------------------------------------------------------------------------------
    def recover(self) -> None:
        """Sweep what a killed run left, and count a crash against the visit it died on."""
        try:
            studio.sweep(self.studio)
            for entry in self.ledger.entries("processing"):
                self.ledger.move(entry.id, "accepted", crashed=True)
        except OSError as fault:
            msg = f"{self.studio.root}: cannot be written to ({fault.strerror})."
            raise FolderError(msg) from fault

    # --- taking --------------------------------------------------------------------------------------------------
    def settled(self) -> list[Arrival]:
        """Look once; give the visits that stood still long enough and were not taken before."""
        now, out, there = self.clock(), [], set()
        for arrival in arrivals.look(self.studio.inbox):
            there.add(arrival.place)
            if self._known(arrival):
                self._pending.pop(arrival.place, None)
                continue
            waiting = self._pending.get(arrival.place)
            if waiting is None or waiting.signature != arrival.signature:
                self._pending[arrival.place] = _Pending(arrival.signature, now)
            elif now - waiting.since >= self.settings.settle_seconds:
                out.append(arrival)
        for places in (self._pending, self._seen):
            for gone in places.keys() - there:
                del places[gone]
        return out

    def next_look(self) -> float:
        """Give the seconds until the next look is due: sooner than scan_seconds when something will have settled."""
        settled_at = [waiting.since + self.settings.settle_seconds - self.clock() for waiting in self._pending.values()]
        return min([self.settings.scan_seconds, *(seconds for seconds in settled_at if seconds > 0)])

    def _known(self, arrival: Arrival) -> bool:
        """Tell whether exactly this file was taken before; the ledger is asked once, not at every look."""
        if self._seen.get(arrival.place) == arrival.signature:
            return True
        waiting = self._pending.get(arrival.place)
        if waiting and waiting.signature == arrival.signature:
            return False
        known = self.ledger.seen(arrival.place, arrival.signature)
        if known:
            self._seen[arrival.place] = arrival.signature
        return known

    def take_all(self, found: Iterable[Arrival], stop: Callable[[], bool] = _never) -> None:
        """Take visits until `stop`; trouble of the surroundings leaves the rest for later."""
        for arrival in found:
            if stop() or self.clock() < self._not_before:
                return
            try:
                self.take(arrival)
            except OSError as fault:
                self._trouble(arrival.name, fault)
                self._not_before = self.clock() + PAUSE_AFTER_TROUBLE_S

    def take(self, arrival: Arrival) -> str | None:
        """Copy a visit's files to work/accepted and note it; its id, or None when there is nothing new to do."""
        limit = int(self.settings.largest_file_mb * 1_000_000)
        if arrival.largest > limit or len(arrival.paths) > arrivals.MOST_FILES:
            self._refuse_unread(arrival, limit)
            return None
        files = self._read(arrival)
        if files is None:
            self._pending.pop(arrival.place, None)  # look again later, from the start
            return None
        shots, facts = issuing.split_facts(files)
        identity = session.visit_id(shots, facts.decode(errors="replace"))
        if not any(file.content for file in shots):  # empty files have nothing in common but being empty
            identity = hashlib.sha256(arrival.signature.encode()).hexdigest()
        entry = Entry(
            identity, arrival.name, "accepted", 0, None, tuple(issuing.keep(self.studio, file) for file in files)
        )
        new = self.ledger.accept(entry, (arrival.place, arrival.signature), _now())
        self._pending.pop(arrival.place, None)
        if new:
            return identity
        known = self.ledger.entry(identity)
        where = f"its report is in outbox/{known.place}" if known and known.place else "its report is being made"
        self.tell(Event("known", arrival.name, f"the same content was dropped before; {where}"))
        return None

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
            self._trouble(arrival.name, fault)
        return None

    def _trouble(self, name: str, fault: OSError) -> None:
        """Tell what the disk or a folder refused, once for as long as it lasts; no file is blamed for it."""
        _LOG.error("trouble: %s", fault.strerror)
        why = f"the disk or a folder refused: {fault.strerror or fault}. It is tried again by itself."
        if (name, why) not in self._said:
            self._said.add((name, why))
            self.tell(Event("trouble", name, why, FolderError.exit_code))

    def _refuse_unread(self, arrival: Arrival, limit: int) -> None:
        """Set a visit back without reading it: too large, or too many files."""
        self._pending.pop(arrival.place, None)
        identity = hashlib.sha256(arrival.signature.encode()).hexdigest()
        most = f"{limit // 1_000_000} MB a file and {arrivals.MOST_FILES} files a visit"
        what = f"It is too large to be the exports of one visit: at most {most}."
        refusal = Refusal(
            "set_back", UnreadableFileError.exit_code, what, arrival.place, "Drop the exports of one visit only."
        )
        entry = Entry(identity, arrival.name, "accepted", 0, None, ())
        if self.ledger.accept(entry, (arrival.place, arrival.signature), _now()):
            self._set_back(entry, refusal)

    # --- working off ---------------------------------------------------------------------------------------------
    def work_off(self, stop: Callable[[], bool] = _never) -> None:
        """Work on everything accepted until `stop`; trouble of the surroundings (disk full) blames no file.

        A visit that met trouble is tried last, and the second trouble in one go ends it for a while: no visit is
        kept waiting by another one.
        """
        if self.clock() < self._not_before:
            return
        troubles = 0
        try:
            self._try_held_again()
            entries = self.ledger.entries("accepted", "processing", "waiting")
        except OSError as fault:
            self._trouble("ledger", fault)
            return
        for entry in sorted(entries, key=lambda e: self._troubles[e.id]):
            if stop() or troubles > 1:
                return
            if entry.state == "waiting" and self.clock() < self._give_up.get(entry.id, 0.0):
                continue
            try:
                self.work(entry)
            except OSError as fault:
                troubles += 1
                self._troubles[entry.id] += 1
                self._not_before = self.clock() + PAUSE_AFTER_TROUBLE_S
                self._trouble(entry.name, fault)
                with suppress(OSError):
                    self.ledger.move(entry.id, "accepted")

    def _try_held_again(self) -> None:
        """When staff's answers have changed since the last look, every visit that waits for one is tried again."""
        for fault in self._answers.look(self.studio.profiles):
            self.tell(Event("trouble", "profiles", fault))
        if self.ledger.changed("profiles", self._answers.signature):
            for entry in self.ledger.entries("held"):
                self.ledger.move(entry.id, "accepted")

    def work(self, entry: Entry) -> None:
        """Work on one visit and file the outcome away; only OSError and MissingPartError come out of here."""
        if entry.attempts >= MOST_CRASHES:
            what = f"Working on it stopped the program {entry.attempts} times."
            self._set_back(entry, Refusal("set_back", INTERNAL_EXIT_CODE, what, entry.name, _TELL_US))
            return
        self.ledger.move(entry.id, "processing")
        start = self.clock()
        try:
            answers = self._answers.by_layout
            outcome = issuing.work_out(self.studio, entry, self.settings, answers, self.today())
            if isinstance(outcome, Refusal):
                self._refused(entry, outcome)
            else:
                self._report(entry, outcome, start)
        except OSError:
            raise
        except MissingPartError:  # the machine's fault, not the visit's
            self.ledger.move(entry.id, "accepted")
            raise
        except PipelineError as fault:
            self._set_back(entry, Refusal("set_back", fault.exit_code, str(fault), entry.name, ""))
        except Exception:  # noqa: BLE001 - whatever it is, it must not stop the others
            _LOG.exception("visit %s: a fault of ours", entry.id[:8])
            what = "The program met a fault of its own; it is written in work/log.txt."
            self._set_back(entry, Refusal("set_back", INTERNAL_EXIT_CODE, what, entry.name, _TELL_US))

    def _report(self, entry: Entry, fitting: Fitting, start: float) -> None:
        """Put the report into the visit's folder, unless a killed run has done that, and note it."""
        analysed = rendered = self.clock()
        place = issuing.written_before(self.studio, entry, fitting)
        message = issuing.message(fitting, self.settings)
        if place is None:
            place, version = issuing.place_of(self.studio, self.ledger, entry, fitting)
            files = outputs.files(issuing.numbered(fitting, version, self.today()), self.settings, self.logo)
            rendered = self.clock()
            studio.write_version(place, files, version)
            message += f"; version {version}, the one before is kept in {studio.EARLIER}/" if version > 1 else ""
        self.ledger.move(entry.id, "reported", place.name)
        self._clear_set_back(entry)
        seconds = {"analyse": analysed - start, "render": rendered - analysed, "write": self.clock() - rendered}
        lacking = ", characters missing in the typeface" * bool(outputs.typeface_note(fitting, self.settings))
        _LOG.info("visit %s: reported%s", entry.id[:8], lacking)  # not which: in order they would spell a name
        self.tell(Event("reported", entry.name, message, 0, place / "report.pdf", seconds))

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
        name = self._set_back_name(entry)
        note = note_text(entry, refusal, self.studio.set_back / name)
        studio.write_file(self.studio.set_back / f"{name}.txt", note.encode())  # first: it marks the name as ours
        copies: dict[str, bytes] = {}
        for number, (original, path) in enumerate(issuing.originals(self.studio, entry), 1):
            if path.exists():
                plain = studio.safe_name(original)
                copies[plain if plain not in copies else f"{number} {plain}"] = path.read_bytes()
        if len(entry.originals) == 1 and copies:
            studio.write_file(self.studio.set_back / name, next(iter(copies.values())))
        elif copies and not (self.studio.set_back / name).exists():
            studio.write_folder(self.studio.set_back / name, copies)
        state = "held" if refusal.outcome == "held" else "set_back"
        self.ledger.move(entry.id, state, name)
        _LOG.info("visit %s: %s, class %d", entry.id[:8], state, refusal.exit_code)
        message = " ".join(part for part in (refusal.what, refusal.to_do) if part)
        self.tell(Event(state, entry.name, message, refusal.exit_code, self.studio.set_back / f"{name}.txt"))

    def _clear_set_back(self, entry: Entry) -> None:
        """Take our own note and copy away once the visit has its report."""
        name = self._set_back_name(entry)
        note, copy = self.studio.set_back / f"{name}.txt", self.studio.set_back / name
        if note.is_file():
            note.unlink()
            shutil.rmtree(copy) if copy.is_dir() else copy.unlink(missing_ok=True)

    def _set_back_name(self, entry: Entry) -> str:
        """Give the name in set-back/: the file's own, unless something of another visit has it."""
        wanted = studio.safe_name(entry.originals[0][0] if len(entry.originals) == 1 else entry.name)
        copy, note = self.studio.set_back / wanted, self.studio.set_back / f"{wanted}.txt"
        ours = note.is_file() and _mark(entry) in note.read_text(encoding="utf-8", errors="replace")
        return wanted if ours or not (copy.exists() or note.exists()) else f"{entry.id[:8]} {wanted}"


_TELL_US = "Keep the file and tell whoever looks after this program; the other files go on."


def _mark(entry: Entry) -> str:
    return f"Visit {entry.id[:8]}."


def note_text(entry: Entry, refusal: Refusal, copy: Path) -> str:
    """Write the note that lies beside a file set back: what, where, what to do, and how to answer."""
    head = "waits for an answer" if refusal.outcome == "held" else "could not be used"
    lines = [f"{entry.name} {head}.", "", f"What:       {refusal.what}", f"Where:      {refusal.where}"]
    lines += [f"What to do: {refusal.to_do}"] if refusal.to_do else []
    if refusal.answer:
        lines += ["", "Or answer once for every file of this layout, with your answers in place of …:"]
        lines += [f'    baywright answer "{copy.resolve()}" {refusal.answer}']
    end = "What was dropped is unchanged. This note, and the copy beside it if there is one, may be deleted."
    return "\n".join([*lines, "", end, _mark(entry), ""])


def _now() -> str:
    return dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")
