"""Which delimiter: the one under which a heading is recognised and most rows agree with it in width."""

import re
from dataclasses import dataclass
from typing import NamedTuple

from pipeline.reading.headers import SEARCHED, find_header, recognised
from pipeline.reading.numerals import has_figure
from pipeline.reading.parts import Record
from pipeline.reading.splitting import records

CANDIDATES = (",", ";", "\t", "|")
_SAMPLE = SEARCHED + 120  # records looked at
_SEP_LINE = re.compile(r'"?sep=(\\t|[^"\s\w]|\t)(?:\1|["\s])*', re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Choice:
    """A delimiter, None for a table of one column; the line (from 0) where its records start, and the first of them."""

    delimiter: str | None
    start: int
    sample: tuple[Record, ...] = ()


class _Rating(NamedTuple):
    """How well a delimiter does, in order of importance."""

    agrees: bool  # most rows have the width of the heading
    words: int
    share: float
    several: bool  # columns


@dataclass(frozen=True, slots=True)
class _Trial:
    """A delimiter tried."""

    delimiter: str
    rating: _Rating
    sample: tuple[Record, ...]

    def chosen(self, start: int) -> Choice:
        """Choose it; where there is one column only no delimiter is reported, and what it split is split again."""
        return Choice(self.delimiter, start, self.sample) if self.rating.several else Choice(None, start)


def choose(lines: list[str], profile: frozenset[str]) -> Choice | None:
    """Obey a `sep=` line under which a heading is recognised, else try the candidates; None without a heading."""
    stated = stated_delimiter(lines)
    if stated and (obeyed := _try(lines, stated, 1, profile)):
        return obeyed.chosen(1)
    sample = "\n".join(lines[: 2 * _SAMPLE])
    trials = [_try(lines, delimiter, 0, profile) for delimiter in CANDIDATES if delimiter in sample]
    found = [trial for trial in trials if trial]
    if not any(trial.rating.several for trial in found):  # one column then, split by nothing
        absent = next((delimiter for delimiter in CANDIDATES if delimiter not in sample), None)
        last = _try(lines, absent, 0, profile) if absent else None
        found += [last] if last else []
    return max(found, key=lambda trial: trial.rating).chosen(0) if found else None  # the first of equals


def stated_delimiter(lines: list[str]) -> str | None:
    """Give the delimiter that a first line `sep=` states."""
    match = _SEP_LINE.fullmatch(lines[0].strip("\r ")[:200]) if lines else None
    return match.group(1).replace("\\t", "\t") if match else None


def _try(lines: list[str], delimiter: str, start: int, profile: frozenset[str]) -> _Trial | None:
    sample = records(lines, delimiter, start, _SAMPLE)
    header = find_header(sample, profile)
    if header is None:
        return None
    width = len(header.names)
    widths = [_width(record, width) for record in sample[header.position + 1 :] if _counts(record)]
    share = sum(found == width for found in widths) / len(widths) if widths else 0.0
    texts = [read.text for read in header.headings]
    words = recognised(sample[header.position].cells, profile) or recognised(texts, profile)
    return _Trial(delimiter, _Rating(share > 0.5, words, share, width > 1), sample)


def _counts(record: Record) -> bool:
    """Tell whether a record is a row whose width says something: it has a figure and is no comment."""
    return not record.problem and not record.cells[0].startswith("#") and any(map(has_figure, record.cells))


def _width(record: Record, width: int) -> int:
    """Count the cells without surplus empty ones."""
    found = len(record.cells)
    while found > width and not record.cells[found - 1]:
        found -= 1
    return found
