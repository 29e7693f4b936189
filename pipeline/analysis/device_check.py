"""Does a file's device agree with the flight model? Reported over modelled carry, file by file."""

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.analysis.ball_flight import column
from pipeline.analysis.robust import FEWEST_SHOTS, mad_sigma
from pipeline.judgements import DeviceCheck
from pipeline.records import Fate

# The model's level is uncertain by 3 %, balls differ by as much, and devices state distances for airs of their own:
# what is farther off than all of that together is a matter of units, air or calibration (own judgement, no source).
FAR_OFF = 0.08


def device_checks(frame: pl.DataFrame, fates: Sequence[Fate]) -> tuple[DeviceCheck, ...]:
    """Compare each file's carry with the model over its believed shots.

    frame: a visit's shots with `file`, `carry_m` (or restated_carry_m) and `model_carry_m`; fates in the same order
    (bad reads take no part). A file with fewer than five such shots is left out. centre: median of reported ÷ modelled
    carry; spread: robust standard deviation of that ratio. Source: own method.
    """
    believed = np.array([fate.fate != "bad_read" for fate in fates], dtype=bool)
    name = "restated_carry_m" if "restated_carry_m" in frame.columns else "carry_m"
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = column(frame, name) / column(frame, "model_carry_m")
    usable = believed & np.isfinite(ratio)
    files = frame["file"].to_numpy()
    found = []
    for name in dict.fromkeys(files.tolist()):
        values = ratio[usable & (files == name)]
        if len(values) >= FEWEST_SHOTS:
            centre = float(np.median(values))
            found.append(DeviceCheck(name, len(values), centre, mad_sigma(values), abs(centre - 1) > FAR_OFF))
    return tuple(found)
