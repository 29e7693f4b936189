"""Bad reads that only the other shots of a set give away: too fast for the club, a spin unlike all others."""

import math

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.ball_flight import column
from pipeline.analysis.parts import Codes, Floats, codes, renumbered
from pipeline.analysis.robust import FEWEST_SHOTS, spreads
from pipeline.resources import table

_SMALLEST_SCALE = 1e-9  # figures that never differ have no spread; the limits of flags.toml then decide alone
Mask = NDArray[np.bool_]


def sets_of_kinds(frame: pl.DataFrame, rows: NDArray[np.intp]) -> tuple[Codes, Codes]:
    """Part some rows of a frame by kind of club and set: the set of each row, and the kind of each set."""
    sets, first = renumbered(codes(frame, "category", "set")[rows])
    return sets, codes(frame, "category")[rows[first]]


def _beside_the_set(frame: pl.DataFrame, values: Floats, sides: int) -> tuple[Floats, Floats]:
    """Give each shot's distance from its set's median, and the limit beyond which it stands out.

    The limit is that of the mishits (robust spread, lent by sets of the same kind); NaN where the value is missing and
    in sets below five shots, so that nothing is ever beyond it there.
    """
    away, limit = np.full(len(values), np.nan), np.full(len(values), np.nan)
    rows = np.flatnonzero(np.isfinite(values))
    sets, kinds = sets_of_kinds(frame, rows)
    found = spreads(values[rows], sets, kinds, sides)
    judged = np.bincount(sets, minlength=len(kinds))[sets] >= FEWEST_SHOTS
    away[rows[judged]] = (values[rows] - found.middle[sets])[judged]
    limit[rows[judged]] = (found.cut * np.maximum(found.scale, _SMALLEST_SCALE))[sets[judged]]
    return away, limit


def too_fast_for_club(frame: pl.DataFrame) -> tuple[Mask, Floats, Floats]:
    """Find balls far faster off the club than the rest of their set.

    frame: a visit's shots with `category`, `set`, ball_speed_mps and club_speed_mps; NaN = missing.
    Returns: mask (n,), the ratio of the speeds and the middle ratio of its set (n,) [1]. A shot is marked when its
    ratio is above the set's median by more than the share of flags.toml and stands out of the golfer's own spread;
    never in a set of fewer than five known ratios. A centred strike is the most a club can give, so ratios trail off
    downwards and end abruptly upwards: what is alone above is a misread speed. Source: own rule (no publication); the
    share is what a simulation needed to leave good strikes alone.
    """
    ratio = column(frame, "ball_speed_mps") / column(frame, "club_speed_mps")
    ratio[~(np.isfinite(ratio) & (ratio > 0))] = np.nan
    away, limit = _beside_the_set(frame, np.log(ratio), 1)
    share = math.log(1 + float(table("flags")["too_fast_for_club"]["share"]))
    return away > np.maximum(limit, share), ratio, ratio / np.exp(away)


def spin_unlike_set(frame: pl.DataFrame) -> tuple[Mask, Floats, Floats]:
    """Find shots whose spin is a multiple or a fraction of the set's, though struck and launched like the rest.

    frame: a visit's shots with `category`, `set`, spin, ball speed and launch angle; NaN = missing.
    Returns: mask (n,), the spin and the middle spin of its set (n,) [rpm]. A thin or high strike changes the spin and
    the launch and costs ball speed; so a shot is marked only when its ball speed is no less than `slower` below the
    set's median and its launch, where known, is within `launch_deg` of it. A set of fewer than five known spins is
    never judged. Source: own rule (no publication): with the same club, speed and launch fix the spin loft and so the
    spin, but for the height of the strike.
    """
    limits = table("flags")["spin_unlike_set"]
    spin, speed = column(frame, "spin_rate_rpm"), column(frame, "ball_speed_mps")
    spin[~(spin > 0)], speed[~(speed > 0)] = np.nan, np.nan
    away, limit = _beside_the_set(frame, np.log(spin), 2)
    slower, _ = _beside_the_set(frame, np.log(speed), 1)
    launch, _ = _beside_the_set(frame, column(frame, "launch_angle_deg"), 1)
    alike = (slower > math.log(1 - limits["slower"])) & ~(np.abs(launch) > limits["launch_deg"])
    return alike & (np.abs(away) > np.maximum(limit, math.log(limits["times"]))), spin, spin / np.exp(away)
