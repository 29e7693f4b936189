"""A second table in the file: a heading above with data of its own, or a later one with other names or units."""

from itertools import islice, pairwise
from typing import TYPE_CHECKING

from pipeline.reading.fates import DROPPED, Layout, Odd
from pipeline.reading.headers import is_units_row, recognised
from pipeline.reading.naming import heading, is_number_like
from pipeline.reading.numerals import has_figure
from pipeline.schema import measurements

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

    from pipeline.reading.parts import Record, Source

_MOST_TABLES = 50  # later headings looked at
_MOST_ROWS = 200  # records looked at under each


def measured_cells(cells: "Sequence[str]") -> list[int]:
    """Give the cells of a heading that may name a measurement."""
    return [
        place for place, cell in enumerate(cells) if cell and any(f in measurements() for f in heading(cell).fields)
    ]


def earlier_heading(above: "Sequence[Record]", profile: frozenset[str]) -> int | None:
    """Give the line of a heading further up that has data of its own width under it."""
    for place, record in enumerate(above):
        if record.problem or not recognised(record.cells, profile):
            continue
        places = measured_cells(record.cells)
        under = [row for row in above[place + 1 :] if len(row.cells) == len(record.cells) and not row.problem]
        if any(has_figure(row.cells[column]) for row in under for column in places):
            return record.line
    return None


def later_headings(odd: "Sequence[Odd]", lines: "pl.Series", layout: Layout, source: "Source") -> list[int]:
    """Give the lines of later headings that have data of their own under them; lines are those of all records."""
    headings = (record for record in odd if _was_text(record, layout) and _is_heading(record.cells, layout))
    found = list(islice(headings, _MOST_TABLES))
    skipped = {record.line for record in odd if record.fate in DROPPED}
    tables = []
    for place, record in enumerate(found):
        until = found[place + 1].line if place + 1 < len(found) else float("inf")
        under = lines.filter((lines > record.line) & (lines < until)).head(_MOST_ROWS + len(skipped))
        chosen = list(islice((line for line in under if line not in skipped), _MOST_ROWS))
        if _has_data(chosen, measured_cells(record.cells), len(record.cells), source):
            tables.append(record.line)
    return sorted({*tables, *_changed_units(odd, layout)})


def _was_text(record: Odd, layout: Layout) -> bool:
    return not record.problem and record.fate not in DROPPED and not any(record.content(layout))


def _is_heading(cells: "Sequence[str]", layout: Layout) -> bool:
    return not any(is_number_like(cell) for cell in cells if cell) and recognised(cells, layout.profile) > 0


def _has_data(lines: "Sequence[int]", places: list[int], width: int, source: "Source") -> bool:
    for line in lines:
        cells = source.cells_on(line, width)
        if any(has_figure(cells[place]) for place in places if place < len(cells)):
            return True
    return False


def _changed_units(odd: "Sequence[Odd]", layout: Layout) -> list[int]:
    """Give the lines of repeated headings with another units row directly below."""
    return [
        head.line
        for head, below in pairwise(odd)
        if head.fate == "repeated_header"
        and below.fate != "repeated_header"
        and _was_text(below, layout)
        and is_units_row(below.cells)
    ]
