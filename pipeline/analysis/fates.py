"""Which shots count: rules first, then statistics among the believed, then staff's word."""

from collections.abc import Sequence

import polars as pl

from pipeline.analysis.bad_reads import bad_reads
from pipeline.analysis.mishits import mishits
from pipeline.records import Fate, Overrule

COUNTING = ("counted", "asked")
_COUNTED = Fate("counted")


def fates(frame: pl.DataFrame, overrules: Sequence[Overrule]) -> list[Fate]:
    """Decide every shot of a visit, in the order of the frame (file, line, category, model_ and used_ columns)."""
    return overruled(frame, found_fates(frame), overrules)


def found_fates(frame: pl.DataFrame) -> list[Fate]:
    """Decide every shot of one visit, or of several (see parts), before staff's word."""
    bad = bad_reads(frame)
    found = {**mishits(frame, [i not in bad for i in range(frame.height)]), **bad}
    return [found.get(i, _COUNTED) for i in range(frame.height)]


def overruled(frame: pl.DataFrame, found: Sequence[Fate], overrules: Sequence[Overrule]) -> list[Fate]:
    """Put staff's word over what was found of one visit's shots."""
    decided = list(found)
    said = {(word.file, word.line): word for word in overrules}
    for i, place in enumerate(zip(frame["file"].to_list(), frame["line"].to_list(), strict=True)):
        if place in said:
            decided[i] = _overruled(said[place], decided[i])
    return decided


def counted_of(frame: pl.DataFrame, decided: Sequence[Fate], set_index: int) -> pl.DataFrame:
    """Give the counted shots of one set; frame and fates are those of the whole visit."""
    counts = pl.Series([fate.fate in COUNTING for fate in decided], dtype=pl.Boolean)
    return frame.filter(counts & (frame["set"] == set_index))


def _overruled(word: Overrule, found: Fate) -> Fate:
    """Put staff's word over what was found; a shot set aside by staff keeps its bin, else it is a mishit."""
    if word.counts:
        return Fate("counted", "staff", {}, word.reason, by="staff")
    return Fate("bad_read" if found.fate == "bad_read" else "mishit", "staff", {}, word.reason, by="staff")
