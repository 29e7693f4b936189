"""The cautions a visit has earned; each code is worded by the vocabulary."""

import itertools
from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.analysis.ball_flight import column
from pipeline.analysis.robust import FEWEST_SHOTS
from pipeline.records import DeviceCheck, FileReading, SetResult, Visit, VisitFacts

_MISHITS_APART = 2  # from this difference on, the mishit counts are part of the answer


def cautions(
    visit: Visit,
    frame: pl.DataFrame,
    results: Sequence[SetResult],
    compared: int,
    readings: Sequence[FileReading],
    facts: VisitFacts,
    checks: Sequence[DeviceCheck],
) -> tuple[str, ...]:
    """Give the codes that hold, most important first; compared: how many builds stand against the own club."""
    kind = next(r.set.build.category for r in results if r.set.is_own)
    mishits = [r.n_mishit for r in results if r.set.build.category == kind]
    holds = {
        "own_guessed": visit.own_club_from == "first hit" and len(visit.sets) > 1,
        "uneven": any(r.uneven for r in results),
        "few_shots": any(r.n_counted < FEWEST_SHOTS for r in results),
        "one_after_another": compared > 0 and _one_after_another(frame),
        "best_of_several": compared > 1,
        "uneven_mishits": compared > 0 and max(mishits) - min(mishits) >= _MISHITS_APART,
        "device_far_off": any(check.far_off for check in checks),
        "hand_unknown": facts.hand is None,
        **_model_cautions(frame),
        "dropped_rows": any(r.rejected for r in readings),
    }
    return tuple(code for code, true in holds.items() if true)


def _one_after_another(frame: pl.DataFrame) -> bool:
    """Tell whether each set was hit in one block."""
    order = frame["set"].to_list()
    changes = sum(a != b for a, b in itertools.pairwise(order))
    return bool(changes + 1 == len(set(order)) > 1)


def _model_cautions(frame: pl.DataFrame) -> dict[str, bool]:
    # a shot the model could not fly is marked by it as well, but says nothing of the others
    flown = frame.filter(pl.Series(np.isfinite(column(frame, "model_carry_m"))))
    return {
        "no_axis": flown.height > 0 and not np.isfinite(column(frame, "spin_axis_deg")).any(),
        "run_unreliable": bool(flown["model_run_unreliable"].any()),
        "outside_range": bool(flown["model_outside_range"].any()),
    }
