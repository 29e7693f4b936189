"""Old exports on their way from the drop folder: read, copies kept, and told apart from what is known already."""

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from pipeline import arrivals, health, issuing, manifests, studio, visit_facts
from pipeline.arrivals import Arrival, ChangedMeanwhileError
from pipeline.errors import FolderError
from pipeline.inbox import Inbox
from pipeline.ledger import ARCHIVED, ERASED, NOT_ARCHIVED, Entry, Kept
from pipeline.records import Refusal

_TO_DO = ("superseded", NOT_ARCHIVED)  # what the ledger may know of a visit that is read once more


@dataclass(frozen=True, slots=True)
class OldExport:
    """A visit as it is about to be noted; replaces are those whose files have grown into its own."""

    kept: Kept
    refusal: Refusal | None = None  # it is not to be read
    replaces: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """Give the visit's id."""
        return self.kept.entry.id

    def seen_at(self, *sightings: tuple[str, str]) -> "OldExport":
        """Add where it lies as well."""
        return replace(self, kept=replace(self.kept, sightings=tuple(sorted({*self.kept.sightings, *sightings}))))


@dataclass(slots=True)
class Fetched:
    """What was read of some arrivals: by its id, whose copies are kept unless the ledger knows it already."""

    found: dict[str, OldExport] = field(default_factory=dict)
    contents: dict[str, tuple[bytes, int]] = field(default_factory=dict)  # of copies, and when they were changed
    twice: int = 0  # the same content again
    changing: int = 0  # changed while it was read, or taken away
    refused: list[tuple[str, OSError]] = field(default_factory=list)


@dataclass(slots=True)
class Sifted:
    """What is to be worked on, and how many are not."""

    new: list[OldExport] = field(default_factory=list)
    known: int = 0
    erased: int = 0
    with_report: int = 0


def fetch(inbox: Inbox, found: Sequence[Arrival]) -> Fetched:
    """Read arrivals and keep copies of what the ledger does not know; it is only asked, so this may run ahead."""
    where = inbox.studio
    if health.free_bytes(where.work) < health.RESERVE_BYTES:
        msg = f"{where.root}: less than {health.RESERVE_BYTES // 1_000_000} MB of the disk are free. Make room."
        raise FolderError(msg)
    made = Fetched()
    for arrival in found:
        try:
            old = _read(inbox, arrival, made.contents)
        except (ChangedMeanwhileError, FileNotFoundError):
            made.changing += 1
        except OSError as fault:
            made.refused.append((arrival.name, fault))
        else:
            made.twice += old.id in made.found
            made.found[old.id] = made.found[old.id].seen_at(*old.kept.sightings) if old.id in made.found else old
    states = inbox.ledger.bulk.states(made.found)
    new = [old for old in made.found.values() if states.get(old.id, _TO_DO[0]) in _TO_DO]
    needed = sorted({stored for old in new for _, stored in old.kept.entry.originals})
    lacking = {name: made.contents[name] for name in needed if not (where.accepted / name).exists()}
    studio.write_files(where.accepted, lacking)
    made.contents.clear()
    return made


def _read(inbox: Inbox, arrival: Arrival, contents: dict[str, tuple[bytes, int]]) -> OldExport:
    """Read a visit's files, unless they are too large."""
    entry = Entry(hashlib.sha256(arrival.signature.encode()).hexdigest(), arrival.name, NOT_ARCHIVED, 0, None, ())
    received = dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")
    unread = Kept(entry, received, ((arrival.place, arrival.signature),))
    if too_large := inbox.too_large(arrival):
        return OldExport(unread, too_large)
    files = arrivals.read(arrival)
    originals = tuple((file.name, issuing.stored_as(file)) for file in files)
    for file, (_, stored) in zip(files, originals, strict=True):
        contents[stored] = (file.content, arrival.changed_ns)
    shots, facts = visit_facts.parted(files)
    if any(file.content for file in shots):  # empty files have nothing in common but being empty
        entry = replace(entry, id=issuing.visit_id(shots, facts.decode(errors="replace")))
    return OldExport(replace(unread, entry=replace(entry, originals=originals)))


def sift(inbox: Inbox, fetched: Fetched) -> Sifted:
    """Tell apart what is new; of the rest it is noted where it lies."""
    ledger, made, seen = inbox.ledger, Sifted(), []
    states = ledger.bulk.states(fetched.found)
    new = []
    for old in fetched.found.values():
        state = states.get(old.id, _TO_DO[0])
        if state in _TO_DO:
            new.append(old)
        elif state in ERASED:
            made.erased += 1
            for _, signature in old.kept.sightings:
                ledger.see_forgotten(old.id, signature)
        else:
            made.known += 1
            before = ledger.kept(old.id)
            seen += [(old, before)] if before else []
    more = [replace(before, sightings=old.seen_at(*before.sightings).kept.sightings) for old, before in seen]
    manifests.write_all(inbox.studio, more)
    ledger.bulk.see((old.id, *sighting) for old, _ in seen for sighting in old.kept.sightings)
    _leave_grown(inbox, new, made)
    return made


def _leave_grown(inbox: Inbox, new: Sequence[OldExport], made: Sifted) -> None:
    """Leave out later states of visits that have a report: they get its next version, but not from here.

    A later state of an archived visit takes its place.
    """
    places = [place for old in new for place, _ in old.kept.sightings]
    former = inbox.ledger.bulk.at_places(places, ("reported", ARCHIVED))
    for old in new:
        there = {identity for place, _ in old.kept.sightings for identity in former.get(place, ())} - {old.id}
        known = [entry for entry in map(inbox.ledger.entry, sorted(there)) if entry]
        grown = [entry for entry in known if issuing.has_grown_into(inbox.studio, entry, old.kept.entry)]
        if any(entry.state == "reported" for entry in grown):
            made.with_report += 1
        else:
            made.new.append(replace(old, replaces=tuple(entry.id for entry in grown)))
