"""Rules that say the device was wrong about a shot; limits and reasons in schemas/flags.toml."""

import math
from collections import Counter
from collections.abc import Callable

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.ball_flight import FLIGHT_QUANTITIES, Floats, column
from pipeline.analysis.robust import mad_sigma, own_cut
from pipeline.analysis.set_rules import spin_unlike_set, too_fast_for_club
from pipeline.records import Fate
from pipeline.resources import table

_SMALLEST_STEP = 1e-6  # in any stored unit, far below what a device prints
Found = dict[int, dict[str, float]]  # row → the figures that broke the rule


def _limit(code: str, name: str) -> float:
    return float(table("flags")[code][name])


def _rows(mask: NDArray[np.bool_], **figures: Floats) -> Found:
    return {int(i): {name: float(values[i]) for name, values in figures.items()} for i in np.flatnonzero(mask)}


def _given(frame: pl.DataFrame, known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell of each shot whether its file gives the figure at all: what a device never reads it has not missed."""
    files = frame["file"].to_list()
    giving = {files[i] for i in np.flatnonzero(known)}
    return np.array([file in giving for file in files], dtype=bool)


def _no_ball_speed(frame: pl.DataFrame) -> Found:
    known = np.isfinite(column(frame, "ball_speed_mps"))
    return _rows(~known & _given(frame, known))


def _zero_spin(frame: pl.DataFrame) -> Found:
    spin = column(frame, "spin_rate_rpm")
    return _rows((spin == 0) & _given(frame, spin > 0))


def _speed_ratio(frame: pl.DataFrame) -> Found:
    ball, club = column(frame, "ball_speed_mps"), column(frame, "club_speed_mps")
    ratio = ball / club
    return _rows(ratio > _limit("speed_ratio", "highest"), ball_speed_mps=ball, club_speed_mps=club, ratio=ratio)


def _ratio_disagrees(frame: pl.DataFrame) -> Found:
    ratio = column(frame, "ball_speed_mps") / column(frame, "club_speed_mps")
    printed = column(frame, "smash_factor")
    return _rows(
        np.abs(ratio - printed) > _limit("ratio_disagrees", "tolerance"), printed_ratio=printed, speeds_ratio=ratio
    )


def _too_fast_for_club(frame: pl.DataFrame) -> Found:
    mask, ratio, middle = too_fast_for_club(frame)
    return _rows(mask, ratio=ratio, middle_ratio=middle)


def _launch_below_attack(frame: pl.DataFrame) -> Found:
    launch, attack = column(frame, "launch_angle_deg"), column(frame, "attack_angle_deg")
    below = launch <= attack - _limit("launch_below_attack", "tolerance_deg")
    return _rows(below & (column(frame, "spin_rate_rpm") > 0), launch_angle_deg=launch, attack_angle_deg=attack)


def _total_below_carry(frame: pl.DataFrame) -> Found:
    total, carry = column(frame, "total_m"), column(frame, "carry_m")
    return _rows(total < carry - _limit("total_below_carry", "tolerance_m"), total_m=total, carry_m=carry)


def _disagreeing(reported: Floats, model: Floats, least: tuple[Floats, float]) -> tuple[NDArray[np.bool_], Floats]:
    """Find reported values off the model by much more than the rest, and what the model would have expected.

    least: the share each value may always be below (n,) and above.
    """
    ratio = reported / model
    known = np.isfinite(ratio)
    if known.sum() < _limit("flight_disagrees", "fewest"):
        return np.zeros(len(ratio), dtype=bool), model
    middle = float(np.median(ratio[known]))
    spread = max(_limit("flight_disagrees", "spreads"), own_cut(int(known.sum()), 2)) * mad_sigma(ratio[known])
    below, above = np.maximum(least[0], spread), max(least[1], spread)
    return (middle - ratio > below) | (ratio - middle > above), model * middle


def _may_fall_short(frame: pl.DataFrame) -> Floats:
    """Give the share by which each flight may always fall short of the model.

    Without a spin axis the model flies every ball straight, and a curved ball falls short of that: then only a shot
    seen to come down near its starting line is held to the narrow limit.
    """
    narrow, wide = (_limit("flight_disagrees", name) for name in ("tolerance", "straight_tolerance"))
    if np.isfinite(column(frame, "spin_axis_deg")).any():
        return np.full(frame.height, narrow)
    bearing = np.degrees(np.arctan2(column(frame, "offline_m"), column(frame, "carry_m")))
    straight = np.abs(bearing - column(frame, "launch_direction_deg")) < _limit("flight_disagrees", "straight_deg")
    return np.where(straight, narrow, wide)


def _patterns(frame: pl.DataFrame, known: NDArray[np.bool_]) -> list[NDArray[np.intp]]:
    """Part the shots by kind of club and file, as each device has its bias; small parts of a kind are joined."""
    keys = list(zip(frame["category"].fill_null("").to_list(), frame["file"].to_list(), strict=True))
    counts = Counter(key for key, counts in zip(keys, known, strict=True) if counts)
    fewest = _limit("flight_disagrees", "fewest")
    parts: dict[tuple[str, str], list[int]] = {}
    for row, (kind, file) in enumerate(keys):
        parts.setdefault((kind, file if counts[kind, file] >= fewest else ""), []).append(row)
    return [np.array(rows) for rows in parts.values()]


def _flight_disagrees(frame: pl.DataFrame) -> Found:
    """Compare carry, apex, flight time and descent with the model, within each pattern of device and kind of club."""
    short, above = _may_fall_short(frame), _limit("flight_disagrees", "tolerance")
    found: Found = {}
    for name in FLIGHT_QUANTITIES:
        reported, model = column(frame, name), column(frame, f"model_{name}")
        for here in _patterns(frame, np.isfinite(reported / model)):
            # an apex or a descent is read less well than a carry: twice the room
            room = 1 if name == "carry_m" else 2
            off, expected = _disagreeing(reported[here], model[here], (short[here] * room, above * room))
            for i, value in zip(here[off], expected[off], strict=True):
                found.setdefault(int(i), {name: float(reported[i]), f"expected_{name}": float(value)})
    return found


def _spin_unlike_set(frame: pl.DataFrame) -> Found:
    mask, spin, middle = spin_unlike_set(frame)
    return _rows(mask, spin_rate_rpm=spin, middle_spin_rate_rpm=middle)


def resolution(values: Floats) -> float:
    """Give the smallest step between printed values: the grid they were rounded to, 0 for fewer than two values.

    The file's own unit is gone by now, so the grid is read from the values: the smallest difference between sorted
    distinct ones. With few shots that is coarser than the truth, which makes the duplicate rule more careful.
    """
    gaps = np.diff(np.unique(values[np.isfinite(values)]))
    # two files in different units print the same value an ulp apart: that is no step
    gaps = gaps[gaps > _SMALLEST_STEP]
    return float(gaps.min()) if len(gaps) else 0.0


def _steps(frame: pl.DataFrame, names: list[str]) -> dict[tuple[str, str], float]:
    """Give the printed step of each file and quantity; all sets of a file tell more of its rounding than one."""
    return {
        (str(file), name): resolution(column(shots, name))
        for (file,), shots in frame.group_by("file", maintain_order=True)
        for name in names
    }


def _duplicate(frame: pl.DataFrame) -> Found:
    """Find rows alike in ball speed, launch and spin, where rounding makes a chance match unbelievable.

    The chance that two shots of a set print alike is prod_j res_j / (2 sqrt(pi) sd_j); source: our derivation for
    independent normal readings, agreeing with simulation.
    """
    names = ["ball_speed_mps", "launch_angle_deg", "spin_rate_rpm"]
    found: Found = {}
    steps = _steps(frame, names)
    for _, group in frame.with_row_index("row").group_by("set", maintain_order=True):
        known = group.filter(pl.all_horizontal(pl.col(n).is_not_null() & pl.col(n).is_not_nan() for n in names))
        if known.height < 3:
            continue
        files = set(known["file"].to_list())
        spreads = [(max(steps[f, n] for f in files), float(np.std(column(known, n), ddof=1))) for n in names]
        chance = math.prod(res / (2 * math.sqrt(math.pi) * sd) if res > 0 and sd > 0 else 1.0 for res, sd in spreads)
        if chance > _limit("duplicate", "chance"):
            continue
        first: dict[tuple[float, ...], int] = {}
        for row in known.iter_rows(named=True):
            key = tuple(row[n] for n in names)
            if key in first:
                found[row["row"]] = {"first_number": float(first[key])}
            first.setdefault(key, row["number"])
    return found


_RULES: dict[str, Callable[[pl.DataFrame], Found]] = {
    "no_ball_speed": _no_ball_speed,
    "zero_spin": _zero_spin,
    "speed_ratio": _speed_ratio,
    "ratio_disagrees": _ratio_disagrees,
    "too_fast_for_club": _too_fast_for_club,
    "launch_below_attack": _launch_below_attack,
    "total_below_carry": _total_below_carry,
    "flight_disagrees": _flight_disagrees,
    "spin_unlike_set": _spin_unlike_set,
    "duplicate": _duplicate,
}


def bad_reads(frame: pl.DataFrame) -> dict[int, Fate]:
    """Give row → fate for every shot that breaks a rule; the first rule of flags.toml that fails is the reason.

    frame: a visit's shots with `category` and the model_ columns; NaN = missing. Good shots are not in the result.
    """
    fates: dict[int, Fate] = {}
    with np.errstate(divide="ignore", invalid="ignore"):
        for code in table("flags"):
            for row, figures in _RULES[code](frame).items():
                fates.setdefault(row, Fate("bad_read", code, figures))
    return fates
