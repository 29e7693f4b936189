"""A ledger that was lost, made anew from what lies in the studio: manifests, reports, notes, originals."""

import datetime as dt
import json
import logging
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline import issuing, manifests
from pipeline.ledger import ARCHIVED, NOT_ARCHIVED, Entry, Kept, Ledger
from pipeline.plurals import many
from pipeline.records import ShotFile
from pipeline.studio import EARLIER, Studio

_MOST_NOTE_BYTES = 100_000
_MARK = re.compile(r"Visit ([0-9a-f]{8})\.")
_LOG = logging.getLogger("baywright")


@dataclass(frozen=True, slots=True)
class _Report:
    """A report in outbox/; letter_version is empty where it lies in `earlier/` or has no PDF."""

    visit: str
    name: str
    files: tuple[str, ...]
    place: str
    letter_version: str


@dataclass(frozen=True, slots=True)
class _Left:
    """What the work on visits has left: reports by visit; by the first letters of its id, (state, place) of a note."""

    reports: Mapping[str, _Report]
    notes: Mapping[str, tuple[str, str]]


def reconcile(where: Studio, ledger: Ledger) -> str:
    """Bring ledger and manifests in line; gives what staff should know when the ledger had been lost, else nothing.

    A visit that the ledger alone knows gets its manifest; one that only has a manifest is taken up in the ledger, in
    the state that its report or note shows. Nothing is removed but manifests of files that were half-written.
    """
    known, noted = ledger.states(), manifests.listed(where)
    _write_what_lacks(where, ledger, known, noted)
    if known and not noted - known.keys():
        return ""
    left = _Left(_reports(where), _notes(where))
    read = [manifests.read(where, identity) for identity in sorted(noted - known.keys())]
    found = [_with_outcome(kept, left) for kept in _superseded([kept for kept in read if kept])]
    orphans: list[str] = []
    if not known:
        spoken_for = {stored for kept in found for _, stored in kept.entry.originals}
        unnamed, orphans = _without_manifest(where, left, spoken_for, {kept.entry.id for kept in found})
        found += unnamed
    if not found and not orphans and None not in read:
        return ""
    reported = [left.reports[kept.entry.id] for kept in found if kept.entry.state == "reported"]
    unknown = [(report.visit, report.letter_version) for report in reported if report.letter_version]
    ledger.adopt(sorted(found, key=lambda kept: kept.received), unknown, _now())
    _LOG.info("The ledger took up %d visits again, %d with a report.", len(found), len(reported))
    return _said(found, len(reported), orphans, read.count(None)) if not known or None in read else ""


def _write_what_lacks(where: Studio, ledger: Ledger, known: Mapping[str, str], noted: set[str]) -> None:
    """Bring the manifests in line with the ledger."""
    for identity, state in known.items():
        if state == "superseded":
            manifests.remove(where, identity)
        elif state == "forgotten" or (state != "forgetting" and identity not in noted):
            kept = ledger.kept(identity)
            if kept and kept.sightings and (kept.entry.originals or state == "forgotten"):
                manifests.write(where, kept)


def _now() -> str:
    return dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")


def _said(found: list[Kept], reported: int, orphans: list[str], damaged: int) -> str:
    """Say what was found, what is not known, and what is left over."""
    parts = [
        f"the ledger was missing and was made anew: {many(len(found), 'visit')}, {reported} with a report",
        "which letters were sent before is not known, so look before you send one again" if reported else "",
        f"kept originals that belong to no known visit: {len(orphans)}; they stay in work/accepted, and if a report is "
        "missing, drop its files again"
        if orphans
        else "",
        f"files in work/visits that are damaged: {damaged}; they stay there" if damaged else "",
    ]
    return ". ".join(part[0].upper() + part[1:] for part in parts if part) + "."


def _superseded(found: list[Kept]) -> list[Kept]:
    """Mark the half-written visits in whose place a later one came."""
    later: dict[str, str] = {}
    for kept in found:
        for other in kept.supersedes:
            later[other] = max(kept.received, later.get(other, ""))
    return [
        replace(kept, entry=replace(kept.entry, state="superseded"))
        if kept.received < later.get(kept.entry.id, "")
        else kept
        for kept in found
    ]


def _with_outcome(kept: Kept, left: _Left) -> Kept:
    """Give a visit the state and place that its report or its note shows.

    Else it is still to be worked on, unless it was only to be archived.
    """
    if kept.entry.state not in ("accepted", ARCHIVED, NOT_ARCHIVED):
        return kept
    report, note = left.reports.get(kept.entry.id), left.notes.get(kept.entry.id[:8])
    if report:
        return replace(kept, entry=replace(kept.entry, state="reported", place=report.place))
    if note and kept.entry.state == NOT_ARCHIVED:
        return replace(kept, entry=replace(kept.entry, place=note[1]))
    if note and kept.entry.state == "accepted":
        return replace(kept, entry=replace(kept.entry, state=note[0], place=note[1]))
    return kept


def _without_manifest(
    where: Studio, left: _Left, spoken_for: set[str], known: set[str]
) -> tuple[list[Kept], list[str]]:
    """Take up what has no manifest: reports and notes, with the one original they can be shown to come from.

    Gives also the names of the originals that are left over. They are never worked on: they may be a part of a visit.
    """
    orphans = [path for path in sorted(where.accepted.glob("[0-9a-f]*")) if path.name not in spoken_for]
    by_visit = {issuing.visit_id([ShotFile(path.name, path.read_bytes())]): path.name for path in orphans}
    now, found = _now(), []
    for report in left.reports.values():
        if report.visit not in known:
            stored = by_visit.pop(report.visit, None)
            originals = ((report.files[0], stored),) if stored and report.files else ()
            found.append(Kept(Entry(report.visit, report.name, "reported", 0, report.place, originals), now, ()))
    for identity in [identity for identity in by_visit if identity[:8] in left.notes and identity not in known]:
        state, place = left.notes[identity[:8]]
        originals = ((place, by_visit.pop(identity)),)
        found.append(Kept(Entry(identity, Path(place).stem, state, 0, place, originals), now, ()))
    return found, list(by_visit.values())


# --- what lies there --------------------------------------------------------------------------------------------------
def _reports(where: Studio) -> dict[str, _Report]:
    """Find every report in outbox/, the newest of each folder first, by its visit."""
    folders = sorted(path for path in where.outbox.glob("[!.]*") if path.is_dir())
    newest = [_report(folder, folder.name, sendable=True) for folder in folders]
    earlier = [
        _report(version, folder.name, sendable=False)
        for folder in folders
        for version in sorted((folder / EARLIER).glob("version *"))
    ]
    return _by_visit([*newest, *earlier])


def _by_visit(reports: Iterable[_Report | None]) -> dict[str, _Report]:
    found: dict[str, _Report] = {}
    for report in reports:
        if report:
            found.setdefault(report.visit, report)
    return found


def _report(folder: Path, place: str, *, sendable: bool) -> _Report | None:
    """Read what a report says of its visit; None when there is none, or it is damaged."""
    from pipeline import letter  # noqa: PLC0415 - brings the report's libraries along, for a lost ledger only

    try:
        visit = json.loads((folder / "fitting.json").read_bytes())["visit"]
        files = tuple(str(name) for name in visit.get("files", ()))
        pdf = folder / "report.pdf"
        version = letter.version_of(pdf.read_bytes()) if sendable and pdf.exists() else ""
        return _Report(str(visit["id"]), str(visit.get("name", place)), files, place, version)
    except (FileNotFoundError, NotADirectoryError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None


def _notes(where: Studio) -> dict[str, tuple[str, str]]:
    """Find our notes in set-back/: the first letters of the visit's id → its state and its place there."""
    found = {}
    for path in sorted(where.set_back.glob("*.txt")):
        if not path.is_file() or path.stat().st_size > _MOST_NOTE_BYTES:
            continue
        text = path.read_text(encoding="utf-8", errors="replace").rstrip()
        mark = _MARK.fullmatch(text.rpartition("\n")[2])
        if mark:
            held = text.partition("\n\nWhat: ")[0].endswith("waits for an answer.")
            found[mark[1]] = ("held" if held else "set_back", path.name.removesuffix(".txt"))
    return found
