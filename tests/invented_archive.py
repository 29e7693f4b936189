"""An invented archive for tests and benchmarks: shots as rows, files where the program would put them."""

import hashlib
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import polars as pl

from pipeline import shot_archive
from pipeline.rollup_records import ArchiveManifest

Row = dict[str, Any]
PLAIN: Row = {
    "studio": "s1", "month": "2026-05", "visit": 1, "customer": 1, "bay": "", "number": 1, "job": "driver",
    "model": "A", "loft_cdeg": 1050, "shaft": "S", "own": False, "compares": True, "fate": "counted",
    "carry_measured": True, "carry_cm": 20_000, "club_speed_cmps": 4_500, "ball_speed_cmps": 6_500,
}  # fmt: skip


def frame(rows: Iterable[Row]) -> pl.DataFrame:
    """Make rows of the archive; what is not said is an ordinary drive."""
    return pl.DataFrame([{**PLAIN, **row} for row in rows], schema=shot_archive.schema(), orient="row")


def archive(root: Path, rows: Iterable[Row], files: int = 1, gone: tuple[int, ...] = ()) -> ArchiveManifest:
    """Write rows to an archive, each month's in so many files."""
    months: dict[tuple[str, str], list[Row]] = defaultdict(list)
    for row in rows:
        whole = {**PLAIN, **row}
        months[whole["studio"], whole["month"]].append(whole)
    paths = [
        written(root, studio, month, frame(mine[start::files]))
        for (studio, month), mine in sorted(months.items())
        for start in range(min(files, len(mine)))
    ]
    return ArchiveManifest(tuple(paths), gone)


def written(root: Path, studio: str, month: str, rows: pl.DataFrame) -> Path:
    """Write one file of an archive, named by what is in it."""
    content = shot_archive.written(rows)
    path = root / f"studio={studio}" / f"ym={month}" / f"{hashlib.sha256(content).hexdigest()[:16]}.parquet"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path
