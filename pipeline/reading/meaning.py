"""A table of text → measurements: columns mapped, decimal mark and units settled, cells read; or a question."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading import scales
from pipeline.reading.candidates import tried_units
from pipeline.reading.cells import CellRules, side_of
from pipeline.reading.columns import Plan, map_columns
from pipeline.reading.decimals import MIXED, Marks, proven_marks, settle
from pipeline.reading.measuring import Numbers, plain_numbers, read_numbers
from pipeline.reading.parts import Refused
from pipeline.records import ColumnUse, Dialect, Fault, Given, RawTable
from pipeline.schema import measurements
from pipeline.units import Unit, unit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


@dataclass(frozen=True, slots=True)
class Meaning:
    """What the columns of a table mean, with their numbers."""

    dialect: Dialect
    plans: tuple[Plan, ...]
    unmapped: tuple[str, ...]
    numbers: "Mapping[str, Numbers]"
    scales: "Mapping[str, scales.Scale]"
    warnings: frozenset[str]
    date_order: str | None = None  # answered by staff


@dataclass(frozen=True, slots=True)
class _Decimal:
    """The decimal mark of the file, and for cells that may be read both ways the mark column by column."""

    mark: str | None
    doubtful: "Mapping[str, str]"
    warnings: frozenset[str] = frozenset()


def understand(table: RawTable, given: Given, plain: pl.DataFrame | None = None) -> Meaning | Refused:
    """Understand a table, or say which question must be answered first.

    plain: the numbers of the measured columns, named as in the table, where every cell is known to be plain or empty.
    """
    mapping = map_columns(table, given)
    warnings = table.warnings | mapping.warnings
    measured = [plan for plan in mapping.plans if plan.field in measurements()]
    declared = scales.declared(measured, table.meta, given)
    known = tuple(_as_declared(plan, declared) for plan in mapping.plans)
    if mapping.fault:
        return Refused(mapping.fault, table.dialect, table.meta, warnings, known, mapping.unmapped)
    cells = pl.DataFrame([table.cells[f"c{plan.place}"].alias(plan.field) for plan in measured])
    decimal = _decimal(table, cells, measured, declared, given.decimal)
    if isinstance(decimal, Fault):
        return Refused(decimal, table.dialect, table.meta, warnings, known, mapping.unmapped)
    dialect = table.dialect if table.dialect.encoding == "json" else replace(table.dialect, decimal=decimal.mark)
    rules = _rules(measured, decimal, given, typed=table.typed)
    if plain is None:
        numbers = read_numbers(cells, rules)
    else:
        numbers = plain_numbers({plan.field: plain[f"c{plan.place}"] for plan in measured}, rules)
    warnings |= decimal.warnings | _noticed(numbers, declared)
    fault = scales.question(measured, numbers, declared) or _hand_question(table, mapping.plans, numbers, given)
    if fault:
        return Refused(fault, dialect, table.meta, warnings, known, mapping.unmapped)
    settled = {name: scales.scale(numbers[name], *declared[name]) for name in numbers}
    return Meaning(dialect, mapping.plans, mapping.unmapped, numbers, settled, warnings, given.date_order)


def _as_declared(plan: Plan, declared: "Mapping[str, tuple[Unit | None, str]]") -> ColumnUse:
    """Describe a column as far as it is understood while a question is open."""
    found, unit_from = declared.get(plan.field, (None, "none"))
    return ColumnUse(plan.header, plan.field, found.name if found else None, unit_from)


def _rules(plans: "Sequence[Plan]", decimal: _Decimal, given: Given, *, typed: bool) -> dict[str, CellRules]:
    return {
        plan.field: CellRules(
            measurement=measurements()[plan.field],
            decimal=decimal.mark,
            hand=_hand(given),
            doubtful=decimal.doubtful.get(plan.field),
            typed=typed,
            turned=bool(_turn(plan, given)),
        )
        for plan in plans
    }


def _turn(plan: Plan, given: Given) -> bool | None:
    """Tell whether a column's + means the other side than ours; None when that needs the unknown hand."""
    word = given.column_signs.get(plan.header)
    side = side_of(word, measurements()[plan.field]) if word else None
    if side is None:
        return False
    if side.golfer and _hand(given) is None:
        return None
    return (side.sign < 0) != (side.golfer and _hand(given) == "left")


def _hand(given: Given) -> str | None:
    hand = (given.handed or "").lower()
    return hand if hand in {"left", "right"} else None


def _decimal(
    table: RawTable,
    cells: pl.DataFrame,
    plans: "Sequence[Plan]",
    declared: "Mapping[str, tuple[Unit | None, str]]",
    answered: str | None,
) -> _Decimal | Fault:
    """Take the proven mark, else the one that gives possible figures; with both, settle doubtful cells by column."""
    marks: Marks = proven_marks(
        cells.get_columns(), comma_separated=table.dialect.delimiter == ",", quoted=table.quoted, typed=table.typed
    )
    headers = {plan.field: plan.header for plan in plans}

    def plausible(name: str, median: float) -> bool:
        return _plausible(name, median, declared[name][0])

    if marks.decimal == MIXED:
        doubtful: dict[str, str] = {}
        for name in cells.columns:
            mark, asked = settle({name: cells[name]}, plausible, typed=table.typed)
            if asked and not answered:
                return Fault("ambiguous_number_format", {"column": headers[asked]})
            if mark or answered:
                doubtful[name] = mark or answered or "."
        return _Decimal(MIXED, doubtful, frozenset({"mixed_decimal_marks"}))
    if marks.decimal:
        return _Decimal(marks.decimal, {})
    mark, asked = settle({name: cells[name] for name in cells.columns}, plausible)
    if asked and answered:
        return _Decimal(answered, {})
    if asked:
        return Fault("ambiguous_number_format", {"column": headers[asked]})
    return _Decimal(mark, {}, frozenset({"decimal_inferred"} if mark else set()))


def _plausible(name: str, median: float, stated: Unit | None) -> bool:
    """Tell whether a median is typical, in the unit stated or in any that might be."""
    measurement = measurements()[name]
    low, high = measurement.typical
    tried = [stated] if stated else [unit(measurement.dimension, other) for other in tried_units(name)]
    return any(low <= found.to_stored(median) <= high for found in tried)


def _noticed(numbers: "Mapping[str, Numbers]", declared: "Mapping[str, tuple[Unit | None, str]]") -> frozenset[str]:
    found = set()
    if any(scales.cells_differ(column, *declared[name]) for name, column in numbers.items()):
        found.add("unit_in_cell_differs")
    if any(column.repaired for column in numbers.values()):
        found.add("mojibake_repaired")
    return frozenset(found)


def _hand_question(
    table: RawTable, plans: "Sequence[Plan]", numbers: "Mapping[str, Numbers]", given: Given
) -> Fault | None:
    """Ask for the hand when a golfer's word is used and the hand is unknown or not the same for all."""
    measured = [plan for plan in plans if plan.field in numbers]
    columns = [plan.header for plan in measured if numbers[plan.field].golfer or _turn(plan, given) is None]
    if not columns or (_hand(given) and _golfers(table, plans) < 2):
        return None
    return Fault("handedness_unknown", {"columns": columns})


def _golfers(table: RawTable, plans: "Sequence[Plan]") -> int:
    for plan in plans:
        if plan.field == "player":
            return table.cells[f"c{plan.place}"].drop_nulls().str.to_lowercase().n_unique()
    return 1
