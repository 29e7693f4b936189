"""What lies in the drop folder: one visit a file, or one visit a sub-folder. Looks and reads, never writes there."""

import hashlib
import os
import re
import stat
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from pipeline.records import ShotFile
from pipeline.resources import table
from pipeline.visit_facts import FILE_NAME

MOST_FILES = 200  # in one visit's folder


class ChangedMeanwhileError(Exception):
    """The file changed while it was being read: not an error, look again later."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """A visit as it lies in the drop folder; signature changes whenever any of its files does."""

    name: str
    place: str
    paths: tuple[Path, ...]
    signature: str
    size: int  # of all files together
    changed_ns: int  # when the last of them was changed, by their own words


@cache
def _unfinished() -> re.Pattern[str]:
    return re.compile("|".join(table("drop_folder")["unfinished"]), re.IGNORECASE)


def is_passed_over(name: str) -> bool:
    """Tell whether what bears this name is taken for unfinished, and left where it lies."""
    return _unfinished().search(name) is not None


@cache
def _endings() -> frozenset[str]:
    return frozenset(table("drop_folder")["endings"])


def _wanted(entry: os.DirEntry[str]) -> os.stat_result | None:
    """Give what the system says of an entry if it is a finished regular file of a known ending, or visit.toml."""
    if entry.name.rpartition(".")[2].lower() not in _endings() and entry.name.lower() != FILE_NAME:
        return None
    if is_passed_over(entry.name):
        return None
    found = entry.stat(follow_symlinks=False)
    return found if stat.S_ISREG(found.st_mode) else None


def _shown(name: str) -> str:
    """Write a file name as text that can be stored and printed, even one with bytes that are no UTF-8."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def _arrival(name: str, place: str, files: Sequence[tuple[str, Path, os.stat_result]]) -> Arrival:
    keys = [(inside, found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns) for inside, _, found in files]
    signature = hashlib.sha256(repr(keys).encode("utf-8", "surrogateescape")).hexdigest()
    paths = tuple([path for _, path, _ in files])
    size, changed = sum([key[3] for key in keys]), max([key[4] for key in keys])
    return Arrival(_shown(name), _shown(place), paths, signature, size, changed)


def _with_stat(paths: Iterable[Path]) -> list[tuple[str, Path, os.stat_result]]:
    return [(path.name, path, path.lstat()) for path in paths]


def of_path(path: Path) -> Arrival | None:
    """Give the visit at a path: a file, or a folder with at least one shot file in it."""
    if path.is_symlink():
        return None
    if not path.is_dir():
        return _arrival(path.stem, path.name, _with_stat([path]))
    with os.scandir(path) as entries:
        inside = sorted((Path(e.path) for e in entries if _wanted(e)), key=lambda p: p.name)
    if all(p.name.lower() == FILE_NAME for p in inside):
        return None
    return _arrival(path.name, path.name, _with_stat(inside[: MOST_FILES + 1]))


def look(inbox: Path) -> Iterator[Arrival]:
    """List what lies in the drop folder, in order of name; what vanishes while looking is skipped.

    A sub-folder that may not be opened is listed as well: reading it then says why.
    """
    with os.scandir(inbox) as entries:
        found = sorted(entries, key=lambda e: e.name)
    for entry in found:
        try:
            arrival = _of_entry(entry)
        except PermissionError:
            arrival = _arrival(entry.name, entry.name, _with_stat([Path(entry.path)]))
        except OSError:
            continue
        if arrival:
            yield arrival


def _of_entry(entry: os.DirEntry[str]) -> Arrival | None:
    if entry.is_dir(follow_symlinks=False):
        return None if is_passed_over(entry.name) else of_path(Path(entry.path))
    found = _wanted(entry)
    if found is None:
        return None
    return _arrival(entry.name.rpartition(".")[0], entry.name, [(entry.name, Path(entry.path), found)])


def read(arrival: Arrival) -> tuple[ShotFile, ...]:
    """Read a visit's files; raises ChangedMeanwhileError when any changed before or during the reading."""
    files = []
    for path in arrival.paths:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(handle, "rb") as source:
            files.append(ShotFile(_shown(path.name), source.read(arrival.size + 1)))  # it may have grown without end
    try:
        now = _arrival(arrival.name, arrival.place, _with_stat(arrival.paths)).signature
    except OSError:
        now = ""
    if now != arrival.signature:
        raise ChangedMeanwhileError(arrival.place)
    return tuple(files)
