"""The studio folder: where things lie, and writing there so that a thing is whole or not there at all."""

import errno
import os
import re
import shutil
import stat
import uuid
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from pipeline import branding, strict_toml
from pipeline import settings as settings_module
from pipeline.branding import Logo
from pipeline.errors import FolderError, SettingsError
from pipeline.settings import Settings

LONGEST_NAME = 120  # bytes in UTF-8; a file system takes 255, and we put a date, marks and endings around it
LONGEST_ENDING = 8
EARLIER = "earlier"  # in a report's folder: what it held before, a folder a version
REPLACED_NOTE = "replaced.txt"  # in a report's folder: other visits took its place
# files for their owner alone, or for the owner's group as the umask allows; never for others
PRIVATE, SHARED = 0o600, 0o660
_OTHERS = 0o007
_AT_ONCE = 8  # files that wait for the disk together
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
        """One folder a visit: the newest report, and the ones before it in `earlier/`."""
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
    def visits(self) -> Path:
        """What the ledger must not lose, a file a visit: its name, its originals, where it was dropped."""
        return self.work / "visits"

    @property
    def profiles(self) -> Path:
        """Staff's answers about layouts of shot files."""
        return self.work / "profiles"

    @property
    def done(self) -> Path:
        """Where dropped files go once they have their report, if the studio wants that."""
        return self.root / "done"

    def folders(self) -> tuple[Path, ...]:
        """Give every folder a studio has."""
        return self.inbox, self.outbox, self.set_back, self.work, self.accepted, self.visits, self.profiles


def create(root: Path) -> Studio:
    """Make the folders and a commented studio.toml where they are missing; what is there stays as it is."""
    studio = Studio(root)
    try:
        root.mkdir(parents=True, exist_ok=True)
        for place in studio.folders():
            place.mkdir(mode=SHARED | 0o110, exist_ok=True)
        restrict(studio)
        settings_file = root / "studio.toml"
        if not settings_file.exists():
            settings_file.write_text(settings_module.template(), encoding="utf-8")
    except OSError as fault:
        msg = f"{root}: cannot make the studio folder there ({fault.strerror}). Choose a folder you may write to."
        raise FolderError(msg) from fault
    return studio


def restrict(studio: Studio) -> None:
    """Keep work/ for its owner alone, and others out of outbox/ and set-back/; inbox/ stays as the device needs it."""
    if os.name != "posix":
        return
    kept = dict.fromkeys((studio.work, studio.accepted, studio.visits, studio.profiles), 0o700)
    kept |= dict.fromkeys((studio.outbox, studio.set_back), ~_OTHERS)
    with suppress(OSError):  # another's folder, or a disk that knows no such thing: `doctor` tells
        kept |= {path: PRIVATE for path in studio.work.iterdir() if path.is_file() and not path.is_symlink()}
    for place, allowed in kept.items():
        _take_bits(place, allowed)


def _take_bits(place: Path, allowed: int) -> None:
    """Take away what a file or folder allows beyond this; not every disk knows such a thing."""
    with suppress(OSError):
        mode = stat.S_IMODE(place.stat().st_mode)
        if os.name == "posix" and mode & ~allowed:
            place.chmod(mode & allowed)


def open_to_others(studio: Studio) -> list[Path]:
    """List the studio's folders that anyone on this computer may look into; none where that cannot be told."""
    if os.name != "posix":
        return []
    places = [*studio.folders(), studio.done]
    return [place for place in places if place.is_dir() and place.stat().st_mode & _OTHERS]


def opened(root: Path) -> tuple[Studio, Settings]:
    """Open a studio folder and read its settings."""
    studio = Studio(root)
    missing = [place.name for place in (studio.inbox, studio.outbox) if not place.is_dir()]
    if missing:
        msg = f'{root} is no studio folder: {" and ".join(missing)} missing. Make one with: baywright init "{root}"'
        raise FolderError(msg)
    loaded = settings_of(studio)
    create(root)
    return studio, loaded


def settings_of(studio: Studio) -> Settings:
    """Read a studio's settings."""
    path = studio.root / "studio.toml"
    try:
        content = path.read_bytes() if path.exists() else b""
    except OSError as fault:
        msg = f"{path}: cannot be read ({fault.strerror})."
        raise FolderError(msg) from fault
    return settings_module.load(strict_toml.decode(content, str(path)), str(path))


def logo(studio: Studio, settings: Settings) -> Logo | None:
    """Read the studio's logo and check it; raises SettingsError that says what is wrong with it."""
    if not settings.logo:
        return None
    path = studio.root / settings.logo
    try:
        if not path.is_file():  # a pipe would keep us waiting
            raise FileNotFoundError(errno.ENOENT, "there is no such file")
        with path.open("rb") as source:
            content = source.read(branding.LARGEST_PNG + 1)
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or fault
        msg = f"{path}: the logo cannot be read ({why}). See logo in {studio.root / 'studio.toml'}."
        raise SettingsError(msg) from fault
    return branding.checked(content, str(path))


def lock(studio: Studio) -> FileLock:
    """Take the studio for one program; raises FolderError while another one has it."""
    held = FileLock(studio.work / "lock", timeout=0.5, poll_interval=0.05)  # `status` tries it for a moment
    try:
        held.acquire()
    except Timeout as fault:
        msg = f"{studio.root}: another baywright is at work on this folder. Stop it first, or let it do the work."
        raise FolderError(msg) from fault
    except OSError as fault:
        msg = f"{studio.work}: cannot be written to ({fault.strerror}). Choose a folder you may write to."
        raise FolderError(msg) from fault
    return held


def identity(studio: Studio) -> str:
    """Give the name that no other studio has, for a ledger that several share; it is made once and kept in a file."""
    path = studio.work / "studio-id"
    try:
        if not path.exists():
            write_file(path, f"{uuid.uuid4().hex}\n".encode())
        found = path.read_text(encoding="ascii", errors="replace").strip()
    except OSError as fault:
        msg = f"{path}: cannot be written or read ({fault.strerror})."
        raise FolderError(msg) from fault
    if not re.fullmatch(r"[0-9a-f]{32}", found):
        msg = (
            f"{path}: it is damaged. It names this studio in the shared ledger: put it back from a backup, or delete "
            "it and start again, and the ledger is made anew from the copies in work/."
        )
        raise FolderError(msg)
    return found


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


def read_plain(path: Path, most: int) -> bytes:
    """Read a file of at most so many bytes; raises ValueError with the reason for a larger one, a pipe or a device."""
    found = path.stat()
    if not stat.S_ISREG(found.st_mode):
        msg = "it is no file"
        raise ValueError(msg)
    if found.st_size > most:
        msg = f"it has more than {most // 1_000_000} MB"
        raise ValueError(msg)
    return path.read_bytes()


def write_file(path: Path, content: bytes, mode: int = PRIVATE) -> None:
    """Write a file whole: aside, synced, renamed, folder synced."""
    aside = path.with_name(f".{path.name}.part")
    try:
        flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)
        with os.fdopen(os.open(aside, flags, mode), "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        aside.replace(path)
    except OSError:
        with suppress(OSError):
            aside.unlink()
        raise
    _sync(path.parent)


def write_files(folder: Path, files: Mapping[str, tuple[bytes, int | None]]) -> None:
    """Write many files of a folder, each whole, with the time of its last change where one is given (nanoseconds).

    A disk writes many in the time of one. Killed or refused in between, some are there and some are not; what is
    half-made `sweep` removes.
    """

    def write(name: str) -> None:
        aside = folder / f".{name}.part"
        content, changed_ns = files[name]
        flags = os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)
        with os.fdopen(os.open(aside, flags, PRIVATE), "wb") as out:
            out.write(content)
            out.flush()
            if changed_ns is not None:
                os.utime(aside, ns=(changed_ns, changed_ns))
            os.fsync(out.fileno())
        aside.replace(folder / name)

    with ThreadPoolExecutor(_AT_ONCE) as pool:
        for _ in pool.map(write, files):
            pass
    if files:
        _sync(folder)


def write_folder(place: Path, files: Mapping[str, bytes]) -> None:
    """Write a folder whole: filled under a hidden name, synced, renamed; `place` must not exist."""
    with _staged(place, files) as aside:
        aside.rename(place)
    _sync(place.parent)


@contextmanager
def _staged(place: Path, files: Mapping[str, bytes]) -> Iterator[Path]:
    """Fill a hidden folder beside a place; it is removed again when the disk refuses something."""
    aside = place.with_name(f".making {place.name}")
    shutil.rmtree(aside, ignore_errors=True)
    aside.mkdir(mode=SHARED | 0o110)
    try:
        for name, content in files.items():
            write_file(aside / name, content, SHARED)
        _sync(aside)
        yield aside
    except OSError:
        shutil.rmtree(aside, ignore_errors=True)
        raise


def write_version(place: Path, files: Mapping[str, bytes], version: int) -> None:
    """Write a folder whole; what the place held before stays in it, complete, as `earlier/version <version - 1>`.

    There are always a whole old or a whole new folder: two renames, and `sweep` mends a kill between them.
    """
    if not place.exists():
        write_folder(place, files)
        return
    old = place.with_name(f".old {place.name}")
    shutil.rmtree(old, ignore_errors=True)  # one that could not be removed before
    with _staged(place, files) as aside:
        _carry_over(place, aside, f"version {version - 1}")
        place.rename(old)
        try:
            aside.rename(place)
        except OSError:
            old.rename(place)
            raise
    _sync(place.parent)
    shutil.rmtree(old, ignore_errors=True)


def _carry_over(place: Path, aside: Path, name: str) -> None:
    """Put what a folder holds into the folder that will take its place."""
    kept = aside / EARLIER
    if (place / EARLIER).is_dir():
        shutil.copytree(place / EARLIER, kept, copy_function=_link, symlinks=True)
    shutil.copytree(
        place, kept / name, copy_function=_link, symlinks=True,
        ignore=lambda folder, _names: {EARLIER} if Path(folder) == place else set(),
    )  # fmt: skip
    for folder in (*(path for path in kept.rglob("*") if path.is_dir() and not path.is_symlink()), kept, aside):
        _take_bits(folder, ~_OTHERS)
        _sync(folder)


def _link(source: str, target: str) -> None:
    """Give a file a second name, or copy it where the disk knows no such thing."""
    try:
        os.link(source, target, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copy2(source, target)
        _sync(Path(target))


def sweep(studio: Studio) -> None:
    """Remove what a killed run left half-made, and put back what it had put aside without getting further."""
    for old in studio.outbox.glob(".old *"):
        place = old.with_name(old.name.removeprefix(".old "))
        if place.exists():
            shutil.rmtree(old, ignore_errors=True)
        else:
            old.rename(place)
    for place in (studio.outbox, studio.set_back):
        for left in place.glob(".making *"):
            shutil.rmtree(left, ignore_errors=True)
    for place in (studio.accepted, studio.visits, studio.set_back):
        for left in place.glob(".*.part"):
            left.unlink(missing_ok=True)


def free_place(folder: Path, name: str, ending: str = "") -> Path:
    """Give the first free name: `name`, then `name (2)` and so on, with that ending."""
    place, number = folder / f"{name}{ending}", 2
    while place.exists():
        place, number = folder / f"{name} ({number}){ending}", number + 1
    return place
