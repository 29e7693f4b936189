"""Which column is which measurement, and which unit its heading or the units row states."""

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading.naming import Heading, heading, narrowed, unit_spelled, unit_stated
from pipeline.reading.times import holds_clock, holds_dates
from pipeline.records import Fault, Given, RawTable
from pipeline.schema import measurements, text_fields
from pipeline.trade_words import is_null_word, null_words
from pipeline.units import Unit, spelled

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Plan:
    """A column and what it becomes; field is "" for one that is kept aside."""

    place: int
    header: str
    field: str = ""
    unit: Unit | None = None
    unit_from: str = "none"
    conflict: tuple[str, str] | None = None  # units of heading and units row that differ
    date_place: int | None = None  # for a time of day: the column that holds its date


@dataclass(frozen=True, slots=True)
class Mapping:
    """What the columns of a file become; a fault when a person must say first."""

    plans: tuple[Plan, ...] = ()
    unmapped: tuple[str, ...] = ()
    warnings: frozenset[str] = frozenset()
    fault: Fault | None = None


MOST_USED = 128  # columns looked into; more would be hostile


def measured_places(headings: "Sequence[Heading]", given: Given) -> tuple[int, ...]:
    """Give the columns that may hold a measurement, ambiguous ones included."""
    return tuple(
        place
        for place in wanted_places(headings, given)
        if any(name in measurements() for name in (_given_field(headings[place].text, given), *headings[place].fields))
    )


def wanted_places(headings: "Sequence[Heading]", given: Given) -> tuple[int, ...]:
    """Give the columns whose cells are needed: those that may be used, and the nameless to see if they are empty."""
    places = [
        place
        for place, read in enumerate(headings)
        if (not read.text or read.fields or _given_field(read.text, given)) and given.columns.get(read.text, "?")
    ]
    return tuple(places[:MOST_USED])


def _given_field(text: str, given: Given) -> str | None:
    """Give what the profile says about a heading, or None when it says nothing we know."""
    name = given.columns.get(text)
    return name if name is not None and (not name or name in measurements() or name in text_fields()) else None


def map_columns(table: RawTable, given: Given) -> Mapping:
    """Map every column; the fault, if there is one, is the first question to answer."""
    plans: list[Plan] = []
    unmapped: dict[int, str] = {}
    warnings: set[str] = set()
    faults: list[Fault] = []
    for place, (name, label) in enumerate(zip(table.header, table.labels, strict=True)):
        empty = _all_empty(table.cells, place)
        read = heading(name, label)
        if read.repaired:
            warnings.add("mojibake_repaired")
        fields, plan = _plan(place, read, table.unit_cells[place], given)
        if len(fields) == 1 and fields[0] and f"c{place}" in table.cells.columns:
            plans.append(plan)
            continue
        if name or not empty:
            unmapped[place] = read.text or f"column {place + 1}"
        if len(fields) > 1 and not empty and any(f in measurements() and measurements()[f].key for f in fields):
            faults.append(Fault("ambiguous_column", {"column": read.text, "candidates": sorted(fields)}))
        elif len(fields) > 1:
            warnings.add("ambiguous_column")
        elif not fields and (name or not empty):
            warnings.add("unmapped_column" if name else "unnamed_column")
    found = _without_duplicates(table, plans, unmapped, warnings)
    return replace(found, fault=faults[0]) if faults else found


def decided_by_cells(table: RawTable, given: Given) -> tuple[int, ...]:
    """Give the columns whose cells have a say in the mapping: those of no one field and those that share one."""
    fields = {
        place: _plan(place, heading(name, label), table.unit_cells[place], given)[0]
        for place, (name, label) in enumerate(zip(table.header, table.labels, strict=True))
        if f"c{place}" in table.cells.columns
    }
    uses = Counter(fields.values())
    return tuple(place for place, found in fields.items() if len(found) != 1 or not found[0] or uses[found] > 1)


def planned(table: RawTable, place: int, given: Given) -> Plan:
    """Give what a column becomes when a profile says what it is."""
    return _plan(place, heading(table.header[place], table.labels[place]), table.unit_cells[place], given)[1]


def _all_empty(cells: pl.DataFrame, place: int) -> bool:
    """Tell whether a column has no cell filled; a column whose cells were not kept counts as empty."""
    name = f"c{place}"
    return name not in cells.columns or cells[name].null_count() == cells.height


def _plan(place: int, read: Heading, unit_cell: str, given: Given) -> tuple[tuple[str, ...], Plan]:
    """Give what a column may be ("" when it is kept aside on purpose) and its plan when that is one thing."""
    profile = _given_field(read.text, given)
    row_unit = unit_spelled(unit_cell) if unit_cell and not is_null_word(unit_cell) else None
    if profile is not None:
        dimension = measurements()[profile].dimension if profile in measurements() else ""
        fields: tuple[str, ...] = (profile,)
        stated = unit_stated(read.text, dimension) if dimension else None
    else:
        fields, stated = read.fields, read.unit
        if row_unit and row_unit.dimension != "ratio" and stated is None:
            fields = narrowed(fields, row_unit)
    plan = Plan(place, read.text, fields[0] if len(fields) == 1 else "")
    measurement = measurements().get(plan.field)
    if measurement is None:
        return fields, plan
    answered = spelled(given.column_units.get(read.text, ""), measurement.dimension)
    if answered:
        return fields, replace(plan, unit=answered, unit_from="profile")
    fits = row_unit if row_unit and row_unit.dimension == measurement.dimension else None
    if stated and row_unit and stated.name != row_unit.name:
        plan = replace(plan, conflict=(stated.name, row_unit.name))
    if stated or fits:
        plan = replace(plan, unit=stated or fits, unit_from="header" if stated else "units_row")
    return fields, plan


def _without_duplicates(table: RawTable, plans: list[Plan], unmapped: dict[int, str], warnings: set[str]) -> Mapping:
    """Keep one column a field: empty ones go, equal ones are used once, others are asked about."""
    plans = _dates_joined(table.cells, plans)
    kept: dict[str, Plan] = {}
    fault = None
    for name in dict.fromkeys(plan.field for plan in plans):
        same = [plan for plan in plans if plan.field == name and plan.date_place is None]
        filled = (
            [plan for plan in same if not _all_null(table.cells[f"c{plan.place}"], name)] if len(same) > 1 else same
        )
        first = (filled or same)[0]
        kept[name] = first
        for other in same:
            if other is not first and other.header != first.header:
                unmapped[other.place] = other.header
        if len(filled) < 2:
            continue
        if all(_equal(table.cells, first, other) for other in filled[1:]):
            warnings.add("duplicate_column_identical")
        else:
            facts = {"field": name, "columns": [plan.place + 1 for plan in filled]}
            fault = fault or Fault("duplicate_field", facts)
    chosen = tuple(plan for plan in plans if kept[plan.field] is plan or plan.date_place is not None)
    return Mapping(chosen, tuple(unmapped[place] for place in sorted(unmapped)), frozenset(warnings), fault)


def _dates_joined(cells: pl.DataFrame, plans: list[Plan]) -> list[Plan]:
    """Let a column of dates and one of times of day be one measurement of time, not two."""
    same = [plan for plan in plans if plan.field == "time"]
    if len(same) != 2:
        return plans
    for date, clock in (same, same[::-1]):
        if holds_dates(cells[f"c{date.place}"]) and holds_clock(cells[f"c{clock.place}"]):
            joined = replace(clock, date_place=date.place)
            return [joined if plan is clock else plan for plan in plans]
    return plans


def _all_null(cells: pl.Series, name: str) -> bool:
    if name not in measurements():
        return cells.null_count() == len(cells)
    return bool(cells.drop_nulls().str.to_lowercase().is_in(list(null_words())).all())


def _equal(cells: pl.DataFrame, first: Plan, other: Plan) -> bool:
    """Tell whether two columns say the same in every row, as text or as plain numbers in one unit."""
    one, two = cells[f"c{first.place}"], cells[f"c{other.place}"]
    if first.unit != other.unit:
        return False
    numbers = [column.cast(pl.Float64, strict=False) for column in (one, two)]
    same = one.eq_missing(two)
    if first.field in measurements():
        same = same | (numbers[0] == numbers[1]).fill_null(value=False)
    return bool(same.all())
