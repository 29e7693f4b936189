"""What a set's golfer could still gain with its club: worth of each step, room, launch windows."""

from collections.abc import Sequence
from typing import Any

import polars as pl

from pipeline.analysis.delivery import shots_of
from pipeline.analysis.distances import Asking, Rounds, in_rounds
from pipeline.analysis.fates import counted_of
from pipeline.analysis.room import asking_room
from pipeline.analysis.whatif import OwnFlight
from pipeline.analysis.window import asking_window
from pipeline.analysis.worth import asking_worth, resampled
from pipeline.records import Fate, SetResult
from pipeline.room_records import Outlook


def own_flight(result: SetResult) -> OwnFlight:
    """Give the averages of apex and descent of a set, as far as they are known."""
    known = (result.averages.get(name) for name in ("apex_m", "descent_angle_deg"))
    return OwnFlight(*(average.mean if average else None for average in known))


def asking_outlooks(
    of_sets: Sequence[SetResult], frame: pl.DataFrame, fates: Sequence[Fate]
) -> Rounds[tuple[Outlook, ...]]:
    """Say what lies ahead for some sets; frame and fates are those of the whole visit.

    A calculation that asks for distances (`distances.finished`).
    """
    asking: list[Asking[Any]] = []
    for result in of_sets:
        shots, category = shots_of(counted_of(frame, fates, result.set.index)), result.set.build.category
        found = resampled(shots, category)
        asking += asking_worth(found, category), asking_room(shots, found, category)
        asking.append(asking_window(shots, category, own_flight(result)))
    told = iter((yield from in_rounds(asking)))
    return tuple(Outlook(result.set.index, next(told), next(told), next(told)) for result in of_sets)
