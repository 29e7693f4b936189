"""The measurements of schemas/shot.toml, and the pandera contract built from them."""

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from pipeline.resources import table

if TYPE_CHECKING:
    import pandera.polars as pa
    import polars as pl


@dataclass(frozen=True, slots=True)
class Measurement:
    """One column a shot may have; see schemas/shot.toml for what each part means."""

    name: str
    dimension: str
    unit: str
    possible: tuple[float, float]
    typical: tuple[float, float]
    positive: str
    golfer: str
    key: bool
    meaning: str


@cache
def measurements() -> dict[str, Measurement]:
    """Give every numeric measurement by name."""
    return {
        name: Measurement(
            name=name,
            dimension=row["dimension"],
            unit=row["unit"],
            possible=(float(row["possible"][0]), float(row["possible"][1])),
            typical=(float(row["typical"][0]), float(row["typical"][1])),
            positive=row.get("positive", ""),
            golfer=row.get("golfer", ""),
            key=row.get("key", False),
            meaning=row["meaning"],
        )
        for name, row in table("shot").items()
        if row["dimension"] != "text"
    }


@cache
def text_fields() -> frozenset[str]:
    """Give the names of the columns that are kept as written."""
    return frozenset(name for name, row in table("shot").items() if row["dimension"] == "text")


@cache
def shot_contract() -> "pa.DataFrameSchema":
    """Build the contract between mapping and validation: typed columns, possible ranges, nulls allowed, no coercion.

    The ranges are one check of the whole row, because pandera costs by the check and not by the row; failure_cases names
    the rows. Validate collected frames with lazy=True only: on a LazyFrame pandera skips the checks of the data without a word.
    """
    import pandera.polars as pa  # noqa: PLC0415 - half a second, and not every command reads shots
    import polars as pl  # noqa: PLC0415

    numeric = {name: pa.Column(pl.Float64, nullable=True, required=False) for name in measurements()}
    text = {name: pa.Column(pl.String, nullable=True, required=False) for name in sorted(text_fields())}
    columns = {"line": pa.Column(pl.Int64), **numeric, **text}
    return pa.DataFrameSchema(columns, checks=pa.Check(_all_possible, name="possible"), strict=True)


def _all_possible(data: "pa.PolarsData") -> "pl.LazyFrame":
    """Tell row by row whether every measurement lies in its possible range or is missing."""
    import polars as pl  # noqa: PLC0415

    present = [m for m in measurements().values() if m.name in data.lazyframe.collect_schema()]
    inside = (pl.col(m.name).is_between(*m.possible).fill_null(value=True) for m in present)
    return data.lazyframe.select(pl.all_horizontal(pl.lit(value=True), *inside))
