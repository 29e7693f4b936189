"""From a visit's kept originals to its folder in outbox/: work it out, find its place and version, issue it again."""

import datetime as dt
import glob
import hashlib
import json
import logging
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline import letter, outputs, session, strict_toml, studio, visit_facts
from pipeline.branding import Logo
from pipeline.errors import FolderError, UnreadableFileError
from pipeline.ledger import Entry, Ledger
from pipeline.records import Fitting, Given, Refusal, ShotFile, ShotResult, VisitFacts
from pipeline.settings import Settings
from pipeline.staff_words import device_note
from pipeline.studio import EARLIER, Studio

_LETTER = "letter.eml"
_LOG = logging.getLogger("baywright")


# --- working out ------------------------------------------------------------------------------------------------------
def originals(where: Studio, entry: Entry) -> list[tuple[str, Path]]:
    """Give each original's name and where its copy is kept."""
    return [(name, where.accepted / stored) for name, stored in entry.originals]


def split_facts(files: Sequence[ShotFile]) -> tuple[list[ShotFile], bytes]:
    """Part a visit's files into shot files and the content of visit.toml."""
    shots = [file for file in files if file.name.lower() != visit_facts.FILE_NAME]
    facts = [file.content for file in files if file.name.lower() == visit_facts.FILE_NAME]
    return shots, facts[0] if facts else b""


def work_out(
    where: Studio, entry: Entry, settings: Settings, answers: Mapping[str, Given], today: dt.date
) -> Fitting | Refusal:
    """Read the kept originals and work the visit out."""
    files = [ShotFile(name, path.read_bytes()) for name, path in originals(where, entry) if path.exists()]
    if len(files) < len(entry.originals):
        what = "The copy kept in work/accepted is gone."
        return Refusal("set_back", UnreadableFileError.exit_code, what, entry.name, "Drop the file again.")
    shots, facts = split_facts(files)
    if not shots:
        what = f"{visit_facts.FILE_NAME} tells about a visit, but no shot file lies beside it."
        to_do = f"Make a folder in inbox/ and put the shot files and {visit_facts.FILE_NAME} into it."
        return Refusal("set_back", UnreadableFileError.exit_code, what, entry.name, to_do)
    at = f"{entry.name}/{visit_facts.FILE_NAME}"
    known = visit_facts.read(strict_toml.decode(facts, at), at) if facts else VisitFacts()
    return session.fit(entry.name, shots, known, settings, today, entry.id, answers)


def message(fitting: Fitting, settings: Settings) -> str:
    """Say in a line what became of a visit, and what staff should know before they pass its report on."""
    counted, sets = sum(result.n_counted for result in fitting.sets), len(fitting.sets)
    notes = [
        f"{len(fitting.shots)} balls, {counted} counted, {sets} set{'s' * (sets > 1)}",
        *(f"{check.file}: {device_note(check)}" for check in fitting.device_check if check.far_off),
        letter.address_note(fitting.facts.email),
        outputs.typeface_note(fitting, settings),
    ]
    return "; ".join(note for note in notes if note)


# --- place and version ------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Issued:
    """What the newest report in a folder of outbox/ says about itself."""

    visit_id: str
    date: dt.date
    version: int
    day: dt.date | None  # on which this version was made; None for the first one
    shots: frozenset[str]


def issued(place: Path) -> Issued | None:
    """Read the newest report of a folder; None when there is none, or its fitting.json is damaged."""
    try:
        document = json.loads((place / "fitting.json").read_bytes())
        visit, shots = document["visit"], document["shots"]
        day = dt.date.fromisoformat(visit["version_date"]) if visit.get("version_date") else None
        as_said = frozenset(_shot(shot["file"], shot["line"], shot["measured"]) for shot in shots)
        return Issued(
            str(visit["id"]), dt.date.fromisoformat(visit["date"]), int(visit.get("version", 1)), day, as_said
        )
    except (FileNotFoundError, NotADirectoryError, ValueError, LookupError, TypeError, AttributeError):
        return None


def _shot(file: str, line: int, measured: dict[str, float]) -> str:
    return json.dumps([file, line, measured], sort_keys=True)


def _is_of(known: Issued, shots: Sequence[ShotResult]) -> bool:
    """Tell whether a report is about these shots, before more came or some changed.

    A device may write the next golfer's shots into a file of the same name: then next to none stands where it stood.
    """
    now = {_shot(shot.file, shot.line, shot.measured) for shot in shots}
    return bool(known.shots) and 2 * len(known.shots & now) >= len(known.shots)


def next_version(place: Path, known: Issued) -> int:
    """Give the number after the newest one, whatever staff put into or took out of the folder."""
    kept = [re.fullmatch(r"version (\d{1,9})", path.name) for path in (place / EARLIER).glob("version *")]
    return max([known.version, *(int(found[1]) + 1 for found in kept if found)]) + 1


def place_of(where: Studio, ledger: Ledger, entry: Entry, fitting: Fitting) -> tuple[Path, int]:
    """Give the folder of a visit's report and the version it is: one folder a visit, and never one for two visits.

    The next version is what has come from the same place in the drop folder, for the same day, with the same shots.
    """
    for former in ledger.at_same_place(entry.id):
        place = where.outbox / str(former.place)
        known = issued(place) if former.name == entry.name else None
        if known and known.date == fitting.date and _is_of(known, fitting.shots):
            return place, next_version(place, known)
    return studio.free_place(where.outbox, _name(entry, fitting)), 1


def _name(entry: Entry, fitting: Fitting) -> str:
    return studio.safe_name(f"{fitting.date.isoformat()} {entry.name}")


def written_before(where: Studio, entry: Entry, fitting: Fitting) -> Path | None:
    """Find the folder a killed run finished without noting it: a fitting.json in it carries this visit's id."""
    undated = _name(entry, fitting)[len("2026-11-25 ") :][:40]  # the day may have changed since
    for inside in ("fitting.json", f"{EARLIER}/*/fitting.json"):
        for path in where.outbox.glob(f"*{glob.escape(undated)}*/{inside}"):
            if f'"id": "{entry.id}"' in path.read_text(encoding="utf-8", errors="replace")[:400]:
                return where.outbox / path.relative_to(where.outbox).parts[0]
    return None


def numbered(fitting: Fitting, version: int, today: dt.date) -> Fitting:
    """Give a fitting its version; the first one needs no day of its own."""
    return replace(fitting, version=version, version_date=today if version > 1 else None)


# --- again ------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Again:
    """What came of issuing a report again; new is False when nothing had changed and `version` stands."""

    version: int
    new: bool
    message: str
    letter_differs: bool = False  # from what would be made now: staff changed it, or the settings did


def again(  # noqa: PLR0913 - what a report depends on, each named
    where: Studio, ledger: Ledger, place: Path, *, settings: Settings, logo: Logo | None,
    answers: Mapping[str, Given], today: dt.date, facts: bytes | None = None,
) -> Again | Refusal:  # fmt: skip
    """Issue the report of a folder again, from the kept originals; facts are those of a corrected visit.toml.

    The day of a visit that names none stays what it was. Corrected facts are noted before the version is written: a
    kill in between leaves the old version, and the next try takes the new facts.
    """
    known = issued(place)
    entry = ledger.entry(known.visit_id) if known else None
    if known is None or entry is None:
        what = "its fitting.json is damaged" if known is None else "the ledger does not know this visit"
        msg = f"{place}: {what}, so it cannot be made again from what is kept. Drop the visit's files again."
        raise FolderError(msg)
    with_facts = entry if facts is None else _with_facts(where, entry, facts)
    fitting = work_out(where, with_facts, settings, answers, known.date)
    if isinstance(fitting, Refusal):
        return fitting
    said = message(fitting, settings)
    same = outputs.files(replace(fitting, version=known.version, version_date=known.day), settings, logo)
    differing = {name for name, content in same.items() if _content(place / name) != content}
    if with_facts == entry and (not differing or (differing == {_LETTER} and (place / _LETTER).exists())):
        return Again(known.version, new=False, message=said, letter_differs=bool(differing))
    version = next_version(place, known)
    files = outputs.files(numbered(fitting, version, today), settings, logo)
    if with_facts != entry:
        ledger.keep(with_facts)
    studio.write_version(place, files, version)
    _LOG.info("visit %s: version %d", entry.id[:8], version)
    return Again(version, new=True, message=said)


def _content(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None


def _with_facts(where: Studio, entry: Entry, facts: bytes) -> Entry:
    """Keep a corrected visit.toml with the other originals, in the place of the one before."""
    kept = dict(entry.originals)
    name = next((name for name in kept if name.lower() == visit_facts.FILE_NAME), visit_facts.FILE_NAME)
    kept[name] = keep(where, ShotFile(name, facts))[1]
    return replace(entry, originals=tuple(kept.items()))


def keep(where: Studio, file: ShotFile) -> tuple[str, str]:
    """Store an original under its content's hash; gives its name and that of the copy."""
    stored = hashlib.sha256(file.content).hexdigest() + Path(file.name).suffix.lower()
    path = where.accepted / stored
    if not path.exists():
        studio.write_file(path, file.content)
    return file.name, stored
