"""Columns nobody knows that hold numbers: what each may be, in the units its values are possible in."""

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading import scales
from pipeline.reading.candidates import tried_units
from pipeline.reading.cells import CellRules
from pipeline.reading.columns import planned
from pipeline.reading.decimals import MIXED, proven_marks
from pipeline.reading.measuring import Numbers, read_numbers
from pipeline.reading.naming import heading, unit_spelled
from pipeline.reading.parts import Refused
from pipeline.reading.sources import open_source
from pipeline.reading.tables import read_table
from pipeline.records import FileReading, Given, RawTable, ShotFile
from pipeline.schema import Measurement, measurements
from pipeline.trade_words import null_words
from pipeline.units import Unit, units
from pipeline.unknown_columns import AS_STATED, Unknown

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

_MOST, _LONGEST_HEADING, _LONGEST_VALUE, _FIRST = 40, 200, 40, 4
_TEXT = "note"  # a column named so is kept as written


def unknown_columns_of(file: ShotFile, reading: FileReading, given: Given) -> tuple[Unknown, ...]:
    """Give the columns of a usable file that are left aside, hold numbers, and of which staff have said nothing yet."""
    asked = [text for text in dict.fromkeys(reading.unmapped) if _may_be_asked(text, reading, given)][:_MOST]
    if reading.outcome != "ok" or not asked:
        return ()
    table = _table(file, replace(given, columns={**given.columns, **dict.fromkeys(asked, _TEXT)}))
    if table is None or _headings(table) != reading.header:
        return ()
    of_name = Counter(reading.header)
    taken = {use.field for use in reading.columns}
    free = [measurement for measurement in measurements().values() if measurement.name not in taken]
    places = {
        place: read.text
        for place, read in enumerate(map(heading, table.header, table.labels))
        if read.text in asked and len(read.fields) != 1 and f"c{place}" in table.cells.columns
    }
    columns = {place: _numbers(table, place, free, reading, given) for place in places}
    found: dict[str, Unknown] = {}
    for place, text in places.items():
        cells = _filled(table.cells[f"c{place}"])
        if any(2 * _count(numbers) > len(cells) for numbers in columns[place].values()):
            values = tuple(value[:_LONGEST_VALUE] for value in cells.head(_FIRST))
            alone = of_name[text] == 1
            choices = tuple(_choices(table, place, columns[place], given)) if alone else ()
            found.setdefault(text, Unknown(text, values, choices, alone))
    return tuple(found.values())


def _may_be_asked(text: str, reading: FileReading, given: Given) -> bool:
    """Tell whether an answer can be kept for a heading; of nameless columns and hostile text it cannot."""
    return text in reading.header and text not in given.columns and text.isprintable() and len(text) < _LONGEST_HEADING


def _table(file: ShotFile, given: Given) -> RawTable | None:
    opened = open_source(file, frozenset(given.columns))
    table = opened if isinstance(opened, Refused) else read_table(opened.source, given, opened.warnings)
    return None if isinstance(table, Refused) else table


def _headings(table: RawTable) -> tuple[str, ...]:
    return tuple(read.text for read in map(heading, table.header, table.labels))


def _filled(cells: pl.Series) -> pl.Series:
    known = cells.drop_nulls()
    return known.filter(~known.str.to_lowercase().is_in(list(null_words())))


def _count(numbers: Numbers) -> int:
    return sum(len(values) - values.null_count() for values in (numbers.bare, numbers.stored) if values is not None)


def _numbers(
    table: RawTable, place: int, free: "Sequence[Measurement]", reading: FileReading, given: Given
) -> dict[str, Numbers]:
    """Read a column as each quantity it may be; those with the same units and side words read alike."""
    cells = table.cells.select(pl.col(f"c{place}").alias(""))
    mark = reading.dialect.decimal or given.decimal
    if mark in (None, MIXED):
        proven = proven_marks(
            cells.get_columns(), comma_separated=table.dialect.delimiter == ",", quoted=table.quoted, typed=table.typed
        ).decimal
        mark = proven if proven in (".", ",") else "."
    alike: dict[tuple[str, str, str], Numbers] = {}
    for measurement in free:
        kind = measurement.dimension, measurement.positive, measurement.golfer
        if kind not in alike:
            rules = CellRules(measurement, mark, given.handed, typed=table.typed)
            alike[kind] = read_numbers(cells, {"": rules})[""]
    return {one.name: alike[one.dimension, one.positive, one.golfer] for one in free}


def _choices(
    table: RawTable, place: int, read: "Mapping[str, Numbers]", given: Given
) -> "Iterator[tuple[str, tuple[str, ...]]]":
    """Give each quantity with the units in which most of the values are possible."""
    most = len(_filled(table.cells[f"c{place}"])) / 2
    said = heading(table.header[place], table.labels[place])
    stated = said.unit or unit_spelled(table.unit_cells[place])
    for name, numbers in read.items():
        plan = planned(table, place, replace(given, columns={said.text: name}))
        dimension = measurements()[name].dimension
        if plan.conflict or (stated and not plan.unit and stated.dimension not in (dimension, "ratio")):
            continue  # the file says that it is something else
        found, unit_from = scales.declared([plan], table.meta, given)[name]
        if numbers.all_stated or (found and unit_from in scales.STATED):
            tried: dict[str, Unit | None] = {AS_STATED: found}
        else:
            names = tried_units(name) or units()[dimension]
            tried = {unit: units()[dimension][unit] for unit in names}
        fitting = tuple(unit for unit, known in tried.items() if _possible(numbers, name, known) > most)
        if fitting:
            yield name, fitting


def _possible(numbers: Numbers, name: str, unit: Unit | None) -> int:
    """Count the values that are possible in a unit; cells that state theirs count by it."""
    low, high = measurements()[name].possible
    bare = int(scales.possible(numbers.bare, name, unit).sum()) if unit else 0
    return bare + (int(numbers.stored.is_between(low, high).sum()) if numbers.stored is not None else 0)
