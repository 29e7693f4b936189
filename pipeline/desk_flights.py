"""The picture of one shot's flight on the desk, drawn among the other shots with its club."""

from collections.abc import Sequence

import polars as pl

from pipeline import desk_shots
from pipeline.analysis.ball_flight import LAUNCH
from pipeline.analysis.shot_flights import ShotLine, shot_lines
from pipeline.desk_report import Report, Shot
from pipeline.pictures import chart_words
from pipeline.shot_charts import ShotCurve, one_shot
from pipeline.shown import Shown

_MOST_OTHERS = 60  # more lines than these are one grey field
_COLUMNS = (*LAUNCH, "launch_direction_deg", "spin_axis_deg")
_USED = ("carry_m", "apex_m", "offline_m")
_TOLD = (
    ("club_speed_mps", "club speed"), ("ball_speed_mps", "ball speed"), ("launch_angle_deg", "launch"),
    ("spin_rate_rpm", "spin"), ("carry_m", "carry"), ("apex_m", "top of flight"), ("offline_m", "side"),
)  # fmt: skip


def picture(report: Report, shot: Shot, shown: Shown) -> str | None:
    """Draw a shot's flight; None when it cannot be flown."""
    if desk_shots.lacking(shot):
        return None
    others = [one for one in desk_shots.of_club(report, shot) if not desk_shots.lacking(one)][:_MOST_OTHERS]
    mine, *theirs = shot_lines(_frame([shot, *others]), report.model)
    if mine is None:
        return None
    curves = [_curve(line, shown) for line in theirs if line]
    heights = shown.stored_step("length") / shown.stored_step("height")
    return one_shot(_curve(mine, shown), curves, chart_words(shown), title(shot, len(curves), shown), heights)


def _frame(shots: Sequence[Shot]) -> pl.DataFrame:
    columns = {name: [shot.measured.get(name) for shot in shots] for name in _COLUMNS}
    used = {f"used_{name}": [shot.used.get(name) for shot in shots] for name in _USED}
    return pl.DataFrame({**columns, **used}, schema=dict.fromkeys([*columns, *used], pl.Float64))


def _curve(line: ShotLine, shown: Shown) -> ShotCurve:
    along, height, side = (
        [shown.convert(value, "length") for value in values] for values in (line.along_m, line.height_m, line.side_m)
    )
    from_above = tuple(zip(along, side, strict=True)) if side else ()
    return ShotCurve(tuple(zip(along, height, strict=True)), from_above)


def title(shot: Shot, others: int, shown: Shown) -> str:
    """Say the picture in a sentence with its numbers."""
    figures = ((name, desk_shots.figure(shot, quantity, shown)) for quantity, name in _TOLD)
    told = ", ".join(f"{name} {text}" for name, text in figures if text != "–")
    seen = "from the side and from above" if "offline_m" in shot.used else "from the side; its side is not known"
    among = f" Thin lines: the others with this club that count, {others}." if others else ""
    return f"Flight of shot {shot.number}, {shot.club.label}, {seen}: {told}.{among}"
