"""Invented bays as rows of the archive: golfers differ, one visit a golfer, some devices drift. No figure is real."""

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline import shot_archive
from pipeline.rollup_records import ArchiveManifest

FIRST_DAY = dt.date(2026, 1, 1)


@dataclass(frozen=True, slots=True)
class Bays:
    """So many bays alike, one visit a day in each.

    drift: of ball speed from the visit of that number on, as a share; mended: the visit from which it is gone again.
    """

    many: int
    visits: int
    drift: float = 0.0
    begins: int = 60
    mended: int = 10**9
    shots: int = 16
    job: str = "driver"
    named: str = ""


def rows(of: Bays, seed: int) -> pl.DataFrame:
    """Make the shots: a golfer's best strikes come near 1.49, most stay below; middles of spin and carry vary."""
    generator = np.random.default_rng(seed)
    shape = (of.many, of.visits, of.shots)
    bay, visit, _ = np.indices(shape)
    golfer = generator.standard_normal((3, of.many, of.visits, 1))
    best = 1.49 + 0.006 * golfer[0] + 0.008 * generator.standard_normal(shape)
    ratio = best - 0.03 * generator.exponential(size=shape)
    ratio *= np.where((visit >= of.begins) & (visit < of.mended), 1 + of.drift, 1.0)
    spin = 2600 + 300 * golfer[1] + 250 * generator.standard_normal(shape)
    carry = 1.0 + 0.01 * golfer[2] + 0.015 * generator.standard_normal(shape)
    flat = {
        "bay": [f"{of.named}{number}" for number in bay.ravel()],
        "day": [FIRST_DAY + dt.timedelta(days=int(number)) for number in visit.ravel()],
        "visit": (1 + bay * of.visits + visit).ravel(),
        "customer": (1 + bay * of.visits + visit).ravel(),
        "smash_factor_e4": np.rint(1e4 * ratio).ravel(),
        "spin_rate_rpm": np.rint(spin).ravel(),
        "carry_over_modelled_e4": np.rint(1e4 * carry).ravel(),
    }
    schema = shot_archive.schema()
    fixed = {"studio": "s", "job": of.job, "fate": "counted", "month": "2026-01", "number": 1, "own": False}
    made = pl.DataFrame(flat).with_columns(pl.lit(value).alias(name) for name, value in fixed.items())
    rest = [pl.lit(None).alias(name) for name in schema if name not in made.columns]
    return made.with_columns(rest).select(pl.col(name).cast(kind) for name, kind in schema.items())


def filed(path: Path, *frames: pl.DataFrame, gone: tuple[int, ...] = ()) -> ArchiveManifest:
    """Write rows as one file of an archive."""
    path.write_bytes(shot_archive.written(pl.concat(frames)))
    return ArchiveManifest((path,), gone)
