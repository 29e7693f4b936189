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
    """A delimiter, None for a table of one column, and the line (from 0) on which its records start."""

    delimiter: str | None
    start: int


def choose(lines: list[str], profile: frozenset[str]) -> Choice | None:
    """Obey a `sep=` line under which a heading is recognised, else try the four candidates; None when no heading is found."""
    stated = _stated(lines)
    if stated and (obeyed := _rate(lines, stated, 1, profile)):
        return Choice(stated if obeyed.several else None, 1)
    sample = "\n".join(lines[: 2 * _SAMPLE])
    rated = [
        (rating, -place, delimiter)
        for place, delimiter in enumerate(CANDIDATES)
        if delimiter in sample and (rating := _rate(lines, delimiter, 0, profile))
    ]
    absent = next((delimiter for delimiter in CANDIDATES if delimiter not in sample), None)
    if (
        absent
        and not any(rating.agrees and rating.several for rating, *_ in rated)
        and (rating := _rate(lines, absent, 0, profile))
    ):
        rated.append((rating, -len(CANDIDATES), absent))
    if not rated:
        return None
    best, _, delimiter = max(rated)
    return Choice(delimiter if best.several else None, 0)


def _stated(lines: list[str]) -> str | None:
    match = _SEP_LINE.fullmatch(lines[0].strip("\r ")[:200]) if lines else None
    return match.group(1).replace("\\t", "\t") if match else None


class _Rating(NamedTuple):
    """How well a delimiter does, in order of importance."""

    agrees: bool  # most rows have the width of the heading
    words: int
    share: float
    several: bool


def _rate(lines: list[str], delimiter: str, start: int, profile: frozenset[str]) -> _Rating | None:
    sample = records(lines, delimiter, start, _SAMPLE)
    header = find_header(sample, profile)
    if header is None:
        return None
    width = len(header.names)
    widths = [_width(record, width) for record in sample[header.position + 1 :] if _counts(record)]
    share = sum(found == width for found in widths) / len(widths) if widths else 1.0
    score = recognised(sample[header.position].cells, profile) or recognised(
        [read.text for read in header.headings], profile
    )
    return _Rating(share > 0.5, score, share, width > 1)


def _counts(record: Record) -> bool:
    """Tell whether a record is a row whose width says something: it has a figure and is no comment."""
    return not record.problem and not record.cells[0].startswith("#") and any(map(has_figure, record.cells))


def _width(record: Record, width: int) -> int:
    """Count the cells without surplus empty ones."""
    found = len(record.cells)
    while found > width and not record.cells[found - 1]:
        found -= 1
    return found
