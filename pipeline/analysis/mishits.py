"""Shots of a set that stand out: mishits on the weak side, asked about on the strong side."""

import numpy as np
import polars as pl

from pipeline.analysis.ball_flight import column
from pipeline.analysis.parts import Codes, steps
from pipeline.analysis.robust import standing_out
from pipeline.analysis.set_rules import sets_of_kinds
from pipeline.records import Fate

# quantity, side, fate, code: the first that stands out gives the reason
_CHANNELS = (
    ("ball_speed_mps", "low", "mishit", "slow_ball"),
    ("used_carry_m", "low", "mishit", "short_carry"),
    ("used_offline_m", "both", "mishit", "far_offline"),
    ("ball_speed_mps", "high", "asked", "fast_ball"),
    ("used_carry_m", "high", "asked", "long_carry"),
)


def _channel(frame: pl.DataFrame, sets: Codes, kinds: Codes, name: str, side: str) -> dict[int, dict[str, float]]:
    """Find the shots that stand out in one quantity; sets: of each row, below 0 for those that take no part."""
    values = column(frame, name)
    rows = np.flatnonzero((sets >= 0) & np.isfinite(values))
    here, known = sets[rows], values[rows]
    step = steps(known, kinds[here], int(kinds.max(initial=-1)) + 1)[kinds]
    floors = np.maximum(step / 2, 1e-9)  # half a printed step: the next printed value alone is never a mishit
    mask, middle = standing_out(known, here, kinds, side, floors)
    plain = name.removeprefix("used_")
    found = zip(rows[mask].tolist(), known[mask].tolist(), middle[mask].tolist(), strict=True)
    return {row: {plain: value, f"middle_{plain}": between} for row, value, between in found}


def mishits(frame: pl.DataFrame, believed: list[bool]) -> dict[int, Fate]:
    """Give row → fate for shots that stand out of their set, judged with the spread of the golfer's like sets.

    frame: the shots of a visit, or of several (see parts), with `set`, `category` and the used_ columns; believed:
    False for bad reads, which take no part. Sets below 5 shots are never judged. Mishits leave the averages and stay in
    the consistency figures; asked shots count, and the fitter is asked about them.
    """
    keep = np.flatnonzero(np.array(believed, dtype=bool))
    sets = np.full(frame.height, -1, dtype=np.intp)
    sets[keep], kinds = sets_of_kinds(frame, keep)
    fates: dict[int, Fate] = {}
    for name, side, fate, code in _CHANNELS:
        if name in frame.columns:
            for i, figures in _channel(frame, sets, kinds, name, side).items():
                fates.setdefault(i, Fate(fate, code, figures, by="statistics"))
    return fates
