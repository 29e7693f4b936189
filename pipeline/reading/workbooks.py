"""Workbooks (.xlsx) → records of the first sheet that has a heading."""

import datetime as dt
import io
import zipfile
from typing import TYPE_CHECKING, Any

from pipeline.reading.headers import SEARCHED, find_header
from pipeline.reading.parts import MAX_COLUMNS, Record, Refused
from pipeline.reading.sheets import RecordSource
from pipeline.records import Dialect, Fault

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_MOST_BYTES = 32_000_000  # of XML, unpacked; a larger workbook is a bomb or a mistake, and so with the others
_MOST_TAGS = 1_000_000
_MOST_ROWS = 100_000  # blank ones between others included
_MOST_CELLS = 2_000_000  # the library fills rows up to their last cell, wherever that claims to be
_CHUNK = 200_000  # bytes without the end of a tag: a cell's text is never that long
_NO_WORKBOOK = Refused(Fault("not_tabular", {"detected": "workbook"}))


class _TooLargeError(Exception):
    """The sheet has more rows or cells than we read."""


def workbook_source(content: bytes, profile: frozenset[str]) -> RecordSource | Refused:
    """Give the rows of the first sheet in which a heading is recognised."""
    try:
        if _too_large(content):
            return _NO_WORKBOOK
        for rows in _sheets(content):
            records = _records(rows)
            if find_header(records[:SEARCHED], profile):
                return RecordSource("xlsx", records)
    except MemoryError:
        raise
    except Exception:  # noqa: BLE001 - the library raises whatever a broken workbook provokes
        return _NO_WORKBOOK
    return Refused(Fault("not_tabular", {"detected": "workbook"}), Dialect())


def _too_large(content: bytes) -> bool:
    """Tell whether the XML in it is more than we read; the library unpacks no more of a part than its stated size."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = [part for part in archive.infolist() if part.filename.lower().endswith((".xml", ".rels", ".vml"))]
        if sum(part.file_size for part in parts) > _MOST_BYTES:
            return True
        tags = 0
        for part in parts:
            with archive.open(part) as opened:
                while chunk := opened.read(_CHUNK):
                    tags += chunk.count(b"<")
                    if len(chunk) == _CHUNK and b">" not in chunk:
                        return True
    return tags > _MOST_TAGS


def _sheets(content: bytes) -> "Iterator[Iterable[tuple[Any, ...]]]":
    """Give the rows of each sheet, all of them whatever the sheet says of its extent."""
    import openpyxl  # type: ignore[import-untyped]  # noqa: PLC0415 - slow to import, and few files are workbooks

    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    for sheet in book.worksheets:
        sheet.reset_dimensions()
        yield sheet.iter_rows(values_only=True)


def _records(rows: "Iterable[tuple[Any, ...]]") -> tuple[Record, ...]:
    """Write rows as text cells, without the empty ones at the end."""
    found = []
    count = 0
    for line, row in enumerate(rows, start=1):
        count += len(row)
        if line > _MOST_ROWS or count > _MOST_CELLS:
            raise _TooLargeError
        cells = [_cell(value) for value in row[:MAX_COLUMNS]]
        while len(cells) > 1 and not cells[-1]:
            cells.pop()
        found.append(Record(line, tuple(cells) or ("",), None, line))
    return tuple(found)


def _cell(value: Any) -> str:  # noqa: ANN401 - whatever a sheet holds
    if value is None:
        return ""
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, dt.datetime | dt.date | dt.time):
        return value.isoformat()
    return str(value).strip()
