"""What the ledger must not lose, kept beside it: a small file a visit in work/visits, written before the ledger's note.

Its state is in it only where no report is to be made, since all else shows in outbox/ and set-back/.
Who erases a visit writes its manifest anew as soon as the ledger has no words of it left. Then the manifest says by the
hash of the content alone that it is forgotten, and a ledger that is lost later does not take it up again.
"""

import json
import re
from collections.abc import Iterable
from dataclasses import replace

from pipeline import studio
from pipeline.ledger import ARCHIVED, ERASED, FINISHED_WITHOUT_REPORT, NOT_ARCHIVED, REPLACED, Entry, Kept, Ledger
from pipeline.studio import Studio

_VERSION = 1
WITHOUT_REPORT = (ARCHIVED, NOT_ARCHIVED, REPLACED)  # states a ledger made anew must know of: no report is to be made
_ID = re.compile(r"[0-9a-f]{64}")
_STORED = re.compile(r"[0-9a-f]{64}[^/\\]*")  # a name in work/accepted, and never a way out of there


def accept(where: Studio, ledger: Ledger, entry: Entry, sighting: tuple[str, str], received: str) -> bool:
    """Write down what the ledger is about to be told of a visit that was dropped, then tell it; see `Ledger.accept`."""
    before, supersedes = ledger.kept(entry.id), ledger.half_written(sighting[0], entry.id)
    sightings = tuple(sorted({*(before.sightings if before else ()), sighting}))
    known = before is not None and before.entry.state not in FINISHED_WITHOUT_REPORT
    if before and known and before.entry.originals:
        write(where, replace(before, sightings=sightings, supersedes=supersedes))
    else:
        write(where, Kept(entry, received, sightings, supersedes))
    new = ledger.accept(entry, sighting, received)
    if before and known and not before.entry.originals:  # not found when an earlier ledger was lost, and here again
        ledger.keep(entry)
    return new


def keep(where: Studio, ledger: Ledger, entry: Entry) -> None:
    """Note other originals for a visit, here and then in the ledger."""
    before = ledger.kept(entry.id)
    if before and before.sightings:
        write(where, replace(before, entry=entry))
    ledger.keep(entry)


def write(where: Studio, kept: Kept) -> None:
    """Write a visit's manifest, whole."""
    studio.write_file(where.visits / f"{kept.entry.id}.json", _text(kept))


def write_all(where: Studio, many: Iterable[Kept]) -> None:
    """Write the manifests of many visits; see `studio.write_files`."""
    studio.write_files(where.visits, {f"{kept.entry.id}.json": (_text(kept), None) for kept in many})


def _text(kept: Kept) -> bytes:
    document = {
        "manifest": _VERSION,
        "visit": kept.entry.id,
        "name": kept.entry.name,
        "received": kept.received,
        "forgotten": kept.entry.state in ERASED,
        "originals": [{"name": name, "stored": stored} for name, stored in kept.entry.originals],
        "sightings": [{"place": place, "signature": signature} for place, signature in kept.sightings],
        "supersedes": list(kept.supersedes),
    }
    if kept.entry.state in WITHOUT_REPORT:
        document["state"] = kept.entry.state
    return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode()


def listed(where: Studio) -> set[str]:
    """Give the ids of the visits that have a manifest."""
    return {path.stem for path in where.visits.glob("*.json") if _ID.fullmatch(path.stem)}


def read(where: Studio, identity: str) -> Kept | None:
    """Read a manifest, as of a visit that has just been accepted, was only to be archived, or is forgotten.

    None when it is damaged.
    """
    try:
        document = json.loads((where.visits / f"{identity}.json").read_bytes())
        originals = tuple((str(o["name"]), str(o["stored"])) for o in document["originals"])
        sightings = tuple((str(s["place"]), str(s["signature"])) for s in document["sightings"])
        said = document.get("state")  # older ones do not have it
        state = "forgotten" if document["forgotten"] is True else said if said in WITHOUT_REPORT else "accepted"
        entry = Entry(identity, str(document["name"]), state, 0, None, originals)
        supersedes = tuple(str(other) for other in document["supersedes"])
        sound = document["manifest"] == _VERSION and all(_STORED.fullmatch(stored) for _, stored in originals)
        return Kept(entry, str(document["received"]), sightings, supersedes) if sound and sightings else None
    except (ValueError, LookupError, TypeError, RecursionError):
        return None


def remove(where: Studio, identity: str) -> None:
    """Remove a visit's manifest, if there is one."""
    (where.visits / f"{identity}.json").unlink(missing_ok=True)
