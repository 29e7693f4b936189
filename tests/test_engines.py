"""The engines: polars and Spark give the same to the last digit, and what is missing is said in plain words."""

import importlib.util
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline import engines, sum_files
from pipeline.errors import FolderError, MissingPartError
from pipeline.model_sums import pieces, quantiles
from pipeline.rollup_records import ArchiveManifest
from pipeline.shot_sums import CARRIES, COLUMNS, SUMS, Kind
from tests.invented_archive import Row, archive, frame

REQUIRED = "BAYWRIGHT_REQUIRE_SPARK"  # set where a missing Spark is a failure and no reason to skip


# --- what is missing ----------------------------------------------------------------------------------------------
def test_missing_packages_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    real = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "pyspark" else real(name))
    with pytest.raises(MissingPartError, match=r"needs pyspark.*pip install 'baywright\[spark\]'"):
        engines.spark_session()


class _Builder:
    """Stands in for Spark's: keeps what is set, and fails as where Java does not start."""

    def __init__(self, fault: type[Exception] | None) -> None:
        self.said: dict[str, str] = {}
        self.fault = fault

    def appName(self, name: str) -> "_Builder":  # noqa: N802 - Spark's name
        return self.config("name", name)

    def master(self, name: str) -> "_Builder":
        return self.config("master", name)

    def config(self, key: str, value: str) -> "_Builder":
        self.said[key] = value
        return self

    def getOrCreate(self) -> Any:  # noqa: ANN401, N802 - Spark's name
        if self.fault:
            raise self.fault
        return SimpleNamespace(sparkContext=SimpleNamespace(setLogLevel=lambda _: None), said=self.said)


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> _Builder:
    """Put a stand-in where pyspark would be."""
    fault = type("PySparkRuntimeError", (Exception,), {})
    builder = _Builder(None)
    errors, sql, top = ModuleType("pyspark.errors"), ModuleType("pyspark.sql"), ModuleType("pyspark")
    errors.PySparkRuntimeError = fault  # type: ignore[attr-defined]
    sql.SparkSession = SimpleNamespace(builder=builder, getActiveSession=lambda: None)  # type: ignore[attr-defined]
    for module in (top, errors, sql):
        monkeypatch.setitem(sys.modules, module.__name__, module)
    monkeypatch.setattr(importlib.util, "find_spec", lambda _: True)
    monkeypatch.setattr(shutil, "which", lambda *_, **__: "/usr/bin/java")
    monkeypatch.delenv(engines.OWN_SPARK, raising=False)
    builder.fault = None
    builder.java_fails = fault  # type: ignore[attr-defined]
    return builder


def test_missing_java_is_said(stand_in: _Builder, monkeypatch: pytest.MonkeyPatch) -> None:
    stand_in.fault = stand_in.java_fails  # type: ignore[attr-defined]
    with pytest.raises(MissingPartError, match=r"Java 17 or later.*apt-get install"):
        engines.spark_session()
    monkeypatch.setattr(shutil, "which", lambda *_, **__: None)
    stand_in.fault = AssertionError
    with pytest.raises(MissingPartError, match="Java 17 or later"):
        engines.spark_session()


def test_spark_on_this_computer_is_reached_from_it_alone(stand_in: _Builder, monkeypatch: pytest.MonkeyPatch) -> None:
    said = engines.spark_session().said
    assert said["master"].startswith("local[")
    assert said["spark.driver.host"] == said["spark.driver.bindAddress"] == "127.0.0.1"
    assert said["spark.ui.enabled"] == "false"
    stand_in.said.clear()
    monkeypatch.setenv(engines.OWN_SPARK, "/etc/spark")
    assert engines.spark_session().said == {"name": "baywright", "spark.ui.enabled": "false"}


# --- Spark itself -------------------------------------------------------------------------------------------------
def _lacking(what: str) -> None:
    """Skip loudly, or fail where Spark is required."""
    said = f"{what}: THE SUMS ARE NOT TESTED ON SPARK. apt-get install default-jre-headless, pip install '.[spark]'"
    if os.environ.get(REQUIRED):
        pytest.fail(said)
    pytest.skip(said)


@pytest.fixture(scope="module")
def spark() -> Iterator[Any]:
    try:
        session = engines.spark_session()
    except MissingPartError as fault:
        _lacking(str(fault))
        return
    yield session
    session.stop()


def shots(seed: int, many: int = 3_000) -> list[Row]:
    """Make rows with every kind of gap, and carries to the limit on both sides."""
    g = np.random.default_rng(seed)

    def some(values: list[Any]) -> list[Any]:
        return [values[k] for k in g.integers(0, len(values), many)]

    steps = [None, -40_000, 40_000, 0, -1, -50, -51, 49, 50, *g.integers(-300, 30_000, 40).tolist()]
    columns: dict[str, list[Any]] = {
        "studio": ["s1", "s2"], "month": ["2026-05", "2026-06"], "visit": list(range(12)),
        "customer": [1, 2, 2**63 - 1], "job": ["driver", "iron 7"], "model": ["", "A", "a", "Ä ö"],
        "loft_cdeg": [None, 900, 1050], "shaft": ["", "S"], "own": [True, False], "compares": [True, True, False],
        "fate": ["counted", "counted", "mishit"], "carry_cm": steps, "club_speed_cmps": steps,
        "ball_speed_cmps": steps,
    }  # fmt: skip
    drawn = {name: some(values) for name, values in columns.items()}
    return [{name: values[k] for name, values in drawn.items()} for k in range(many)]


spark_noise = pytest.mark.filterwarnings("default")  # its own deprecations and open sockets are not ours to fail for


@pytest.mark.slow
@spark_noise
@pytest.mark.usefixtures("spark")
@pytest.mark.parametrize("kind", [SUMS, CARRIES], ids=lambda kind: kind.name)
@pytest.mark.parametrize("gone", [(), (3, 7, 99)])
def test_spark_gives_exactly_what_polars_gives(tmp_path: Path, kind: Kind, gone: tuple[int, ...]) -> None:
    paths = archive(tmp_path / "Studio [1] {a,b} *?" / "archive", shots(len(gone)), files=2).paths
    one, other = (
        engines.collected(paths, COLUMNS, lambda rows: kind.summed(rows, gone), engine).sort(kind.keys)
        for engine in engines.ENGINES
    )
    assert one.height > 50
    assert dict(other.schema) == kind.schema
    assert other.select(one.columns).equals(one)


@pytest.mark.slow
@spark_noise
@pytest.mark.usefixtures("spark")
def test_pieces_and_quantiles_are_the_same_by_spark(tmp_path: Path) -> None:
    root = tmp_path / "archive"
    manifest = archive(root, shots(5), gone=(4,))
    by_polars = pieces(manifest), quantiles(manifest)
    sum_files.forget_sums(root)
    by_spark = pieces(manifest, engine="spark"), quantiles(manifest, engine="spark")
    assert by_polars[0].height > 100
    assert by_spark[0].equals(by_polars[0])
    assert by_spark[1].equals(by_polars[1])


@pytest.mark.slow
@spark_noise
@pytest.mark.usefixtures("spark")
def test_spark_knows_older_and_later_files_and_such_as_have_gone(tmp_path: Path) -> None:
    manifest = archive(tmp_path / "archive", [{"carry_cm": 1}])
    old = manifest.paths[0].with_name("old.parquet")
    frame([{"carry_cm": 2}]).drop("club_speed_cmps").write_parquet(old, metadata={engines.MARK: "1"})
    found = engines.collected([*manifest.paths, old], COLUMNS, lambda rows: SUMS.summed(rows, ()), "spark")
    assert found.select("n_carry_cm", "n_club_speed_cmps", "n_ball_speed_cmps").rows() == [(2, 1, 2)]
    frame([{}]).write_parquet(old, metadata={engines.MARK: "99"})
    with pytest.raises(FolderError, match="later version"):
        pieces(ArchiveManifest((old,)), engine="spark")
    schema = {name: frame([{}]).schema[name] for name in COLUMNS}
    with pytest.raises(FileNotFoundError):
        engines._on_spark([tmp_path / "gone.parquet"], schema, lambda rows: SUMS.summed(rows, ()))
    with pytest.raises(Exception, match="no_such_column"):
        engines._on_spark(manifest.paths, schema, lambda rows: rows.select("no_such_column"))
    assert pl.read_parquet(manifest.paths[0], glob=False).height == 1
