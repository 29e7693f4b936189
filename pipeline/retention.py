"""How long a studio keeps a visit: what is older than keep_days is erased, by a clock that is not believed at once."""

import datetime as dt
from collections.abc import Sequence

from pipeline import forgetting, visit_words
from pipeline.archive import Archive
from pipeline.ledger import FINISHED_WITHOUT_REPORT, REPLACED
from pipeline.traces import Words
from pipeline.visit_words import Visit

LONGEST_STEP_DAYS = 31  # a clock that moved farther since the last look may be wrong
TRUSTED_AFTER_DAYS = 7
_EARLIEST_YEAR = 2020
_CLOCK = "days seen"  # in the ledger: the first and the last of the days that followed each other
_AT_A_TIME = 100
_NOT_SEARCHED = Words((), ())  # whose words are searched for is asked for by name
_MAY_BE_ERASED = ("reported", REPLACED, *FINISHED_WITHOUT_REPORT)  # nothing that is still to be worked on


def erase_old(archive: Archive, keep_days: int, today: dt.date) -> str:
    """End what a killed program began to erase, then erase what is older than keep_days (0: nothing is).

    Gives a sentence for staff, empty when nothing was erased. The studio must be locked.
    """
    where, ledger = archive.studio, archive.ledger
    n_erased = forgetting.finish(archive, today)
    if keep_days:
        visits = visit_words.visits(where, ledger)
        seen, believed = clock(ledger.remembered(_CLOCK), [_day(visit.kept.received) for visit in visits], today)
        ledger.changed(_CLOCK, seen)
        if believed:
            n_erased += _erase_older(archive, visits, today - dt.timedelta(days=keep_days), today)
    if not n_erased:
        return ""
    rule = f"Visits are kept for {keep_days} days (keep_days in studio.toml): " if keep_days else ""
    said = f"{rule}{n_erased} {'visits were' if n_erased > 1 else 'visit was'} erased with reports and originals."
    return f"{said[0].upper()}{said[1:]} What still lies in inbox/ or done/ is yours to delete."


def _erase_older(archive: Archive, visits: Sequence[Visit], limit: dt.date, today: dt.date) -> int:
    """Erase what is older than a day, some visits at a time; gives the number of visits."""
    where, chosen = archive.studio, old(visits, limit)
    left = {visit.kept.entry.id: visit for visit in visits}
    for first in range(0, len(chosen), _AT_A_TIME):
        part = chosen[first : first + _AT_A_TIME]
        forgetting.erase(archive, forgetting.plan(where, list(left.values()), part, _NOT_SEARCHED), today)
        for visit in part:
            del left[visit.kept.entry.id]
    for path in forgetting.unused(where, forgetting.used(left.values())):
        if dt.datetime.fromtimestamp(path.lstat().st_mtime, dt.UTC).date() < limit:
            path.unlink()
    return len(chosen)


def clock(remembered: str, received: Sequence[dt.date | None], today: dt.date) -> tuple[str, bool]:
    """Tell whether the computer's day may be believed, and give what to remember for the next look.

    It may when the days looked on before follow each other up to it, without a long step or a step back, for a week:
    a clock that fell back or jumped ahead over night erases nothing. At the first look the days on which visits came
    stand for the looks before.
    """
    try:
        first, last = (dt.date.fromisoformat(day) for day in remembered.split())
    except ValueError:
        known = sorted(day for day in received if day)
        first, last = (known[0], known[-1]) if known else (today, today)
    if today.year < _EARLIEST_YEAR or not dt.timedelta(0) <= today - last <= dt.timedelta(days=LONGEST_STEP_DAYS):
        first = today
    return f"{first} {today}", (today - first).days >= TRUSTED_AFTER_DAYS


def old(visits: Sequence[Visit], limit: dt.date) -> list[Visit]:
    """Give the visits of which nothing is from that day or later: neither the visit, nor a file, nor a version.

    All visits that share a folder go together or stay together.
    """
    young = {visit.kept.entry.id for visit in visits if not _is_old(visit, limit)}
    kept_folders = {name for visit in visits if visit.kept.entry.id in young for name in visit.folder_names}
    return [
        visit
        for visit in visits
        if visit.kept.entry.id not in young and not kept_folders.intersection(visit.folder_names)
    ]


def _is_old(visit: Visit, limit: dt.date) -> bool:
    said = [said.get(key) for folder in visit.folders for said in folder.said for key in ("date", "version_date")]
    days = [_day(visit.kept.received), *(_day(day) for day in said if day is not None)]
    return visit.kept.entry.state in _MAY_BE_ERASED and all(day is not None and day < limit for day in days)


def _day(text: object) -> dt.date | None:
    """Read the day out of a date or a time; None when it is none."""
    try:
        return dt.date.fromisoformat(str(text)[:10])
    except ValueError:
        return None
