"""Builders of invented shots, as fixtures: in this import mode test modules cannot import each other."""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.ball_flight import FlightModel, add_model
from pipeline.analysis.rollup_cells import Cells
from pipeline.physics.atmosphere import Air
from pipeline.records import Build, Dialect, FileReading, Row, SetResult, ShotSet
from pipeline.schema import measurements

MODEL = ("carry_m", "total_m", "offline_m", "apex_m", "flight_time_s", "descent_angle_deg")


def _frame(count: int, /, **columns: object) -> pl.DataFrame:
    """Make `count` shots as the stages after `sets` see them; a column is one value for all or a value a shot."""
    plain: dict[str, Any] = {
        "file": "a.csv",
        "line": list(range(2, count + 2)),
        "number": list(range(1, count + 1)),
        "set": 0,
        "category": "driver",
        "time": None,
        **dict.fromkeys(measurements()),
        **{f"model_{name}": float("nan") for name in MODEL},
        "model_outside_range": False,
        "model_run_unreliable": False,
        **columns,
    }
    kinds = {
        "file": pl.String,
        "category": pl.String,
        "time": pl.String,
        "line": pl.Int64,
        "number": pl.Int64,
        "set": pl.Int64,
    }
    flags = {"model_outside_range": pl.Boolean, "model_run_unreliable": pl.Boolean}
    return pl.DataFrame(
        {
            name: pl.Series(
                name,
                list(values)
                if isinstance(values, Sequence | np.ndarray) and not isinstance(values, str)
                else [values] * count,
                {**kinds, **flags}.get(name, pl.Float64),
            )
            for name, values in plain.items()
        }
    )


@pytest.fixture
def frame() -> Callable[..., pl.DataFrame]:
    return _frame


@pytest.fixture
def air() -> Air:
    return Air(1.225, 1.789e-5, within_range=True)


@pytest.fixture
def model(air: Air) -> FlightModel:
    return FlightModel(air)


@pytest.fixture
def drives(air: Air) -> Callable[..., pl.DataFrame]:
    """Invented drives whose carry, apex, time and descent are what the flight model says of their launch."""

    def make(count: int, seed: int = 1, **columns: Sequence[float]) -> pl.DataFrame:
        generator = np.random.default_rng(seed)
        launched = {
            "ball_speed_mps": generator.normal(68.0, 1.0, count),
            "launch_angle_deg": generator.normal(13.0, 1.0, count),
            "spin_rate_rpm": generator.normal(2600.0, 200.0, count),
            "launch_direction_deg": generator.normal(0.0, 1.5, count),
            "spin_axis_deg": generator.normal(0.0, 4.0, count),
        }
        told = {name: value for name, value in columns.items() if name in launched}
        modelled = add_model(_frame(count, **{**launched, **told}), FlightModel(air))
        measured = {name: modelled[f"model_{name}"] for name in MODEL}
        rest = {name: pl.Series(columns[name], dtype=modelled.schema[name]) for name in columns if name not in told}
        return modelled.with_columns(**measured).with_columns(**rest)

    return make


@pytest.fixture
def reading() -> Callable[..., FileReading]:
    def make(
        name: str = "a.csv", meta: dict[str, str] | None = None, rejected: int = 0, **shots: Sequence[object]
    ) -> FileReading:
        table = pl.DataFrame(shots)
        if "line" not in shots:
            table = table.with_columns(pl.int_range(2, table.height + 2, eager=True).alias("line"))
        lost = tuple(Row(90 + i, "no number") for i in range(rejected))
        return FileReading(name, "ok", None, Dialect(), (), (), table, lost, (), (), (), meta or {})

    return make


@pytest.fixture
def set_result() -> Callable[..., SetResult]:
    def make(
        index: int = 0, category: str | None = "driver", counted: int = 8, mishits: int = 0, *, uneven: bool = False
    ) -> SetResult:
        which = ShotSet(index, "ABCDEF"[index], f"club {index}", "", Build(f"club {index}", category), index == 0)
        return SetResult(which, counted, mishits, 0, 0, {}, None, None, uneven)

    return make


@pytest.fixture
def cells() -> Callable[..., Cells]:
    """Make cells from plain numbers; every sitting is a customer of its own."""

    def make(
        sitting: Sequence[int],
        model: Sequence[int],
        mean: Sequence[float],
        noise: Sequence[float],
        own: Sequence[bool] | None = None,
        shot_variance: float = 100.0,
    ) -> Cells:
        seats, which = np.array(sitting, dtype=np.int64), np.array(model, dtype=np.int64)
        many = int(seats.max()) + 1
        return Cells(
            sitting=seats,
            model=which,
            own=np.zeros(len(seats), dtype=np.bool_) if own is None else np.array(own, dtype=np.bool_),
            n=np.ones(len(seats)),
            mean=np.array(mean, dtype=np.float64),
            noise=np.array(noise, dtype=np.float64),
            freedom=np.full(len(seats), 50.0),
            customer_of=np.arange(many),
            models=tuple(f"m{j}" for j in range(int(which.max()) + 1)),
            customers=many,
            shot_variance=shot_variance,
        )

    return make
