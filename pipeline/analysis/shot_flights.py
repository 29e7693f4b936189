"""The flight of single shots for a picture: the model's paths, brought to the distances that are used."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.analysis.ball_flight import FlightModel, column, launch
from pipeline.physics.flight import flight_paths


@dataclass(frozen=True, slots=True)
class ShotLine:
    """A flight as points of equal time: along the ground, height, and to the right of the target line [m].

    side is empty where nobody knows how far left or right the ball came down.
    """

    along_m: tuple[float, ...]
    height_m: tuple[float, ...]
    side_m: tuple[float, ...]


def shot_lines(frame: pl.DataFrame, model: FlightModel, points: int = 41) -> list[ShotLine | None]:
    """Draw the flight of each shot, stretched to its carry and apex and turned to its side where those are known.

    frame: the launch columns, and used_carry_m, used_apex_m, used_offline_m with NaN or null where not known [m].
    None for a shot that cannot be flown. The turn is a straight one, as of another start direction: the model's curve
    stays. The same stretch as in ball_flight.middle_flights.
    """
    paths = flight_paths(
        launch(frame), model.air, points=points, drag_scale=model.drag_scale, lift_scale=model.lift_scale
    )
    along = np.hypot(paths.forward_m, paths.offline_m)
    carry, apex, offline = (column(frame, f"used_{name}") for name in ("carry_m", "apex_m", "offline_m"))
    lines: list[ShotLine | None] = []
    for i in range(frame.height):
        flown = float(along[i, -1])
        if not flown > 0:
            lines.append(None)
            continue
        longer, highest = _ratio(carry[i], flown), float(paths.height_m[i].max())
        higher = _ratio(apex[i], highest)
        side = paths.offline_m[i] * longer
        side = side + (offline[i] - side[-1]) * along[i] / flown if np.isfinite(offline[i]) else side[:0]
        forward, height = along[i] * longer, paths.height_m[i] * higher
        lines.append(ShotLine(tuple(forward.tolist()), tuple(height.tolist()), tuple(side.tolist())))
    return lines


def _ratio(used: float, modelled: float) -> float:
    """Divide the used by the modelled value; 1 where either is missing or nothing."""
    return float(used / modelled) if np.isfinite(used) and used > 0 and modelled > 0 else 1.0
