"""What distance is worth against accuracy, in strokes to hole out from where the ball lies."""

import math

import numpy as np

from pipeline.judgements import Exchange
from pipeline.resources import table

_YARD_M = 0.9144  # the published table is in yards
_TEN_YARDS_M = 9.144


def strokes(left_m: float, lie: str) -> float:
    """Give the strokes a tour player needs to hole out.

    left_m: distance to the hole [m]; lie: tee | fairway | rough | sand | recovery. Returns strokes, by straight lines
    between the rows; nan outside the table, which begins at 10 yd (100 yd for the tee) and ends at 600 yd.
    Source: Broadie 2012, table B.1 (second-hand, see schemas/expected_strokes.toml). A tour baseline: amateurs lose
    more from rough and recovery.
    """
    rows = table("expected_strokes")
    column = rows[lie]["values"]
    places = rows["distance_yd"]["values"][-len(column) :]
    yards = left_m / _YARD_M
    if not places[0] <= yards <= places[-1]:
        return math.nan
    return float(np.interp(yards, places, column))


def exchange(hole_m: float, total_m: float) -> Exchange | None:
    """Give the rate at which distance trades against accuracy on a hole.

    hole_m: length of the hole, total_m: how far the tee shot goes in all [m]. None unless 20 to 600 yd are left.
    Returns strokes gained a metre nearer (over the next 10 yd, on the fairway), strokes lost in rough and recovery
    against the fairway, and which share of fairways equals those 10 yd.
    Source: differences of Broadie's table (second-hand); an exchange rate, never the customer's own score.
    """
    left_m = hole_m - total_m
    fairway = strokes(left_m, "fairway")
    nearer = (fairway - strokes(left_m - _TEN_YARDS_M, "fairway")) / _TEN_YARDS_M
    if not math.isfinite(nearer):
        return None
    rough = strokes(left_m, "rough") - fairway
    recovery = strokes(left_m, "recovery") - fairway
    return Exchange(hole_m, left_m, nearer, rough, recovery, nearer * _TEN_YARDS_M / rough)
