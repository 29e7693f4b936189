"""By which words a customer may be known: what ledger, reports, letters and visit.toml say of each visit."""

import email
import json
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from email import policy
from pathlib import Path
from typing import Any

from pipeline import strict_toml, visit_facts
from pipeline.errors import SettingsError
from pipeline.ledger import Kept, Ledger
from pipeline.studio import EARLIER, Studio

_FACTS = ("customer", "email", "notes", "recommendation", "consent")
_HEAD = 20_000  # bytes of a fitting.json in which its part about the visit stands, unless it has very many files


@dataclass(frozen=True, slots=True)
class Folder:
    """A folder of outbox/, with what the reports in it say of their visits."""

    path: Path
    said: tuple[Mapping[str, Any], ...]

    def addresses(self) -> Iterator[str]:
        """Give whom its letters are to: staff may have written another address into them."""
        for path in [self.path / "letter.eml", *self.path.glob(f"{EARLIER}/*/letter.eml")]:
            try:
                with path.open("rb") as source:
                    letter = email.message_from_bytes(source.read(_HEAD), policy=policy.default)
                yield from (each.addr_spec for each in letter["To"].addresses)
            except (OSError, ValueError, LookupError, AttributeError, TypeError):
                continue


@dataclass(frozen=True, slots=True)
class Visit:
    """What is known of a visit that is not erased; folders are those of outbox/ with a report of it."""

    kept: Kept
    facts: Mapping[str, str]  # what its visit.toml says of the person
    folders: tuple[Folder, ...] = field(default=())

    @property
    def folder_names(self) -> tuple[str, ...]:
        """Give the names of its folders."""
        return tuple(folder.path.name for folder in self.folders)

    @property
    def customers(self) -> tuple[str, ...]:
        """Give every name its reports and its visit.toml have for the customer."""
        said = [said.get("customer") for folder in self.folders for said in folder.said]
        return tuple(dict.fromkeys(name for name in [self.facts.get("customer"), *said] if isinstance(name, str)))

    @property
    def names(self) -> tuple[str, ...]:
        """Give the names of the visit and of its files, without their endings."""
        files = [Path(name).stem for name, _ in self.kept.entry.originals if name.lower() != visit_facts.FILE_NAME]
        return tuple(dict.fromkeys(name for name in [self.kept.entry.name, *files] if name))

    @property
    def words(self) -> tuple[str, ...]:
        """Give every word by which its customer may be known."""
        entry = self.kept.entry
        files = [name for name, _ in entry.originals if name.lower() != visit_facts.FILE_NAME]
        places = [place for place, _ in self.kept.sightings]
        words = [
            *self.customers,
            *self.facts.values(),
            entry.name,
            *files,
            *places,
            entry.place or "",
            *self.folder_names,
        ]
        return tuple(dict.fromkeys(word for word in words if word.strip()))

    def lines(self, where: Studio) -> frozenset[bytes]:
        """Give the lines of its kept shot files, as they stand there."""
        found: set[bytes] = set()
        for name, stored in self.kept.entry.originals:
            if name.lower() != visit_facts.FILE_NAME:
                found.update(line for line in _content(where, stored).splitlines() if line.strip())
        return frozenset(found)


def folded(text: str) -> str:
    """Write a text so that the same words are the same, whatever their case, spaces and composition."""
    return " ".join(unicodedata.normalize("NFC", text).split()).casefold()


def is_plain(name: str) -> bool:
    """Tell whether a name leads to something in its folder and nowhere else."""
    return bool(name) and Path(name).name == name and name not in (".", "..") and "\0" not in name


# --- what lies there --------------------------------------------------------------------------------------------------
def _folders(where: Studio) -> list[Folder]:
    """List the folders of outbox/."""
    found = [path for path in sorted(where.outbox.iterdir()) if not path.name.startswith(".") and path.is_dir()]
    return [Folder(path, tuple(_said(path))) for path in found]


def _said(folder: Path) -> Iterator[Mapping[str, Any]]:
    for path in [folder / "fitting.json", *sorted(folder.glob(f"{EARLIER}/*/fitting.json"))]:
        try:
            with path.open("rb") as source:
                head = source.read(_HEAD)
                found = _visit_of(head)
                yield found if found is not None else _visit_of(head + source.read()) or {}
        except OSError:
            continue


def _visit_of(content: bytes) -> Mapping[str, Any] | None:
    """Read the part about the visit out of a fitting.json, or out of its beginning."""
    text = content.decode("utf-8", errors="ignore")
    try:
        found, _ = json.JSONDecoder().raw_decode(text, text.index('"visit": ') + len('"visit": '))
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def visits(where: Studio, ledger: Ledger) -> list[Visit]:
    """List all visits that are not erased, with what is known of them."""
    there = _folders(where)
    by_id: dict[str, list[Folder]] = {}
    by_name = {folder.path.name: folder for folder in there}
    for folder in there:
        for identity in {str(said.get("id")) for said in folder.said}:
            by_id.setdefault(identity, []).append(folder)
    found = []
    for kept in ledger.all_kept():
        if kept.entry.state != "forgotten":
            theirs = by_id.get(kept.entry.id, [])
            noted = by_name.get(kept.entry.place or "") if kept.entry.state in ("reported", "forgetting") else None
            if noted and noted not in theirs:  # its fitting.json is gone or damaged, or of a later version
                theirs = [*theirs, noted]
            found.append(Visit(kept, _facts(where, kept), tuple(theirs)))
    return found


def _facts(where: Studio, kept: Kept) -> dict[str, str]:
    """Give what a visit's visit.toml says of the person; nothing when it cannot be understood."""
    for name, stored in kept.entry.originals:
        if name.lower() == visit_facts.FILE_NAME:
            try:
                given = strict_toml.parse(strict_toml.decode(_content(where, stored), name), name)
            except SettingsError:
                return {}
            return {key: given[key] for key in _FACTS if isinstance(given.get(key), str)}
    return {}


def _content(where: Studio, stored: str) -> bytes:
    path = where.accepted / stored
    return path.read_bytes() if is_plain(stored) and path.is_file() else b""
