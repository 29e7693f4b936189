"""Measurements → shots: stored units, possible ranges, and the fate of every row and cell."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading.cells import unwrapped
from pipeline.reading.checking import impossible_cells
from pipeline.reading.times import read_times
from pipeline.records import RawTable, Row
from pipeline.schema import measurements, text_fields

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.reading.columns import Plan
    from pipeline.reading.meaning import Meaning

SCIENTIFIC = r"^[+-]?\d+(?:[.,]\d+)?[eE][+-]?\d+$"


@dataclass(frozen=True, slots=True)
class Outcome:
    """The usable shots, and the rows and cells that are not."""

    shots: pl.DataFrame
    rejected: tuple[Row, ...]
    bad_cells: tuple[Row, ...]
    warnings: frozenset[str]


def outcome(table: RawTable, meaning: "Meaning") -> Outcome:
    """Convert, check and sort out."""
    texts, warnings = _text_columns(table.cells, meaning)
    shots = pl.DataFrame([table.cells["line"], *_stored(meaning), *texts])
    fields = [plan.field for plan in meaning.plans if plan.field in measurements()]
    impossible = impossible_cells(shots, fields)
    faults = _faults(meaning, impossible)
    if impossible:
        touched = {name for _, name in impossible}
        inside = (
            pl.when(pl.col(name).is_between(*measurements()[name].possible)).then(pl.col(name)).alias(name)
            for name in touched
        )
        shots = shots.with_columns(inside)
    return _sorted_out(shots, fields, faults, warnings)


def _stored(meaning: "Meaning") -> list[pl.Series]:
    """Give every measured column in its stored unit."""
    columns = []
    for name, numbers in meaning.numbers.items():
        stored = numbers.bare
        found = meaning.scales[name].unit
        if found is not None and (found.factor != 1.0 or found.offset):
            stored = pl.select(found.column_to_stored(pl.lit(numbers.bare))).to_series()
        if numbers.stored is not None:
            stored = numbers.stored.fill_null(stored)
        columns.append(stored.alias(name))
    return columns


def _text_columns(cells: pl.DataFrame, meaning: "Meaning") -> tuple[list[pl.Series], frozenset[str]]:
    columns: list[pl.Series] = []
    warnings: set[str] = set()
    plans = meaning.plans
    chosen = [plan for plan in plans if plan.field in text_fields() and plan.date_place is None]
    wrapped = cells.select(pl.col(f"c{plan.place}").str.starts_with("=").any() for plan in chosen)
    for plan in chosen:
        column = cells[f"c{plan.place}"]
        if wrapped[f"c{plan.place}"][0]:
            known = {text: unwrapped(text) or None for text in column.drop_nulls().unique()}
            column = column.replace_strict(known, default=None, return_dtype=pl.String)
        if plan.field == "time":
            column, unsure = read_times(with_clock(column, plan, plans, cells), meaning.date_order)
            warnings |= {"ambiguous_date"} if unsure else set()
        if plan.field == "shot" and column.str.contains(SCIENTIFIC).any():
            warnings.add("scientific_id")
        columns.append(column.alias(plan.field))
    return columns, frozenset(warnings)


def with_clock(column: pl.Series, date: "Plan", plans: "Sequence[Plan]", cells: pl.DataFrame) -> pl.Series:
    """Add the time of day to a column of dates where it has a column of its own."""
    clock = next((plan for plan in plans if plan.date_place == date.place), None)
    return column + " " + cells[f"c{clock.place}"] if clock else column


def _faults(meaning: "Meaning", impossible: "Sequence[tuple[int, str]]") -> dict[int, list[tuple[int, str, str, str]]]:
    """Gather the bad cells by row, in column order: place, field, heading, reason."""
    plans = {plan.field: plan for plan in meaning.plans}
    found: dict[int, list[tuple[int, str, str, str]]] = {}
    cells = [
        (row, name, reason) for name, numbers in meaning.numbers.items() for row, reason in numbers.reasons.items()
    ]
    for row, name, reason in (*cells, *((row, name, "implausible_value") for row, name in impossible)):
        found.setdefault(row, []).append((plans[name].place, name, plans[name].header, reason))
    for bad in found.values():
        bad.sort()
    return found


def _sorted_out(
    shots: pl.DataFrame,
    fields: "Sequence[str]",
    faults: "Mapping[int, list[tuple[int, str, str, str]]]",
    warnings: frozenset[str],
) -> Outcome:
    """Reject rows with a bad key cell or with no measurement left; elsewhere a bad cell is null and listed."""
    lines = shots["line"]
    rejected: dict[int, Row] = {}
    for row, bad in faults.items():
        key = next((cell for cell in bad if measurements()[cell[1]].key), None)
        if key:
            rejected[row] = Row(lines[row], key[3], key[2])
    for row in _without_measurement(shots, fields):
        rejected.setdefault(row, Row(lines[row], "no_measurement"))
    bad_cells = tuple(
        Row(lines[row], reason, header)
        for row in sorted(faults)
        if row not in rejected
        for _, _, header, reason in faults[row]
    )
    usable = shots
    if rejected:
        usable = shots.filter(~pl.Series(range(shots.height)).is_in(list(rejected)))
    return Outcome(_complete(usable), tuple(rejected[row] for row in sorted(rejected)), bad_cells, warnings)


def _without_measurement(shots: pl.DataFrame, fields: "Sequence[str]") -> list[int]:
    if not fields:
        return list(range(shots.height))
    if any(not shots[name].null_count() for name in fields):
        return []
    return shots.select(pl.all_horizontal(pl.col(name).is_null() for name in fields)).to_series().arg_true().to_list()


def empty_shots() -> pl.DataFrame:
    """Give a frame without shots and with all columns."""
    return _complete(pl.DataFrame(schema={"line": pl.Int64}))


def _complete(shots: pl.DataFrame) -> pl.DataFrame:
    """Add the columns the file does not have, empty, so that every frame of shots has the same."""
    number, text = (pl.Series([None], dtype=kind).new_from_index(0, shots.height) for kind in (pl.Float64, pl.String))
    nothing = {**dict.fromkeys(measurements(), number), **dict.fromkeys(sorted(text_fields()), text)}
    columns = (shots[name] if name in shots.columns else empty.alias(name) for name, empty in nothing.items())
    return pl.DataFrame([shots["line"], *columns])
