"""A source → the table of shots as text, or why there is none."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading.columns import measured_places, wanted_places
from pipeline.reading.decimals import Marks, proven_marks
from pipeline.reading.fates import Judged, Layout, judge
from pipeline.reading.headers import SEARCHED, Header, find_header, preamble, units_row_after
from pipeline.reading.parts import Record, Refused, Source
from pipeline.reading.stacked import earlier_heading, later_headings
from pipeline.records import Dialect, Fault, Given, RawTable, Row

if TYPE_CHECKING:
    from collections.abc import Sequence

HEAD = SEARCHED + 20  # records that may hold preamble, heading and units row


@dataclass(frozen=True, slots=True)
class Top:
    """The first records of a table, understood."""

    records: tuple[Record, ...]
    header: Header
    units: Record | None

    @property
    def line(self) -> int:
        """Give the line of the heading."""
        return self.records[self.header.position].line

    @property
    def labels(self) -> Record | None:
        """Give the record of group labels."""
        place = self.header.label_position
        return None if place is None else self.records[place]

    @property
    def above(self) -> tuple[Record, ...]:
        """Give the records over the heading and its labels."""
        place = self.header.label_position
        return self.records[: self.header.position if place is None else place]


def read_table(source: Source, given: Given, warnings: frozenset[str]) -> RawTable | Refused:
    """Find the heading, sort the records by fate and keep the shots."""
    profile = frozenset(given.columns)
    top = top_of(source.head(HEAD), profile)
    if top is None:
        return Refused(Fault("not_tabular", {"detected": source.kind}), warnings=warnings)
    wanted = wanted_places(top.header.headings, given)
    body = source.body(top.records[top.header.position].following, len(top.header.names), wanted)
    if top.units:
        body = body.filter(pl.col("line") != top.units.line)
    layout = layout_of(top, given)
    judged = judge(body, layout, source)
    marks = measured_marks(judged.shots, layout.measured, source)
    dialect = _dialect(source, top, marks)
    meta = preamble(top.above)
    fault = _stacked(top, judged, body["line"], layout, source) or judged.fault
    if fault:
        return Refused(fault, dialect, meta, warnings | judged.warnings)
    return _raw_table(top, judged, source, dialect, meta, warnings)


def top_of(records: tuple[Record, ...], profile: frozenset[str]) -> Top | None:
    """Understand the first records, or give None when there is no heading among them."""
    header = find_header(records, profile)
    if header is None:
        return None
    place = units_row_after(records, header.position)
    return Top(records, header, records[place] if place is not None else None)


def layout_of(top: Top, given: Given) -> Layout:
    """Give what the heading says about the records below it."""
    rows = tuple(record.cells for record in (top.labels, top.units) if record)
    measured = measured_places(top.header.headings, given)
    return Layout(top.line, top.header.names, rows, measured, frozenset(given.columns))


def measured_marks(shots: pl.DataFrame, measured: "Sequence[int]", source: Source) -> Marks:
    """Find the decimal marks that the shots' measured columns prove."""
    columns = [shots[f"c{place}"] for place in measured]
    return proven_marks(columns, comma_separated=source.delimiter == ",", quoted=source.quoted, typed=source.typed)


def _dialect(source: Source, top: Top, marks: Marks) -> Dialect:
    """Describe how the text was written; JSON has neither a decimal mark of its own nor a heading line."""
    if source.encoding == "json":
        return Dialect("json")
    units_line = top.units.line if top.units else None
    return Dialect(source.encoding, source.delimiter, marks.decimal, top.line, units_line)


def _stacked(top: Top, judged: Judged, lines: pl.Series, layout: Layout, source: Source) -> Fault | None:
    """Refuse a file that holds another table above or below this one."""
    earlier = earlier_heading(top.above, layout.profile)
    later = later_headings(judged.odd, lines, layout, source)
    if earlier is None and not later:
        return None
    return Fault("multiple_tables", {"header_lines": sorted({top.line, *later, *([earlier] if earlier else ())})})


def _raw_table(
    top: Top, judged: Judged, source: Source, dialect: Dialect, meta: dict[str, str], warnings: frozenset[str]
) -> RawTable:
    names = top.header.names
    unit_cells = (top.units.cells if top.units else ())[: len(names)]
    rejected = (*judged.rejected, *(Row(line, reason) for line, reason in source.rejected))
    return RawTable(
        dialect=dialect,
        header=names,
        labels=top.header.labels,
        unit_cells=(*unit_cells, *[""] * (len(names) - len(unit_cells))),
        cells=judged.shots.drop("width", "problem", "first"),
        meta=meta,
        rejected=rejected,
        dropped=judged.dropped,
        warnings=warnings | judged.warnings | (frozenset() if rejected or judged.shots.height else {"no_data_rows"}),
        quoted=source.quoted,
        typed=source.typed,
    )
