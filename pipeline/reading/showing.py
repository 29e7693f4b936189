"""A reading as plain data, for people, other programs and tests."""

from dataclasses import asdict
from typing import Any

from pipeline.records import FileReading


def as_json(reading: FileReading) -> dict[str, Any]:
    """Give a reading as dicts and lists; only a usable file shows its columns and rows."""
    usable = reading.outcome == "ok"
    fields = list(dict.fromkeys(use.field for use in reading.columns))
    return {
        "outcome": reading.outcome,
        "error": {"kind": reading.fault.kind, **reading.fault.facts} if reading.fault else None,
        "dialect": asdict(reading.dialect),
        "columns": {
            use.header: {"field": use.field, "unit": use.unit, "unit_from": use.unit_from}
            for use in (reading.columns if usable else ())
        },
        "unmapped": list(reading.unmapped) if usable else [],
        "rows": reading.shots.select("line", *fields).to_dicts() if usable else [],
        "rejected": [{"line": row.line, "reason": row.reason, "column": row.column} for row in reading.rejected],
        "bad_cells": [{"line": row.line, "column": row.column, "reason": row.reason} for row in reading.bad_cells],
        "dropped": [{"line": row.line, "reason": row.reason} for row in reading.dropped],
        "warnings": list(reading.warnings),
        "meta": dict(reading.meta),
    }
