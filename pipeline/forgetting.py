"""Erasing customers' data everywhere in a studio folder, and finding out before what that touches.

The ledger is told first, and what a kill leaves is ended by `finish`. Nothing outside the studio folder is touched.
"""

import datetime as dt
import hashlib
import logging
import re
import shutil
import stat
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pipeline import answers, ledger_tables, manifests, notes, profiles, studio, traces, visit_facts, visit_words
from pipeline.archive import Archive
from pipeline.errors import SettingsError
from pipeline.ledger import ERASED, REPLACED, Ledger
from pipeline.profiles import Profile
from pipeline.studio import Studio
from pipeline.traces import Words
from pipeline.visit_words import Visit, folded, is_plain

_ASIDE = ".forgetting "  # a folder of outbox/ on its way out
_LARGEST_NOTE = 20_000
_STORED = re.compile(r"[0-9a-f]{64}(\..*)?")  # a name in work/accepted
_LOG = logging.getLogger("baywright")


@dataclass(frozen=True, slots=True)
class Plan:
    """What erasing some visits takes away, and what it leaves because another visit needs it."""

    visits: tuple[Visit, ...]
    folders: tuple[Path, ...]  # in outbox/, with all versions
    set_back: tuple[Path, ...]  # copies before their notes: the notes say whose they are
    accepted: tuple[Path, ...]  # visit.toml last: it says who
    shared: tuple[Path, ...]
    profiles: tuple[tuple[Path, Profile], ...]  # named after a file of these visits; they keep their answers
    dropped: tuple[Path, ...]  # in inbox/ and done/: the studio's own
    words: Words

    @property
    def ids(self) -> tuple[str, ...]:
        """Give the visits' ids."""
        return tuple(visit.kept.entry.id for visit in self.visits)


# --- which visits -----------------------------------------------------------------------------------------------------
def named(visits: Sequence[Visit], wanted: str) -> set[str]:
    """Give the visits of that name, of that customer, or in the folder of that name, whatever the case."""
    name, folder = folded(wanted), Path(wanted).name
    return {
        visit.kept.entry.id
        for visit in visits
        if name
        and (name in (folded(visit.kept.entry.name), *map(folded, visit.customers)) or folder in visit.folder_names)
    }


def with_kin(where: Studio, visits: Sequence[Visit], ids: Collection[str]) -> list[Visit]:
    """Add to visits what is of the same one: all in their folders, and tries of their files that gave no report."""
    chosen = set(ids)
    while True:
        known = [visit for visit in visits if visit.kept.entry.id in chosen]
        folders = {name for visit in known for name in visit.folder_names}
        more = {
            visit.kept.entry.id
            for visit in visits
            if folders.intersection(visit.folder_names) or any(_is_try_of(where, visit, each) for each in known)
        }
        if more <= chosen:
            return known
        chosen |= more


def _is_try_of(where: Studio, visit: Visit, known: Visit) -> bool:
    """Tell whether a visit without a report is an earlier or later try of another one, or was split or joined to it.

    A device may write the next golfer's shots into a file of the same name: half of its lines must be the other's.
    """
    one, other = visit.kept, known.kept
    if one.entry.state == REPLACED:  # it has what was split off it, or joined with it; of a cut file the lines
        return bool(_shot_copies(visit) & _shot_copies(known)) or _has_half_of(visit.lines(where), known.lines(where))
    if one.entry.state in ("reported", *ERASED) or one.entry.name != other.entry.name:
        return False
    if not {place for place, _ in one.sightings} & {place for place, _ in other.sightings}:
        return False
    lines = visit.lines(where)
    return one.entry.state == "superseded" or _has_half_of(known.lines(where), lines)


def _has_half_of(these: frozenset[bytes], lines: frozenset[bytes]) -> bool:
    return bool(lines) and 2 * len(lines & these) >= len(lines)


def _shot_copies(visit: Visit) -> set[str]:
    return {stored for name, stored in visit.kept.entry.originals if name.lower() != visit_facts.FILE_NAME}


# --- what is theirs ---------------------------------------------------------------------------------------------------
def words_of(visits: Sequence[Visit], chosen: Sequence[Visit], more: Iterable[str] = ()) -> Words:
    """Give the words by which the chosen visits may be known, and of these the ones worth searching for."""
    ids = {visit.kept.entry.id for visit in chosen}
    folders = {folder.path: folder for visit in chosen for folder in visit.folders}
    words = [*more, *(word for visit in chosen for word in visit.words)]
    words += [address for folder in folders.values() for address in folder.addresses()]
    others = [word for visit in visits if visit.kept.entry.id not in ids for word in visit.words]
    return traces.worth_searching(words, others)


def plan(
    where: Studio, visits: Sequence[Visit], chosen: Sequence[Visit], words: Words, looked_into: Sequence[Path] = ()
) -> Plan:
    """Find everything that belongs to the chosen visits, also among what was dropped, in the folders to look into."""
    ids = {visit.kept.entry.id for visit in chosen}
    theirs = {name for visit in chosen for _, name in visit.kept.entry.originals}
    needed = used(visit for visit in visits if visit.kept.entry.id not in ids)
    alone = {stored for stored in theirs - needed if is_plain(stored)}
    corrected = [path for path in unused(where, theirs | needed) if traces.found_in_file(path, words)]
    accepted = [where.accepted / stored for stored in sorted(alone, key=lambda name: (name.endswith(".toml"), name))]
    hashes = {path.name[:64] for path in (*corrected, *accepted)}
    return Plan(
        visits=tuple(chosen),
        folders=tuple(sorted({folder.path for visit in chosen for folder in visit.folders})),
        set_back=tuple(_set_back(where, chosen, hashes)),
        accepted=tuple(path for path in (*corrected, *accepted) if path.exists()),
        shared=tuple(where.accepted / stored for stored in sorted(theirs & needed)),
        profiles=tuple(_profiles(where, chosen)),
        dropped=tuple(path for folder in looked_into for path in _with_content(folder, hashes)),
        words=words,
    )


def used(visits: Iterable[Visit]) -> set[str]:
    """Give the names in work/accepted that visits need."""
    return {name for visit in visits for _, name in visit.kept.entry.originals}


def unused(where: Studio, needed: Collection[str]) -> list[Path]:
    """List the kept files that no visit needs: a visit.toml that was corrected, or what a kill left."""
    return [
        path for path in sorted(where.accepted.iterdir()) if _STORED.fullmatch(path.name) and path.name not in needed
    ]


def _set_back(where: Studio, chosen: Sequence[Visit], hashes: Collection[str]) -> Iterator[Path]:
    """Find what lies in set-back/ of some visits: by the mark in its note, else by its content."""
    marks = {notes.mark(visit.kept.entry) for visit in chosen}
    found: list[Path] = []
    for note in sorted(where.set_back.glob("*.txt")):
        if not note.is_symlink() and note.is_file() and marks & set(_text(note).splitlines()):
            copy = note.with_name(note.name.removesuffix(".txt"))
            found += [path for path in (copy, note) if path.exists() or path.is_symlink()]
    loose = [path for path in _with_content(where.set_back, hashes) if not {path, *path.parents} & set(found)]
    yield from [*loose, *found]


def _text(path: Path) -> str:
    with path.open("rb") as source:
        return source.read(_LARGEST_NOTE).decode("utf-8", errors="replace")


def _with_content(folder: Path, hashes: Collection[str]) -> Iterator[Path]:
    """Find the files somewhere in a folder that hold one of these contents; links are not followed."""
    if not hashes or not folder.is_dir():
        return
    for path in sorted(folder.rglob("*")):
        with suppress(OSError):
            if stat.S_ISREG(path.lstat().st_mode):
                with path.open("rb") as source:
                    if hashlib.file_digest(source, "sha256").hexdigest() in hashes:
                        yield path


def _profiles(where: Studio, chosen: Sequence[Visit]) -> Iterator[tuple[Path, Profile]]:
    """Find the answers that have a visit's name: they are called after the file that was answered for."""
    names = {folded(name) for visit in chosen for name in visit.names}
    for path in sorted(where.profiles.rglob("*.toml")):  # those moved aside as well
        with suppress(SettingsError, OSError):
            found = answers.load(path)
            if {folded(found.name), folded(path.stem), re.sub(r" \(\d+\)$", "", folded(path.stem))} & names:
                yield path, found


# --- erasing ----------------------------------------------------------------------------------------------------------
def erase(kept: Archive, what: Plan, today: dt.date, *, dropped: bool = False) -> None:
    """Erase visits for good, their shots in the archive too; dropped takes what lies in inbox/ and done/ along.

    The studio must be locked. Raises OSError, or ReportError when the other visits' shots could not be kept.

    Killed anywhere, `finish` ends it: the ledger has noted which visits go before the first file does.
    """
    where, ledger = kept.studio, kept.ledger
    ledger.begin_forgetting(what.ids)
    kept.erase(what.ids)
    for path in what.dropped if dropped else ():
        _remove(path)
        _remove_empty(path.parent, (where.inbox, where.done))
    for folder in what.folders:
        aside = folder.with_name(
            f"{_ASIDE}{hashlib.sha256(folder.name.encode(errors='surrogatepass')).hexdigest()[:8]}"
        )
        _remove(aside)
        folder.rename(aside)  # at once, or not at all: no half a report is ever seen
    unswept = [folder.with_name(f"{mark} {folder.name}") for folder in what.folders for mark in (".old", ".making")]
    for path in [*where.outbox.glob(f"{_ASIDE}*"), *unswept, *what.set_back]:
        _remove(path)
        _remove_empty(path.parent, (where.outbox, where.set_back))
    for path, profile in what.profiles:
        _rename_profile(path, profile)
    for path in [*what.accepted, *ledger_tables.copies(where.work / "ledger.sqlite3")]:
        _remove(path)
    ledger.blank(what.ids, today.isoformat())
    for identity in what.ids:
        _write_nameless(where, ledger, identity)
    ledger.end_forgetting(what.ids)
    for identity in what.ids:
        _LOG.info("Visit %s was erased.", identity[:8])


def _remove(path: Path) -> None:
    """Remove a file, a folder with all in it, or a link, but never what a link leads to."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def _remove_empty(folder: Path, ends: Collection[Path]) -> None:
    """Remove a folder that has become empty, and those around it, but none of the studio's own."""
    while folder not in ends and not any(folder.iterdir()):
        folder.rmdir()
        folder = folder.parent


def _rename_profile(path: Path, profile: Profile) -> None:
    """Call a layout's answers after the layout instead of a customer's file."""
    name = f"layout {profile.fingerprint.removeprefix('sha256:')[:8]}"
    nameless = Profile(name, profile.fingerprint, profile.given)
    studio.write_file(path.with_name(f"{studio.safe_name(name)}.toml"), profiles.written(nameless).encode())
    if path.name != f"{studio.safe_name(name)}.toml":
        path.unlink()


def _write_nameless(where: Studio, ledger: Ledger, identity: str) -> None:
    """Write the visit's manifest anew: a ledger that is lost later must not take it up again."""
    kept = ledger.kept(identity)
    if kept and kept.sightings:
        manifests.write(where, kept)
    else:
        manifests.remove(where, identity)


def finish(kept: Archive, today: dt.date) -> int:
    """End what a killed program had begun to erase; gives the number of visits."""
    where, ledger = kept.studio, kept.ledger
    if not ledger.entries("forgetting"):
        return 0
    visits = visit_words.visits(where, ledger)
    begun = [visit for visit in visits if visit.kept.entry.state == "forgetting"]
    erase(kept, plan(where, visits, begun, words_of(visits, begun)), today)
    return len(begun)
