"""What is summed over the archive's shots: one expression, the same on every engine narwhals runs on.

Measures are whole numbers, so that sums do not depend on the order an engine adds them in: the results are equal to the
last digit. A square is at most 40,000², so 64 bits hold the sum of the squares of 5 thousand million shots.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any

import narwhals.stable.v2 as nw
import polars as pl

from pipeline.analysis.fates import COUNTING

Frame = nw.LazyFrame[Any]
CARRY = "carry_cm"
SPEEDS = ("club_speed_cmps", "ball_speed_cmps")
BIN_CM = 50  # width of a bin of the carry's histogram
_BUILD = ("job", "model", "loft_cdeg", "shaft", "own")
_PARTITION = ("studio", "month")
SUM_KEYS = (*_PARTITION, "customer", "visit", *_BUILD)
CARRY_KEYS = (*_PARTITION, *_BUILD, "bin")
COLUMNS = (*_PARTITION, "customer", "visit", *_BUILD, "compares", "fate", CARRY, *SPEEDS)  # of the archive


@dataclass(frozen=True, slots=True)
class Kind:
    """One thing that is summed: its name, how, and the columns that come out. keys: one row each."""

    name: str
    summed: Callable[[Frame, Collection[int]], Frame]
    keys: tuple[str, ...]
    schema: dict[str, type[pl.DataType]]


def counted(shots: Frame, gone: Collection[int]) -> Frame:
    """Keep the shots a comparison may use: counted, with a carry, and of no visit that counts no more."""
    kept = shots.filter(nw.col("fate").is_in(COUNTING), nw.col("compares"), ~nw.col(CARRY).is_null())
    return kept.filter(~nw.col("visit").is_in(sorted(gone))) if gone else kept


def moments(shots: Frame, keys: Collection[str], squared: Collection[str], plain: Collection[str]) -> Frame:
    """Sum measures up by some keys; a null counts nowhere.

    squared: measures with n, sum and sum of squares (columns n_x, sum_x, squares_x); plain: those without squares.
    """
    wide = {name: nw.col(name).fill_null(0).cast(nw.Int64) for name in (*squared, *plain)}
    made = [value.alias(f"sum_{name}") for name, value in wide.items()]
    made += [(~nw.col(name).is_null()).cast(nw.Int64).alias(f"n_{name}") for name in wide]
    made += [(wide[name] * wide[name]).alias(f"squares_{name}") for name in squared]
    names = [f"{what}_{name}" for name in wide for what in ("n", "sum")] + [f"squares_{name}" for name in squared]
    return shots.select(*(nw.col(name) for name in keys), *made).group_by(*keys).agg(nw.col(*names).sum())


def _sums(shots: Frame, gone: Collection[int]) -> Frame:
    return moments(counted(shots, gone), SUM_KEYS, (CARRY,), SPEEDS)


def _carries(shots: Frame, gone: Collection[int]) -> Frame:
    binned = counted(shots, gone).with_columns(
        (nw.col(CARRY) // BIN_CM).cast(nw.Int64).alias("bin"), nw.lit(1).cast(nw.Int64).alias("n")
    )
    return binned.group_by(*CARRY_KEYS).agg(nw.col("n").sum())


_TYPES: dict[str, type[pl.DataType]] = {
    "studio": pl.String, "month": pl.String, "customer": pl.Int64, "visit": pl.Int64, "job": pl.String,
    "model": pl.String, "loft_cdeg": pl.Int32, "shaft": pl.String, "own": pl.Boolean, "bin": pl.Int64,
}  # fmt: skip
_SUMMED = [f"{what}_{name}" for name in (CARRY, *SPEEDS) for what in ("n", "sum")] + [f"squares_{CARRY}"]
SUMS = Kind("sums", _sums, SUM_KEYS, {name: _TYPES[name] for name in SUM_KEYS} | dict.fromkeys(_SUMMED, pl.Int64))
CARRIES = Kind("carries", _carries, CARRY_KEYS, {name: _TYPES[name] for name in CARRY_KEYS} | {"n": pl.Int64})
