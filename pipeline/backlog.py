"""Years of old exports, read into the archive in bulk: no report is made, and each may be dropped again for one.

A batch of visits is taken in this order: copies, the archive's rows, notes in set-back/, manifests, and last the ledger
in one transaction. Killed in between, what the ledger does not know is begun again; a manifest without a note in the
ledger is taken up at the next start as archived, and its rows are made then. What is asked of a hundred files is noted
in set-back/ once, with the first of them.
"""

import datetime as dt
import logging
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import TypeVar

from pipeline import arrivals, issuing, manifests, old_exports, setting_back
from pipeline.answers import Answers
from pipeline.arrivals import Arrival
from pipeline.errors import INTERNAL_EXIT_CODE
from pipeline.inbox import MOST_CRASHES, TELL_US, Inbox
from pipeline.ledger import ARCHIVED, BACKLOG, NOT_ARCHIVED, Entry, Kept
from pipeline.ledger_bulk import Outcome
from pipeline.old_exports import Fetched, OldExport
from pipeline.records import Refusal
from pipeline.studio import Studio
from pipeline.work_messages import Archived, Job
from pipeline.workshop import FaultError, StoppedError

_MOST_VISITS, _MOST_BYTES = 500, 8_000_000  # of a batch
_MOST_NOTES = 20  # in set-back/ of one run; the others are counted
_TAKEN_ANEW = ("superseded", ARCHIVED, NOT_ARCHIVED)  # what the ledger may know of a visit that is archived now
_AGAIN = "Then start baywright process with --backlog again: it takes up every old export that is not in the archive."
_LOG = logging.getLogger("baywright")


@dataclass(slots=True)
class Summary:
    """What became of old exports: how many of each, and for each reason the names of those that are not archived."""

    archived: int = 0
    known: int = 0  # the same content was there before
    erased: int = 0  # its content was erased on request
    with_report: int = 0  # a later state of a visit that has its report: left for the watcher
    changing: int = 0  # it changed while it was being read, or was taken away
    reasons: dict[str, list[str]] = field(default_factory=dict)
    exit_code: int = 0

    def refuse(self, name: str, refusal: Refusal) -> bool:
        """Count a visit that is not archived; tells whether it is the first for that reason."""
        names = self.reasons.setdefault(refusal.what, [])
        names.append(name)
        self.exit_code = self.exit_code or refusal.exit_code
        return len(names) == 1


@dataclass(slots=True)
class Backlog:
    """The work on old exports of one studio; tell hears how many of how many are done."""

    inbox: Inbox
    tell: Callable[[int, int], None]
    summary: Summary = field(default_factory=Summary)
    _answers: Answers = field(default_factory=Answers)

    def __post_init__(self) -> None:
        self._answers.look(self.inbox.studio.profiles)

    def run(self) -> Summary:
        """Read all that lies in the drop folder, and what an earlier run could not; raises OSError as the disk does."""
        ledger = self.inbox.ledger
        if not ledger.remembered(BACKLOG):  # until the end, whatever comes between, the watcher leaves these alone
            ledger.changed(BACKLOG, str(time.time_ns()))
        there = sorted(arrivals.look(self.inbox.studio.inbox), key=lambda one: (one.changed_ns, one.place))
        again, found = [*self.lacking(), *self._refused_before(there)], self._new(there)
        done, of = 0, len(again) + len(found)
        self.tell(done, of)
        for part in _parts(again, lambda _: 0):
            self.work(part)
            done += len(part)
            self.tell(done, of)
        for count in self._worked(self._fetched(found)):
            done += count
            self.tell(done, of)
        ledger.changed(BACKLOG, "")
        return self.summary

    # --- what there is to do ---------------------------------------------------------------------------------------
    def _new(self, there: Sequence[Arrival]) -> list[Arrival]:
        """Give what is not known as it lies there."""
        known = self.inbox.ledger.seen_of([(one.place, one.signature) for one in there])
        return [one for one in there if (one.place, one.signature) not in known]

    def lacking(self) -> list[OldExport]:
        """List the archived visits whose rows the archive lacks, because its files or the ledger were lost."""
        self.inbox.archive.let_go()
        lacking = set(self.inbox.ledger.archive.lacking())
        return [one for one in self._kept(ARCHIVED) if one.id in lacking] if lacking else []

    def _refused_before(self, there: Sequence[Arrival]) -> list[OldExport]:
        """List what could not be archived and still lies there.

        Those with a note in set-back/ come first: they keep it if nothing has changed.
        """
        lie = {(one.place, one.signature): one for one in there}
        found = []
        for old in sorted(self._kept(NOT_ARCHIVED), key=lambda old: old.kept.entry.place is None):
            still = next((lie[sighting] for sighting in old.kept.sightings if sighting in lie), None)
            if still:
                found.append(replace(old, refusal=self.inbox.too_large(still)))
        return found

    def _kept(self, state: str) -> list[OldExport]:
        if state not in self.inbox.ledger.tally():
            return []
        return [OldExport(kept) for kept in self.inbox.ledger.all_kept() if kept.entry.state == state]

    # --- taking ----------------------------------------------------------------------------------------------------
    def _fetched(self, found: Iterable[Arrival]) -> Iterator[tuple[int, Fetched]]:
        """Read batch after batch, each while the one before is worked on; gives how many files of inbox/ it was."""
        with ThreadPoolExecutor(1) as reader:
            ahead: tuple[int, Future[Fetched]] | None = None
            for batch in _parts(found, lambda arrival: arrival.size):
                coming = len(batch), reader.submit(old_exports.fetch, self.inbox, batch)
                if ahead:
                    yield ahead[0], ahead[1].result()
                ahead = coming
            if ahead:
                yield ahead[0], ahead[1].result()

    def _new_of(self, fetched: Fetched) -> list[OldExport]:
        """Give what is to be worked on, and count the rest."""
        for name, fault in fetched.refused:
            self.inbox.troubles.tell(name, fault)
        sifted = old_exports.sift(self.inbox, fetched)
        self.summary.changing += fetched.changing + len(fetched.refused)
        self.summary.known += fetched.twice + sifted.known
        self.summary.erased += sifted.erased
        self.summary.with_report += sifted.with_report
        return sifted.new

    # --- working ---------------------------------------------------------------------------------------------------
    def _worked(self, batches: Iterable[tuple[int, Fetched]]) -> Iterator[int]:
        """Have the rows of each batch made while the one before is filed; gives the number of files of each filed."""
        with ThreadPoolExecutor(1) as maker:
            ahead: tuple[int, Sequence[OldExport], dict[str, Refusal], Future[_Made]] | None = None
            for count, fetched in batches:
                if ahead and not fetched.found.keys().isdisjoint(visit.id for visit in ahead[1]):
                    yield self._file_made(*ahead)  # the ledger must know of a visit before it is met again
                    ahead = None
                taken = self._new_of(fetched)
                refused, jobs = self._jobs(taken)
                coming = count, taken, refused, maker.submit(self._archived, jobs)
                if ahead:
                    yield self._file_made(*ahead)
                ahead = coming
            if ahead:
                yield self._file_made(*ahead)

    def _file_made(
        self, count: int, taken: Sequence[OldExport], refused: Mapping[str, Refusal], made: "Future[_Made]"
    ) -> int:
        self._file(taken, refused, made.result())
        return count

    def work(self, taken: Sequence[OldExport]) -> None:
        """Have the rows of visits made and file them; what has none is noted with its reason."""
        refused, jobs = self._jobs(taken)
        self._file(taken, refused, self._archived(jobs))

    def _jobs(self, taken: Sequence[OldExport]) -> tuple[dict[str, Refusal], list[Job]]:
        """Part visits into those that cannot be worked on and the others."""
        refused = {visit.id: visit.refusal for visit in taken if visit.refusal}
        jobs = []
        for visit in taken:
            if visit.id not in refused:
                job = self._job(visit.kept.entry)
                if isinstance(job, Refusal):
                    refused[visit.id] = job
                else:
                    jobs.append(job)
        return refused, jobs

    def _job(self, entry: Entry) -> Job | Refusal:
        """Put together what the rows depend on; where the files name no day, it is that of their last change."""
        where = self.inbox.studio
        today = min(self.inbox.today(), _last_change(where, entry))
        return issuing.job_of(
            where, entry, settings=self.inbox.settings, logo=None, answers=self._answers.by_layout, today=today,
            history=None,
        )  # fmt: skip

    def _archived(self, jobs: Sequence[Job]) -> "_Made":
        """Have the child make rows; a batch that ends it is halved until the visit at fault is alone."""
        if not jobs:
            return []
        try:
            return [(jobs, self.inbox.workshop.archive(self.inbox.archive.batch(jobs)))]
        except (StoppedError, FaultError) as fault:
            if len(jobs) == 1:
                return [(jobs, self._alone(jobs[0], fault))]
        half = len(jobs) // 2
        return [*self._archived(jobs[:half]), *self._archived(jobs[half:])]

    def _alone(self, job: Job, fault: StoppedError | FaultError) -> Archived:
        """Try a visit that ended the child alone as often as the intake would, then refuse it."""
        tries = 1
        while isinstance(fault, StoppedError) and tries < MOST_CRASHES:
            tries += 1
            try:
                return self.inbox.workshop.archive(self.inbox.archive.batch([job]))
            except (StoppedError, FaultError) as again:
                fault = again
        if isinstance(fault, FaultError):
            _LOG.error("Visit %s met a fault of ours: %s.", job.identity[:8], fault.trail)
            what, to_do = "The program met a fault of its own; it is written in work/log.txt.", TELL_US
            return Archived((Refusal("set_back", INTERNAL_EXIT_CODE, what, job.name, to_do),), {})
        _LOG.error("Visit %s: %s.", job.identity[:8], fault.why)
        what = f"It was tried {tries} times, and the last time {fault.why}."
        return Archived((Refusal("set_back", fault.exit_code, what, job.name, fault.to_do),), {})

    # --- filing ----------------------------------------------------------------------------------------------------
    def _file(self, taken: Sequence[OldExport], unread: Mapping[str, Refusal], made: "_Made") -> None:
        """Write rows, notes and manifests, then tell the ledger."""
        where, ledger, kept = self.inbox.studio, self.inbox.ledger, self.inbox.archive
        refused = dict(unread)
        before = ledger.bulk.filed([visit.id for visit in taken])
        if before:  # rows made otherwise, or for a note that was lost: nothing is counted twice
            kept.erase(before)
        paths: dict[str, str] = {}
        for jobs, found in made:
            written = kept.add(found.files)
            for job, outcome in zip(jobs, found.outcomes, strict=True):
                if isinstance(outcome, Refusal):
                    refused[job.identity] = outcome
                else:
                    paths[job.identity] = written[outcome]
        outcomes = [self._outcome(visit, refused.get(visit.id), paths.get(visit.id)) for visit in taken]
        manifests.write_all(where, [_as_kept(outcome) for outcome in outcomes])
        replaced = [identity for visit in taken for identity in visit.replaces if visit.id in paths]
        ledger.bulk.note(outcomes, replaced, _TAKEN_ANEW)
        for visit in taken:
            if visit.kept.entry.place and visit.id in paths:
                setting_back.clear(where, visit.kept.entry)
        self.summary.archived += len(paths)
        _LOG.info("%d old exports were archived, %d could not be.", len(paths), len(refused))

    def _outcome(self, visit: OldExport, refusal: Refusal | None, path: str | None) -> Outcome:
        """Say what became of a visit; the first one that is refused for a reason gets a note in set-back/."""
        entry, place = visit.kept.entry, None
        if refusal and self.summary.refuse(entry.name, refusal) and len(self.summary.reasons) <= _MOST_NOTES:
            to_do = " ".join(part for part in (refusal.to_do, _AGAIN) if part)
            place = setting_back.put(self.inbox.studio, entry, replace(refusal, to_do=to_do))
        elif entry.place:
            setting_back.clear(self.inbox.studio, entry)
        state = NOT_ARCHIVED if refusal else ARCHIVED
        return Outcome(
            entry.id, entry.name, state, visit.kept.received, place, entry.originals, visit.kept.sightings, path
        )


def file_lacking(inbox: Inbox, stop: Callable[[], bool]) -> None:
    """Make the rows of archived visits that the archive lacks, from their kept originals, some at a time."""
    work = Backlog(inbox, lambda _done, _of: None)
    for part in _parts(work.lacking(), lambda _: 0):
        if stop():
            return
        work.work(part)


_Made = list[tuple[Sequence[Job], Archived]]  # what the child made of jobs
_T = TypeVar("_T")


def _parts(things: Iterable[_T], size: Callable[[_T], int]) -> Iterator[list[_T]]:
    """Part things into batches, none too many and none too large."""
    part: list[_T] = []
    total = 0
    for thing in things:
        if part and (len(part) >= _MOST_VISITS or total + size(thing) > _MOST_BYTES):
            yield part
            part, total = [], 0
        part.append(thing)
        total += size(thing)
    if part:
        yield part


def _last_change(where: Studio, entry: Entry) -> dt.date:
    """Give the day on which the last of a visit's files was changed, as their copies have it."""
    changed = max((path.stat().st_mtime for _, path in issuing.originals(where, entry) if path.exists()), default=0.0)
    return dt.datetime.fromtimestamp(changed, dt.UTC).astimezone().date()


def _as_kept(outcome: Outcome) -> Kept:
    entry = Entry(outcome.id, outcome.name, outcome.state, 0, outcome.place, outcome.originals)
    return Kept(entry, outcome.received, outcome.sightings)
