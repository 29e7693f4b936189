"""Columns of a visit's files that nobody knows, what staff may say of each, and their answers from what was chosen."""

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.records import Given
from pipeline.schema import measurements

AS_STATED = ""  # the unit of a choice where the file states it


@dataclass(frozen=True, slots=True)
class Unknown:
    """A column of numbers: its first values as written, and what it may be, as quantity → units.

    One that is not alone shares its heading with another column: an answer could not tell them apart.
    """

    heading: str
    values: tuple[str, ...]
    choices: tuple[tuple[str, tuple[str, ...]], ...]
    alone: bool = True

    @property
    def offered(self) -> dict[str, tuple[str, str]]:
        """Give each value a form may send → quantity and unit."""
        return {f"{name}|{unit}": (name, unit) for name, units in self.choices for unit in units}


@dataclass(frozen=True, slots=True)
class Layout:
    """The unknown columns of the files with the same headings; layout is their fingerprint, file one of them."""

    layout: str
    file: str
    columns: tuple[Unknown, ...]

    def key(self, column: Unknown) -> str:
        """Name a column's field: neither its place nor what others have said meanwhile changes the name."""
        said = f"{self.layout}\x1f{column.heading}".encode("utf-8", "surrogatepass")
        return f"column-{hashlib.sha256(said).hexdigest()[:12]}"


def keys(layouts: Sequence[Layout]) -> dict[str, str]:
    """Give the fields of a form → the headings they are about."""
    return {one.key(column): column.heading for one in layouts for column in one.columns if column.choices}


def answered(layouts: Sequence[Layout], typed: Mapping[str, str]) -> tuple[dict[str, Given], dict[str, str]]:
    """Turn what was chosen (field → value) into answers by layout; faults by field. Only what was offered is taken."""
    answers: dict[str, Given] = {}
    faults: dict[str, str] = {}
    for one in layouts:
        chosen: dict[str, tuple[str, tuple[str, str]]] = {}
        for column in one.columns:
            key = one.key(column)
            value = typed.get(key, "")
            if value and value not in column.offered:
                faults[key] = f"“{column.heading}”: choose one from the list."
            elif value:
                chosen[key] = column.heading, column.offered[value]
        faults |= _taken_twice(chosen)
        if chosen:
            answers[one.layout] = Given(
                columns={heading: name for heading, (name, _) in chosen.values()},
                column_units={heading: unit for heading, (_, unit) in chosen.values() if unit != AS_STATED},
            )
    return answers, faults


def _taken_twice(chosen: Mapping[str, tuple[str, tuple[str, str]]]) -> dict[str, str]:
    uses = Counter(name for _, (name, _) in chosen.values())
    return {
        key: f"“{heading}”: only one column of a file can be the {measurements()[name].called}."
        for key, (heading, (name, _)) in chosen.items()
        if uses[name] > 1
    }
