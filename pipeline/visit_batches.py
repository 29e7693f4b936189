"""Many visits in the child process: the kept files in, the archive's rows out; no report is made of any.

Each visit's rows are the same as if it had been worked out alone; a fault of ours in one is a fault of the whole batch,
which is then tried in parts.
"""

from collections.abc import Sequence

from pipeline import session, shot_archive, visits
from pipeline.records import FileReading, Refusal, ShotFile, VisitFacts
from pipeline.work_messages import Archived, Batch

_Opened = tuple[list[ShotFile], VisitFacts]


def archive(batch: Batch) -> Archived:
    """Read the visits of a batch and give their rows by month, and why some have none."""
    opened = [visits.opened(job) for job in batch.jobs]
    readings = iter(_read(batch, opened))
    outcomes: list[str | Refusal] = []
    usable = []
    for job, found in zip(batch.jobs, opened, strict=True):
        if isinstance(found, Refusal):
            outcomes.append(found)
            continue
        files = next(readings)
        refused = session.refusal(files)
        if refused is None:
            usable.append((job, (files, found[1], job.today)))
        outcomes.append(refused or "")
    if not usable:
        return Archived(tuple(outcomes), {})
    decided = session.decide_all([visit for _, visit in usable], batch.jobs[0].settings)
    identities = [job.identity for job, _ in usable]
    rows = shot_archive.rows_of_all(decided, identities, batch.studio, batch.secret)
    months = iter(f"{date:%Y-%m}" for date in decided.dates)
    by_month = rows.partition_by("month", as_dict=True, maintain_order=True)
    files_of = {str(month): shot_archive.written(part) for (month,), part in by_month.items()}
    return Archived(tuple(outcome or next(months) for outcome in outcomes), files_of)


def _read(batch: Batch, opened: Sequence[_Opened | Refusal]) -> list[tuple[FileReading, ...]]:
    """Read the files of all visits that were opened, together."""
    usable = [found for found in opened if not isinstance(found, Refusal)]
    files = [file for shots, _ in usable for file in shots]
    hands = [facts.hand for shots, facts in usable for _ in shots]
    found = iter(session.read_all(files, hands, batch.jobs[0].answers) if files else [])
    return [tuple(next(found) for _ in shots) for shots, _ in usable]
