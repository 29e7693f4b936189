"""Files handed in over the desk: put into the drop folder whole, beside what is there; the intake does the rest."""

import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from pipeline import arrivals, studio, visit_facts
from pipeline.resources import table
from pipeline.studio import Studio

MOST_FILES = 200  # of one handing-in


def refusal(files: Sequence[tuple[str, bytes]], largest_bytes: int, *, together: bool) -> str:
    """Say why files cannot be taken, if they cannot."""
    if not files:
        return "No file was chosen."
    if len(files) > MOST_FILES:
        return f"{len(files)} files are too many at once: at most {MOST_FILES}."
    for name, content in files:
        ending = name.rpartition(".")[2].lower()
        facts = name.lower() == visit_facts.FILE_NAME
        if ending not in table("drop_folder")["endings"] and not (facts and together):
            return f"“{name}” is no shot file. Export the shots as CSV text or as a workbook (.xlsx)."
        if len(content) > largest_bytes:
            return f"“{name}” is too large: at most {largest_bytes / 1_000_000:.0f} MB."
    if together and sum(len(content) for _, content in files) > largest_bytes:
        return f"Together they are too large for one visit: at most {largest_bytes / 1_000_000:.0f} MB."
    return ""


def hand_in(place: Studio, files: Sequence[tuple[str, bytes]], visit: str, *, together: bool) -> list[str]:
    """Put files into the drop folder, each as a visit or all as one; gives the names they got there.

    Nothing that lies there is written over.
    """
    if not together:
        return [_put(place.inbox, studio.safe_name(_plain(name)), content) for name, content in files]
    name = studio.safe_name(_plain(visit) if visit else Path(_plain(files[0][0])).stem)
    name = f"{name.rstrip('~')} visit" if arrivals.is_passed_over(name) else name
    aside = place.inbox / f".arriving {uuid4().hex}"
    aside.mkdir(mode=studio.SHARED | 0o110)
    try:
        for inside, content in _named_apart(files).items():
            studio.write_file(aside / inside, content, studio.SHARED)
        target = studio.free_place(place.inbox, name)
        aside.rename(target)
    except OSError:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    return [target.name]


def _plain(name: str) -> str:
    """Give a name the intake looks at: a leading dot or ~ would have it passed over as unfinished."""
    return name.replace("\\", "/").rpartition("/")[2].lstrip(".~ ") or "shots.csv"


def _named_apart(files: Sequence[tuple[str, bytes]]) -> Mapping[str, bytes]:
    found: dict[str, bytes] = {}
    for name, content in files:
        plain = studio.safe_name(_plain(name))
        found[next(free for free in numbered(plain) if free not in found)] = content
    return found


def numbered(name: str) -> Iterator[str]:
    """Give a name, and then the same with numbers."""
    yield name
    stem, dot, ending = name.rpartition(".")
    for number in range(2, 1_000_000):
        yield f"{stem} ({number}){dot}{ending}" if dot else f"{name} ({number})"


def _put(folder: Path, name: str, content: bytes) -> str:
    """Write a file under the first free name, whole: nobody sees half of it, and nothing is written over."""
    aside = folder / f".arriving {uuid4().hex}"
    studio.write_file(aside, content, studio.SHARED)
    try:
        for free in numbered(name):
            with suppress(FileExistsError):
                _name(aside, folder / free)
                return free
    finally:
        aside.unlink(missing_ok=True)
    raise FileExistsError(name)


def _name(aside: Path, target: Path) -> None:
    """Give a file its name if nothing has it; some disks know no second names, there it is looked for first."""
    try:
        os.link(aside, target, follow_symlinks=False)
    except FileExistsError:
        raise
    except (OSError, NotImplementedError):
        if target.exists():
            raise FileExistsError(target) from None
        aside.rename(target)
