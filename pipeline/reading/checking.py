"""The contract on shots in stored units: which cells hold an impossible value."""

from typing import TYPE_CHECKING

import polars as pl

from pipeline.schema import measurements, shot_contract

if TYPE_CHECKING:
    from collections.abc import Sequence


def impossible_cells(shots: pl.DataFrame, fields: "Sequence[str]") -> list[tuple[int, str]]:
    """Give row and field of every value outside its possible range; the contract finds the rows, we the cells."""
    rows = _impossible_rows(shots)
    if not rows:
        return []
    suspects = shots[rows]
    found: list[tuple[int, str]] = []
    for name in fields:
        outside = ~suspects[name].is_between(*measurements()[name].possible)
        found += [(rows[place], name) for place in outside.fill_null(value=False).arg_true()]
    return found


def _impossible_rows(shots: pl.DataFrame) -> list[int]:
    import pandera.errors  # noqa: PLC0415 - late, as in schema.shot_contract

    try:
        shot_contract().validate(shots, lazy=True)
    except pandera.errors.SchemaErrors as faults:
        cases = faults.failure_cases
        return sorted(int(row) for row in cases.filter(pl.col("check") == "possible")["index"].drop_nulls().unique())
    return []
