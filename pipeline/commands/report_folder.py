"""Which report is meant: a folder in outbox/ by its name or a part of it."""

from pathlib import Path

from pipeline.commands.console import printable
from pipeline.errors import FolderError
from pipeline.studio import REPLACED_NOTE, Studio

_MOST_NAMED = 10


def find(studio: Studio, wanted: str) -> Path:
    """Find the one folder in outbox/ of that name, or with that in its name."""
    name = Path(wanted).name  # a path to it will do as well
    folders = {p.name: p for p in sorted(studio.outbox.iterdir()) if p.is_dir() and not p.name.startswith(".")}
    if name in folders:
        return folders[name]
    reports = {
        each: path for each, path in folders.items() if not (path / REPLACED_NOTE).exists()
    }  # else others took its place
    found = [each for each in reports if name and name.casefold() in each.casefold()]
    if len(found) == 1:
        return folders[found[0]]
    named = "".join(f"\n  {printable(each)}" for each in (found or list(reports)[::-1])[:_MOST_NAMED])
    what = f"{len(found)} reports have that in their names" if found else "no report has that in its name"
    msg = f"{wanted!r}: {what}. Name one of:{named}" if named else f"{studio.outbox}: there is no report yet."
    raise FolderError(msg)
