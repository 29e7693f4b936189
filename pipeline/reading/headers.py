"""Which record is the heading, with group labels above it, the units row under it and the preamble over it."""

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from pipeline.reading.naming import Heading, heading, is_number_like, unit_spelled
from pipeline.reading.parts import MAX_COLUMNS, Record
from pipeline.schema import measurements
from pipeline.trade_words import is_null_word, spaced

if TYPE_CHECKING:
    from collections.abc import Sequence

_NO_NAME = frozenset("0123456789+-−–.,")  # no trade word starts with these
SEARCHED = 80  # records among which the heading is looked for


@dataclass(frozen=True, slots=True)
class Header:
    """The heading of a table: its place among the records, its names and labels, and the place of its units row."""

    position: int
    names: tuple[str, ...]
    labels: tuple[str, ...]
    headings: tuple[Heading, ...]
    label_position: int | None = None


def recognised(cells: "Sequence[str]", profile: frozenset[str] = frozenset()) -> int:
    """Count the trade words of a record, 0 unless they make it a heading.

    They do when there are two, or all its cells are, or one carries its own unit.
    """
    filled = [cell for cell in cells if cell]
    if len(filled) > MAX_COLUMNS:
        return 0
    known = with_unit = 0
    for cell in filled:
        if cell[0] in _NO_NAME:
            continue
        read = _cell_heading(cell)
        if read.fields or read.text in profile:
            known += 1
            with_unit += read.unit is not None and any(name in measurements() for name in read.fields)
    return known if known >= 2 or (known and (known == len(filled) or with_unit)) else 0


@lru_cache(maxsize=8192)
def _cell_heading(cell: str) -> Heading:
    return heading(cell)


def find_header(records: "Sequence[Record]", profile: frozenset[str] = frozenset()) -> Header | None:
    """Find the record with most trade words, the earliest of equals; with group labels joined where that helps."""
    best, at = 0, None
    for position, record in enumerate(records[:SEARCHED]):
        score = 0 if record.problem else recognised(record.cells, profile)
        if score > best:
            best, at = score, position
    return _plain_or_labelled(records, at) if at is not None else _only_labelled(records)


def _plain_or_labelled(records: "Sequence[Record]", at: int) -> Header:
    """Join the record above as labels, or take this one as labels of the record below, if more becomes clear."""
    found = _header(records, at, None)
    for names, labels in ((at, at - 1), (at + 1, at)):
        if labels >= 0 and names < len(records) and _may_be_labels(records[labels], records[names]):
            joined = _header(records, names, labels)
            if _clear(joined) > max(_clear(found), _clear(_header(records, names, None))):
                return joined
    return found


def _only_labelled(records: "Sequence[Record]") -> Header | None:
    """Find a heading whose names mean nothing without the labels above them."""
    best, found = 1, None
    for names in range(1, min(SEARCHED, len(records))):
        if _may_be_labels(records[names - 1], records[names]):
            joined = _header(records, names, names - 1)
            if _clear(joined) > best:
                best, found = _clear(joined), joined
    return found


def _may_be_labels(above: Record, below: Record) -> bool:
    """Tell whether one record may label the other: text only, as wide at most, and the lower one no row of units."""
    if above.problem or below.problem or above.blank or below.blank or len(above.cells) < 2:
        return False
    if len(above.cells) > MAX_COLUMNS or len(below.cells) > MAX_COLUMNS:
        return False
    if any(is_number_like(cell) for cell in (*above.cells, *below.cells)) or is_units_row(below.cells):
        return False
    return len(_trimmed(above.cells)) <= len(_trimmed(below.cells))


def _trimmed(cells: "Sequence[str]") -> "Sequence[str]":
    end = len(cells)
    while end and not cells[end - 1]:
        end -= 1
    return cells[:end]


def _clear(header: Header) -> int:
    """Count the different measurements that are clear from their headings alone."""
    return len({read.fields[0] for read in header.headings if len(read.fields) == 1})


def _header(records: "Sequence[Record]", position: int, label_position: int | None) -> Header:
    names = tuple(spaced(cell) for cell in records[position].cells)
    if label_position is None:
        labels: tuple[str, ...] = ("",) * len(names)
    else:
        labels = _carried(records[label_position].cells, len(names))
    headings = tuple(heading(name, label) for name, label in zip(names, labels, strict=True))
    return Header(position, names, labels, headings, label_position)


def _carried(cells: "Sequence[str]", width: int) -> tuple[str, ...]:
    """Carry each label to the right until the next one."""
    labels: list[str] = []
    label = ""
    for column in range(width):
        label = (spaced(cells[column]) if column < len(cells) else "") or label
        labels.append(label)
    return tuple(labels)


def is_units_row(cells: "Sequence[str]") -> bool:
    """Tell whether all filled cells are units and none a number; null words are gaps."""
    filled = [cell for cell in cells if cell and not is_null_word(cell)]
    if not filled or len(filled) > MAX_COLUMNS:
        return False
    return all(not is_number_like(cell) and len(cell) < 40 and unit_spelled(cell) for cell in filled)


def units_row_after(records: "Sequence[Record]", position: int) -> int | None:
    """Give the place of the units row; blank records, comments and the heading once more may lie between."""
    heading_cells = _trimmed(records[position].cells)
    for place in range(position + 1, len(records)):
        record = records[place]
        if record.blank or record.cells[0].startswith("#") or _trimmed(record.cells) == heading_cells:
            continue
        return place if not record.problem and is_units_row(record.cells) else None
    return None


def preamble(records: "Sequence[Record]") -> dict[str, str]:
    """Read keys and values above the heading: `Key:` before its value, `Key: value` in a cell, or two cells a line."""
    meta: dict[str, str] = {}
    for record in records:
        if not record.problem:
            for key, value in _pairs(record.cells):
                meta.setdefault(key, value)
    return meta


def _pairs(cells: "Sequence[str]") -> list[tuple[str, str]]:
    clean = [spaced(cell) for cell in cells[:MAX_COLUMNS]]
    if clean and clean[0].startswith("#"):
        clean[0] = clean[0].lstrip("# ")
    found: list[tuple[str, str]] = []
    place = 0
    while place < len(clean):
        after = clean[place + 1] if place + 1 < len(clean) else ""
        if clean[place].endswith(":") and len(clean[place]) > 1 and after:
            found.append((clean[place][:-1].strip(), after))
            place += 1
        else:
            found += _pair_within(clean[place])
        place += 1
    if not found and sum(map(bool, clean)) == 2 and clean[0] and clean[1]:
        return [(clean[0].rstrip(":").strip(), clean[1])]
    return found


def _pair_within(cell: str) -> list[tuple[str, str]]:
    """Split `Key: value` in one cell; a colon between digits is a time of day."""
    key, _, value = (part.strip() for part in cell.partition(":"))
    if not value or not any(c.isalpha() for c in key) or (key[-1].isdigit() and value[0].isdigit()):
        return []
    return [(key, value)]
