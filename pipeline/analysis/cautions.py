"""The cautions a visit has earned; each code is worded by the vocabulary."""

import numpy as np
import polars as pl

from pipeline.analysis.ball_flight import column
from pipeline.analysis.robust import FEWEST_SHOTS
from pipeline.records import Fitting

_SIDEWAYS = {"offline_m", "launch_direction_deg", "club_path_deg", "face_angle_deg", "spin_axis_deg"}
_MISHITS_APART = 2  # from this difference on, the mishit counts are part of the answer


def cautions(fitting: Fitting, frame: pl.DataFrame) -> tuple[str, ...]:
    """Give the codes that hold, most important first; frame: the visit's shots with the model_ columns."""
    compared, judged = fitting.comparisons, fitting.judged
    beside = {index for c in compared for index in (c.build, c.against)}
    mishits = [r.n_mishit for r in fitting.sets if r.set.index in beside]
    holds = {
        "own_guessed": fitting.own_club_from == "first hit" and len(fitting.sets) > 1,
        "uneven": any(r.uneven for r in fitting.sets),
        "few_shots": any(r.n_counted < FEWEST_SHOTS for r in fitting.sets),
        "parted": bool(judged.parted),
        "one_after_another": any(not effect.adjusted for effect in judged.orders),
        "best_of_several": len(compared) > 1 and any(c.difference > 0 for c in compared),
        "uneven_mishits": bool(mishits) and max(mishits) - min(mishits) >= _MISHITS_APART,
        "by_hand": any(shot.fate.by == "staff" for shot in fitting.shots),
        "device_far_off": any(check.far_off for check in fitting.device_check),
        "hand_unknown": fitting.facts.hand is None and any(r.averages.keys() & _SIDEWAYS for r in fitting.sets),
        **_model_cautions(frame),
        "dropped_rows": any(reading.rejected for reading in fitting.files),
    }
    return tuple(code for code, true in holds.items() if true)


def _model_cautions(frame: pl.DataFrame) -> dict[str, bool]:
    # a shot the model could not fly is marked by it as well, but says nothing of the others
    flown = frame.filter(pl.Series(np.isfinite(column(frame, "model_carry_m"))))
    return {
        "no_axis": flown.height > 0 and not np.isfinite(column(frame, "spin_axis_deg")).any(),
        "run_unreliable": bool(flown["model_run_unreliable"].any()),
        "outside_range": bool(flown["model_outside_range"].any()),
    }
