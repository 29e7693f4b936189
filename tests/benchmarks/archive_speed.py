"""What the sums over an archive cost: python tests/benchmarks/archive_speed.py [shots in all] [folder].

The archive is invented and always the same. Ratios are of runs that take turns, the quickest of three each. The memory
is that of a process of its own, which does nothing else. test_archive_speed.py asserts what a small run must give.
"""

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline import engines, model_sums, month_sums, shot_archive, sum_files
from pipeline.analysis.rollup import roll_up
from pipeline.rollup_records import ArchiveManifest
from pipeline.shot_sums import CARRY, COLUMNS, SPEEDS, SUMS
from tests.invented_archive import written

SHOTS: Final = 130  # of a visit
RUNS: Final = 3
MONTHS: Final = tuple(f"{year}-{month:02}" for year in (2025, 2026) for month in range(1, 13))
JOBS: Final = np.array(["driver", "iron 7", "wood 3", "wedge 56"])


# --- the invented archive -----------------------------------------------------------------------------------------
def month_of_studio(studio: int, month: int, shots: int, models: int) -> pl.DataFrame:
    """Make the shots of one studio and month: visits of one customer who hits the own club and four others of a job."""
    g = np.random.default_rng(1_000 * studio + month)
    visits = max(round(shots / SHOTS), 1)
    each = shots // visits
    visit = np.repeat(np.arange(visits), each)
    many = len(visit)
    club = np.tile(np.arange(each) * 5 // each, visits)  # 0: the own one
    tried = g.integers(0, models, (visits, 5))
    model = tried[visit, club]
    job = JOBS[g.choice(4, visits, p=(0.5, 0.3, 0.1, 0.1))[visit]]
    level, speed = g.normal(19_000, 2_000, visits)[visit], g.normal(4_300, 350, visits)[visit]
    carry = level + 8 * (model % 50) - 500 * (club == 0) + g.normal(0, 900, many)
    plain = {
        "studio": f"s{studio:03}", "month": MONTHS[month], "bay": "1", "job": job, "own": club == 0, "compares": True,
        "carry_measured": True, "shaft": np.array(["S", "R", "X"])[model % 3], "loft_cdeg": 900 + 75 * (model % 3),
        "visit": (1 << 50) + (studio << 32) + (month << 20) + visit,
        "customer": (1 << 50) + (studio << 32) + g.integers(0, 12 * visits, visits)[visit],
        "model": np.array([f"Head {k:03}" for k in range(models)])[model],
        "fate": np.array(["counted", "mishit", "bad_read"])[g.choice(3, many, p=(0.93, 0.05, 0.02))],
        "number": np.tile(np.arange(each), visits) + 1,
        CARRY: carry, SPEEDS[0]: speed + g.normal(0, 40, many), SPEEDS[1]: 1.46 * speed + g.normal(0, 60, many),
    }  # fmt: skip
    others = {
        name: g.normal(2_000, 500, many) for name in shot_archive.schema() if name.endswith(("_cm", "_cdeg", "_e4"))
    }
    rows = pl.DataFrame({**others, **plain, "spin_rate_rpm": g.normal(2_600, 300, many)})
    day = pl.lit(f"{MONTHS[month]}-15").str.to_date().alias("day")
    kinds = shot_archive.schema()
    return rows.with_columns(day).select(pl.col(name).cast(kind, strict=False) for name, kind in kinds.items())


def make(root: Path, shots: int, studios: int, models: int = 300, files: int = 1) -> ArchiveManifest:
    """Write an archive of so many shots: 24 months of each studio, each month in so many files."""
    paths = []
    for studio in range(studios):
        for month, name in enumerate(MONTHS):
            rows = month_of_studio(studio, month, shots // (studios * len(MONTHS)), models)
            size = -(-rows.height // files)
            parts = [rows[start : start + size] for start in range(0, rows.height, size)]
            paths += [written(root, f"s{studio:03}", name, part) for part in parts]
    return ArchiveManifest(tuple(paths))


# --- what is measured ---------------------------------------------------------------------------------------------
def raw(paths: tuple[Path, ...]) -> None:
    """Read the columns that are summed, and do next to nothing with them."""
    schema = {name: shot_archive.schema()[name] for name in COLUMNS}
    numbers = [name for name, kind in schema.items() if kind != pl.String]
    texts = [name for name, kind in schema.items() if kind == pl.String]
    sums = [pl.col(name).cast(pl.Int64).sum() for name in numbers]
    engines.scanned(paths, schema).select(*sums, *(pl.col(name).max() for name in texts)).collect(engine="streaming")


def direct(paths: tuple[Path, ...]) -> pl.DataFrame:
    """Sum the shots in one go, without kept sums."""
    return engines.collected(paths, COLUMNS, lambda shots: SUMS.summed(shots, ()), "polars")


def kept(manifest: ArchiveManifest) -> pl.DataFrame:
    """Give the same sums from the kept ones."""
    return month_sums.gathered(manifest, (None, None), SUMS).collect(engine="streaming")


def quickest(*what: Callable[[], object]) -> list[float]:
    """Let them take turns; give the quickest time of each [s]."""
    spent: list[list[float]] = [[] for _ in what]
    for _ in range(RUNS):
        for mine, run in zip(spent, what, strict=True):
            start = time.perf_counter()
            run()
            mine.append(time.perf_counter() - start)
    return [min(mine) for mine in spent]


@dataclass(frozen=True, slots=True)
class Speeds:
    """Seconds: raw reading, sums in one go, making and keeping them, the kept ones, pieces of these; and how many."""

    raw: float
    direct: float
    keeping: float
    kept: float
    piecing: float
    pieces: int


def speeds(manifest: ArchiveManifest) -> Speeds:
    """Measure one archive; its sums are kept anew."""
    root = manifest.paths[0].parents[2]
    sum_files.forget_sums(root)
    start = time.perf_counter()
    found = model_sums.pieces(manifest)
    keeping = time.perf_counter() - start
    assert kept(manifest).sort(SUMS.keys).equals(direct(manifest.paths).sort(SUMS.keys))
    times = quickest(
        lambda: raw(manifest.paths),
        lambda: direct(manifest.paths),
        lambda: kept(manifest),
        lambda: model_sums.pieces(manifest),
    )
    return Speeds(times[0], times[1], keeping, times[2], times[3], found.height)


def joined_over_many(root: Path, shots: int) -> tuple[float, float]:
    """Give the seconds of the same sums over a file a visit and over a file a month."""
    many = make(root / "many", shots, 10, files=max(shots // (240 * SHOTS), 1))
    one = make(root / "one", shots, 10)
    assert direct(many.paths).sort(SUMS.keys).equals(direct(one.paths).sort(SUMS.keys))
    print(f"  {len(many.paths)} files against {len(one.paths)}")
    slow, quick = quickest(lambda: direct(many.paths), lambda: direct(one.paths))
    return slow, quick


def peak_mb(root: Path, what: str) -> float:
    """Run one thing in a process of its own, and give the most memory it had [MB]."""
    done = subprocess.run([sys.executable, __file__, what, str(root)], check=True, capture_output=True, text=True)
    return float(done.stdout)


def whole(root: Path) -> float:
    """Give the seconds of gathering and rolling up 1,000 customers and 50 models, from kept sums."""
    manifest = make(root / "whole", 1_000 * SHOTS, 2, models=50)
    model_sums.pieces(manifest)
    (spent,) = quickest(lambda: roll_up(model_sums.pieces(manifest)))
    return spent


# --- the tables ---------------------------------------------------------------------------------------------------
def main(shots: int, root: Path) -> None:
    """Print all that is measured."""
    print(f"gather and roll up 1,000 visits, 50 models: {whole(root):.2f} s")
    slow, quick = joined_over_many(root, min(shots, 1_000_000))
    print(f"  many {slow:.2f} s, joined {quick:.3f} s: {quick / slow:.3f}")
    manifest = make(root / "big", shots, 100)
    size = sum(path.stat().st_size for path in manifest.paths)
    print(f"{shots:,} shots, {len(manifest.paths)} files, {size / shots:.1f} bytes a shot")
    found = speeds(manifest)
    print(f"  raw {found.raw:.2f} s, direct {found.direct:.2f} s: {found.direct / found.raw:.2f}")
    print(f"  kept {found.kept:.2f} s, by direct: {found.kept / found.direct:.2f}; keeping took {found.keeping:.1f} s")
    print(f"  {found.pieces:,} pieces in {found.piecing:.2f} s")
    for what in ("direct", "pieces", "keeping"):
        print(f"  most memory of {what}: {peak_mb(root / 'big', what):.0f} MB")


def child(what: str, root: Path) -> None:
    """Do one thing and print the most memory this process had [MB]."""
    manifest = ArchiveManifest(tuple(sorted(root.glob("studio=*/ym=*/*.parquet"))))
    if what == "keeping":
        sum_files.forget_sums(root)
    if what == "direct":
        direct(manifest.paths)
    else:
        model_sums.pieces(manifest)
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text(encoding="utf-8").splitlines())
    print(int(status["VmHWM"].split()[0]) / 1024)  # getrusage would count the parent's memory, too


if __name__ == "__main__":
    if len(sys.argv) > 1 and not sys.argv[1].isdecimal():
        child(sys.argv[1], Path(sys.argv[2]))
    else:
        place = Path(tempfile.mkdtemp(dir=sys.argv[2] if len(sys.argv) > 2 else None))
        try:
            main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000_000, place)
        finally:
            shutil.rmtree(place)
