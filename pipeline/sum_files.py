"""Where the sums over a month of the archive are kept, and how they go: files named by what they were summed from."""

import hashlib
from collections.abc import Collection, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pipeline.rollup_records import ArchiveManifest

VERSION = 1  # of the sums and their columns; raised when either changes, so that kept ones are made anew
FOLDER = "sums"


@dataclass(frozen=True, slots=True, order=True)
class Partition:
    """One month of one studio in the archive, and its files that count."""

    studio: str
    month: str
    paths: tuple[Path, ...]

    @property
    def folder(self) -> Path:
        """Where its sums are kept: sums/studio=…/ym=… beside the rows."""
        return folder_of(self.paths[0].parents[2]) / f"studio={self.studio}" / f"ym={self.month}"

    def name(self, gone: Collection[int]) -> str:
        """Name its sums by what they are of: the files, and those of their visits that count no more."""
        said = [f"sums {VERSION}", *(path.name for path in self.paths), *(f"gone {visit}" for visit in sorted(gone))]
        return hashlib.sha256("\n".join(said).encode()).hexdigest()[:32]


def folder_of(archive: Path) -> Path:
    """Say where the sums over an archive are kept."""
    return archive / FOLDER


def partitions(manifest: ArchiveManifest, since: str | None = None, until: str | None = None) -> tuple[Partition, ...]:
    """Part a manifest into months of studios, from since to until (YYYY-MM, both included)."""
    found: dict[tuple[str, str], list[Path]] = {}
    for path in manifest.paths:
        studio, month = (part.partition("=")[2] for part in path.parts[-3:-1])
        if (since is None or since <= month) and (until is None or month <= until):
            found.setdefault((studio, month), []).append(path)
    return tuple(Partition(*key, tuple(sorted(paths))) for key, paths in sorted(found.items()))


def forget_sums(archive: Path, months: Collection[str] | None = None) -> None:
    """Remove the sums kept of some months (YYYY-MM; None: of all), of every studio; raises OSError if one stays.

    To be called once the files of an erased visit are no more in the manifest. Who read the old manifest before may
    still write sums of it: `sweep_sums` takes these.
    """
    for place in list(_kept(folder_of(archive))):
        if months is None or place.parent.name.removeprefix("ym=") in months:
            place.unlink(missing_ok=True)


def sweep_sums(archive: Path, manifest: ArchiveManifest) -> None:
    """Remove the sums nobody will ask for again; raises OSError if one stays.

    While rows of some visits count no more it takes reading to know which sums they are in: then all are removed.
    """
    parts = () if manifest.gone else partitions(manifest)
    wanted = {part.folder / part.name(()) for part in parts}
    for place in list(_kept(folder_of(archive))):
        if place.with_name(place.name.partition(".")[0]) not in wanted:
            place.unlink(missing_ok=True)


def sweep_aside(place: Path) -> None:
    """Remove what lies beside sums just written and was of the same kind; what cannot be removed stays."""
    with suppress(OSError):
        for other in list(_files([place.parent])):
            if other.suffixes[-2:] == place.suffixes[-2:] and other != place:
                other.unlink()


def _kept(folder: Path) -> Iterator[Path]:
    return _files(folder.glob("studio=*/ym=*"))


def _files(folders: Iterable[Path]) -> Iterator[Path]:
    return (place for folder in folders for place in folder.iterdir() if place.is_file() or place.is_symlink())
