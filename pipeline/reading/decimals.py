"""The decimal mark of a file: proven by unambiguous cells, else by which reading gives possible figures."""

from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading.numerals import FEET_AND_INCHES, LONGEST_CELL, has_figure, mark_proven, numeral, tidy, to_number
from pipeline.units import spelled

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

MIXED = "mixed"
_FIRST_LOOK = 200
_FEET = frozenset({"'", "ft", "feet"})


@dataclass(frozen=True, slots=True)
class Marks:
    """Which decimal marks the cells prove, and what follows for the file."""

    proven: frozenset[str]
    decimal: str | None
    mixed: bool = False
    contradicted: bool = False


def proven_marks(
    columns: "Sequence[pl.Series]", *, comma_separated: bool, quoted: bool = True, typed: bool = False
) -> Marks:
    """Find the marks that measured columns prove; in a comma-separated file the point wins over a quoted comma."""
    possible = "." if comma_separated and not quoted else ".,"
    proven = frozenset(mark for mark in possible if any(_proves(column, mark, typed=typed) for column in columns))
    if len(proven) == 2:
        return Marks(proven, "." if comma_separated else MIXED, mixed=not comma_separated, contradicted=comma_separated)
    return Marks(proven, next(iter(proven), None))


def _proves(column: pl.Series, mark: str, *, typed: bool) -> bool:
    """Tell whether some cell proves the mark; a first look at few cells settles most files."""
    if any(_is_proof(text, mark, typed=typed) for text in column.head(_FIRST_LOOK).to_list() if text and mark in text):
        return True
    if len(column) <= _FIRST_LOOK:
        return False
    marked = column.filter(column.str.contains(mark, literal=True)).unique(maintain_order=True)
    return any(_is_proof(text, mark, typed=typed) for text in marked)


def _is_proof(text: str, mark: str, *, typed: bool) -> bool:
    found = _mark(text)
    return found == mark or (typed and found == "?" and mark == ".")


def _mark(text: str) -> str | None:
    clean = tidy(text)
    feet = FEET_AND_INCHES.fullmatch(clean) if len(clean) <= LONGEST_CELL else None
    if feet and feet["mark"] in _FEET:
        return mark_proven(feet["inches"])
    found = numeral(clean)
    if found is None or (
        found.after and (found.body[-1] in ".," or (has_figure(found.after) and not spelled(found.after)))
    ):
        return None  # a date or a slip says nothing about marks
    return mark_proven(found.body, found.exponent)


def ambiguous_texts(column: pl.Series, *, typed: bool = False) -> list[str]:
    """Give the different cells of a column whose one mark may be either; a point in typed cells is settled."""
    marked = column.filter(column.str.contains("," if typed else "[.,]")).unique(maintain_order=True)
    return [text for text in marked if _mark(text) == "?"]


def settle(
    columns: "Mapping[str, pl.Series]", plausible: "Callable[[str, float], bool]", *, typed: bool = False
) -> tuple[str | None, str | None]:
    """Choose the mark under which every column's ambiguous figures are plausible.

    Give the mark and None, or None and the column to ask about; both None when no cell is ambiguous.
    """
    fits: dict[str, set[str]] = {}
    for name, column in columns.items():
        texts = ambiguous_texts(column, typed=typed)
        if texts:
            fits[name] = {mark for mark in ".," if plausible(name, _median(texts, mark))}
    if not fits:
        return None, None
    common = set.intersection(*fits.values())
    if len(common) == 1:
        return common.pop(), None
    return None, next((name for name, marks in fits.items() if len(marks) != 1), next(iter(fits)))


def _median(texts: "Sequence[str]", mark: str) -> float:
    numbers = []
    for text in texts:
        found = numeral(tidy(text))
        number = to_number(found.body, found.exponent, mark) if found else None
        if number is not None:
            numbers.append(number)
    return median(numbers) if numbers else float("nan")
