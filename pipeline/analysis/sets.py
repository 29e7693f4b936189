"""Files of shots → one visit: builds, sets in hitting order, and the own club they are compared with."""

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePath

import numpy as np
import polars as pl

from pipeline import clubs
from pipeline.analysis.parts import codes
from pipeline.records import Build, FileReading, ShotSet, Visit, VisitFacts
from pipeline.schema import measurements, text_fields

SMALLEST_PHASE = 3  # a note shared by fewer shots is a remark on a shot, not a phase of the visit
LONGEST_LABEL = 120


def with_all_columns(reading: FileReading) -> pl.DataFrame:
    """Bring a file's shots to the full set of columns; the file's name stands in where it names no club."""
    return _with_all_columns(reading.shots, pl.lit(reading.name), pl.lit(_club_of(reading)))


def _club_of(reading: FileReading) -> str:
    return reading.meta.get("Club") or PurePath(reading.name).stem


def _with_all_columns(frame: pl.DataFrame, file: pl.Expr, club: pl.Expr, *others: pl.Expr) -> pl.DataFrame:
    label = pl.col("club") if "club" in frame.columns else pl.lit(None, pl.String)
    numeric = [
        pl.col(name) if name in frame.columns else pl.lit(None, pl.Float64).alias(name) for name in measurements()
    ]
    text = [
        pl.col(name) if name in frame.columns else pl.lit(None, pl.String).alias(name)
        for name in sorted(text_fields() - {"club"})
    ]
    named = label.fill_null(club).str.slice(0, LONGEST_LABEL).alias("club")
    return frame.select(*others, file.alias("file"), pl.col("line").cast(pl.Int64), named, *text, *numeric)


def _together(readings: Sequence[FileReading], visits: Sequence[int]) -> pl.DataFrame:
    """Put the shots of files below each other, with the number of their file and of their visit."""
    about = {
        "file": pl.Series([reading.name for reading in readings], dtype=pl.String),
        "club": pl.Series([_club_of(reading) for reading in readings], dtype=pl.String),
        "visit": pl.Series(visits, dtype=pl.Int64),
    }
    alike: dict[tuple[tuple[str, pl.DataType], ...], list[int]] = {}
    for place, reading in enumerate(readings):
        alike.setdefault(tuple(reading.shots.schema.items()), []).append(place)
    frames = []
    for places in alike.values():
        frame = pl.concat([readings[place].shots for place in places])
        of = pl.Series(np.repeat(places, [readings[place].shots.height for place in places]), dtype=pl.Int64)
        file, club, visit = (pl.lit(values.gather(of)) for values in about.values())
        frames.append(_with_all_columns(frame, file, club, visit.alias("visit"), pl.lit(of).alias("reading")))
    return pl.concat(frames).sort("reading", maintain_order=True) if len(frames) > 1 else frames[0]


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


def _phase() -> pl.Expr:
    """Each shot's phase: its note if enough shots of the visit with that club share it, else nothing."""
    note = pl.col("note").fill_null("")
    shared = pl.len().over("visit", "club", note) >= SMALLEST_PHASE
    return pl.when((note != "") & shared).then(note.str.slice(0, LONGEST_LABEL)).otherwise(pl.lit("")).alias("phase")


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
    shots, (found,) = assemble_all([(readings, facts)])
    return Visit(shots.drop("visit", "reading"), *found)


def assemble_all(
    visits: Sequence[tuple[Sequence[FileReading], VisitFacts]],
) -> tuple[pl.DataFrame, list[tuple[tuple[ShotSet, ...], str]]]:
    """Join the files of each of many visits; each must have a shot.

    Gives all shots, with the number of their `visit` and of their file among all (`reading`), and for each visit its
    sets and what says which club is the customer's own.
    """
    readings = [reading for files, _ in visits for reading in files if reading.shots.height]
    theirs = [place for place, (files, _) in enumerate(visits) for reading in files if reading.shots.height]
    frame = _together(readings, theirs)
    frame = frame.with_columns(_ratio_from_speeds(), *_spin_from_parts(), _phase())
    keys = frame.select("visit", "club", "phase").unique(maintain_order=True)
    hit: dict[int, list[tuple[str, str]]] = {}
    for visit, club, phase in keys.iter_rows():
        hit.setdefault(visit, []).append((club, phase))
    found = [_sets_of(hit[place], facts) for place, (_, facts) in enumerate(visits)]
    numbered = [{(one.label, one.phase): one.index for one in of_visit} for of_visit, _ in found]
    index = [numbered[visit][club, phase] for visit, club, phase in keys.iter_rows()]
    of_shot = pl.Series(index, dtype=pl.Int64).gather(pl.Series(codes(frame, "club", "phase")))
    shots = frame.with_columns(
        pl.int_range(1, pl.len() + 1).over("visit").alias("number"), of_shot.alias("set"), pl.col(pl.Float64)
    )
    return shots, found


def _sets_of(keys: list[tuple[str, str]], facts: VisitFacts) -> tuple[tuple[ShotSet, ...], str]:
    """Give the sets of a visit, by club and phase in order, and what says which club is the own one."""
    own, own_from = _own_label(list(dict.fromkeys(club for club, _ in keys)), facts)
    places = dict(reversed(facts.order))  # of two words on one club the first holds, as of all in [[build]]

    def place(key: tuple[str, str]) -> tuple[bool, float]:
        return key[0] != own, places.get(key[0].strip().lower(), math.inf)

    ordered = sorted(keys, key=place)  # stable: the own club, then as staff said, the rest in hitting order
    base = next(key for key in ordered if key[0] == own)
    sets = tuple(
        ShotSet(i, letter(i), club, phase, _build_of(club, facts), (club, phase) == base)
        for i, (club, phase) in enumerate(ordered)
    )
    return sets, own_from
