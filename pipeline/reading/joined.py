"""The lines of many files under one top, split all at once; files that have an odd line are left out.

A regular line has as many cells as the heading, plain numbers or null words in the filled cells of measured columns,
and is a shot at first sight. Lines are counted on through all files, so that what is left is a table like any other.
"""

from dataclasses import dataclass, replace
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from pipeline.reading.bodies import regular_frame, stripped_cells
from pipeline.reading.delimiters import CANDIDATES
from pipeline.reading.fates import plain_shots
from pipeline.reading.headers import SEARCHED, recognised
from pipeline.reading.measuring import plain_number
from pipeline.trade_words import null_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.reading.common_tops import CommonTop
    from pipeline.reading.fates import Layout
    from pipeline.reading.parts import Record

    Flags = NDArray[np.bool_]

_NO_DELIMITER = "\x01"  # splits nothing: files with such characters are left out before
_MARK = b"\xef\xbb\xbf"
_FIRST_NUMBER = "^[+-]?[0-9][0-9.,]*$"
_WORD = "^[^0-9+\\-−–.,]"


@dataclass(frozen=True, slots=True)
class Joined:
    """Rows of the files that are not left out; starts holds how many lines all files before each one have."""

    top: "CommonTop"
    starts: "NDArray[np.int64]"
    left_out: "Flags"
    lines: pl.Series  # numbers, counted on from the end of the top
    cells: pl.DataFrame

    def bounds(self, lines: pl.Series) -> "NDArray[np.int64]":
        """Give where each file starts among some of the lines, and the end of the last."""
        inner = np.searchsorted(lines.to_numpy(), self.starts + self.top.line + 1)
        return np.append(inner, len(lines))

    def counts(self, chosen: pl.Series) -> "NDArray[np.int64]":
        """Count the chosen rows of each file; null is not chosen."""
        before = np.append(0, np.cumsum(_flags(chosen), dtype=np.int64))
        return np.diff(before[self.bounds(self.lines)])

    def rows_without(self, odd: "Flags") -> pl.Series:
        """Tell which rows are not those of some files."""
        return pl.Series(np.repeat(~odd, np.diff(self.bounds(self.lines))))

    def without(self, odd: "Flags") -> "Joined":
        """Leave files out."""
        if not odd.any():
            return self
        kept = self.rows_without(odd)
        return replace(self, left_out=self.left_out | odd, lines=self.lines.filter(kept), cells=self.cells.filter(kept))


def _flags(chosen: pl.Series) -> "Flags":
    return (chosen.fill_null(value=False) if chosen.null_count() else chosen).to_numpy()


def join(top: "CommonTop", contents: "Sequence[bytes]") -> Joined:
    """Split the lines below the top of each file."""
    bodies = [_body(content, top) for content in contents]
    text = b"".join(bodies)
    unclean = np.zeros(len(bodies), dtype=np.bool_)
    if not _clean(text, top.delimiter):
        unclean = np.array([not _clean(body, top.delimiter) for body in bodies])
        bodies = [b"" if odd else body for odd, body in zip(unclean, bodies, strict=True)]
        text = b"".join(bodies)
    sizes = np.array([body.count(b"\n") for body in bodies], dtype=np.int64)
    starts = np.cumsum(sizes) - sizes
    numbers = pl.Series("line", np.arange(top.line + 1, top.line + 1 + int(sizes.sum()), dtype=np.int64))
    found = Joined(top, starts, unclean, numbers, pl.DataFrame(_lines(text)))
    irregular = found.counts(~_regular(found.cells["text"], top)) > 0
    if irregular.any():
        found = found.without(irregular)
        text = b"".join(body for odd, body in zip(found.left_out, bodies, strict=True) if not odd)
    return replace(found, cells=_cells(found.cells["text"], text, top))


def _body(content: bytes, top: "CommonTop") -> bytes:
    """Give what stands below the top, each line ended by a line feed, without blank lines at the end."""
    body = content[len(top.content) :]
    if b"\r" in body:
        body = body.replace(b"\r\n", b"\n")
    return body.rstrip(b"\n") + b"\n"


def _clean(text: bytes, delimiter: str) -> bool:
    """Tell whether lines are UTF-8 without other delimiters, control characters and byte order marks.

    Commas are let through beside another delimiter: they may be decimal marks, which is judged line by line.
    """
    others = (mark.encode() for mark in CANDIDATES if mark not in {delimiter, ","})
    if b'"' in text or any(mark in text for mark in others):
        return False
    if not text.isascii():
        try:
            text.decode("utf-8")
        except UnicodeDecodeError:
            return False
        if _MARK in text:
            return False
    controls = np.count_nonzero(np.frombuffer(text, np.uint8) < 0x20)
    return bool(controls == text.count(b"\n") + (text.count(b"\t") if delimiter == "\t" else 0))


def _lines(text: bytes) -> pl.Series:
    if not text:
        return pl.Series("text", [], dtype=pl.String)
    frame = pl.read_csv(
        text,
        has_header=False,
        separator=_NO_DELIMITER,
        quote_char=None,
        new_columns=["text"],
        infer_schema=False,
    )
    return frame["text"]


def _regular(texts: pl.Series, top: "CommonTop") -> pl.Series:
    """Tell which lines have the width of the heading, and no comma but before a digit where commas split nothing."""
    regular = (texts.str.count_matches(top.delimiter, literal=True) == top.width - 1).fill_null(value=False)
    if top.delimiter == ",":
        return regular
    return regular & ~texts.str.contains(",(?:[^0-9]|$)").fill_null(value=True)


def _cells(texts: pl.Series, text: bytes, top: "CommonTop") -> pl.DataFrame:
    names = [f"c{place}" for place in range(top.width)]
    if texts.is_empty():
        return pl.DataFrame(schema=dict.fromkeys(names, pl.String))
    return stripped_cells(texts, text, top.delimiter, names, quoted=False)


@dataclass(frozen=True, slots=True)
class JoinedSource:
    """The rows of joined files as a source; see parts.Source."""

    joined: Joined
    kind: str = "text"
    quoted: bool = False
    typed: bool = False
    open_ended: bool = False
    rejected: tuple[tuple[int, str], ...] = ()

    @property
    def encoding(self) -> str:
        """Encoding to report."""
        return self.joined.top.encoding

    @property
    def delimiter(self) -> str | None:
        """Delimiter to report."""
        return self.joined.top.delimiter

    def head(self, count: int) -> "tuple[Record, ...]":
        """Give the records of the top."""
        return self.joined.top.records[:count]

    def cells_on(self, line: int, width: int) -> tuple[str, ...]:
        """Give the cells of a line."""
        row = self.joined.cells.filter(self.joined.lines == line).row(0)
        return tuple(cell or "" for cell in row[:width])

    def body(self, following: int, width: int, wanted: "Sequence[int]") -> pl.DataFrame:
        """Give all rows."""
        del following
        return regular_frame(self.joined.lines, self.joined.cells, width, wanted)


def plain_part(
    joined: Joined, layout: "Layout", decimal: str, profile: frozenset[str]
) -> "tuple[Joined, pl.DataFrame]":
    """Leave out files with a row that is no plain shot or that a heading might be seen in; also give the numbers.

    These are the measured columns, named as in the cells, under the decimal mark.
    """
    joined = joined.without(_with_blank_rows(joined))
    names = [f"c{place}" for place in layout.measured]
    numbers = joined.cells.select(plain_number(name, decimal) for name in names)
    if not names or joined.lines.is_empty():
        return joined.without(~joined.left_out), numbers.clear()
    sound = plain_shots(JoinedSource(joined).body(0, joined.top.width, layout.measured), layout, open_ended=False)
    for name in names:
        if numbers[name].null_count() > joined.cells[name].null_count() or not isfinite(numbers[name].sum()):
            finite = numbers[name].is_finite().fill_null(value=False)
            sound &= finite | joined.cells[name].is_null() | _null_words(joined.cells[name])
            numbers = numbers.with_columns(numbers[name].set(~finite, None))
    sound &= ~_outdoing(joined, layout, profile)
    odd = (joined.counts(~sound) > 0) | ~_starts_with_number(joined, names)
    return joined.without(odd), numbers.filter(joined.rows_without(odd)) if odd.any() else numbers


def _null_words(texts: pl.Series) -> pl.Series:
    """Tell which cells of a measured column say that there is no value."""
    words = [word for word in null_words() if not recognised([word])]
    return texts.str.to_lowercase().is_in(words).fill_null(value=False)


def _with_blank_rows(joined: Joined) -> "Flags":
    """Tell which files have a line of empty cells."""
    first = joined.cells["c0"]
    if not first.null_count():
        return np.zeros(len(joined.starts), dtype=np.bool_)
    return joined.counts(joined.cells.select(pl.all_horizontal(pl.all().is_null())).to_series()) > 0


def _starts_with_number(joined: Joined, names: "Sequence[str]") -> "Flags":
    """Tell which files have a plain number in their first row, so that this is no row of units or names."""
    bounds = joined.bounds(joined.lines)
    filled = np.diff(bounds) > 0
    first = joined.cells[bounds[:-1][filled]].select(names)
    found = first.select(pl.any_horizontal(pl.all().str.contains(_FIRST_NUMBER).fill_null(value=False))).to_series()
    flags = np.ones(len(filled), dtype=np.bool_)
    flags[filled] = found.to_numpy()
    return flags


def _outdoing(joined: Joined, layout: "Layout", profile: frozenset[str]) -> pl.Series:
    """Tell which of the rows searched for a heading hold more trade words than the top."""
    sizes = np.diff(joined.bounds(joined.lines))
    searched = pl.Series(_places_within(sizes) < SEARCHED)
    words = pl.Series([0]).new_from_index(0, len(searched))
    for name in joined.cells.columns:
        if int(name[1:]) in layout.measured:
            continue
        texts = joined.cells[name] if searched.all() else joined.cells[name].set(~searched, None)
        worded = texts.filter(texts.str.contains(_WORD)).unique()
        known = [text for text in worded.to_list() if recognised([text], profile)]
        if known:
            words = words + texts.is_in(known).fill_null(value=False).cast(pl.Int64)
    return words > joined.top.words


def _places_within(sizes: "NDArray[np.int64]") -> "NDArray[np.int64]":
    """Count the rows of each file from 0."""
    ends = np.cumsum(sizes)
    return np.arange(ends[-1] if len(ends) else 0) - np.repeat(ends - sizes, sizes)
