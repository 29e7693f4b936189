"""What could not be used is put into set-back/: copies of the originals and a note of the same name, and away again."""

import shutil

from pipeline import issuing, notes, studio
from pipeline.ledger import Entry
from pipeline.records import Refusal
from pipeline.studio import Studio


def put(where: Studio, entry: Entry, refusal: Refusal) -> str:
    """Put copies of a visit's originals and a note into set-back/; gives their name there."""
    name = _name(where, entry)
    note = notes.note_text(entry, refusal, where.set_back / name)
    studio.write_file(where.set_back / f"{name}.txt", note.encode(), studio.SHARED)  # first: it marks the name as ours
    copies: dict[str, bytes] = {}
    for number, (original, path) in enumerate(issuing.originals(where, entry), 1):
        if path.exists():
            plain = studio.safe_name(original)
            copies[plain if plain not in copies else f"{number} {plain}"] = path.read_bytes()
    if len(entry.originals) == 1 and copies:
        studio.write_file(where.set_back / name, next(iter(copies.values())), studio.SHARED)
    elif copies and not (where.set_back / name).exists():
        studio.write_folder(where.set_back / name, copies)
    return name


def clear(where: Studio, entry: Entry) -> None:
    """Take our own note and copy away once they have served."""
    name = _name(where, entry)
    note, copy = where.set_back / f"{name}.txt", where.set_back / name
    if note.is_file():
        note.unlink()
        shutil.rmtree(copy) if copy.is_dir() else copy.unlink(missing_ok=True)


def _name(where: Studio, entry: Entry) -> str:
    """Give the name in set-back/: the file's own, unless something of another visit has it."""
    wanted = studio.safe_name(entry.originals[0][0] if len(entry.originals) == 1 else entry.name)
    copy, note = where.set_back / wanted, where.set_back / f"{wanted}.txt"
    ours = note.is_file() and notes.mark(entry) in note.read_text(encoding="utf-8", errors="replace")
    return wanted if ours or not (copy.exists() or note.exists()) else f"{entry.id[:8]} {wanted}"
