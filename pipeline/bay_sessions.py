"""From the archive's shots to the watch over each bay's device: visits in order of time, one figure each."""

import datetime as dt
from collections.abc import Iterator, Mapping

import polars as pl

from pipeline import engines, shot_archive
from pipeline.analysis.drift import FEWEST_SHOTS, QUANTILE_OF, RULES, watch
from pipeline.rollup_records import ArchiveManifest, BaySession, BayWatch

_COLUMNS = {"smash_factor": "smash_factor_e4", "carry_over_modelled": "carry_over_modelled_e4",
            "spin_rate_rpm": "spin_rate_rpm"}  # fmt: skip
_KEYS = ("studio", "bay", "job", "day", "visit", "customer")
_UNKNOWN = "unknown"


def watches(manifest: ArchiveManifest, set_up: Mapping[tuple[str, str], str]) -> tuple[BayWatch, ...]:
    """Watch each bay of each studio: one watch a quantity that its device gives, by studio, bay and quantity.

    Visits stand in the order of their days, those of one day in that of their keys; a golfer is a customer. Shots that
    are no bad reads count, mishits too: `drift.session_value` allows for them. Visits that count no more take no part.
    Clubs nobody named are left out: what they are changes from visit to visit, and would hide any drift.
    Each quantity is watched by the clubs of one job, see `_job`, and not by all: several watches over one device would
    raise as many false alarms as they are, and the ratio of a driver is another than that of a wedge.
    A device put right again ends its alarm by itself: in half of the bays within 10 visits, in nine of ten within 18,
    in all but a few within 30 (invented bays, drift of 1 or 2 %: tests/test_bay_sessions.py). One that reads otherwise
    than in its first visits for good keeps its alarm, unless staff say that it was set up anew. set_up: the day since
    which visits count, as text, of a studio's bay.
    Raises FolderError for files of a later version of this program.
    """
    if not manifest.paths:
        return ()
    values = _values(manifest)
    return tuple(
        BayWatch(studio, bay, job, watch(quantity, sessions))
        for (studio, bay), every in values.group_by("studio", "bay", maintain_order=True)
        for visits in [every.filter(pl.col("day") >= dt.date.fromisoformat(set_up.get((studio, bay), "0001-01-01")))]
        for quantity in _COLUMNS
        for job, sessions in _sessions(visits, quantity)
    )


def _values(manifest: ArchiveManifest) -> pl.DataFrame:
    """Work out each visit's figures, in the order of time: the same as `drift.session_value` gives of its shots."""
    engines.refuse_later(manifest.paths)
    schema = {name: shot_archive.schema()[name] for name in (*_KEYS, "fate", *_COLUMNS.values())}
    shots = engines.scanned(manifest.paths, schema).filter(
        pl.col("fate") != "bad_read", pl.col("job") != _UNKNOWN, ~pl.col("visit").is_in(list(manifest.gone))
    )
    figures = [
        pl.when(pl.col(column).count() >= FEWEST_SHOTS)
        .then(pl.col(column).quantile(QUANTILE_OF[quantity], "linear") / (10_000 if column.endswith("_e4") else 1))
        .alias(quantity)
        for quantity, column in _COLUMNS.items()
    ]
    found = shots.group_by(*_KEYS).agg(figures).collect(engine="streaming")
    return found.sort("studio", "bay", "day", "visit", "job")


def _sessions(visits: pl.DataFrame, quantity: str) -> Iterator[tuple[str, list[BaySession]]]:
    """Give the job a quantity of a bay is watched by and its visits; nothing where no visit has a value."""
    job = _job(visits.filter(pl.col(quantity).is_not_null()))
    if job is not None:
        mine = visits.filter(pl.col("job") == job).select("day", "customer", quantity)
        yield job, [BaySession(day.isoformat(), str(customer), value) for day, customer, value in mine.iter_rows()]


def _job(known: pl.DataFrame) -> str | None:
    """Choose the job to watch by: the first one whose reference was full, until then the one with most visits.

    Not the one with most visits for good: it would change with what is in season, and a standing alarm would end
    because another club is hit more often by now.
    """
    if known.is_empty():
        return None
    counted = known.with_columns(pl.int_range(1, pl.len() + 1).over("job").alias("so far")).with_row_index("place")
    full = counted.filter(pl.col("so far") == RULES.reference).sort("place")
    if full.height:
        return str(full["job"][0])
    return str(known.group_by("job").len().sort(["len", "job"], descending=[True, False])["job"][0])
