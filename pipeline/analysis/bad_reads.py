"""Rules that say the device was wrong about a shot; limits and reasons in schemas/flags.toml."""

import math
from collections.abc import Callable

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.ball_flight import FLIGHT_QUANTITIES, column
from pipeline.analysis.parts import Codes, Floats, by_size, codes, renumbered, steps
from pipeline.analysis.robust import mad_sigmas, own_cut
from pipeline.analysis.set_rules import spin_unlike_set, too_fast_for_club
from pipeline.records import Fate
from pipeline.resources import table

Found = dict[int, dict[str, float]]  # row → the figures that broke the rule


def _limit(code: str, name: str) -> float:
    return float(table("flags")[code][name])


def _rows(mask: NDArray[np.bool_], **figures: Floats) -> Found:
    return {int(i): {name: float(values[i]) for name, values in figures.items()} for i in np.flatnonzero(mask)}


def _given(frame: pl.DataFrame, known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell of each shot whether its file gives the figure at all: what a device never reads it has not missed."""
    return _any_within(codes(frame, "file"), known)


def _any_within(groups: Codes, known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell of each row whether any of its group is known."""
    return np.bincount(groups[known], minlength=len(groups))[groups] > 0


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


def _disagreeing(
    reported: Floats, model: Floats, patterns: Codes, least: tuple[Floats, float]
) -> tuple[NDArray[np.bool_], Floats]:
    """Find reported values off the model by much more than the rest, and what the model would have expected.

    patterns: the group of each value (n,); least: the share each value may always be below (n,) and above.
    """
    ratio = reported / model
    known = np.isfinite(ratio)
    count = int(patterns.max(initial=-1)) + 1
    sizes = np.bincount(patterns[known], minlength=count)
    middle, sigma = mad_sigmas(ratio[known], patterns[known], count)
    cut = by_size(lambda n: max(_limit("flight_disagrees", "spreads"), own_cut(n, 2) if n else 0.0), sizes)
    enough = (sizes >= _limit("flight_disagrees", "fewest"))[patterns]
    here, spread = middle[patterns], (cut * sigma)[patterns]
    below, above = np.maximum(least[0], spread), np.maximum(least[1], spread)
    return enough & ((here - ratio > below) | (ratio - here > above)), np.where(enough, model * here, model)


def _may_fall_short(frame: pl.DataFrame) -> Floats:
    """Give the share by which each flight may always fall short of the model.

    Without a spin axis the model flies every ball straight, and a curved ball falls short of that: then only a shot
    seen to come down near its starting line is held to the narrow limit.
    """
    narrow, wide = (_limit("flight_disagrees", name) for name in ("tolerance", "straight_tolerance"))
    curved = _any_within(codes(frame), np.isfinite(column(frame, "spin_axis_deg")))
    bearing = np.degrees(np.arctan2(column(frame, "offline_m"), column(frame, "carry_m")))
    straight = np.abs(bearing - column(frame, "launch_direction_deg")) < _limit("flight_disagrees", "straight_deg")
    return np.where(curved | straight, narrow, wide)


def _patterns(frame: pl.DataFrame, known: NDArray[np.bool_]) -> Codes:
    """Part the shots by kind of club and file, as each device has its bias; small parts of a kind are joined."""
    kinds, both = codes(frame, "category"), codes(frame, "category", "file")
    enough = np.bincount(both[known], minlength=len(both))[both] >= _limit("flight_disagrees", "fewest")
    return np.where(enough, both, len(both) + kinds)


def _flight_disagrees(frame: pl.DataFrame) -> Found:
    """Compare carry, apex, flight time and descent with the model, within each pattern of device and kind of club."""
    short, above = _may_fall_short(frame), _limit("flight_disagrees", "tolerance")
    found: Found = {}
    for name in FLIGHT_QUANTITIES:
        reported, model = column(frame, name), column(frame, f"model_{name}")
        patterns, _ = renumbered(_patterns(frame, np.isfinite(reported / model)))
        # an apex or a descent is read less well than a carry: twice the room
        room = 1 if name == "carry_m" else 2
        off, expected = _disagreeing(reported, model, patterns, (short * room, above * room))
        for i, figures in _rows(off, **{name: reported, f"expected_{name}": expected}).items():
            found.setdefault(i, figures)
    return found


def _spin_unlike_set(frame: pl.DataFrame) -> Found:
    mask, spin, middle = spin_unlike_set(frame)
    return _rows(mask, spin_rate_rpm=spin, middle_spin_rate_rpm=middle)


def resolution(values: Floats) -> float:
    """Give the smallest step between printed values, 0 for fewer than two; see steps."""
    known = values[np.isfinite(values)]
    return float(steps(known, np.zeros(len(known), dtype=np.intp), 1)[0])


def _duplicate(frame: pl.DataFrame) -> Found:
    """Find rows alike in ball speed, launch and spin, where rounding makes a chance match unbelievable.

    The chance that two shots of a set print alike is prod_j res_j / (2 sqrt(pi) sd_j); source: our derivation for
    independent normal readings, agreeing with simulation.
    """
    values = [column(frame, name) for name in ("ball_speed_mps", "launch_angle_deg", "spin_rate_rpm")]
    sets, numbers = codes(frame, "set"), frame["number"].to_numpy()
    rows = np.flatnonzero(~np.isnan(values).any(axis=0))
    alike = codes(pl.DataFrame([sets[rows], *(value[rows] + 0.0 for value in values)]), *_COLUMNS)
    _, first = renumbered(alike)
    repeated = np.flatnonzero(first[alike] != np.arange(len(rows)))
    found: Found = {}
    believed: dict[int, bool] = {}
    for place in repeated.tolist():
        row, which = int(rows[place]), int(sets[rows[place]])
        if which not in believed:
            believed[which] = _chance(frame, rows[sets[rows] == which], values) > _limit("duplicate", "chance")
        if not believed[which]:
            found[row] = {"first_number": float(numbers[rows[first[alike[place]]]])}
    return found


_COLUMNS = ("column_0", "column_1", "column_2", "column_3")


def _chance(frame: pl.DataFrame, rows: NDArray[np.intp], values: list[Floats]) -> float:
    """Give the chance that two of a set's rows print alike; 1 where it cannot be told."""
    if len(rows) < 3:
        return 1.0
    files = codes(frame, "file")
    of_set = [np.flatnonzero(files == file) for file in np.unique(files[rows])]
    spreads = [(max(resolution(one[of]) for of in of_set), float(np.std(one[rows], ddof=1))) for one in values]
    return math.prod(res / (2 * math.sqrt(math.pi) * sd) if res > 0 and sd > 0 else 1.0 for res, sd in spreads)


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

    frame: the shots of a visit, or of several (see parts), with `category` and the model_ columns; NaN = missing. Good
    shots are not in the result.
    """
    fates: dict[int, Fate] = {}
    with np.errstate(divide="ignore", invalid="ignore"):
        for code in table("flags"):
            for row, figures in _RULES[code](frame).items():
                fates.setdefault(row, Fate("bad_read", code, figures))
    return fates
