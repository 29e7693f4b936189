"""A source whose records are known at once: the rows of a sheet or the objects of a JSON file."""

from bisect import bisect_left
from dataclasses import dataclass
from operator import attrgetter
from typing import TYPE_CHECKING

from pipeline.reading.bodies import body_frame
from pipeline.reading.parts import Record

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl


@dataclass(frozen=True, slots=True)
class RecordSource:
    """Records of typed cells; see parts.Source."""

    encoding: str
    records: tuple[Record, ...]
    rejected: tuple[tuple[int, str], ...] = ()
    delimiter: str | None = None
    quoted: bool = True
    typed: bool = True
    open_ended: bool = False

    @property
    def kind(self) -> str:
        """Name it when no heading is found."""
        return "workbook" if self.encoding == "xlsx" else self.encoding

    def head(self, count: int) -> tuple[Record, ...]:
        """Give the first records."""
        return self.records[:count]

    def cells_on(self, line: int, width: int) -> tuple[str, ...]:
        """Give all cells of the record of that line."""
        del width  # only text has records whose extent depends on it
        place = bisect_left(self.records, line, key=attrgetter("line"))
        return self.records[place].cells

    def body(self, following: int, width: int, wanted: "Sequence[int]") -> "pl.DataFrame":
        """Give the records from that position on."""
        return body_frame(self.records[following:], width, wanted)
