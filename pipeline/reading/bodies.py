"""Records under the heading as a frame of text; regular lines are split all at once, odd ones by the slow splitter.

The frame has `line`, `width` (cells without surplus empty ones), `problem`, `first` (the first filled cell) and the
wanted columns as c0, c1, … Empty cells are null and blank records are left out. Columns nobody wants are not kept: a
hostile heading of many names over short rows would cost memory for nothing.
"""

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading.parts import Record
from pipeline.reading.splitting import Lines, record_at, records

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

ONE_COLUMN = "\ue000"  # splits nothing: a private character no exporter writes
_RARE_SPACES = "\t\x0b\x0c\r"
FEW_LINES = 400  # below this many lines plain Python is faster than setting up frames
_LIMIT = 200  # columns up to which the vectorised splitter is worth it


def body_frame(found: "Iterable[Record]", width: int, wanted: "Sequence[int]") -> pl.DataFrame:
    """Put records into a frame, one by one."""
    kept = [record for record in found if record.problem or not record.blank]
    problems = [record.problem or ("nul_byte" if _has_nul(record) else None) for record in kept]
    columns = [
        pl.Series("line", [record.line for record in kept], dtype=pl.Int64),
        pl.Series("width", [_filled_width(record.cells, width) for record in kept], dtype=pl.Int64),
        pl.Series("problem", problems, dtype=pl.String),
        pl.Series("first", [next(filter(None, record.cells), None) for record in kept], dtype=pl.String),
    ]
    for place in wanted:
        cells = [(r.cells[place] or None) if place < len(r.cells) else None for r in kept]
        columns.append(pl.Series(f"c{place}", cells, dtype=pl.String))
    return pl.DataFrame(columns)


def _has_nul(record: Record) -> bool:
    return any("\0" in cell for cell in record.cells)


def _filled_width(cells: "Sequence[str]", width: int) -> int:
    found = len(cells)
    while found > width and not cells[found - 1]:
        found -= 1
    return found


@dataclass(frozen=True, slots=True)
class TextSource:
    """Delimited text; see parts.Source."""

    encoding: str
    delimiter: str | None
    lines: Lines
    start: int
    quoted: bool
    sample: tuple[Record, ...] = ()  # the first records, where they are known already
    typed: bool = False
    rejected: tuple[tuple[int, str], ...] = ()

    @property
    def kind(self) -> str:
        """Name it when no heading is found."""
        return "binary" if any("\0" in line or "\ufffd" in line for line in self.lines.texts[:FEW_LINES]) else "text"

    @property
    def open_ended(self) -> bool:
        """Tell whether the last record lacks its line end; a last line of blanks and delimiters is none."""
        last = self.lines.texts[-1] if self.lines.texts else ""
        return not self.lines.terminated and bool(last.replace(self.delimiter or " ", " ").strip())

    def head(self, count: int) -> tuple[Record, ...]:
        """Give the first records."""
        known = self.sample[:count] if len(self.sample) >= count or self._sample_is_all else None
        return known or records(self.lines.texts, self.delimiter or ONE_COLUMN, self.start, count)

    @property
    def _sample_is_all(self) -> bool:
        return bool(self.sample) and self.sample[-1].following >= len(self.lines.texts)

    def cells_on(self, line: int, width: int) -> tuple[str, ...]:
        """Give all cells of the record that starts on that line."""
        return record_at(self.lines.texts, line - 1, self.delimiter or ONE_COLUMN, width).cells

    def body(self, following: int, width: int, wanted: "Sequence[int]") -> pl.DataFrame:
        """Give the records from that line on."""
        lines, delimiter = self.lines.texts, self.delimiter or ONE_COLUMN
        if self._sample_is_all and not self.quoted:  # quotes are judged again, now that the width is known
            return body_frame((record for record in self.sample if record.line > following), width, wanted)
        if len(lines) - following <= FEW_LINES or not 2 <= width <= _LIMIT or not delimiter.isascii():
            return body_frame(_from(lines, following, delimiter, width), width, wanted)
        return _fast_body(_Rest(lines, following, delimiter, width), wanted)


def _from(lines: list[str], index: int, delimiter: str, width: int) -> "Iterable[Record]":
    while index < len(lines):
        record = record_at(lines, index, delimiter, width)
        yield record
        index = record.following


@dataclass(frozen=True, slots=True)
class _Rest:
    """The lines below the heading."""

    lines: list[str]
    following: int
    delimiter: str
    width: int


def _fast_body(rest: _Rest, wanted: "Sequence[int]") -> pl.DataFrame:
    """Split lines of the commonest shape in one go and only the others one by one."""
    texts = pl.Series(rest.lines[rest.following :], dtype=pl.String).str.strip_suffix("\r")
    quoted = texts.str.contains('"', literal=True)
    counts = texts.str.count_matches(rest.delimiter, literal=True)
    usual = _usual_count(counts, rest.width)
    clean = ~quoted & (counts == usual)
    if quoted.any():
        clean |= quoted & texts.str.contains(_clean_quoted(rest.delimiter, usual + 1))
    clean &= ~texts.str.contains("\0", literal=True)
    odd, consumed = _odd_records(rest, (~clean & (texts != "")).arg_true().to_list())
    if consumed:
        clean &= ~pl.Series(range(len(texts))).is_in(consumed)
    cells = _split_regular(texts.filter(clean), rest.delimiter, usual + 1, quoted=bool((quoted & clean).any()))
    lines = (clean.arg_true().cast(pl.Int64) + rest.following + 1).alias("line")
    regular = regular_frame(lines, cells, rest.width, wanted)
    return pl.concat([regular, body_frame(odd, rest.width, wanted)]).sort("line") if odd else regular


def _usual_count(counts: pl.Series, width: int) -> int:
    """Give the commonest number of delimiters among the first lines, unless it is far from the heading's."""
    usual = counts.head(1000).filter(counts.head(1000) > 0).mode().sort()
    return int(usual[-1]) if len(usual) and int(usual[-1]) < 2 * width else width - 1


def _clean_quoted(delimiter: str, fields: int) -> str:
    """Match a line of exactly so many fields, each without a quote or quoted from end to end with none inside."""
    mark = re.escape(delimiter)
    field = f'(?:"[^"]*"|[^"{mark}]*)'
    return f"^{field}(?:{mark}{field}){{{fields - 1}}}$"


def _odd_records(rest: _Rest, places: list[int]) -> tuple[list[Record], list[int]]:
    """Split the odd lines in order; also give the lines that a record over several lines takes with it."""
    odd: list[Record] = []
    consumed: list[int] = []
    free = rest.following
    for place in places:
        index = rest.following + place
        if index < free:
            continue
        record = record_at(rest.lines, index, rest.delimiter, rest.width)
        free = record.following
        consumed.extend(range(place + 1, free - rest.following))
        if record.problem or not record.blank:
            odd.append(record)
    return odd, consumed


def _split_regular(texts: pl.Series, delimiter: str, fields: int, *, quoted: bool) -> pl.DataFrame:
    """Split lines of one shape into stripped cells, empty ones null."""
    names = [f"c{place}" for place in range(fields)]
    if texts.is_empty():
        return pl.DataFrame(schema=dict.fromkeys(names, pl.String))
    return stripped_cells(texts, texts.str.join("\n").item().encode("utf-8"), delimiter, names, quoted=quoted)


def stripped_cells(
    texts: pl.Series, joined: bytes, delimiter: str, names: "Sequence[str]", *, quoted: bool
) -> pl.DataFrame:
    """Split lines of as many cells as there are names; joined holds the same lines as bytes."""
    cells = pl.read_csv(
        joined,
        has_header=False,
        separator=delimiter,
        quote_char='"' if quoted else None,
        new_columns=list(names),
        infer_schema=False,
    )
    if not quoted and not _padded(texts, joined, delimiter):
        return cells
    stripped = (pl.col(name).str.strip_chars() for name in names)
    return cells.select(pl.when(cell.str.len_bytes() > 0).then(cell) for cell in stripped)


def _padded(texts: pl.Series, joined: bytes, delimiter: str) -> bool:
    """Tell whether a cell may have white space around it; a look at the lines costs less than stripping every cell."""
    mark = re.escape(delimiter)
    if not joined.isascii() or any(space.encode() in joined for space in _RARE_SPACES if space != delimiter):
        return bool(texts.str.contains(rf"^\s|\s$|[^\S{mark}]{mark}|{mark}[^\S{mark}]").any())
    inside = (texts.str.contains(blank, literal=True) for blank in (f" {delimiter}", f"{delimiter} "))
    return any(found.any() for found in (*inside, texts.str.starts_with(" "), texts.str.ends_with(" ")))


def regular_frame(lines: pl.Series, cells: pl.DataFrame, width: int, wanted: "Sequence[int]") -> pl.DataFrame:
    """Give regular lines the form every body has, without the blank ones."""
    names = cells.columns
    first = pl.coalesce(names) if cells["c0"].null_count() else pl.col("c0")
    surplus = [
        pl.when(pl.col(name).is_not_null()).then(place + 1) for place, name in enumerate(names) if place >= width
    ]
    found = pl.max_horizontal(pl.lit(min(len(names), width)), *surplus).cast(pl.Int64)
    frame = cells.select(
        lines,
        found.alias("width"),
        pl.lit(None, pl.String).alias("problem"),
        first.alias("first"),
        *(
            pl.col(f"c{place}") if place < len(names) else pl.lit(None, pl.String).alias(f"c{place}")
            for place in wanted
        ),
    )
    return frame.filter(pl.col("first").is_not_null()) if frame["first"].null_count() else frame
