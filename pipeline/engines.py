"""Where sums over the archive are worked out: polars in this process, or Spark for chains that have a cluster."""

import importlib.util
import os
import shutil
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import narwhals.stable.v2 as nw
import polars as pl

from pipeline import shot_archive
from pipeline.errors import FolderError, MissingPartError

ENGINES = ("polars", "spark")
MARK = "baywright.archive"  # where a file of the archive says by which version of the rows it was written
OWN_SPARK = "SPARK_CONF_DIR"  # set by those who have a cluster: their configuration is taken as it is
_SPARK_TYPES = {pl.String: "string", pl.Int64: "bigint", pl.Int32: "int", pl.Boolean: "boolean", pl.Date: "date"}
_SPARK_GLOB = str.maketrans({mark: f"\\{mark}" for mark in r"\{}[]*?"})
Summed = Callable[[nw.LazyFrame[Any]], nw.LazyFrame[Any]]


def collected(paths: Sequence[Path], columns: Sequence[str], summed: Summed, engine: str) -> pl.DataFrame:
    """Work an expression out over files of the archive.

    columns: those it needs; one that older files lack is null there. Raises FolderError for files of a later version,
    FileNotFoundError for one that is no more there, MissingPartError where Spark or Java is not installed.
    """
    refuse_later(paths)
    schema = {name: shot_archive.schema()[name] for name in columns}
    if engine == "spark":
        return _on_spark(paths, schema, summed)
    return summed(nw.from_native(scanned(paths, schema))).to_native().collect(engine="streaming")  # type: ignore[no-any-return]


def scanned(paths: Sequence[Path], schema: Mapping[str, Any], file: str | None = None) -> pl.LazyFrame:
    """Scan Parquet files with exactly these columns, whatever their folders are called; file: a column for the path."""
    return pl.scan_parquet(
        list(paths),
        schema=dict(schema),
        missing_columns="insert",
        extra_columns="ignore",
        glob=False,
        hive_partitioning=False,
        include_file_paths=file,
    )


def refuse_later(paths: Sequence[Path]) -> None:
    """Refuse files that a later version of this program wrote; raises FolderError."""
    for path in paths:
        said = pl.read_parquet_metadata(path).get(MARK, "")
        if not said.isdecimal() or int(said) > shot_archive.VERSION:
            msg = (
                f"{path} was written by a later version of this program, or is no file of its archive. "
                "Install the newest version here, too."
            )
            raise FolderError(msg)


# --- Spark ------------------------------------------------------------------------------------------------------------
def _on_spark(paths: Sequence[Path], schema: dict[str, Any], summed: Summed) -> pl.DataFrame:
    session = spark_session()
    declared = ", ".join(f"`{name}` {_SPARK_TYPES[kind]}" for name, kind in schema.items())
    try:
        shots = session.read.schema(declared).parquet(*(str(path.absolute()).translate(_SPARK_GLOB) for path in paths))
        found = summed(nw.from_native(shots)).collect("polars").to_native()
    except (
        Exception
    ) as fault:  # Spark's own kinds, and Java's; a file that has gone is the one we know what to do about
        missing = next((path for path in paths if not path.exists()), None)
        if missing is None:
            raise
        raise FileNotFoundError(str(missing)) from fault
    return pl.DataFrame(found)


def spark_session() -> Any:  # noqa: ANN401 - the package may be missing
    """Give the Spark session of this process: the one that runs, the cluster's, or one of this computer alone.

    The last one is bound to this computer's own address, without a web page. Raises MissingPartError that says what to
    install.
    """
    lacking = [name for name in ("pyspark", "pyarrow", "pandas") if importlib.util.find_spec(name) is None]
    if lacking:
        msg = f"The engine spark needs {' and '.join(lacking)}. Install with: pip install 'baywright[spark]'"
        raise MissingPartError(msg)
    from pyspark.errors import PySparkRuntimeError  # noqa: PLC0415 - an extra most do without
    from pyspark.sql import SparkSession  # noqa: PLC0415

    running = SparkSession.getActiveSession()
    if running is not None:
        return running
    if not _has_java():
        raise MissingPartError(_NO_JAVA)
    builder = SparkSession.builder.appName("baywright").config("spark.ui.enabled", "false")
    if not os.environ.get(OWN_SPARK):
        builder = builder.master("local[*]").config("spark.driver.host", "127.0.0.1")
        builder = builder.config("spark.driver.bindAddress", "127.0.0.1").config("spark.sql.shuffle.partitions", "8")
    try:
        session = builder.getOrCreate()
    except PySparkRuntimeError as fault:
        raise MissingPartError(_NO_JAVA) from fault
    session.sparkContext.setLogLevel("ERROR")
    return session


_NO_JAVA = (
    "The engine spark needs Java 17 or later, which does not start here. Install it, on Debian or Ubuntu with: "
    "apt-get install default-jre-headless"
)


def _has_java() -> bool:
    home = os.environ.get("JAVA_HOME")
    return shutil.which("java", path=str(Path(home) / "bin") if home else None) is not None
