"""What the steps of reading hand each other inside this package."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from pipeline.records import ColumnUse, Dialect, Fault

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

MAX_COLUMNS = 512  # a wider line is no heading; keeps hostile files from costing time and memory


@dataclass(frozen=True, slots=True)
class Refused:
    """Reading ended before rows could be judged: why, and what was known by then."""

    fault: Fault
    dialect: Dialect = field(default_factory=Dialect)
    meta: dict[str, str] = field(default_factory=dict)
    warnings: frozenset[str] = frozenset()
    columns: tuple[ColumnUse, ...] = ()  # as far as they were understood
    unmapped: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Decoded:
    """A file's text and how it was encoded."""

    text: str
    encoding: str
    warnings: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Record:
    """One record: the line it starts on, its stripped cells, what is wrong with it, and where the next one starts."""

    line: int
    cells: tuple[str, ...]
    problem: str | None = None
    following: int = 0  # position of the next record in its source

    @property
    def blank(self) -> bool:
        """Tell whether no cell holds anything."""
        return not any(self.cells)


class Source(Protocol):
    """A table not yet understood: text lines, sheet rows or JSON objects."""

    @property
    def kind(self) -> str:
        """What it is called when no heading is found."""
        ...

    @property
    def encoding(self) -> str:
        """Encoding to report."""
        ...

    @property
    def delimiter(self) -> str | None:
        """Delimiter to report; None for one column and for sources without one."""
        ...

    @property
    def quoted(self) -> bool:
        """Whether a cell may hold the delimiter."""
        ...

    @property
    def typed(self) -> bool:
        """Whether numbers arrived as numbers, so that a point in them is the decimal mark."""
        ...

    @property
    def open_ended(self) -> bool:
        """Whether the last record lacks its line end."""
        ...

    @property
    def rejected(self) -> "Sequence[tuple[int, str]]":
        """Records that could not even be read: line and reason."""
        ...

    def head(self, count: int) -> tuple[Record, ...]:
        """Give the first records."""
        ...

    def cells_on(self, line: int, width: int) -> tuple[str, ...]:
        """Give all cells of the record that starts on that line, under a heading that wide."""
        ...

    def body(self, following: int, width: int, wanted: "Sequence[int]") -> "pl.DataFrame":
        """Give the records from that position on with the wanted columns; see bodies."""
        ...
