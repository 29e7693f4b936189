"""What each record under the heading is: a shot, a line that never was one, or a row that cannot be used."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading.numerals import has_figure
from pipeline.records import Fault, Row
from pipeline.trade_words import is_null_word, is_summary_label, spaced

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.reading.parts import Source

SHOT = "shot"
TEXT = "text_row"
DROPPED = frozenset({"summary_row", "repeated_header", "comment"})


@dataclass(frozen=True, slots=True)
class Layout:
    """What the heading says about the records below it."""

    line: int
    names: tuple[str, ...]  # as they stand in the heading's record
    head_rows: tuple[tuple[str, ...], ...]  # further records of the heading: labels, units
    measured: tuple[int, ...]  # columns that may hold a measurement
    profile: frozenset[str] = frozenset()

    @property
    def needed(self) -> int:
        """Give the width up to the last named column."""
        return max((place + 1 for place, name in enumerate(self.names) if name), default=0)

    def repeated_by(self, cells: "Sequence[str]") -> bool:
        """Tell whether a record says the same as one of the heading's."""
        folded = _folded(cells)
        return any(folded == _folded(row) for row in (self.names, *self.head_rows))


def _folded(cells: "Sequence[str]") -> list[str]:
    folded = [spaced(cell).casefold() for cell in cells]
    while folded and not folded[-1]:
        folded.pop()
    return folded


@dataclass(slots=True)
class Odd:
    """A record that is not plainly a shot."""

    line: int
    width: int
    problem: str | None
    cells: tuple[str, ...]
    last_open: bool = False
    fate: str = field(default="")

    def content(self, layout: Layout) -> tuple[bool, bool]:
        """Tell whether a measured column or the surplus holds a digit, and whether one holds a null word."""
        cells = [self.cells[place] for place in layout.measured if place < len(self.cells)]
        cells += self.cells[len(layout.names) :]
        return any(map(has_figure, cells)), any(cell and is_null_word(cell) for cell in cells)


@dataclass(frozen=True, slots=True)
class Judged:
    """The records by fate; a fault says why none of them may be used."""

    shots: pl.DataFrame
    odd: tuple[Odd, ...]
    warnings: frozenset[str]
    fault: Fault | None = None

    @property
    def rejected(self) -> tuple[Row, ...]:
        """Give the rows that are not used."""
        return tuple(Row(r.line, r.fate) for r in self.odd if r.fate not in {SHOT, TEXT, *DROPPED})

    @property
    def dropped(self) -> tuple[Row, ...]:
        """Give the lines that never were shots."""
        return tuple(Row(r.line, r.fate) for r in self.odd if r.fate == TEXT or r.fate in DROPPED)


def judge(body: pl.DataFrame, layout: Layout, source: "Source") -> Judged:
    """Sort the records by fate."""
    plainly = plain_shots(body, layout, open_ended=source.open_ended)
    odd = () if plainly.all() else tuple(_odd(body.filter(~plainly), layout, source, body["line"].max()))
    for record in odd:
        record.fate = _fate(record, layout)
    _settle_text(odd, body["line"].filter(plainly), layout)
    taken = [record.line for record in odd if record.fate == SHOT]
    shots = body.filter(plainly | body["line"].is_in(taken)) if odd else body
    warnings = set()
    if any(record.fate == "truncated_last_line" for record in odd):
        warnings.add("truncated_last_line")
    if (shots["width"] < layout.needed).any():
        warnings.add("short_row_padded")
    return Judged(shots, odd, frozenset(warnings), _mismatch(shots, odd, layout))


def _mismatch(shots: pl.DataFrame, odd: "Sequence[Odd]", layout: Layout) -> Fault | None:
    """Find fault with a file in which every data record is too long; the commonest width is named."""
    too_long = [record.width for record in odd if record.fate == "too_many_fields"]
    if not too_long or not shots.is_empty():
        return None
    usual = max(sorted(set(too_long)), key=too_long.count)
    return Fault("field_count_mismatch", {"header_fields": len(layout.names), "row_fields": usual})


def _figures(body: pl.DataFrame, measured: "Sequence[int]") -> pl.Series:
    """Tell which records have a digit in a measured column; later columns are looked at for the rest only."""
    found = pl.Series([False]).new_from_index(0, body.height)
    for place in measured:
        found = found | body.select(pl.col(f"c{place}").str.contains("[0-9]").fill_null(value=False)).to_series()
        if found.all():
            break
    return found


def plain_shots(body: pl.DataFrame, layout: Layout, *, open_ended: bool) -> pl.Series:
    """Tell which records are shots without a closer look."""
    figures = _figures(body, layout.measured)
    if body.is_empty():
        return figures
    first = pl.col("first")
    looked_at = body.select(
        sound=figures & pl.col("problem").is_null() & (pl.col("width") <= len(layout.names)),
        worded=pl.when(first.str.contains(r"^[^0-9+\-.]")).then(first),
    )
    mask, worded = looked_at.get_columns()
    special = [text for text in worded.unique().to_list() if text and (text[0] == "#" or is_summary_label(text))]
    if special:
        mask &= ~worded.is_in(special).fill_null(value=False)
    if open_ended and body["width"][-1] < layout.needed:
        mask &= body["line"] != body["line"][-1]
    return mask


def _odd(rows: pl.DataFrame, layout: Layout, source: "Source", last: object) -> list[Odd]:
    width = len(layout.names)
    plain = rows.select("line", "width", "problem").rows()
    return [
        Odd(line, found, problem, source.cells_on(line, width), source.open_ended and line == last)
        for line, found, problem in plain
    ]


def _fate(record: Odd, layout: Layout) -> str:
    """Give the fate of a record by itself, in the order of the steps; text is settled when all are known."""
    figure, null_word = record.content(layout)
    found = _never_a_shot(record, layout, figure=figure) or record.problem
    if found:
        return found
    if record.last_open and record.width < layout.needed:
        return "truncated_last_line"
    if layout.measured and not figure and not null_word:
        return TEXT
    return "too_many_fields" if record.width > len(layout.names) else SHOT


def _never_a_shot(record: Odd, layout: Layout, *, figure: bool) -> str | None:
    if layout.repeated_by(record.cells):
        return "repeated_header"
    if record.cells[0].startswith("#") and not (figure and record.width == len(layout.names)):
        return "comment"
    summary = record.problem != "unclosed_quote" and is_summary_label(next(filter(None, record.cells), ""))
    return "summary_row" if summary else None


def _settle_text(odd: "Sequence[Odd]", lines: pl.Series, layout: Layout) -> None:
    """Text before the first or after the last shot was never one; between shots it is a shot to be rejected."""
    counted = {SHOT, "too_many_fields", "nul_byte"}
    shots = [record.line for record in odd if record.fate in counted and any(record.content(layout))]
    edges = [edge for edge in (lines.min(), lines.max()) if isinstance(edge, int)] + shots
    for record in odd:
        if record.fate == TEXT and edges and min(edges) < record.line < max(edges):
            record.fate = "too_many_fields" if record.width > len(layout.names) else SHOT
