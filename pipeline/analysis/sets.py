"""Files of shots → one visit: builds, sets in hitting order, and the own club they are compared with."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePath

import polars as pl

from pipeline import clubs
from pipeline.records import Build, FileReading, ShotSet, Visit, VisitFacts
from pipeline.schema import measurements, text_fields

SMALLEST_PHASE = 3  # a note shared by fewer shots is a remark on a shot, not a phase of the visit
LONGEST_LABEL = 120


def with_all_columns(reading: FileReading) -> pl.DataFrame:
    """Bring a file's shots to the full set of columns; the file's name stands in where it names no club."""
    frame = reading.shots
    stem = PurePath(reading.name).stem
    label = pl.col("club") if "club" in frame.columns else pl.lit(None, pl.String)
    numeric = [
        pl.col(name) if name in frame.columns else pl.lit(None, pl.Float64).alias(name) for name in measurements()
    ]
    text = [
        pl.col(name) if name in frame.columns else pl.lit(None, pl.String).alias(name)
        for name in sorted(text_fields() - {"club"})
    ]
    named = label.fill_null(reading.meta.get("Club") or stem).str.slice(0, LONGEST_LABEL).alias("club")
    return frame.select(pl.lit(reading.name).alias("file"), pl.col("line").cast(pl.Int64), named, *text, *numeric)


def _ratio_from_speeds() -> pl.Expr:
    """Ball speed / club speed where the file gives both but no ratio."""
    ratio = pl.col("ball_speed_mps") / pl.col("club_speed_mps")
    return pl.coalesce("smash_factor", ratio).alias("smash_factor")


def _spin_from_parts() -> list[pl.Expr]:
    """Total spin and its axis from back and side spin, where the file gives the parts alone.

    Back and side spin are the parts of the spin about the horizontal and the vertical axis, so the total is their
    root of squares and the axis is tilted by atan(side/back); + curves right as everywhere.
    """
    back, side = pl.col("backspin_rpm"), pl.col("sidespin_rpm")
    total = (back**2 + side**2).sqrt()
    axis = pl.arctan2(side, back).degrees()
    return [
        pl.coalesce("spin_rate_rpm", total).alias("spin_rate_rpm"),
        pl.when(pl.col("spin_rate_rpm").is_null()).then(pl.coalesce("spin_axis_deg", axis)).otherwise("spin_axis_deg")
        .alias("spin_axis_deg"),
    ]  # fmt: skip


def _phases(frame: pl.DataFrame) -> list[str]:
    """Give each shot's phase: its note if enough shots with that club share it, else nothing."""
    pairs = list(zip(frame["club"].to_list(), [n or "" for n in frame["note"].to_list()], strict=True))
    shared = Counter(pairs)
    return [note[:LONGEST_LABEL] if note and shared[club, note] >= SMALLEST_PHASE else "" for club, note in pairs]


def _own_label(labels: Sequence[str], facts: VisitFacts) -> tuple[str, str]:
    """Find the customer's own club: visit.toml, else a word in a label, else the first build hit."""
    wanted = (facts.own_club or "").strip().lower()
    for label in labels:
        if wanted and label.strip().lower() == wanted:
            return label, "visit.toml"
    for label in labels:
        if clubs.says_own(label):
            return label, "label"
    return labels[0], "first hit"


def _build_of(label: str, facts: VisitFacts) -> Build:
    """Put what staff said of a build over what its label says."""
    for build in facts.builds:
        if build.label.strip().lower() == label.strip().lower():
            category = build.category or clubs.category_of(f"{label} {build.head or ''}")
            parts = clubs.parts_of(label, category)
            loft = parts.loft_deg if build.loft_deg is None else build.loft_deg
            return replace(build, label=label, category=category, loft_deg=loft, number=parts.number, words=parts.words)
    parts = clubs.parts_of(label, clubs.category_of(label))
    return Build(label, parts.category, loft_deg=parts.loft_deg, number=parts.number, words=parts.words)


def letter(index: int) -> str:
    """Name the sets A, B and so on to Z, then AA."""
    return (letter(index // 26 - 1) if index >= 26 else "") + chr(ord("A") + index % 26)


def assemble(readings: Sequence[FileReading], facts: VisitFacts) -> Visit:
    """Join the files of a visit in the order given; at least one shot must be there."""
    frame = pl.concat([with_all_columns(reading) for reading in readings])
    frame = frame.with_columns(_ratio_from_speeds(), *_spin_from_parts(), pl.Series("phase", _phases(frame), pl.String))
    keys = list(dict.fromkeys(zip(frame["club"].to_list(), frame["phase"].to_list(), strict=True)))
    own, own_from = _own_label(list(dict.fromkeys(club for club, _ in keys)), facts)
    keys.sort(key=lambda key: key[0] != own)  # stable: the own club first, the rest in hitting order
    base = next(key for key in keys if key[0] == own)
    sets = tuple(
        ShotSet(i, letter(i), club, phase, _build_of(club, facts), (club, phase) == base)
        for i, (club, phase) in enumerate(keys)
    )
    index = {key: i for i, key in enumerate(keys)}
    of_shot = [index[key] for key in zip(frame["club"].to_list(), frame["phase"].to_list(), strict=True)]
    shots = frame.with_columns(
        pl.int_range(1, pl.len() + 1).alias("number"), pl.Series("set", of_shot, pl.Int64), pl.col(pl.Float64)
    )
    return Visit(shots, sets, own_from)
