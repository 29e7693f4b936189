"""Columns of text → numbers: plain cells all at once, the others cell by cell, each different text once."""

from dataclasses import dataclass, field
from math import isfinite
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading.cells import CellReading, CellRules, read_cell

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, slots=True)
class Numbers:
    """The cells of one column read, unit of the column not yet applied."""

    bare: pl.Series  # numbers without a unit of their own
    stored: pl.Series | None = None  # values of cells that state a unit, converted
    units: frozenset[str] = frozenset()  # units stated in cells
    reasons: "Mapping[int, str]" = field(default_factory=dict)  # row → why its cell is no value
    golfer: bool = False
    repaired: bool = False

    @property
    def all_stated(self) -> bool:
        """Tell whether every cell with a number states its unit."""
        return bool(self.units) and self.bare.null_count() == len(self.bare)

    @property
    def empty(self) -> bool:
        """Tell whether no cell holds a number."""
        return not self.units and self.bare.null_count() == len(self.bare)


def read_numbers(cells: pl.DataFrame, rules: "Mapping[str, CellRules]") -> dict[str, Numbers]:
    """Read text columns, named as in the rules."""
    plain = cells.select(_turned(plain_number(name, rule.decimal), rule) for name, rule in rules.items())
    return {name: _with_odd_cells(cells[name], _finite(plain[name]), rule) for name, rule in rules.items()}


def plain_numbers(columns: "Mapping[str, pl.Series]", rules: "Mapping[str, CellRules]") -> dict[str, Numbers]:
    """Give columns whose cells are known to be plain numbers, null words or empty, read already."""
    frame = pl.DataFrame([column.alias(name) for name, column in columns.items()])
    frame = frame.select(_turned(pl.col(name), rule) for name, rule in rules.items())
    return {name: Numbers(frame[name]) for name in rules}


def _turned(column: pl.Expr, rules: CellRules) -> pl.Expr:
    return (column * -1 + 0.0) if rules.turned else column


def _finite(numbers: pl.Series) -> pl.Series:
    """Take out what only reads as a number: `inf`, `nan`, digits beyond measure."""
    return numbers if isfinite(numbers.sum()) else numbers.set(~numbers.is_finite(), None)


def plain_number(name: str, decimal: str | None) -> pl.Expr:
    """Read what is a plain number under the file's decimal mark; anything doubtful is left to the slow way."""
    text = pl.col(name)
    if decimal == ".":
        usual = text
    elif decimal == ",":
        usual = pl.when(~text.str.contains(".", literal=True)).then(text.str.replace(",", ".", literal=True))
    else:
        usual = pl.when(~text.str.contains("[.,]")).then(text)
    return usual.cast(pl.Float64, strict=False).alias(name)


def _with_odd_cells(texts: pl.Series, plain: pl.Series, rules: CellRules) -> Numbers:
    if plain.null_count() == texts.null_count():
        return Numbers(plain)
    rows = (texts.is_not_null() & plain.is_null()).arg_true()
    odd = texts.gather(rows)
    read = {text: read_cell(text, rules) for text in odd.unique().to_list()}
    found = [read[text] for text in odd.to_list()]
    bare = _scattered(plain, rows, [reading.bare for reading in found])
    units = frozenset(reading.unit for reading in read.values() if reading.unit)
    nothing = pl.repeat(None, len(texts), dtype=pl.Float64, eager=True)
    return Numbers(
        bare=bare,
        stored=_scattered(nothing, rows, [reading.stored for reading in found]) if units else None,
        units=units,
        reasons=_reasons(rows.to_list(), found),
        golfer=any(reading.golfer for reading in read.values()),
        repaired=any(reading.repaired for reading in read.values()),
    )


def _scattered(column: pl.Series, rows: pl.Series, values: list[float | None]) -> pl.Series:
    return column.clone().scatter(rows, pl.Series(values, dtype=pl.Float64))


def _reasons(rows: list[int], found: list[CellReading]) -> dict[int, str]:
    return {row: reading.reason for row, reading in zip(rows, found, strict=True) if reading.reason}
