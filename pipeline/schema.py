"""The measurements of schemas/shot.toml, and the pandera contract built from them."""

from dataclasses import dataclass
from functools import cache
from math import isnan
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

    @property
    def called(self) -> str:
        """Name it as the trade does."""
        bare = self.name if self.dimension == "ratio" else self.name.rpartition("_")[0]
        return bare.replace("_", " ")

    @property
    def said(self) -> str:
        """Name it as the trade does, and say what is meant."""
        return f"{self.called} ({self.meaning})"


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

    Two checks of the whole frame, because pandera costs by the column and the check, not by the row: `typed` holds when
    every column is known and has its type, `possible` row by row when every value is in range; failure_cases names the
    rows. Validate collected frames with lazy=True only: on a LazyFrame pandera skips the checks without a word.
    """
    import pandera.polars as pa  # noqa: PLC0415 - half a second, and not every command reads shots

    return pa.DataFrameSchema(checks=[pa.Check(_typed, name="typed"), pa.Check(_possible, name="possible")])


def _typed(data: "pa.PolarsData") -> bool:
    import polars as pl  # noqa: PLC0415

    kinds = {"line": pl.Int64, **dict.fromkeys(measurements(), pl.Float64), **dict.fromkeys(text_fields(), pl.String)}
    found = data.lazyframe.collect_schema()
    return "line" in found and all(name in kinds and kind == kinds[name] for name, kind in found.items())


def _possible(data: "pa.PolarsData") -> "bool | pl.LazyFrame":
    """Look at the extremes first: only a frame with a value out of range is looked at row by row."""
    import polars as pl  # noqa: PLC0415

    shots = data.lazyframe.collect()
    present = [m for m in measurements().values() if m.name in shots.columns and shots.schema[m.name] == pl.Float64]
    if all(_inside(shots[m.name], *m.possible) for m in present):
        return True
    inside = (pl.col(m.name).is_between(*m.possible).fill_null(value=True) for m in present)
    return shots.lazy().select(pl.all_horizontal(pl.lit(value=True), *inside))


def _inside(values: "pl.Series", low: float, high: float) -> bool:
    """Tell whether the extremes are in range and no value is NaN, which extremes pass over."""
    smallest, largest, total = values.min(), values.max(), values.sum()
    if not isinstance(smallest, float) or not isinstance(largest, float):
        return True
    return low <= smallest and largest <= high and not isnan(total)
