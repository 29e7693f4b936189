"""What one step of each quantity is worth to one golfer: metres for a mile an hour, a hundredth, a degree, 100 rpm."""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from pipeline.analysis.attribution import UNSHARED
from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.delivery import (
    DELIVERY_ROWS,
    SPINLESS,
    USUAL,
    Middle,
    SetShots,
    State,
    all_but_one,
    middles,
    present,
    state_of,
    tier_of,
    with_spin,
)
from pipeline.analysis.distances import Asking, Distances, Wish, answered
from pipeline.analysis.draws import generator_of
from pipeline.analysis.ranges import RESAMPLES, SAYABLE_LEVEL, SHOWN_LEVEL, doubts
from pipeline.analysis.whatif import DEGREE, STRUCK, follows, launched, struck
from pipeline.analysis.window import FOR_DISTANCE, LOFTS_RAD, line_of, top_of
from pipeline.physics.strike import Launched
from pipeline.room_records import Brought, Changes, Ranged, UnitWorth

MPH: Final = 0.44704

# Each with its lever, the quantity it steps along and the step.
STEPS: Final = (
    ("club_speed", "club_speed_mps", MPH),
    ("strike", "smash_factor", 0.01),
    ("loft", "loft_deg", 1.0),
    ("loft", "loft_deg", -1.0),
    ("spin", "spin_rate_rpm", 100.0),
    ("spin", "spin_rate_rpm", -100.0),
)
ATTACK_STEP_DEG: Final = 1.0


class Resampled(NamedTuple):
    """A set's middle shot, as `doubts` wants it: as it is, from resamples, and with each shot left out.

    Parameters: tier, of its columns; middle, of shape (r,), with a spin; means, of carry and total, shape (2, r) [m];
    shots, how many there are.
    Returns: a named tuple.
    Valid range: as `middles`.
    Source: definition.
    """

    tier: str
    middle: Middle
    means: Floats
    shots: int

    @property
    def basis(self) -> str:
        """What a difference told from it rests on."""
        return "common_practice" if self.tier in SPINLESS else "modelled"


def resampled(shots: SetShots, category: str | None) -> Resampled | None:
    """Average a set, its resamples and the set without each of its shots.

    Parameters: shots, n of them; category, its kind of club.
    Returns: Resampled with r = 1 + RESAMPLES + n; None without a ball speed or a launch angle. The same shots give the
    same resamples. What nobody read is drawn from what is usual, anew for each resample.
    Valid range: as `middles` and `with_spin`.
    Source: resampling of whole shots as in Efron's bootstrap (textbook, from memory).
    """
    tier = tier_of(present(shots))
    if tier is None:
        return None
    n = shots.rows.shape[1]
    generator = generator_of(*(row[np.isfinite(row)] for row in shots.rows[:DELIVERY_ROWS]))
    picks = (np.arange(n)[None], generator.integers(0, n, (RESAMPLES, n)), all_but_one(n))
    parts = [middles(shots, which) for which in picks]
    middle = Middle(*(np.concatenate(values) for values in zip(*(m for m, _ in parts), strict=True)))
    unseen = np.zeros((2, 1 + RESAMPLES + n))
    # A golfer's own draw joins the one shared with his or her other sets in the attribution: the same spread here.
    unseen[:, 1 : 1 + RESAMPLES] = generator.standard_normal((2, RESAMPLES)) * [[np.hypot(1, UNSHARED)], [1.0]]
    means = np.concatenate([m for _, m in parts], axis=-1)
    return Resampled(tier, with_spin(middle, tier, USUAL.get(category, USUAL[None]), unseen), means, n)


def ranged(figures: Floats, shots: int) -> list[Ranged]:
    """Tell figures with their ranges.

    Parameters: figures, k of them, told from each resample of `resampled`, shape (k, r) [m]; shots, how many the set
    has, 3 or more.
    Returns: a Ranged each; the range holds the figure: a total ripples by 0.1 yd, so one flight may lie beside all
    resamples.
    Valid range: as `doubts`, with a second set that never varies; where no shot left out changes anything, what the
    resamples vary beyond the shots is taken by its plain percentiles.
    Source: `doubts`.
    """
    unsure = doubts(np.concatenate([figures, np.repeat(figures[:, :1], 3, axis=1)], axis=1), (shots, 3))
    found = []
    for row, each in zip(figures, unsure, strict=True):
        if np.ptp(row[1 + RESAMPLES :]) == 0:
            tails = [[(1 - level) / 2, (1 + level) / 2] for level in (SHOWN_LEVEL, SAYABLE_LEVEL)]
            ends = [(float(low), float(high)) for low, high in np.quantile(row[1 : 1 + RESAMPLES], tails)]
        else:
            ends = [each.range(SHOWN_LEVEL), each.range(SAYABLE_LEVEL)]
        (low, high), (least, most) = ((min(low, each.figure), max(high, each.figure)) for low, high in ends)
        found.append(Ranged(each.figure, low, high, least > 0 or most < 0))
    return found


def brought(differences: Floats, shots: int) -> list[Brought]:
    """Tell what carry and total gain from k things, shape (k, 2, r) [m], with their ranges, as `ranged`."""
    told = ranged(differences.reshape(2 * len(differences), -1), shots)
    return [Brought(*pair) for pair in zip(told[::2], told[1::2], strict=True)]


def best_lofts(states: Sequence[State]) -> Asking[Floats]:
    """Find the delivered lofts with which some deliveries carry farthest, and go farthest in all.

    Parameters: states, k of them, of shape (r,): the first place of each counts, the set as it is.
    Returns: lofts for carry and for total, shape (2, k) [rad], NaN where no top is seen.
    Valid range: as `top_of`, lofts of 2 to 35.8 degrees. Landings outside what the run was compared with count too: a
    total may want a little less loft than it should.
    Source: `top_of`.
    """
    firsts = State(*(np.array([[x[0]] for x in values]) for values in zip(*states, strict=True)))
    curves = yield Wish(line_of(firsts, LOFTS_RAD))
    tops = [[top_of(LOFTS_RAD, heights, np.isfinite(heights)) for heights in curve] for curve in curves[:2]]
    return np.array([[np.nan if top is None else top.best for top in row] for row in tops])


def attack_steps(state: State, step_deg: float) -> Asking[list[tuple[Changes, Changes]]]:
    """Choose the loft anew before and after a step of attack.

    Parameters: state, of shape (r,), the first place of it counts; step_deg, of attack [deg].
    Returns: for carry and for total the changes to the best loft as it is, and to the step with its best loft; nothing
    where no top is seen.
    Valid range: as `best_lofts`.
    Source: definition; the two best are compared, so what a better loft brings by itself is left out.
    """
    stepped = state._replace(attack_rad=state.attack_rad + step_deg * DEGREE)
    best = yield from best_lofts((state, stepped))
    changes = (best - state.loft_rad[0]) / DEGREE
    if not np.isfinite(changes).all():
        return []
    return [
        (
            Changes(loft_deg=float(before)),
            Changes(attack_angle_deg=step_deg, loft_deg=float(after), follow=0.0),
        )
        for before, after in changes
    ]


def worth_of(shots: SetShots, flown: Distances, category: str | None) -> tuple[UnitWorth, ...] | None:
    """Say what a step of each quantity is worth to this golfer with this club, in carry and in total.

    Parameters: shots, the counted ones of a set; flown, from `distances`; category, kind of club, None where it is not
    known.
    Returns: the worths the columns tell; None where they tell none. A step of attack, for a club that is there for
    distance alone, compares the best lofts of before and after: chosen once for the golfer, then kept over the
    resamples, because a loft a little off the best costs next to nothing, and the same on both sides.
    Valid range: one step from where the golfer is; twice the step is not twice the worth. Spin is moved at the same
    ball speed and launch.
    Source: `whatif.launched`, flown; ranges from `resampled`.
    """
    return answered([asking_worth(resampled(shots, category), category)], flown)[0]


def asking_worth(found: Resampled | None, category: str | None) -> Asking[tuple[UnitWorth, ...] | None]:
    """Ask what `worth_of` needs to be told of `resampled` shots; returns, valid range and source as there."""
    steps = [(step, Changes(**{step[1]: step[2]})) for step in STEPS]
    told = [each for each in steps if found and follows(found.tier, each[1])]
    if found is None or not told:
        return None
    balls = launched(found.middle, found.tier, [Changes(), *(changes for _, changes in told)])
    attacks = (yield from _attacks(found)) if found.tier in STRUCK and category in FOR_DISTANCE else None
    distances = np.moveaxis((yield together([balls, attacks] if attacks else [balls])), 1, 0)
    names, differences = [step for step, _ in told], [*(distances[1 : 1 + len(told)] - distances[0])]
    if attacks:
        before, after, before_total, after_total = distances[1 + len(told) :]
        names.insert(2, ("attack", "attack_angle_deg", ATTACK_STEP_DEG))
        differences.insert(2, np.stack([after[0] - before[0], after_total[1] - before_total[1]]))
    return (
        tuple(
            UnitWorth(*step, gain, found.basis)
            for step, gain in zip(names, brought(np.stack(differences), found.shots), strict=True)
            if math.isfinite(gain.carry.value_m) and math.isfinite(gain.total.value_m)
        )
        or None
    )


def together(lots: Sequence[Launched]) -> Wish:
    """Wish for some lots of resampled balls, each of shape (k, r), in one go.

    Valid range: as `answered`. Source: definition.
    """
    return Wish(Launched(*(np.concatenate(values) for values in zip(*lots, strict=True))), resampled=True)


def _attacks(found: Resampled) -> Asking[Launched | None]:
    """Strike before and after a step of attack, with the lofts best for carry, then with those best for the total."""
    state = state_of(found.middle)
    pairs = yield from attack_steps(state, ATTACK_STEP_DEG)
    return struck(state, [which for pair in pairs for which in pair]) if pairs else None
