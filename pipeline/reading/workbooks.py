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

_MOST_BYTES = 1 << 30  # unpacked; a larger workbook is a bomb or a mistake
_MANY_ROWS = 20_000  # above, the fast reader is used, which does not tell error cells from empty ones
_NO_WORKBOOK = Refused(Fault("not_tabular", {"detected": "workbook"}))


def workbook_source(content: bytes, profile: frozenset[str]) -> RecordSource | Refused:
    """Give the rows of the first sheet in which a heading is recognised."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        if sum(part.file_size for part in archive.infolist()) > _MOST_BYTES:
            return _NO_WORKBOOK
    try:
        for rows in _sheets(content):
            records = _records(rows)
            if find_header(records[:SEARCHED], profile):
                return RecordSource("xlsx", records)
    except Exception:  # noqa: BLE001 - the library raises whatever a broken workbook provokes
        return _NO_WORKBOOK
    return Refused(Fault("not_tabular", {"detected": "workbook"}), Dialect())


def _sheets(content: bytes) -> "Iterator[Iterable[tuple[Any, ...]]]":
    """Give the rows of each sheet, small sheets with their error cells."""
    import openpyxl  # type: ignore[import-untyped]  # noqa: PLC0415 - slow to import, and few files are workbooks

    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    for number, sheet in enumerate(book.worksheets):
        if (sheet.max_row or 0) > _MANY_ROWS:
            yield _fast_rows(content, number)
        else:
            yield sheet.iter_rows(values_only=True)


def _fast_rows(content: bytes, number: int) -> "Iterable[tuple[Any, ...]]":
    import fastexcel  # noqa: PLC0415 - as above

    sheet = fastexcel.read_excel(content).load_sheet(number, header_row=None, skip_rows=0, dtypes="string")
    return sheet.to_polars().iter_rows()


def _records(rows: "Iterable[tuple[Any, ...]]") -> tuple[Record, ...]:
    """Write rows as text cells, without the empty ones at the end."""
    found = []
    for line, row in enumerate(rows, start=1):
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
