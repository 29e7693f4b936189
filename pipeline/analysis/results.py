"""What is said of each set and of every shot."""

import math
from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.averages import average
from pipeline.analysis.ball_flight import PRESENT_SHARE, FlightModel, Floats, column, middle_flights
from pipeline.analysis.dispersion import prediction_ellipse
from pipeline.analysis.fates import COUNTING
from pipeline.records import Average, Ellipse, Fate, FlightLine, SetResult, ShotResult, ShotSet
from pipeline.schema import measurements

_MOST_ASIDE = 1 / 3  # more set aside by rule or statistics than this and a mean of the rest says little
_MODELLABLE = ("carry_m", "total_m", "offline_m", "apex_m", "flight_time_s", "descent_angle_deg")

Places = NDArray[np.intp]  # of shots in the visit


Columns = Mapping[str, Floats]  # values of all shots by the name of the quantity


def _columns(frame: pl.DataFrame, sources: Mapping[str, str]) -> dict[str, Floats]:
    """Give every quantity a report may average; flight quantities from their one source."""
    return {
        name: column(frame, f"used_{name}" if name in sources else name)
        for name in measurements()
        if name in sources or name not in _MODELLABLE
    }


def _averages(columns: Columns, counted: Places, valid: Places, sources: Mapping[str, str]) -> dict[str, Average]:
    """Average every quantity that enough counted shots of a set have."""
    out = {}
    for name, values in columns.items():
        found = average(name, sources.get(name, "measured"), values[counted], values[valid])
        if found and found.n >= PRESENT_SHARE * counted.size:
            out[name] = found
    return out


def _ellipse(columns: Columns, counted: Places, sources: Mapping[str, str]) -> Ellipse | None:
    if not {"carry_m", "offline_m"} <= sources.keys():
        return None
    points = np.stack([columns[name][counted] for name in ("carry_m", "offline_m")])
    carry, offline = points[:, np.isfinite(points).all(axis=0)]
    return prediction_ellipse(carry, offline)


def set_results(
    sets: Sequence[ShotSet], frame: pl.DataFrame, fates: Sequence[Fate], sources: dict[str, str], model: FlightModel
) -> tuple[SetResult, ...]:
    """Sum up all sets of a visit; frame and fates are those of all its shots."""
    index = frame["set"].to_numpy()
    of_set = [np.flatnonzero(index == which.index).tolist() for which in sets]
    counting = [[i for i in rows if fates[i].fate in COUNTING] for rows in of_set]
    flights = middle_flights(frame, counting, model)  # in one go: a flight alone costs as much as a hundred
    columns = _columns(frame, sources)
    return tuple(
        _set_result(which, {i: fates[i] for i in rows}, columns, sources, flight)
        for which, rows, flight in zip(sets, of_set, flights, strict=True)
    )


def _set_result(
    which: ShotSet, fates: Mapping[int, Fate], columns: Columns, sources: dict[str, str], flight: FlightLine | None
) -> SetResult:
    """Sum up one set; fates are those of its shots by their places, flight is the middle one of those that count."""
    kinds = [fate.fate for fate in fates.values()]
    found_odd = [fate.fate not in COUNTING and fate.by != "staff" for fate in fates.values()]
    counted = np.array([i for i, fate in fates.items() if fate.fate in COUNTING], dtype=np.intp)
    valid = np.array([i for i, fate in fates.items() if fate.fate != "bad_read"], dtype=np.intp)
    return SetResult(
        set=which,
        n_counted=counted.size,
        n_mishit=kinds.count("mishit"),
        n_bad_read=kinds.count("bad_read"),
        n_asked=kinds.count("asked"),
        averages=_averages(columns, counted, valid, sources),
        ellipse=_ellipse(columns, counted, sources),
        flight=flight,
        uneven=not counted.size or sum(found_odd) > _MOST_ASIDE * len(kinds),
    )


def shot_results(frame: pl.DataFrame, fates: Sequence[Fate], sources: dict[str, str]) -> tuple[ShotResult, ...]:
    """List every shot with its fate and its values."""
    out, names = [], list(measurements())
    for row, fate in zip(frame.iter_rows(named=True), fates, strict=True):
        measured = {name: row[name] for name in names if _known(row[name])}
        used = {name: row[f"used_{name}"] for name in sources if _known(row[f"used_{name}"])}
        out.append(ShotResult(row["number"], row["file"], row["line"], row["set"], fate, measured, used))
    return tuple(out)


def _known(value: float | None) -> bool:
    return value is not None and math.isfinite(value)
