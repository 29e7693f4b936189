"""What distance is worth against accuracy, in strokes to hole out from where the ball lies."""

import math

import numpy as np
from scipy import special

from pipeline.judgements import Exchange
from pipeline.resources import table

_YARD_M = 0.9144  # the published table is in yards
_TEN_YARDS_M = 9.144
_NODES = 81


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


def exchange(left_m: float) -> Exchange:
    """Give the rate at which distance trades against accuracy with so much left to the hole.

    left_m: from 20 to 600 yd [m]; nan outside. Returns strokes gained a metre nearer (over the next 10 yd, on the
    fairway), strokes lost in rough and recovery against the fairway, and which share of fairways equals those 10 yd.
    Source: differences of Broadie's table (second-hand); an exchange rate, never the customer's own score.
    """
    fairway = strokes(left_m, "fairway")
    nearer = (fairway - strokes(left_m - _TEN_YARDS_M, "fairway")) / _TEN_YARDS_M
    rough = strokes(left_m, "rough") - fairway
    recovery = strokes(left_m, "recovery") - fairway
    return Exchange(left_m, nearer, rough, recovery, nearer * _TEN_YARDS_M / rough)


def expected_strokes(
    hole_m: float, total: tuple[float, float], side: tuple[float, float], width_m: float, rough_to_m: float = 32.004
) -> float:
    """Give the strokes a tour player would need on a hole after tee shots like these.

    hole_m: length of the hole [m]; total and side: mean and standard deviation of the total distance and of the side
    [m]; width_m: width of the fairway [m]; rough_to_m: from this far off the middle (35 yd) the ball is in trouble.
    Returns 1 + sum over lies of P(lie) × strokes(hole − total, lie); nan when what is left leaves the table. Normal
    shots, side and distance independent, the distance along the line. Source: Broadie 2012 (second-hand) for the
    strokes, own form for the rest.
    """
    edges = np.array([width_m / 2, max(rough_to_m, width_m / 2)])
    spread = max(side[1], 1e-9)
    inside = special.ndtr((edges - side[0]) / spread) - special.ndtr((-edges - side[0]) / spread)
    chances = {"fairway": inside[0], "rough": inside[1] - inside[0], "recovery": 1 - inside[1]}
    lefts = hole_m - (total[0] + total[1] * special.ndtri((np.arange(_NODES) + 0.5) / _NODES))
    return 1 + sum(float(p) * float(np.mean([strokes(left, lie) for left in lefts])) for lie, p in chances.items())
