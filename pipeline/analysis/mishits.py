"""Shots of a set that stand out: mishits on the weak side, asked about on the strong side."""

import numpy as np
import polars as pl

from pipeline.analysis.bad_reads import resolution
from pipeline.analysis.ball_flight import Floats, column
from pipeline.analysis.robust import stand_out
from pipeline.records import Fate

# quantity, side, fate, code: the first that stands out gives the reason
_CHANNELS = (
    ("ball_speed_mps", "low", "mishit", "slow_ball"),
    ("used_carry_m", "low", "mishit", "short_carry"),
    ("used_offline_m", "both", "mishit", "far_offline"),
    ("ball_speed_mps", "high", "asked", "fast_ball"),
    ("used_carry_m", "high", "asked", "long_carry"),
)


def _channel(frame: pl.DataFrame, rows: list[Floats], name: str, side: str) -> dict[int, dict[str, float]]:
    """Find the shots that stand out in one quantity among the sets of one kind of club."""
    values = column(frame, name)
    places = [group[np.isfinite(values[group.astype(int)])].astype(int) for group in rows]
    groups = [values[place] for place in places]
    step = resolution(np.concatenate(groups)) if groups else 0.0
    floor = max(step / 2, 1e-9)  # half a printed step: the next printed value alone is never a mishit
    plain = name.removeprefix("used_")
    found = {}
    for place, mask in zip(places, stand_out(groups, side, floor), strict=True):
        middle = float(np.median(values[place])) if len(place) else float("nan")
        for i in place[mask]:
            found[int(i)] = {plain: float(values[i]), f"middle_{plain}": middle}
    return found


def mishits(frame: pl.DataFrame, believed: list[bool]) -> dict[int, Fate]:
    """Give row → fate for shots that stand out of their set, judged with the spread of the golfer's like sets.

    frame: a visit's shots with `set`, `category` and the used_ columns; believed: False for bad reads, which take no
    part. Sets below 5 shots are never judged. Mishits leave the averages and stay in the consistency figures; asked
    shots count, and the fitter is asked about them.
    """
    keep = np.flatnonzero(np.array(believed, dtype=bool))
    kinds, sets = frame["category"].fill_null("").to_numpy(), frame["set"].to_numpy()
    fates: dict[int, Fate] = {}
    for kind in dict.fromkeys(kinds[keep].tolist()):
        here = keep[kinds[keep] == kind]
        rows = [here[sets[here] == index] for index in dict.fromkeys(sets[here].tolist())]
        for name, side, fate, code in _CHANNELS:
            if name in frame.columns:
                for i, figures in _channel(frame, rows, name, side).items():
                    fates.setdefault(i, Fate(fate, code, figures, by="statistics"))
    return fates
