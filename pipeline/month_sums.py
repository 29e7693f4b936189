"""Sums over the archive month by month: kept once made, and right by their name, so nothing must be kept in step."""

import os
import uuid
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

import polars as pl

from pipeline import engines, sum_files
from pipeline.rollup_records import ArchiveManifest
from pipeline.shot_sums import COLUMNS, Kind
from pipeline.sum_files import Partition

T = TypeVar("T")
TRIES = 3  # a manifest is old at most until the compaction that overtook it is done
_AT_ONCE = {"polars": 64, "spark": 1024}  # months summed in one go: few enough for the memory, enough to be quick
_PRIVATE = 0o600


def with_newest(ask: Callable[[], ArchiveManifest], use: Callable[[ArchiveManifest], T]) -> T:
    """Use the archive's manifest, and ask for it anew when a file of it has gone meanwhile.

    Another process may compact the archive between the manifest and the reading: whoever asks for the manifest calls
    what reads the archive through this. Raises FileNotFoundError if a file is missing even then.
    """
    for _ in range(TRIES - 1):
        with suppress(FileNotFoundError):
            return use(ask())
    return use(ask())


def gathered(
    manifest: ArchiveManifest, months: tuple[str | None, str | None], kind: Kind, engine: str = "polars"
) -> pl.LazyFrame:
    """Give the sums of each month of each studio, from the kept files; what is not kept is summed, and kept.

    months: the first and the last one, None: all. A folder that cannot be written to only costs time. Raises what
    `engines.collected` raises.
    """
    parts = sum_files.partitions(manifest, *months)
    lost = _lost(parts, manifest.gone)
    places = {part: part.folder / f"{part.name(lost[part])}.{kind.name}.parquet" for part in parts}
    lacking = [part for part in parts if not os.access(places[part], os.R_OK)]  # another user's are as if missing
    loose: dict[Partition, pl.DataFrame] = {}
    for start in range(0, len(lacking), _AT_ONCE[engine]):
        some = {part: lost[part] for part in lacking[start : start + _AT_ONCE[engine]]}
        loose |= {part: frame for part, frame in _summed(some, kind, engine) if not _kept(frame, places[part])}
    kept = [place for part, place in places.items() if part not in loose]
    frames = [frame.lazy() for frame in loose.values()]
    frames += [engines.scanned(kept, dict(kind.schema))] if kept else []
    return pl.concat(frames) if frames else pl.LazyFrame(schema=kind.schema)


def _lost(parts: Sequence[Partition], gone: Collection[int]) -> dict[Partition, tuple[int, ...]]:
    """Say which visits in each month count no more, so that only such months are summed anew."""
    paths = [path for part in parts for path in part.paths]
    found: dict[str, list[int]] = {}
    if gone and paths:
        scan = engines.scanned(paths, {"visit": pl.Int64}, "file").filter(pl.col("visit").is_in(sorted(gone))).unique()
        found = dict(scan.group_by("file").agg("visit").collect(engine="streaming").select("file", "visit").iter_rows())
    return {part: tuple(sorted({v for path in part.paths for v in found.get(str(path), ())})) for part in parts}


def _summed(
    lost: dict[Partition, tuple[int, ...]], kind: Kind, engine: str
) -> Iterator[tuple[Partition, pl.DataFrame]]:
    """Sum some months in one go. lost: these, and the visits in each that count no more."""
    gone = {visit for visits in lost.values() for visit in visits}
    paths = [path for part in lost for path in part.paths]
    found = engines.collected(paths, COLUMNS, lambda shots: kind.summed(shots, gone), engine)
    whole = found.select(pl.col(name).cast(of) for name, of in kind.schema.items()).sort(kind.keys)
    by_month = whole.partition_by("studio", "month", as_dict=True)
    frames = [(part, by_month.pop((part.studio, part.month), whole.clear())) for part in lost]
    if by_month:
        message = f"the archive has rows in the folder of another month or studio than theirs: {min(by_month)}"
        raise ValueError(message)
    yield from frames


def _kept(frame: pl.DataFrame, place: Path) -> bool:
    """Keep sums, whole or not at all; False where nothing can be written."""
    aside = place.with_name(f"{uuid.uuid4().hex}.{place.name}")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        flags = os.O_CREAT | os.O_EXCL | os.O_RDWR | getattr(os, "O_BINARY", 0)
        with os.fdopen(os.open(aside, flags, _PRIVATE), "wb") as file:
            frame.write_parquet(file, compression="zstd")
            file.flush()
            os.fsync(file.fileno())
        aside.replace(place)
    except OSError:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
        return False
    sum_files.sweep_aside(place)
    return True
