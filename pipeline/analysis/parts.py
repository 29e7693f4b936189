"""Shots parted into groups, and what is asked of all groups at once: medians, steps between printed values.

A frame is that of one visit, or of several with a column `visit`: then files, sets and kinds of club of two visits are
different ones.
"""

from collections.abc import Callable

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

_SMALLEST_STEP = 1e-6  # in any stored unit, far below what a device prints


def codes(frame: pl.DataFrame, *names: str) -> Codes:
    """Give each row the number of its group, 0 and up in the order of first rows: alike in these columns, of one visit.

    Source: definition. A null is like another one.
    """
    keys = [name for name in ("visit", *names) if name in frame.columns]
    if not keys:
        return np.zeros(frame.height, dtype=np.intp)
    row = pl.col("row").first().over(keys)
    first = frame.select(keys).with_row_index("row").select(row).to_series().to_numpy().astype(np.intp)
    return np.asarray((np.cumsum(first == np.arange(len(first))) - 1)[first], dtype=np.intp)


def renumbered(groups: Codes) -> tuple[Codes, Codes]:
    """Give groups new numbers, in the order of their first rows, and the first row of each group.

    Source: definition.
    """
    _, first, inverse = np.unique(groups, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    return rank[inverse], first[order]


def _in_order(values: Floats, groups: Codes) -> tuple[Floats, Codes]:
    """Order values within their groups, group after group; two plain sorts are three times as fast as numpy.lexsort."""
    n, order = len(values), np.argsort(values)
    rank = np.empty(n, dtype=np.int64)
    rank[order] = np.arange(n)
    keys = np.sort(groups * n + rank)
    return values[order[keys % n]], keys // n


def medians(values: Floats, groups: Codes, count: int) -> Floats:
    """Give the median of each group, shape (count,), the values' unit; NaN for an empty one.

    values: shape (n,), finite; groups: (n,), 0 … count - 1. Source: definition; the same as numpy.median of each.
    """
    ordered, _ = _in_order(values, groups)
    sizes = np.bincount(groups, minlength=count)
    starts = np.cumsum(sizes) - sizes
    found, some = np.full(count, np.nan), sizes > 0
    low, high = starts + (sizes - 1) // 2, starts + sizes // 2
    found[some] = (ordered[low[some]] + ordered[high[some]]) / 2 + 0.0  # never -0.0
    return found


def steps(values: Floats, groups: Codes, count: int) -> Floats:
    """Give the smallest step between printed values of each group, shape (count,); 0 for fewer than two values.

    values: shape (n,), finite. The file's own unit is gone by now, so the grid is read from the values: the smallest
    difference between sorted distinct ones. With few shots that is coarser than the truth, which makes the duplicate
    rule more careful. Source: own rule.
    """
    ordered, of = _in_order(values, groups)
    gaps = np.diff(ordered)
    # two files in different units print the same value an ulp apart: that is no step
    real = (of[1:] == of[:-1]) & (gaps > _SMALLEST_STEP)
    found = np.full(count, np.inf)
    np.minimum.at(found, of[1:][real], gaps[real])
    return np.where(np.isfinite(found), found, 0.0)


def by_size(function: Callable[[int], float], sizes: Codes) -> Floats:
    """Give a function of each size, called once for every size there is. Source: definition."""
    each, inverse = np.unique(sizes, return_inverse=True)
    return np.array([function(int(size)) for size in each], dtype=np.float64)[inverse]
