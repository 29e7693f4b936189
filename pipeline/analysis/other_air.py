"""Distances in another air: the device's own air → the studio's reference air → the customer's home course."""

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.analysis.ball_flight import FlightModel, column, launch
from pipeline.analysis.fates import COUNTING
from pipeline.judgements import AtHome
from pipeline.physics.atmosphere import Air
from pipeline.physics.restate import Ratios, carry_ratio
from pipeline.records import Fate

RESTATED = ("carry_m", "total_m", "apex_m")


def _ratios(frame: pl.DataFrame, from_air: Air, to_air: Air, model: FlightModel) -> Ratios:
    return carry_ratio(
        launch(frame),
        from_air,
        to_air,
        firmness=model.firmness,
        drag_scale=model.drag_scale,
        lift_scale=model.lift_scale,
    )


def restated(frame: pl.DataFrame, device_air: Air, model: FlightModel) -> pl.DataFrame:
    """Restate what the device measured in its own air to the studio's reference air, as restated_….

    A shot without ball speed, launch angle and spin cannot be restated and has none.
    """
    ratios = _ratios(frame, device_air, model.air, model)._asdict()
    by_name = {f"{kind}_m": ratio for kind, ratio in ratios.items()}
    return frame.with_columns(pl.Series(f"restated_{name}", column(frame, name) * by_name[name]) for name in RESTATED)


def at_home(frame: pl.DataFrame, fates: Sequence[Fate], home_air: Air, model: FlightModel) -> tuple[AtHome, ...]:
    """Say how far each set's counted balls would go in the air of the customer's home course.

    frame: a visit's shots with the used_ columns, fates in the same order. The used carry and total of each shot times
    the ratio of modelled distances; sets without such a shot are left out.
    """
    if "used_carry_m" not in frame.columns:
        return ()
    ratios = _ratios(frame, model.air, home_air, model)
    counting = np.array([fate.fate in COUNTING for fate in fates], dtype=bool)
    carry = column(frame, "used_carry_m") * ratios.carry
    total = column(frame, "used_total_m") * ratios.total if "used_total_m" in frame.columns else carry * np.nan
    found = []
    for index in sorted(set(frame["set"].to_list())):
        mine = counting & (frame["set"].to_numpy() == index) & np.isfinite(carry)
        if mine.any():
            far = total[mine & np.isfinite(total)]
            found.append(AtHome(index, float(carry[mine].mean()), float(far.mean()) if len(far) else None))
    return tuple(found)
