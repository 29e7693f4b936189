"""Many shot files at once: the same readings as one by one, in less time.

Every step of reading costs by the call far more than by the row. So files under the same top, whose lines are all
regular, are read as one table and taken apart again. What a file decides for itself (decimal mark, order of day and
month, suspicious units, double columns, empty columns, …) must come out the same for all of them; any file for which
that is not sure is read alone.
"""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pipeline.reading import scales
from pipeline.reading.candidates import tried_units
from pipeline.reading.columns import decided_by_cells, map_columns
from pipeline.reading.common_tops import CommonTop, Tops
from pipeline.reading.joined import JoinedSource, join, plain_part
from pipeline.reading.meaning import Meaning, understand
from pipeline.reading.outcomes import SCIENTIFIC, with_clock
from pipeline.reading.parts import Refused
from pipeline.reading.reader import read_shot_file, usable
from pipeline.reading.tables import layout_of, read_table, top_of
from pipeline.reading.times import in_usual_form
from pipeline.records import FileReading, Row
from pipeline.schema import measurements

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.reading.columns import Plan
    from pipeline.reading.joined import Flags, Joined
    from pipeline.records import Given, RawTable, ShotFile

_FEWEST = 3  # files worth joining
_LARGEST = 4 << 20  # bytes of a file worth joining
_BATCH = 32 << 20  # bytes read at once
_PROOF = {".": r"^[+-]?[0-9]+\.[0-9]{1,2}$", ",": r"^[+-]?[0-9]+,[0-9]{1,2}$"}  # no group of three: a decimal mark


def read_shot_files(files: "Sequence[ShotFile]", given: "Given") -> "list[FileReading]":
    """Read shot files, each as read_shot_file would; the frames of shots may be parts of one frame."""
    found: dict[int, FileReading] = {}
    for top, decimal, places in _batches(files, given):
        readings = _read_joined([files[place] for place in places], top, decimal, given)
        found.update((places[index], reading) for index, reading in readings)
    return [found.get(place) or read_shot_file(file, given) for place, file in enumerate(files)]


def _batches(files: "Sequence[ShotFile]", given: "Given") -> "Iterator[tuple[CommonTop, str, list[int]]]":
    """Give the places of files that share their top and seem to share their decimal mark, not too many at once."""
    tops = Tops(frozenset(given.columns))
    groups: dict[tuple[CommonTop, str], list[int]] = {}
    for place, file in enumerate(files):
        top = tops.of(file.content) if len(file.content) <= _LARGEST else None
        if top:
            marked = top.delimiter != "," and file.content.find(b",", len(top.content)) >= 0
            groups.setdefault((top, "," if marked else "."), []).append(place)
    for (top, decimal), places in groups.items():
        taken: list[int] = []
        size = 0
        for place in places:
            taken.append(place)
            size += len(files[place].content)
            if size >= _BATCH:
                yield top, decimal, taken
                taken, size = [], 0
        yield top, decimal, taken


def _read_joined(
    files: "Sequence[ShotFile]", top: CommonTop, decimal: str, given: "Given"
) -> "Iterator[tuple[int, FileReading]]":
    """Read files of one top together; give place and reading of those for which that is sure to be right."""
    if len(files) < _FEWEST:
        return
    joined = join(top, [file.content for file in files])
    understood = top_of(top.records, frozenset(given.columns))
    if understood is None:
        return
    joined, numbers = plain_part(joined, layout_of(understood, given), decimal, frozenset(given.columns))
    table = None if joined.lines.is_empty() else read_table(JoinedSource(joined), given, frozenset())
    if table is None or isinstance(table, Refused):
        return
    odd = _odd_columns(joined, table, numbers, decimal, given)
    if odd.any():
        kept = joined.rows_without(odd)
        joined, numbers = joined.without(odd), numbers.filter(kept)
        table = replace(table, cells=table.cells.filter(kept))
    if joined.lines.is_empty():
        return
    meaning = understand(table, given, numbers)
    if isinstance(meaning, Meaning) and meaning.dialect.decimal == decimal:
        suspect = _suspect(joined, meaning)
        reading = usable("", table, meaning)
        yield from _taken_apart(files, reading, replace(joined, left_out=joined.left_out | suspect))


def _odd_columns(joined: "Joined", table: "RawTable", numbers: pl.DataFrame, decimal: str, given: "Given") -> "Flags":
    """Tell which files may understand their columns otherwise than the rest does."""
    plans = map_columns(table, given).plans
    odd = ~_proven(joined, table.cells, plans, decimal)
    for place in decided_by_cells(table, given):
        filled = joined.counts(table.cells[f"c{place}"].is_not_null()) > 0
        usual = 2 * np.count_nonzero(filled & ~joined.left_out) > np.count_nonzero(~joined.left_out)
        odd |= filled != usual
        if f"c{place}" in numbers.columns:  # null words may be empty cells or not, depending on the question
            odd |= joined.counts(table.cells[f"c{place}"].is_not_null() & numbers[f"c{place}"].is_null()) > 0
    for plan in plans:
        column = table.cells[f"c{plan.place}"]
        if plan.field == "time" and plan.date_place is None:
            odd |= joined.counts(~in_usual_form(with_clock(column, plan, plans, table.cells))) > 0
        if plan.field == "shot":
            odd |= joined.counts(column.str.contains(SCIENTIFIC)) > 0
    return odd


def _proven(joined: "Joined", cells: pl.DataFrame, plans: "Sequence[Plan]", decimal: str) -> "Flags":
    """Tell which files have a number that proves the decimal mark; plain numbers prove no other one."""
    proven = joined.left_out
    for plan in plans:
        if plan.field in measurements() and not proven.all():
            proven = proven | (joined.counts(cells[f"c{plan.place}"].str.contains(_PROOF[decimal])) > 0)
    return proven


def _suspect(joined: "Joined", meaning: Meaning) -> "Flags":
    """Tell which files have a column without any possible value in its stated unit; its unit would be asked for."""
    suspect = np.zeros(len(joined.starts), dtype=np.bool_)
    for name, numbers in meaning.numbers.items():
        scale = meaning.scales[name]
        if scale.unit is None or scale.unit_from not in scales.STATED or not tried_units(name):
            continue
        possible = scales.possible(numbers.bare, name, scale.unit)
        if not possible.all():
            filled = joined.counts(numbers.bare.is_not_null())
            suspect |= (filled > 0) & (joined.counts(possible) == 0)
    return suspect


def _taken_apart(
    files: "Sequence[ShotFile]", reading: FileReading, joined: "Joined"
) -> "Iterator[tuple[int, FileReading]]":
    """Give each file its part of a reading of all."""
    lines = reading.shots["line"]
    bounds = joined.bounds(lines)
    shots = reading.shots.with_columns(lines - pl.Series(np.repeat(joined.starts, np.diff(bounds))))
    rejected, bad_cells = (_by_file(rows, joined) for rows in (reading.rejected, reading.bad_cells))
    ends = bounds.tolist()
    for index in np.flatnonzero(~joined.left_out).tolist():
        yield (
            index,
            FileReading(
                files[index].name,
                reading.outcome,
                None,
                reading.dialect,
                reading.columns,
                reading.unmapped,
                shots.slice(ends[index], ends[index + 1] - ends[index]),
                rejected.get(index, ()),
                bad_cells.get(index, ()),
                (),
                reading.warnings,
                reading.meta,
                reading.header,
            ),
        )


def _by_file(rows: "Sequence[Row]", joined: "Joined") -> dict[int, tuple[Row, ...]]:
    """Sort rows of all files by file, with the line they have there."""
    if not rows:
        return {}
    lines = np.array([row.line for row in rows])
    indexes = np.searchsorted(joined.starts + joined.top.line + 1, lines, side="right") - 1
    found: dict[int, list[Row]] = {}
    for row, index, line in zip(rows, indexes.tolist(), (lines - joined.starts[indexes]).tolist(), strict=True):
        found.setdefault(index, []).append(replace(row, line=line))
    return {index: tuple(found[index]) for index in found}
