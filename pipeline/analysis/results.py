"""What is said of each set and of every shot."""

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.averages import average
from pipeline.analysis.ball_flight import PRESENT_SHARE, FlightModel, column, middle_flights
from pipeline.analysis.dispersion import prediction_ellipse
from pipeline.analysis.fates import COUNTING
from pipeline.records import Average, Ellipse, Fate, FlightLine, SetResult, ShotResult, ShotSet
from pipeline.schema import measurements

_MOST_ASIDE = 1 / 3  # more set aside by rule or statistics than this and a mean of the rest says little
_MODELLABLE = ("carry_m", "total_m", "offline_m", "apex_m", "flight_time_s", "descent_angle_deg")

Mask = NDArray[np.bool_]


def _averages(frame: pl.DataFrame, counted: Mask, valid: Mask, sources: dict[str, str]) -> dict[str, Average]:
    """Average every quantity that enough counted shots of a set have; flight quantities from their one source."""
    out = {}
    for name in measurements():
        if name in _MODELLABLE and name not in sources:
            continue
        values = column(frame, f"used_{name}" if name in sources else name)
        found = average(name, sources.get(name, "measured"), values[counted], values[valid])
        if found and found.n >= PRESENT_SHARE * counted.sum():
            out[name] = found
    return out


def _ellipse(frame: pl.DataFrame, sources: dict[str, str]) -> Ellipse | None:
    if not {"carry_m", "offline_m"} <= sources.keys():
        return None
    points = np.stack([column(frame, "used_carry_m"), column(frame, "used_offline_m")])
    carry, offline = points[:, np.isfinite(points).all(axis=0)]
    return prediction_ellipse(carry, offline)


def set_results(
    sets: Sequence[ShotSet], frame: pl.DataFrame, fates: Sequence[Fate], sources: dict[str, str], model: FlightModel
) -> tuple[SetResult, ...]:
    """Sum up all sets of a visit; frame and fates are those of all its shots."""
    of_set = [[i for i, index in enumerate(frame["set"]) if index == which.index] for which in sets]
    counting = [[i for i in rows if fates[i].fate in COUNTING] for rows in of_set]
    flights = middle_flights(frame, counting, model)  # in one go: a flight alone costs as much as a hundred
    return tuple(
        _set_result(which, frame[rows], [fates[i] for i in rows], sources, flight)
        for which, rows, flight in zip(sets, of_set, flights, strict=True)
    )


def _set_result(
    which: ShotSet, frame: pl.DataFrame, fates: Sequence[Fate], sources: dict[str, str], flight: FlightLine | None
) -> SetResult:
    """Sum up one set; frame and fates are those of its shots alone, flight is the middle one of those that count."""
    kinds = np.array([fate.fate for fate in fates])
    found_odd = [fate.fate not in COUNTING and fate.by != "staff" for fate in fates]
    counted = np.isin(kinds, COUNTING)
    counting = frame.filter(pl.Series(counted))
    return SetResult(
        set=which,
        n_counted=int(counted.sum()),
        n_mishit=int((kinds == "mishit").sum()),
        n_bad_read=int((kinds == "bad_read").sum()),
        n_asked=int((kinds == "asked").sum()),
        averages=_averages(frame, counted, kinds != "bad_read", sources),
        ellipse=_ellipse(counting, sources),
        flight=flight,
        uneven=not counted.any() or sum(found_odd) > _MOST_ASIDE * len(kinds),
    )


def shot_results(frame: pl.DataFrame, fates: Sequence[Fate], sources: dict[str, str]) -> tuple[ShotResult, ...]:
    """List every shot with its fate and its values."""
    out = []
    for row, fate in zip(frame.iter_rows(named=True), fates, strict=True):
        measured = {name: row[name] for name in measurements() if _known(row[name])}
        used = {name: row[f"used_{name}"] for name in sources if _known(row[f"used_{name}"])}
        out.append(ShotResult(row["number"], row["file"], row["line"], row["set"], fate, measured, used))
    return tuple(out)


def _known(value: float | None) -> bool:
    return value is not None and bool(np.isfinite(value))
