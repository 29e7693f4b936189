"""From a visit's kept originals to its folder in outbox/: work it out, find its place and version, issue it again."""

import datetime as dt
import hashlib
import json
import logging
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline import history_text, manifests, studio, visit_facts
from pipeline.branding import Logo
from pipeline.cut_files import Told
from pipeline.errors import FolderError, UnreadableFileError
from pipeline.judgements import History
from pipeline.ledger import ERASED, Entry, Ledger
from pipeline.records import Given, Refusal, ShotFile
from pipeline.settings import Settings
from pipeline.studio import EARLIER, Studio
from pipeline.work_messages import LARGEST, Job, Worked, shot_mark
from pipeline.workshop import Workshop

_LETTER = "letter.eml"
_LOG = logging.getLogger("baywright")


# --- working out ------------------------------------------------------------------------------------------------------
def originals(where: Studio, entry: Entry) -> list[tuple[str, Path]]:
    """Give each original's name and where its copy is kept."""
    return [(name, where.accepted / stored) for name, stored in entry.originals]


def visit_id(files: Sequence[ShotFile], facts_text: str = "") -> str:
    """Name a visit by what was dropped: the same content always gets the same name, whatever the files are called."""
    parts = sorted(hashlib.sha256(file.content).hexdigest() for file in files)
    return hashlib.sha256("\n".join([*parts, facts_text]).encode()).hexdigest()


def job_of(
    where: Studio, entry: Entry, *, settings: Settings, logo: Logo | None, answers: Mapping[str, Given], today: dt.date,
    history: History | None,
) -> Job | Refusal:  # fmt: skip
    """Put together what a visit's report depends on."""
    kept = originals(where, entry)
    if not kept or not all(path.exists() for _, path in kept):
        what = "The copy kept in work/accepted is gone."
        return Refusal("set_back", UnreadableFileError.exit_code, what, entry.name, "Drop the file again.")
    paths = tuple((name, str(path.absolute())) for name, path in kept)  # the child may stand in another folder
    return Job(entry.name, entry.id, paths, settings, today, answers, logo, history)


# --- place and version ------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Issued:
    """What the newest report in a folder of outbox/ says about itself."""

    visit_id: str
    date: dt.date
    version: int
    day: dt.date | None  # on which this version was made; None for the first one
    shots: frozenset[str]
    history: History | None  # of the studio, as it was known to this report
    told: tuple[Told, ...] = ()  # the shots as they are told there


def issued(place: Path) -> Issued | None:
    """Read the newest report of a folder; None when there is none, or its fitting.json is damaged."""
    try:
        document = json.loads(studio.read_plain(place / "fitting.json", LARGEST))
        visit, shots = document["visit"], document["shots"]
        day = dt.date.fromisoformat(visit["version_date"]) if visit.get("version_date") else None
        told = tuple((str(shot["file"]), int(shot["line"]), dict(shot["measured"])) for shot in shots)
        marks = frozenset(shot_mark(*shot) for shot in told)
        date, number = dt.date.fromisoformat(visit["date"]), int(visit.get("version", 1))
        return Issued(str(visit["id"]), date, number, day, marks, history_text.believed(visit.get("history")), told)
    except (FileNotFoundError, NotADirectoryError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None


def _is_of(known: Issued, shots: frozenset[str]) -> bool:
    """Tell whether a report is about these shots, before more came or some changed.

    A device may write the next golfer's shots into a file of the same name: then next to none stands where it stood.
    """
    return bool(known.shots) and 2 * len(known.shots & shots) >= len(known.shots)


def next_version(place: Path, known: Issued) -> int:
    """Give the number after the newest one, whatever staff put into or took out of the folder."""
    kept = [re.fullmatch(r"version (\d{1,9})", path.name) for path in (place / EARLIER).glob("version *")]
    return max([known.version, *(int(found[1]) + 1 for found in kept if found)]) + 1


def place_of(where: Studio, ledger: Ledger, entry: Entry, worked: Worked) -> tuple[Path, int]:
    """Give the folder of a visit's report and the version it is: one folder a visit, and never one for two visits.

    The next version is what has come from the same place in the drop folder, for the same day, with the same shots.
    """
    for former in ledger.at_same_place(entry.id):
        place = where.outbox / str(former.place)
        known = issued(place) if former.name == entry.name else None
        if known and known.date == worked.date and _is_of(known, worked.shots):
            return place, next_version(place, known)
    return studio.free_place(where.outbox, _name(entry, worked)), 1


def _name(entry: Entry, worked: Worked) -> str:
    return studio.safe_name(f"{worked.date.isoformat()} {entry.name}")


def written_before(where: Studio, entry: Entry, worked: Worked) -> Path | None:
    """Find the folder a killed run finished without noting it: a fitting.json in it carries this visit's id."""
    undated = _name(entry, worked)[len("2026-11-25 ") :][:40]  # the day may have changed since
    for name in os.listdir(where.outbox):  # noqa: PTH208 - among thousands, ten times as fast as paths
        if undated in name:
            place = where.outbox / name
            if any(_is_about(path, entry) for path in (place, *place.glob(f"{EARLIER}/*"))):
                return place
    return None


def _is_about(place: Path, entry: Entry) -> bool:
    """Tell whether the report in a folder is that of a visit, by its first lines."""
    try:
        with (place / "fitting.json").open(encoding="utf-8", errors="replace") as opened:
            return f'"id": "{entry.id}"' in opened.read(400)
    except (FileNotFoundError, NotADirectoryError):
        return False


def files_of(workshop: Workshop, version: int, today: dt.date) -> dict[str, bytes]:
    """Have the files of a version of the visit worked out last made; the first one needs no day of its own."""
    return workshop.files(version, today if version > 1 else None)


# --- again ------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Again:
    """What came of issuing a report again; new is False when nothing had changed and `version` stands."""

    version: int
    new: bool
    message: str
    kept: bool = False  # the facts are others, the report says the same
    letter_differs: bool = False  # from what would be made now: staff changed it, or the settings did


def again(  # noqa: PLR0913 - what a report depends on, each named
    where: Studio, ledger: Ledger, place: Path, *, settings: Settings, logo: Logo | None,
    answers: Mapping[str, Given], today: dt.date, workshop: Workshop, facts: bytes | None = None,
) -> Again | Refusal:  # fmt: skip
    """Issue the report of a folder again, from the kept originals; facts are those of a corrected visit.toml.

    The day of a visit that names none stays what it was, and so does what the studio had learned by then. Corrected
    facts are noted before the version is written: a kill in between leaves the old version, and the next try takes the
    new facts.
    """
    known = issued(place)
    entry = ledger.entry(known.visit_id) if known else None
    if known is None or entry is None or entry.state in ERASED:
        what = "its fitting.json is damaged" if known is None else "the ledger does not know this visit"
        msg = f"{place}: {what}, so it cannot be made again from what is kept. Drop the visit's files again."
        raise FolderError(msg)
    with_facts = entry if facts is None else with_facts_of(where, entry, facts)
    job = job_of(
        where, with_facts, settings=settings, logo=logo, answers=answers, today=known.date, history=known.history
    )
    worked = job if isinstance(job, Refusal) else workshop.work_out(job)
    if isinstance(worked, Refusal):
        return worked
    same = workshop.files(known.version, known.day)
    differing = {name for name, content in same.items() if _content(place / name) != content}
    if not differing and with_facts != entry:  # what no report prints
        manifests.keep(where, ledger, with_facts)
        return Again(known.version, new=False, message=worked.message, kept=True)
    if with_facts == entry and (not differing or (differing == {_LETTER} and (place / _LETTER).exists())):
        return Again(known.version, new=False, message=worked.message, letter_differs=bool(differing))
    version = next_version(place, known)
    files = files_of(workshop, version, today)
    if with_facts != entry:
        manifests.keep(where, ledger, with_facts)
    studio.write_version(place, files, version)
    _LOG.info("Visit %s has version %d of its report.", entry.id[:8], version)
    return Again(version, new=True, message=worked.message)


def _content(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None


def with_facts_of(where: Studio, entry: Entry, facts: bytes) -> Entry:
    """Keep a corrected visit.toml with the other originals, in the place of the one before."""
    kept = dict(entry.originals)
    name = next((name for name in kept if name.lower() == visit_facts.FILE_NAME), visit_facts.FILE_NAME)
    kept[name] = keep(where, ShotFile(name, facts))[1]
    return replace(entry, originals=tuple(kept.items()))


def keep(where: Studio, file: ShotFile) -> tuple[str, str]:
    """Store an original under its content's hash; gives its name and that of the copy."""
    stored = stored_as(file)
    path = where.accepted / stored
    if not path.exists():
        studio.write_file(path, file.content)
    return file.name, stored


def stored_as(file: ShotFile) -> str:
    """Name the copy of an original in work/accepted."""
    return hashlib.sha256(file.content).hexdigest() + Path(file.name).suffix.lower()


def has_grown_into(where: Studio, former: Entry, later: Entry) -> bool:
    """Tell whether half of a visit's lines are in a later one, so that it is the same visit with more in it."""
    lines, more = _lines(where, former), _lines(where, later)
    return bool(lines) and 2 * len(lines & more) >= len(lines)


def _lines(where: Studio, entry: Entry) -> set[bytes]:
    paths = [path for name, path in originals(where, entry) if name.lower() != visit_facts.FILE_NAME and path.exists()]
    return {line for path in paths for line in path.read_bytes().splitlines() if line.strip()}
