"""A golfer's delivery with one club: which columns tell it, the middle shot, and what made that shot."""

import re
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.bad_reads import resolution
from pipeline.analysis.ball_flight import PRESENT_SHARE, Floats, column
from pipeline.analysis.comparison import FEWEST_SHOTS
from pipeline.analysis.robust import FEWEST_SHOTS as ENOUGH_TO_JUDGE
from pipeline.analysis.robust import scale_and_cut
from pipeline.physics.strike import SPIN_ARM_M, invert

_RPM = 2 * np.pi / 60
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_STEP = 1e-6  # files in different units give the same value some ulps apart

# Rows of a set's table, and the column and factor each is made with. The first five tell the delivery.
ROWS: Final = {
    "club_speed": ("club_speed_mps", 1.0),
    "attack": ("attack_angle_deg", np.pi / 180),
    "ball_speed": ("ball_speed_mps", 1.0),
    "launch": ("launch_angle_deg", np.pi / 180),
    "spin": ("spin_rate_rpm", _RPM),
    "carry": ("used_carry_m", 1.0),
    "total": ("used_total_m", 1.0),
}
DELIVERY_ROWS: Final = 5
# A device that does not read these writes the same number for every shot.
_WRITTEN_UNREAD: Final = ("attack", "spin")
# No rule for whole shots finds a misread here, for it does not show in the ball; a plain mean would follow it.
_UNSEEN_BY_THE_BALL: Final = ("club_speed", "attack")
# Times the cut at which a value stands out: by chance in 1 clean set of 120 at six shots, of 400 at ten (simulated). At
# the cut itself, 1 in 20, the ranges of six shots would be too narrow for what they promise.
WILD: Final = 2.0

NEEDS: Final = {
    "full": frozenset({"club_speed", "attack", "ball_speed", "launch", "spin"}),
    "no_spin": frozenset({"club_speed", "attack", "ball_speed", "launch"}),
    "no_attack": frozenset({"club_speed", "ball_speed", "launch", "spin"}),
    "no_attack_no_spin": frozenset({"club_speed", "ball_speed", "launch"}),
    "ball_only": frozenset({"ball_speed", "launch", "spin"}),
    "ball_no_spin": frozenset({"ball_speed", "launch"}),
}
SPINLESS: Final = ("no_spin", "no_attack_no_spin", "ball_no_spin")


@dataclass(frozen=True, slots=True)
class SetShots:
    """The counted shots of a set.

    Parameters: rows, one of ROWS each, shape (7, n), in an order that follows from the values alone, NaN where missing
    [m/s, rad, rad/s, m]; files and days they come
    from, as far as known.
    Returns: a frozen record.
    Valid range: any.
    Source: definition.
    """

    rows: Floats
    files: frozenset[str]
    days: frozenset[str]


class Middle(NamedTuple):
    """The middle shot of a set, of each of r resamples of it.

    Parameters: arrays of shape (r,): club_speed_mps [m/s], attack_rad, upwards positive [rad], ball_speed_mps [m/s],
    launch_rad [rad], spin_radps [rad/s]; NaN where the column is missing.
    Returns: a named tuple.
    Valid range: any.
    Source: definition.
    """

    club_speed_mps: Floats
    attack_rad: Floats
    ball_speed_mps: Floats
    launch_rad: Floats
    spin_radps: Floats


class State(NamedTuple):
    """What made the middle shot, arrays of shape (r,).

    Parameters: club_speed_mps [m/s], attack_rad [rad], loft_rad, delivered [rad], efficiency [1] and grip [1].
    Returns: a named tuple, in the order `strike.launch` takes them.
    Valid range: as `strike.launch`.
    Source: definition.
    """

    club_speed_mps: Floats
    attack_rad: Floats
    loft_rad: Floats
    efficiency: Floats
    grip: Floats


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual for a kind of club, used only where a column is missing.

    Parameters: grip and grip_spread [1]; attack_deg and attack_spread_deg [deg]; smash, ball over club speed [1].
    Returns: a frozen record.
    Valid range: any.
    Source: see USUAL.
    """

    grip: float
    grip_spread: float
    attack_deg: float
    attack_spread_deg: float
    smash: float


# Wide on purpose: from memory and common practice, no source. They decide the level of a spin nobody read.
USUAL: Final[dict[str | None, Usual]] = {
    "driver": Usual(0.230, 0.030, 0.0, 3.0, 1.45),
    "wood": Usual(0.255, 0.035, -2.0, 2.0, 1.44),
    "hybrid": Usual(0.290, 0.045, -3.0, 2.0, 1.41),
    "iron": Usual(0.330, 0.050, -3.5, 2.0, 1.35),
    "wedge": Usual(0.290, 0.070, -4.5, 2.5, 1.20),
    None: Usual(0.280, 0.070, -2.0, 3.5, 1.38),
}


# --- columns ------------------------------------------------------------------------------------------------------
def shots_of(frame: pl.DataFrame) -> SetShots:
    """Take what the levers need from the counted shots of one set.

    Parameters: frame, shots with `file`, `time` and the columns of shot.toml, and used_… where those are known.
    Returns: SetShots of the same n shots.
    Valid range: a spin of 0 is missing; a spin or an attack angle that never changes was not read and is missing as a
    whole; a club speed or an attack angle far outside its set of five or more is missing; all else is as it is.
    Source: `scale_and_cut` and WILD; the rest common practice, no source.
    """
    rows = np.full((len(ROWS), frame.height), np.nan)
    for row, (place, (name, factor)) in zip(rows, ROWS.items(), strict=True):
        row[:] = column(frame, name) * factor if name in frame.columns else np.nan
        if place == "spin":
            row[row <= 0] = np.nan
        if place in _WRITTEN_UNREAD and _never_changes(row):
            row[:] = np.nan
        if place in _UNSEEN_BY_THE_BALL:
            row[_is_wild(row)] = np.nan
    order = np.lexsort(np.round(rows / _STEP))
    days = frozenset(found.group() for time in frame["time"].to_list() if (found := _DAY.match(time or "")))
    return SetShots(rows[:, order], frozenset(frame["file"].to_list()), days)


def _never_changes(values: Floats) -> bool:
    known = values[np.isfinite(values)]
    return len(known) > 1 and bool(np.ptp(known) == 0)


def _is_wild(values: Floats) -> NDArray[np.bool_]:
    known = values[np.isfinite(values)]
    if len(known) < ENOUGH_TO_JUDGE:
        return np.zeros(len(values), dtype=bool)
    spread, cut = scale_and_cut([known], 0, 2, max(resolution(known) / 2, 1e-9))
    return np.asarray(np.abs(values - np.median(known)) > WILD * cut * spread)


def present(shots: SetShots) -> frozenset[str]:
    """Name the rows that tell the delivery and are there.

    Parameters: shots of one set.
    Returns: names of ROWS that three shots and three of five have, of the first five.
    Valid range: any; no shot gives none.
    Source: the share is that of all averages of the report; three because two values have no spread to speak of.
    """
    known = np.isfinite(shots.rows[:DELIVERY_ROWS]).sum(axis=1)
    needed = max(PRESENT_SHARE * shots.rows.shape[1], FEWEST_SHOTS)
    return frozenset(name for name, count in zip(ROWS, known, strict=False) if count >= needed)


def tier_of(columns: AbstractSet[str]) -> str | None:
    """Tell what the columns that both sets have can say of the levers.

    Parameters: columns, names as from `present`, those of both sets.
    Returns: the first of NEEDS that is met; None without a ball speed or a launch angle.
    Valid range: any.
    Source: derived here: with these five the strike's equations have one solution, each one less costs a lever.
    """
    return next((tier for tier, needs in NEEDS.items() if needs <= columns), None)


# --- the middle shot ----------------------------------------------------------------------------------------------
def middles(shots: SetShots, picks: NDArray[np.intp]) -> tuple[Middle, Floats]:
    """Average resamples of a set, each shot kept whole.

    Parameters: shots, n of them; picks, which shots make each of r resamples, shape (r, m), 0 to n - 1.
    Returns: the middle shots (r,), and the means of carry and total, shape (2, r) [m]; NaN where a resample has no
    value. A shot without one value keeps its others.
    Valid range: any. Robust by what `shots_of` and the fates set aside before; trimming on top of that costs a tenth
    of the ranges' width (our simulation).
    Source: mean.
    """
    known = np.isfinite(shots.rows)
    sums, counts = np.split(np.concatenate([np.where(known, shots.rows, 0.0), known])[:, picks].sum(axis=-1), 2)
    with np.errstate(invalid="ignore"):
        means = sums / counts
    return Middle(*means[:DELIVERY_ROWS]), means[DELIVERY_ROWS:]


def all_but_one(n: int) -> NDArray[np.intp]:
    """Choose n shots without each of them in turn, shape (n, n - 1), for `middles`.

    Valid range: 1 and more. Source: definition.
    """
    rest = np.arange(n - 1)
    return rest + (rest >= np.arange(n)[:, None])


# --- what made it -------------------------------------------------------------------------------------------------
def modelled_spin(
    club_speed_mps: Floats, attack_rad: Floats, ball_speed_mps: Floats, launch_rad: Floats, grip: Floats
) -> Floats:
    """Give the backspin that goes with a grip, where nobody read it.

    Parameters: as `strike.invert`, and grip, about 0.2 to 0.4 [1]; arrays broadcast.
    Returns: spin [rad/s]; `strike.invert` with it gives that grip back.
    Valid range: 0 where the ball starts below the attack angle, NaN where the grip would need more than the ball's
    speed.
    Source: derived here from v_t = G V sin(th) without a drop: with c = launch - attack and f the angle between ball
    and face normal, tan f = G V sin c / (v - G V cos c), and 0.4 R w = v sin f.
    """
    apart = np.maximum(launch_rad - attack_rad, 0.0)
    sliding = grip * club_speed_mps
    left = ball_speed_mps - sliding * np.cos(apart)
    from_normal = np.where(left > 0, np.arctan2(sliding * np.sin(apart), left), np.nan)
    return np.asarray(ball_speed_mps * np.sin(from_normal) / SPIN_ARM_M)


def with_spin(middle: Middle, tier: str, usual: Usual, unseen: Floats) -> Middle:
    """Put a modelled spin where the tier has none.

    Parameters: middle, r shots; tier, of NEEDS; usual, for this kind of club; unseen, how far grip and attack lie from
    what is usual, in their spreads, shape (2, r) [1].
    Returns: the same shots, with the spin that grip, and attack and club speed where they are missing too, would give.
    Valid range: as `modelled_spin`. The level of such a spin is a guess; only what is alike in both sets cancels.
    Source: USUAL.
    """
    if tier not in SPINLESS:
        return middle
    attack = np.radians(usual.attack_deg + usual.attack_spread_deg * unseen[1])
    speed, below = middle.club_speed_mps, middle.attack_rad
    spin = modelled_spin(
        middle.ball_speed_mps / usual.smash if tier == "ball_no_spin" else speed,
        below if tier == "no_spin" else attack,
        middle.ball_speed_mps,
        middle.launch_rad,
        usual.grip + usual.grip_spread * unseen[0],
    )
    return middle._replace(spin_radps=spin)


def state_of(middle: Middle) -> State:
    """Read off a middle shot what made it: the golfer's own numbers with this club and this device.

    Parameters: middle, r shots with all five quantities.
    Returns: State of shape (r,); `strike.launch` of it gives the middle shot back exactly, so every change of it is
    told as measured plus the model's difference.
    Valid range: as `strike.invert`: NaN where no single blow explains the shot. Efficiency and grip are of one club
    and one device; never compare their levels across devices.
    Source: `strike.invert`, the ball's drop left out: 0.5 mm would move every loft by the same 1.34 degrees.
    """
    found = invert(*middle)
    return State(middle.club_speed_mps, middle.attack_rad, *found)
