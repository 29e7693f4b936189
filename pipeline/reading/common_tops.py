"""Tops of files: all bytes up to the heading or its units row, which many files of one device have in common.

What a top means must not depend on the shots below it, or files with the same top could not be read together. With a
`Top` found here it does not, as long as every line below is a regular one (see joined): no such line outdoes the
heading, is taken for labels or for a units row, or holds another delimiter that a heading is recognised under.
"""

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pipeline.reading.bodies import TextSource
from pipeline.reading.delimiters import CANDIDATES, stated_delimiter
from pipeline.reading.headers import recognised
from pipeline.reading.kinds import kind_of
from pipeline.reading.numerals import has_figure
from pipeline.reading.sources import Opened, open_source
from pipeline.reading.tables import HEAD, Top, top_of
from pipeline.records import ShotFile

if TYPE_CHECKING:
    from pipeline.reading.parts import Record

_SAMPLE = 400  # lines that the delimiter and the heading are chosen by
_WIDEST = 200
_SHORTEST = 16  # bytes: more than the first bytes that tell kinds of files apart
_ALIKE = 16  # tops looked for that start with the same line
_UNSHARED = 64  # tops looked for before files have to prove that they share them
_FIGURE_NEXT = re.compile(rb"[^\n]*?[0-9]")  # no row of units or further names


@dataclass(frozen=True, slots=True, eq=False)
class CommonTop:
    """The top of a file and what it says; each is found once, so it equals itself only."""

    content: bytes
    encoding: str
    delimiter: str
    records: "tuple[Record, ...]"
    line: int  # the last one of it
    width: int
    words: int  # trade words that a record below must not outdo


@dataclass(slots=True)
class Tops:
    """The tops met so far, by their first lines."""

    profile: frozenset[str]
    _known: dict[bytes, list[CommonTop]] = field(default_factory=dict)
    _sought: int = 0
    _shared: int = 0

    def of(self, content: bytes) -> CommonTop | None:
        """Give the top of a file, or None when it has to be read alone."""
        if b'"' in content or b"\0" in content:
            return None
        first = content[: content.find(b"\n") + 1]
        alike = self._known.setdefault(first, [])
        for top in alike:
            if content.startswith(top.content) and _FIGURE_NEXT.match(content, len(top.content)):
                self._shared += 1
                return top
        if len(alike) >= _ALIKE or self._sought > _UNSHARED + self._shared // 8:
            return None
        self._sought += 1
        found = find_top(content, self.profile)
        if found:
            alike.insert(0, found)
        return found


def find_top(content: bytes, profile: frozenset[str]) -> CommonTop | None:
    """Find the top of a file by its first lines, if it means the same over any regular lines."""
    lines = content.split(b"\n", _SAMPLE)[:_SAMPLE]
    opened = open_source(ShotFile("", b"\n".join(lines)), profile)
    if not isinstance(opened, Opened) or opened.warnings or not isinstance(opened.source, TextSource):
        return None
    source = opened.source
    top = top_of(source.head(HEAD), profile)
    if top is None or not source.delimiter or source.encoding not in {"utf-8", "utf-8-sig"}:
        return None
    end = top.units.line if top.units else top.line
    head = b"\n".join(lines[:end]) + b"\n"
    records = tuple(record for record in top.records if record.line <= end)
    words = max(recognised(record.cells, profile) for record in records)
    found = CommonTop(head, source.encoding, source.delimiter, records, end, len(top.header.names), words)
    return found if len(lines) > end and _means_the_same(found, top, source.start, profile) else None


def _means_the_same(found: CommonTop, top: Top, start: int, profile: frozenset[str]) -> bool:
    """Tell whether a top is the top of its file whatever regular lines follow."""
    text = found.content.decode("utf-8")
    heading = top.records[top.header.position]
    rated = recognised(heading.cells, profile) or recognised([read.text for read in top.header.headings], profile)
    others = [mark for mark in CANDIDATES if mark != found.delimiter]
    return (
        len(found.content) >= _SHORTEST
        and not text.lstrip("\ufeff")[:1].isspace()
        and text.lstrip("\ufeff")[:1] not in {"[", "{"}
        and kind_of(found.content) == "text"
        and not any(mark in text for mark in ('"', "\0", *others))
        and (start == 1 or stated_delimiter(text.split("\n")) is None)
        and found.delimiter.isascii()
        and 2 <= found.width <= _WIDEST
        and min(found.words, rated) >= 2
        and (top.units is None or (top.units.line == top.line + 1 and not any(map(has_figure, top.units.cells))))
    )
