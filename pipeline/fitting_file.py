"""Reads fitting.json back, as far as later questions need it: the shots that counted, and what they are flown with."""

import json
from dataclasses import dataclass
from typing import Any

import polars as pl

from pipeline.analysis.fates import COUNTING
from pipeline.errors import FolderError
from pipeline.exports import SCHEMA_VERSION
from pipeline.physics.ground import FIRMNESS
from pipeline.records import AirUsed
from pipeline.schema import measurements

_USED = ("carry_m", "total_m")


@dataclass(frozen=True, slots=True)
class KeptSet:
    """One set of a report: averages by quantity, None where there is none; shots, those that count, as analysis has it.

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


def read(content: bytes, where: str) -> KeptFitting:
    """Read a fitting.json of this program; raises FolderError when it is damaged or of another schema."""
    try:
        document = json.loads(content)
        if document["schema"] != SCHEMA_VERSION:
            msg = f"{where}: it was written by another version of baywright. Make the report anew."
            raise FolderError(msg)
        air = AirUsed(**document["air"])
        FIRMNESS[air.firmness]  # an unknown one is a damage as any other
        sets = tuple(_set(given, document["shots"]) for given in document["sets"])
        return KeptFitting(str(document["visit"]["id"]), air, str(document["answer"]["set"]), sets)
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError, pl.exceptions.PolarsError) as fault:
        msg = f"{where}: it is damaged ({type(fault).__name__}). Make the report anew."
        raise FolderError(msg) from fault


def _set(given: dict[str, Any], shots: list[dict[str, Any]]) -> KeptSet:
    here = [shot for shot in shots if shot["set"] == given["letter"] and shot["fate"] in COUNTING]
    rows = [
        {
            "file": shot["file"],
            **{name: shot["measured"].get(name) for name in measurements()},
            **{f"used_{name}": shot["used"].get(name) for name in _USED},
        }
        for shot in here
    ]
    numbers = dict.fromkeys([*measurements(), *(f"used_{name}" for name in _USED)], pl.Float64)
    frame = pl.DataFrame(rows, schema={"file": pl.String, **numbers})
    return KeptSet(
        letter=str(given["letter"]),
        label=str(given["label"]),
        phase=str(given["phase"]),
        category=given["build"]["category"],
        averages={name: average["mean"] for name, average in given["averages"].items()},
        shots=frame.with_columns(pl.lit(None, pl.String).alias("time")),
    )
