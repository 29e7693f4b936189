"""The studio folder: where things lie, and writing there so that a thing is whole or not there at all."""

import os
import re
import shutil
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline import settings as settings_module
from pipeline import strict_toml
from pipeline.errors import FolderError
from pipeline.settings import Settings

LONGEST_NAME = 120  # bytes in UTF-8; a file system takes 255, and we put a date, marks and endings around it
LONGEST_ENDING = 8
_RESERVED = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)$", re.IGNORECASE)
_UNSAFE = re.compile(r'[\x00-\x1f\x7f<>:"/\\|?*\u200e\u200f\u202a-\u202e\u2066-\u2069]+')


@dataclass(frozen=True, slots=True)
class Studio:
    """The folders of a studio."""

    root: Path

    @property
    def inbox(self) -> Path:
        """Where shot files are dropped; never written to."""
        return self.root / "inbox"

    @property
    def outbox(self) -> Path:
        """One folder a report."""
        return self.root / "outbox"

    @property
    def set_back(self) -> Path:
        """Copies of files that could not be used, each with a note."""
        return self.root / "set-back"

    @property
    def work(self) -> Path:
        """The program's own things: ledger, accepted originals, log."""
        return self.root / "work"

    @property
    def accepted(self) -> Path:
        """Accepted originals by content hash."""
        return self.work / "accepted"

    @property
    def profiles(self) -> Path:
        """Staff's answers about layouts of shot files."""
        return self.work / "profiles"

    def folders(self) -> tuple[Path, ...]:
        """Give every folder a studio has."""
        return self.inbox, self.outbox, self.set_back, self.work, self.accepted, self.profiles


def create(root: Path) -> Studio:
    """Make the folders and a commented studio.toml where they are missing; what is there stays as it is."""
    studio = Studio(root)
    try:
        for place in studio.folders():
            place.mkdir(parents=True, exist_ok=True)
        with suppress(OSError):
            studio.work.chmod(0o700)
        settings_file = root / "studio.toml"
        if not settings_file.exists():
            settings_file.write_text(settings_module.template(), encoding="utf-8")
    except OSError as fault:
        msg = f"{root}: cannot make the studio folder there ({fault.strerror}). Choose a folder you may write to."
        raise FolderError(msg) from fault
    return studio


def opened(root: Path) -> tuple[Studio, Settings]:
    """Open a studio folder and read its settings."""
    studio = Studio(root)
    missing = [place.name for place in (studio.inbox, studio.outbox) if not place.is_dir()]
    if missing:
        msg = f'{root} is no studio folder: {" and ".join(missing)} missing. Make one with: baywright init "{root}"'
        raise FolderError(msg)
    path = root / "studio.toml"
    try:
        content = path.read_bytes() if path.exists() else b""
    except OSError as fault:
        msg = f"{path}: cannot be read ({fault.strerror})."
        raise FolderError(msg) from fault
    loaded = settings_module.load(strict_toml.decode(content, str(path)), str(path))
    create(root)
    return studio, loaded


def lock(studio: Studio) -> FileLock:
    """Take the studio for one program; raises FolderError while another one has it."""
    held = FileLock(studio.work / "lock", timeout=0)
    try:
        held.acquire()
    except Timeout as fault:
        msg = f"{studio.root}: another baywright is at work on this folder. Stop it first, or let it do the work."
        raise FolderError(msg) from fault
    except OSError as fault:
        msg = f"{studio.work}: cannot be written to ({fault.strerror}). Choose a folder you may write to."
        raise FolderError(msg) from fault
    return held


def safe_name(text: str, longest: int = LONGEST_NAME) -> str:
    """Make a text fit for a file name on every system; longest counts bytes, an ending of a few letters is kept."""
    name = _UNSAFE.sub(" ", text).strip(" .")
    stem, dot, ending = name.rpartition(".")
    tail = dot + ending if stem and len(ending.encode()) <= LONGEST_ENDING else ""
    head = name.removesuffix(tail).encode()[: longest - len(tail.encode())].decode(errors="ignore").strip(" .")
    if not head or _RESERVED.match(head.split(".")[0]):
        head = f"visit {head}".strip()
    return head + tail


def _sync(path: Path) -> None:
    """Force a file or folder to disk; folders cannot be synced on every system."""
    with suppress(OSError):
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def write_file(path: Path, content: bytes) -> None:
    """Write a file whole: aside, synced, renamed, folder synced."""
    aside = path.with_name(f".{path.name}.part")
    try:
        with aside.open("wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        aside.replace(path)
    except OSError:
        with suppress(OSError):
            aside.unlink()
        raise
    _sync(path.parent)


def write_folder(place: Path, files: Mapping[str, bytes]) -> None:
    """Write a folder whole: filled under a hidden name, synced, renamed; `place` must not exist."""
    aside = place.with_name(f".making {place.name}")
    shutil.rmtree(aside, ignore_errors=True)
    aside.mkdir()
    try:
        for name, content in files.items():
            write_file(aside / name, content)
        _sync(aside)
        aside.rename(place)
    except OSError:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    _sync(place.parent)


def sweep(studio: Studio) -> None:
    """Remove what a killed run left half-made."""
    for place in (studio.outbox, studio.set_back):
        for left in place.glob(".making *"):
            shutil.rmtree(left, ignore_errors=True)
    for left in [*studio.accepted.glob(".*.part"), *studio.set_back.glob(".*.part")]:
        left.unlink(missing_ok=True)


def free_place(folder: Path, name: str) -> Path:
    """Give the first free name: `name`, then `name (version 2)` and so on."""
    place, version = folder / name, 2
    while place.exists():
        place, version = folder / f"{name} (version {version})", version + 1
    return place
