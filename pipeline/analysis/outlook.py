"""What a set's golfer could still gain with its club: worth of each step, room, launch windows."""

from collections.abc import Sequence
from typing import Any

import polars as pl

from pipeline.analysis.ball_flight import FlightModel
from pipeline.analysis.delivery import shots_of
from pipeline.analysis.distances import Asking, Rounds, in_rounds
from pipeline.analysis.fates import counted_of
from pipeline.analysis.room import asking_room
from pipeline.analysis.whatif import OwnFlight
from pipeline.analysis.window import windows_of
from pipeline.analysis.worth import asking_worth
from pipeline.records import Fate, SetResult
from pipeline.room_records import Outlook


def own_flight(result: SetResult) -> OwnFlight:
    """Give the averages of apex and descent of a set, as far as they are known."""
    known = (result.averages.get(name) for name in ("apex_m", "descent_angle_deg"))
    return OwnFlight(*(average.mean if average else None for average in known))


def asking_outlooks(
    of_sets: Sequence[SetResult], frame: pl.DataFrame, fates: Sequence[Fate], model: FlightModel
) -> Rounds[tuple[Outlook, ...]]:
    """Say what lies ahead for some sets; frame and fates are those of the whole visit.

    A calculation that asks for distances (`distances.finished`) in the air and on the ground of model.
    """
    hit = [(result, shots_of(counted_of(frame, fates, result.set.index))) for result in of_sets]
    asked = [(shots, result.set.build.category) for result, shots in hit]
    asking: list[Asking[Any]] = [*(asking_worth(*each) for each in asked), *(asking_room(*each) for each in asked)]
    both = yield from in_rounds(asking)
    worths, rooms = both[: len(hit)], both[len(hit) :]
    windows = windows_of([(shots, result.set.build.category, own_flight(result)) for result, shots in hit], model)
    return tuple(
        Outlook(result.set.index, worth, room, window)
        for (result, _), worth, room, window in zip(hit, worths, rooms, windows, strict=True)
    )
