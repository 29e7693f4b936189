"""Reads fitting.json back, as far as later questions need it: the shots that counted, and what they are flown with."""

import json
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.analysis.ball_flight import model_of
from pipeline.analysis.fates import COUNTING
from pipeline.clubs import told_apart
from pipeline.errors import FolderError
from pipeline.exports import SCHEMA_VERSION
from pipeline.records import AirUsed
from pipeline.schema import measurements

_USED = ("carry_m", "total_m")
_LARGEST_NUMBER = 1e6  # nothing in SI that is said of a ball is larger
_FAULTS = (  # what a damaged file leads to, here or where its words are made
    ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError, pl.exceptions.PolarsError,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class KeptSet:
    """One set of a report: label as the report calls its club, averages by quantity, None where there is none.

    shots: those that count, as analysis has it.
    Columns of shots: file, time (never known here), the measurements of shot.toml, used_carry_m and used_total_m.
    """

    letter: str
    label: str
    phase: str
    category: str | None
    averages: dict[str, float | None]
    shots: pl.DataFrame


@dataclass(frozen=True, slots=True)
class KeptFitting:
    """What a report says: visit_id, the air its distances are for, the letter of the set its answer speaks of."""

    visit_id: str
    air: AirUsed
    subject: str
    sets: tuple[KeptSet, ...]


@contextmanager
def understood(where: str) -> Iterator[None]:
    """Raise FolderError that says so when what is made of a fitting.json shows that it is damaged."""
    try:
        yield
    except _FAULTS as fault:
        msg = f"{where}: it is damaged ({type(fault).__name__}). Make the report anew."
        raise FolderError(msg) from fault


def document(content: bytes, where: str) -> dict[str, Any]:
    """Give what a fitting.json of this program holds; raises FolderError when it is damaged or of another schema."""
    with understood(where):
        found: dict[str, Any] = json.loads(content)
        if found["schema"] != SCHEMA_VERSION:
            msg = f"{where}: it was written by another version of baywright. Make the report anew."
            raise FolderError(msg)
        return found


def read(content: bytes, where: str) -> KeptFitting:
    """Read a fitting.json of this program; raises FolderError when it is damaged or of another schema."""
    found = document(content, where)
    with understood(where):
        air = AirUsed(**found["air"])
        model_of(air)  # an unknown ground, or an air there is not, is a damage as any other
        counted: dict[str, list[dict[str, Any]]] = defaultdict(list)
        for shot in found["shots"]:
            if shot["fate"] in COUNTING:
                counted[shot["set"]].append(shot)
        names = told_apart(
            [(str(one["label"]), str(one["build"].get("name") or one["label"])) for one in found["sets"]]
        )
        sets = tuple(
            _set(given, name, counted[given["letter"]]) for given, name in zip(found["sets"], names, strict=True)
        )
        return KeptFitting(str(found["visit"]["id"]), air, str(found["answer"]["set"]), sets)


def _set(given: dict[str, Any], name: str, shots: list[dict[str, Any]]) -> KeptSet:
    rows = [
        {
            "file": shot["file"],
            **{name: number(shot["measured"].get(name)) for name in measurements()},
            **{f"used_{name}": number(shot["used"].get(name)) for name in _USED},
        }
        for shot in shots
    ]
    numbers = dict.fromkeys([*measurements(), *(f"used_{name}" for name in _USED)], pl.Float64)
    frame = pl.DataFrame(rows, schema={"file": pl.String, **numbers})
    return KeptSet(
        letter=str(given["letter"]),
        label=name,
        phase=str(given["phase"]),
        category=given["build"]["category"],
        averages={name: number(average["mean"]) for name, average in given["averages"].items()},
        shots=frame.with_columns(pl.lit(None, pl.String).alias("time")),
    )


def number(value: Any) -> float | None:  # noqa: ANN401 - whatever it holds
    """Take a number, or none, as it is; raises ValueError for what no ball ever did."""
    if value is None:
        return None
    if not abs(value) <= _LARGEST_NUMBER:  # nor is NaN one, and a text has no size: TypeError
        msg = "no such number"
        raise ValueError(msg)
    return float(value)
