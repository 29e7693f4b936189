"""Visits put together otherwise than they came: one split, or two joined, without losing or doubling anything.

What is meant is written down first, in one file; every step after that may be done twice. Killed anywhere, `finish`
does the rest: at the next start of the intake, before the next such change, and before anything is erased.
"""

import hashlib
import json
import logging
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline import issuing, manifests, studio, visit_facts
from pipeline.ledger import REPLACED, Entry, Kept, Ledger
from pipeline.ledger_bulk import Outcome
from pipeline.records import ShotFile
from pipeline.studio import REPLACED_NOTE, Studio

_ASIDE = " (replaced)"  # at the end of the name of a folder in outbox/
_DESK = "desk"
_FROM = re.compile(rf"{_DESK} (?P<former>[0-9a-f]{{64}}) [0-9a-f]{{8}}")  # the place of a visit made here
_VERSION = 1
_LOG = logging.getLogger("baywright")


@dataclass(frozen=True, slots=True)
class Regrouping:
    """New visits in the place of former ones; places are the folders of their reports."""

    new: tuple[Kept, ...]
    former: tuple[str, ...]
    places: tuple[str, ...]


def shot_files(entry: Entry) -> tuple[tuple[str, str], ...]:
    """Give a visit's shot files: names, and the names of their copies."""
    return tuple((name, stored) for name, stored in entry.originals if name.lower() != visit_facts.FILE_NAME)


def made_of(
    where: Studio, ledger: Ledger, name: str, files: Sequence[tuple[str, str]], facts: bytes, received: str
) -> Kept:
    """Put a new visit together from kept files and the content of its visit.toml; nothing is noted yet.

    It is named by its content like any other visit, and after that once more if there was such a visit before.
    """
    shots = [ShotFile(file, (where.accepted / stored).read_bytes()) for file, stored in files]
    identity = issuing.visit_id(shots, facts.decode())
    while ledger.entry(identity):
        identity = hashlib.sha256(f"{identity} again".encode()).hexdigest()
    told = issuing.keep(where, ShotFile(visit_facts.FILE_NAME, facts))
    entry = Entry(identity, name, "accepted", 0, None, (*files, told))
    return Kept(entry, received, ())


def made_from(ledger: Ledger, former: str) -> list[str]:
    """Name the visits that were put in the place of a former one."""
    return ledger.bulk.made_at(f"{_DESK} {former} ")


def former_of(kept: Kept) -> list[str]:
    """Name the former visits in whose place one was put."""
    found = [_FROM.fullmatch(place) for place, signature in kept.sightings if signature == kept.entry.id]
    return [place["former"] for place in found if place]


def begin(where: Studio, ledger: Ledger, new: Sequence[Kept], former: Sequence[Entry]) -> None:
    """Put new visits in the place of former ones, and of all that share their folders. The studio must be locked."""
    places = {entry.place for entry in former if entry.place}
    ids = {entry.id for entry in former}
    ids |= {entry.id for entry in ledger.entries("reported") if entry.place in places}  # earlier states of these
    made = tuple(replace(kept, sightings=_sightings(kept.entry.id, former)) for kept in new)
    change = Regrouping(made, tuple(sorted(ids)), tuple(sorted(places)))
    studio.write_file(_journal(where), _text(change))
    finish(where, ledger)


def _sightings(identity: str, former: Sequence[Entry]) -> tuple[tuple[str, str], ...]:
    """Note where a visit comes from that lies nowhere in the drop folder: a place of its own for each former visit.

    Ledger and manifest keep it like any place, and erasing takes it away.
    """
    return tuple((f"{_DESK} {one.id} {identity[:8]}", identity) for one in former)


def is_begun(where: Studio) -> bool:
    """Tell whether a change is written down that is not at its end."""
    return _journal(where).exists()


def finish(where: Studio, ledger: Ledger) -> None:
    """Do what is left of a change that was begun; nothing when there is none. The studio must be locked."""
    change = _read(_journal(where))
    if change is None:
        return
    known = [kept for kept in map(ledger.kept, change.former) if kept]
    if any(kept.entry.state != REPLACED for kept in known):  # else the new ones may have changed since
        for kept in change.new:
            manifests.write(where, kept)
        ledger.bulk.regroup([_outcome(kept) for kept in change.new], change.former)
    for kept in known:
        if kept.sightings:
            manifests.write(where, replace(kept, entry=replace(kept.entry, state=REPLACED, place=None)))
    for place in change.places:
        _put_away(where, place, [kept.entry.name for kept in change.new])
    _journal(where).unlink()
    _LOG.info("%d visits took the place of %d.", len(change.new), len(change.former))


def _outcome(kept: Kept) -> Outcome:
    entry = kept.entry
    return Outcome(entry.id, entry.name, entry.state, kept.received, None, entry.originals, kept.sightings)


def _put_away(where: Studio, name: str, new: Sequence[str]) -> None:
    """Leave of a report's folder a note on top and all it held in `earlier/`: nobody sends that letter any more."""
    place = where.outbox / name
    if not place.is_dir():
        return
    known = issuing.issued(place)
    if known or not (place / REPLACED_NOTE).exists():
        number = issuing.next_version(place, known) if known else 2
        note = f"This report was replaced on the desk by {' and '.join(new)}. What lay here is in {studio.EARLIER}/.\n"
        studio.write_version(place, {REPLACED_NOTE: note.encode()}, number)
    place.rename(studio.free_place(where.outbox, name + _ASIDE))


# --- what is meant ----------------------------------------------------------------------------------------------------
def _journal(where: Studio) -> Path:
    return where.work / "regrouping.json"


def _text(change: Regrouping) -> bytes:
    new = [
        {
            "visit": kept.entry.id,
            "name": kept.entry.name,
            "received": kept.received,
            "originals": kept.entry.originals,
            "sightings": kept.sightings,
        }
        for kept in change.new
    ]
    document = {"regrouping": _VERSION, "new": new, "former": change.former, "places": change.places}
    return json.dumps(document, ensure_ascii=False, indent=1).encode()


def _read(path: Path) -> Regrouping | None:
    """Read what was begun; it is our own file, written whole."""
    try:
        document = json.loads(path.read_bytes())
    except FileNotFoundError:
        return None
    new = [
        Kept(
            Entry(row["visit"], row["name"], "accepted", 0, None, tuple((n, s) for n, s in row["originals"])),
            row["received"],
            tuple((place, signature) for place, signature in row["sightings"]),
        )
        for row in document["new"]
    ]
    return Regrouping(tuple(new), tuple(document["former"]), tuple(document["places"]))
