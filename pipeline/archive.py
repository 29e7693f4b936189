"""The archive of all visits' shots: a file a visit, joined by month at night; the ledger says which files count.

It is made from the kept originals and can be made from them again. A file is written before the ledger names it and
removed after the ledger has forgotten it, so whoever reads the files the ledger names has every visit once.
"""

import contextlib
import errno
import hashlib
import json
import logging
import secrets
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path, PurePosixPath

from pipeline import studio, sum_files
from pipeline.ledger import Ledger
from pipeline.ledger_archive import Filed
from pipeline.rollup_records import ArchiveManifest
from pipeline.settings import Settings
from pipeline.studio import Studio
from pipeline.work_messages import Batch, Job, visit_key
from pipeline.workshop import Workshop

HISTORY, DRIFTING = "history", "bays that drift"  # what is remembered
_LOG = logging.getLogger("baywright")
_SECRET = "archive secret"  # noqa: S105 - the name of what is remembered
_KEPT_S = 86_400.0  # so long whoever has asked for the files may still be reading them
_AT_ONCE = 8  # files that wait for the disk together
_MOST_BYTES = 64_000_000  # of one joined file


def root(where: Studio, settings: Settings) -> Path:
    """Give the archive's folder: the studio's own, or the one of studio.toml that several studios share."""
    return where.root / settings.archive if settings.archive else where.work / "archive"


def manifest(where: Studio, settings: Settings, ledger: Ledger) -> ArchiveManifest:
    """Say which files count; of all studios where they share an archive and a ledger."""
    filed = ledger.archive.filed(every_studio=bool(settings.archive))
    folder = root(where, settings)
    paths = tuple(folder / path for path in sorted({row.path for row in filed if not row.gone}))
    return ArchiveManifest(paths, tuple(sorted({visit_key(row.visit) for row in filed if row.gone})))


def drifting(ledger: Ledger) -> tuple[str, ...]:
    """Give the sentences about bays whose device drifted when the archive was looked through last."""
    try:
        return tuple(str(said) for said in json.loads(ledger.remembered(DRIFTING) or "[]"))
    except (ValueError, TypeError):
        return ()


@dataclass(frozen=True, slots=True)
class Archive:
    """A studio's archive and what writes it; raises OSError, or ReportError as the workshop does."""

    studio: Studio
    settings: Settings
    ledger: Ledger
    workshop: Workshop

    @property
    def folder(self) -> Path:
        """Where its files lie; paths in the ledger are relative to it."""
        return root(self.studio, self.settings)

    # --- filing --------------------------------------------------------------------------------------------------
    def file_last(self, identity: str) -> None:
        """File the rows of the visit that the workshop worked out last.

        When other rows of it are filed (its visit.toml was corrected), these are taken out of their file first:
        nothing is counted twice.
        """
        mine = studio.identity(self.studio)
        month, content = self.workshop.rows(mine, self._secret())
        path = f"studio={mine}/ym={month}/{identity[:16]}-{_mark(content)}.parquet"
        if any(row.path != path for row in self.ledger.archive.filed(identity)):
            self.erase([identity])
        _write(self.folder, path, content)
        self.ledger.archive.file({identity: path})

    def batch(self, jobs: Sequence[Job]) -> Batch:
        """Put together what the rows of many visits are made of."""
        return Batch(tuple(jobs), studio.identity(self.studio), self._secret())

    def add(self, files: Mapping[str, bytes]) -> dict[str, str]:
        """Write the rows of many visits, a file a month; gives the paths, which count once the ledger names them."""
        mine = studio.identity(self.studio)
        paths = {month: f"studio={mine}/ym={month}/batch-{_mark(content)}.parquet" for month, content in files.items()}
        with ThreadPoolExecutor(_AT_ONCE) as pool:
            for _ in pool.map(lambda month: _write(self.folder, paths[month], files[month]), files):
                pass
        return paths

    def let_go(self) -> int:
        """Note of files that somebody took away that no visit's rows are in them; gives the number of those visits.

        What is then lacking is made again from the kept originals. A shared folder without anything of this studio is
        not believed: its disk may not be there. Raises FileNotFoundError then.
        """
        rows = self.ledger.archive.filed()
        mine = self.folder / f"studio={studio.identity(self.studio)}"
        if rows and self.settings.archive and not mine.is_dir():
            raise FileNotFoundError(errno.ENOENT, "the archive is not there; is its disk connected?", str(self.folder))
        by_path = {path: list(held) for path, held in groupby(rows, lambda row: row.path)}
        lost = [held for path, held in by_path.items() if not (self.folder / path).exists()]
        gone = [held for held in lost if self.ledger.archive.swap(held, "")]
        if gone:
            _LOG.warning("%d files of the archive are not there; what was in them is made again.", len(gone))
        return sum(not row.gone for held in gone for row in held)

    def _secret(self) -> str:
        """Give what the customers' keys are made with; nobody needs to know it, and it is made once."""
        found = self.ledger.remembered(_SECRET)
        if not found:
            found = secrets.token_hex(16)
            self.ledger.changed(_SECRET, found)
        return found

    # --- joining -------------------------------------------------------------------------------------------------
    def join_months(self, stop: Callable[[], bool]) -> int:
        """Join the files of each month into one and drop what counts no more; gives the number of files made.

        Killed anywhere, nothing is lost or counted twice: the new file counts when the ledger says so, and what it
        stands for is removed a day later (`sweep`).
        """
        made = 0
        for _, rows in groupby(self.ledger.archive.filed(), lambda row: PurePosixPath(row.path).parent):
            for group in self._groups(list(rows)):
                if stop():
                    return made
                made += self._join(group)
        return made

    def _groups(self, rows: Sequence[Filed]) -> Iterator[list[Filed]]:
        """Give the files that are to be joined: small ones together up to a size, and every one with rows to drop."""
        group: list[Filed] = []
        size = 0
        for path, held in groupby(rows, lambda row: row.path):
            of_file, bytes_here = list(held), (self.folder / path).stat().st_size
            if bytes_here > _MOST_BYTES // 2 and not any(row.gone for row in of_file):
                continue
            if group and size + bytes_here > _MOST_BYTES:
                yield group
                group, size = [], 0
            group, size = group + of_file, size + bytes_here
        if len({row.path for row in group}) > 1 or any(row.gone for row in group):
            yield group

    def _join(self, rows: Sequence[Filed]) -> bool:
        """Put one file in the place of several; False when the ledger has changed meanwhile."""
        if all(row.gone for row in rows):
            return self.ledger.archive.swap(rows, "")
        paths = sorted({row.path for row in rows})
        content = self.workshop.join([self.folder / path for path in paths], {row.visit for row in rows if row.gone})
        path = f"{PurePosixPath(paths[0]).parent}/joined-{_mark(content)}.parquet"
        _write(self.folder, path, content)
        return self.ledger.archive.swap(rows, path)

    def sweep(self, *, older_than_s: float = _KEPT_S) -> None:
        """Remove this studio's files that the ledger does not name, once nobody can be reading them any more."""
        mine = self.folder / f"studio={studio.identity(self.studio)}"
        named = {row.path for row in self.ledger.archive.filed()}
        for path in mine.glob("ym=*/*"):
            relative = f"{mine.name}/{path.parent.name}/{path.name}"
            with contextlib.suppress(FileNotFoundError):
                if relative not in named and time.time() - path.stat().st_mtime >= older_than_s:
                    path.unlink()
        sum_files.sweep_sums(self.folder, manifest(self.studio, self.settings, self.ledger))

    # --- learning ------------------------------------------------------------------------------------------------
    def learn(self) -> list[str]:
        """Remember what this studio's shots teach for its next visits; gives a sentence a bay whose device drifts."""
        mine = studio.identity(self.studio)
        said = manifest(self.studio, self.settings, self.ledger)
        own = [path for path in said.paths if f"studio={mine}" in path.parts]
        history, drifting = self.workshop.learn(own, said.gone, mine, self.settings.bays_set_up)
        self.ledger.changed(HISTORY, history)
        self.ledger.changed(DRIFTING, json.dumps(drifting))
        return drifting

    # --- erasing -------------------------------------------------------------------------------------------------
    def erase(self, visits: Collection[str]) -> None:
        """Take all rows of visits out of the archive, its sums too, at once; the files they lay in are removed.

        Killed anywhere, it may be begun again.
        """
        notes, chosen = self.ledger.archive, set(visits)
        notes.drop(chosen)
        filed = notes.filed()
        touched = {row.path for row in filed if row.visit in chosen}
        for path in sorted(touched):
            if not self._join([row for row in filed if row.path == path]):
                raise OSError(errno.EBUSY, "the archive was changed by another program at this moment")
            (self.folder / path).unlink(missing_ok=True)
        months = {PurePosixPath(path).parent.name.removeprefix("ym=") for path in touched}
        sum_files.forget_sums(self.folder, months)
        if chosen:  # what was written and is not named may hold rows of these visits
            self.sweep(older_than_s=0.0)

    def left_of(self, visits: Collection[str]) -> list[Path]:
        """Name the files that have rows of visits, or may have, as nobody knows what is in them."""
        mine, filed = self.folder / f"studio={studio.identity(self.studio)}", self.ledger.archive.filed()
        named = {self.folder / row.path for row in filed}
        theirs = {self.folder / row.path for row in filed if row.visit in set(visits)}
        return sorted(theirs | {path for path in mine.glob("ym=*/*") if path not in named})


def _mark(content: bytes) -> str:
    """Give a file's content a short name."""
    return hashlib.sha256(content).hexdigest()[:16]


def _write(folder: Path, path: str, content: bytes) -> None:
    for made in (folder, *reversed([folder / part for part in PurePosixPath(path).parents if part.name])):
        made.mkdir(mode=0o700, exist_ok=True)
    studio.write_file(folder / path, content)
