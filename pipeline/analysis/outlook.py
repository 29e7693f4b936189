"""What a set's golfer could still gain with its club: worth of each step, room, launch windows."""

from collections.abc import Sequence

import polars as pl

from pipeline.analysis.attribution import distances
from pipeline.analysis.ball_flight import FlightModel
from pipeline.analysis.delivery import shots_of
from pipeline.analysis.fates import counted_of
from pipeline.analysis.room import room_of
from pipeline.analysis.whatif import OwnFlight
from pipeline.analysis.window import window_of
from pipeline.analysis.worth import worth_of
from pipeline.records import Fate, SetResult
from pipeline.room_records import Outlook


def own_flight(result: SetResult) -> OwnFlight:
    """Give the averages of apex and descent of a set, as far as they are known."""
    known = (result.averages.get(name) for name in ("apex_m", "descent_angle_deg"))
    return OwnFlight(*(average.mean if average else None for average in known))


def outlook_of(result: SetResult, frame: pl.DataFrame, fates: Sequence[Fate], model: FlightModel) -> Outlook:
    """Say what lies ahead for one set; frame and fates are those of the whole visit."""
    shots, category = shots_of(counted_of(frame, fates, result.set.index)), result.set.build.category
    flown = distances(model)
    return Outlook(
        set_index=result.set.index,
        worth=worth_of(shots, flown, category),
        room=room_of(shots, flown, category),
        window=window_of(shots, model, category, own_flight(result)),
    )
