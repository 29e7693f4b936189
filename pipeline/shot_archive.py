"""The archive's rows: every shot of a visit with keys that name no person, measures as whole numbers; Parquet bytes."""

import hmac
import io
from collections.abc import Collection, Sequence
from functools import cache
from itertools import accumulate
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline import clubs
from pipeline.analysis.parts import codes
from pipeline.records import Build, Decided, DecidedTogether
from pipeline.resources import table
from pipeline.work_messages import visit_key

VERSION = 1  # of the rows; a later one is written when a column is added or means something else
MOST_STEPS = 40_000  # of a measure; what is farther from nothing is no shot, and is left out
_LONGEST_TEXT = 80
_KEY_BITS = 63
_MARK = "baywright.archive"
_ORDER = ("day", "visit", "job", "model", "own", "number")


# --- keys -------------------------------------------------------------------------------------------------------------
def customer_key(secret: str, customer: str | None, identity: str) -> int:
    """Give a customer's key: the same for the same name, whatever its case, and no way back without the secret.

    A visit that names nobody is its own customer.
    """
    who = " ".join((customer or "").casefold().split())
    said = hmac.digest(secret.encode(), f"{'name' if who else 'visit'}:{who or identity}".encode(), "sha256")
    return int.from_bytes(said[:8], "big") >> (64 - _KEY_BITS)


def job_of(build: Build) -> str:
    """Name what a club does in the bag: driver, iron 7, wedge sw, wedge 56; only clubs of one job are compared."""
    if build.category is None:
        return "unknown"
    if build.category == "wedge":
        loft = None if build.loft_deg is None else 2 * round(build.loft_deg / 2)  # sold in steps of 2°: common practice
        return f"wedge {clubs.wedge_name(build.label) or loft or ''}".strip()
    return f"{build.category} {build.number or ''}".strip() if build.category != "driver" else "driver"


def model_of(build: Build) -> str:
    """Give the club model as staff named it, else as the label says; empty where that is only a number or nothing."""
    said = build.head or build.words or ""
    return "" if said.strip(" #.").isdigit() else _plain(said)


def _plain(text: str) -> str:
    """Bring a text to one line of printable characters, not too long."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:_LONGEST_TEXT].strip()


# --- rows -------------------------------------------------------------------------------------------------------------
@cache
def schema() -> dict[str, Any]:
    """Give the columns of a row and their types."""
    keys = {
        "studio": pl.String, "month": pl.String, "day": pl.Date, "visit": pl.Int64, "customer": pl.Int64,
        "bay": pl.String, "number": pl.Int32, "job": pl.String, "model": pl.String, "loft_cdeg": pl.Int32,
        "shaft": pl.String, "own": pl.Boolean, "compares": pl.Boolean, "fate": pl.String,
        "carry_measured": pl.Boolean,
    }  # fmt: skip
    return keys | dict.fromkeys(table("archive"), pl.Int32)


def rows(decided: Decided, identity: str, studio: str, secret: str) -> pl.DataFrame:
    """Give a visit's shots as rows of the archive.

    decided: the visit; identity: its id; studio: the studio's; secret: that of its customers' keys. A value that is
    missing or beyond 40,000 steps is null. A build's later phases count with it; the own club's do not compare, as they
    tell of the golfer and not of the club.
    """
    together = DecidedTogether(
        (decided.date,), (decided.facts,), (decided.files,), (decided.sets,), (decided.own_club_from,), decided.frame,
        decided.fates, (decided.sources,),
    )  # fmt: skip
    return rows_of_all(together, [identity], studio, secret)


def rows_of_all(found: DecidedTogether, identities: Sequence[str], studio: str, secret: str) -> pl.DataFrame:
    """Give the shots of many visits as rows of the archive, each as `rows` would."""
    of_visit = pl.Series(codes(found.frame))
    before = pl.Series([0, *accumulate(map(len, found.sets))])
    of_set = before.gather(of_visit) + found.frame["set"]
    about = pl.concat(
        [
            _about_visits(found, identities, secret).select(pl.all().gather(of_visit)),
            _about_sets(found).select(pl.all().gather(of_set)),
        ],
        how="horizontal",
    )
    made = found.frame.with_columns(
        _reported_over_modelled(found.frame),
        pl.Series("fate", [fate.fate for fate in found.fates], pl.String),
        pl.lit(studio).alias("studio"),
        _bays(found).alias("bay"),
        *about,
    )
    measures = [_steps(made, name, row["from"], row["resolution"]) for name, row in table("archive").items()]
    return made.with_columns(measures).select(pl.col(name).cast(kind) for name, kind in schema().items())


def _about_visits(found: DecidedTogether, identities: Sequence[str], secret: str) -> pl.DataFrame:
    """Give what all rows of a visit have in common, a row a visit."""
    pairs = zip(found.facts, identities, strict=True)
    return pl.DataFrame(
        {
            "month": [f"{date:%Y-%m}" for date in found.dates],
            "day": found.dates,
            "visit": [visit_key(identity) for identity in identities],
            "customer": [customer_key(secret, facts.customer, identity) for facts, identity in pairs],
            "carry_measured": [sources.get("carry_m") in ("measured", "restated") for sources in found.sources],
        }
    )


def _about_sets(found: DecidedTogether) -> pl.DataFrame:
    """Give what all rows of a set have in common, a row a set, visit after visit."""
    own = [next((one.label for one in sets if one.is_own), None) for sets in found.sets]
    labelled = [(one, label) for sets, label in zip(found.sets, own, strict=True) for one in sets]
    builds = [one.build for one, _ in labelled]
    return pl.DataFrame(
        {
            "job": [job_of(build) for build in builds],
            "model": [model_of(build) for build in builds],
            "loft_cdeg": [None if build.loft_deg is None else round(build.loft_deg * 100) for build in builds],
            "shaft": [_plain(build.shaft or "") for build in builds],
            "own": [one.label == label for one, label in labelled],
            "compares": [one.is_own or one.label != label for one, label in labelled],
        },
        schema_overrides={"loft_cdeg": pl.Int32},
    )


def _bays(found: DecidedTogether) -> pl.Series:
    """Give each shot's bay: as visit.toml says, else its file."""
    said = [
        {reading.name: _plain(facts.bay or _said_bay(reading.meta)) for reading in files}
        for files, facts in zip(found.files, found.facts, strict=True)
    ]
    of_file = codes(found.frame, "file")
    first = np.unique(of_file, return_index=True)[1]
    names, visits = found.frame["file"].gather(first), codes(found.frame)[first]
    return pl.Series([said[visit][name] for visit, name in zip(visits, names, strict=True)]).gather(of_file)


def _said_bay(meta: dict[str, str]) -> str:
    return next((value for key, value in meta.items() if key.strip().casefold() == "bay"), "")


def _reported_over_modelled(frame: pl.DataFrame) -> pl.Expr:
    reported = pl.col("restated_carry_m" if "restated_carry_m" in frame.columns else "carry_m")
    return (reported / pl.col("model_carry_m")).alias("carry_over_modelled")


def _steps(frame: pl.DataFrame, name: str, source: str, resolution: float) -> pl.Expr:
    """Turn a column into whole steps, to the nearest; null where it is missing, no number or too far out."""
    if source not in frame.columns:
        return pl.lit(None, pl.Int32).alias(name)
    steps = (pl.col(source) / resolution).round()
    known = steps.is_finite() & (steps.abs() <= MOST_STEPS)
    return pl.when(known).then(steps).otherwise(None).cast(pl.Int32).alias(name)


# --- files ------------------------------------------------------------------------------------------------------------
def written(frame: pl.DataFrame) -> bytes:
    """Write rows as one Parquet file, always in the same order; the same rows give the same bytes."""
    out = io.BytesIO()
    frame.sort(_ORDER).write_parquet(out, compression="zstd", statistics=True, metadata={_MARK: str(VERSION)})
    return out.getvalue()


def joined(paths: Sequence[Path], gone: Collection[int]) -> bytes:
    """Join files of the archive into one, without the rows of visits that are gone; raises OSError for a missing one.

    Older files lack columns that came later: these are null.
    """
    frames = [pl.read_parquet(path, glob=False) for path in paths]
    whole = pl.concat([pl.DataFrame(schema=schema()), *frames], how="diagonal").select(list(schema()))
    return written(whole.filter(~pl.col("visit").is_in(list(gone))))
