"""What one step of each quantity is worth to one golfer: metres for a mile an hour, a hundredth, a degree, 100 rpm."""

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
    middles,
    present,
    state_of,
    tier_of,
    with_spin,
)
from pipeline.analysis.distances import Asking, Distances, Wish, answered
from pipeline.analysis.draws import generator_of
from pipeline.analysis.ranges import RESAMPLES, SAYABLE_LEVEL, SHOWN_LEVEL, doubt
from pipeline.analysis.whatif import DEGREE, STRUCK, launched, struck
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
    """A set's middle shot, as `doubt` wants it: as it is, from resamples, and with each shot left out.

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
    each = np.arange(n)
    picks = (each[None], generator.integers(0, n, (RESAMPLES, n)), np.array([np.delete(each, i) for i in each]))
    parts = [middles(shots, which) for which in picks]
    middle = Middle(*(np.concatenate(values) for values in zip(*(m for m, _ in parts), strict=True)))
    unseen = np.zeros((2, 1 + RESAMPLES + n))
    # A golfer's own draw joins the one shared with his or her other sets in the attribution: the same spread here.
    unseen[:, 1 : 1 + RESAMPLES] = generator.standard_normal((2, RESAMPLES)) * [[np.hypot(1, UNSHARED)], [1.0]]
    means = np.concatenate([m for _, m in parts], axis=-1)
    return Resampled(tier, with_spin(middle, tier, USUAL.get(category, USUAL[None]), unseen), means, n)


def ranged(figures: Floats, shots: int) -> Ranged:
    """Tell a figure with its range.

    Parameters: figures, told from each resample of `resampled`, shape (r,) [m]; shots, how many the set has, 3 or more.
    Returns: Ranged; the range holds the figure: a total ripples by 0.1 yd, so one flight may lie beside all resamples.
    Valid range: as `doubt`, with a second set that never varies; where no shot left out changes anything, what the
    resamples vary beyond the shots is taken by its plain percentiles.
    Source: `doubt`.
    """
    figure = float(figures[0])
    if np.ptp(figures[1 + RESAMPLES :]) == 0:
        tails = [[(1 - level) / 2, (1 + level) / 2] for level in (SHOWN_LEVEL, SAYABLE_LEVEL)]
        ends = [(float(low), float(high)) for low, high in np.quantile(figures[1 : 1 + RESAMPLES], tails)]
    else:
        unsure = doubt(np.append(figures, [figure] * 3), (shots, 3))
        ends = [unsure.range(SHOWN_LEVEL), unsure.range(SAYABLE_LEVEL)]
    (low, high), (least, most) = ((min(low, figure), max(high, figure)) for low, high in ends)
    return Ranged(figure, low, high, least > 0 or most < 0)


def brought(differences: Floats, shots: int) -> Brought:
    """Tell what carry and total gain, shape (2, r) [m], with their ranges, as `ranged`."""
    return Brought(*(ranged(figures, shots) for figures in differences))


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
    tops = [[top_of(LOFTS_RAD, heights, np.isfinite(heights)) for heights in curve] for curve in curves]
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
    return answered([asking_worth(shots, category)], flown)[0]


def asking_worth(shots: SetShots, category: str | None) -> Asking[tuple[UnitWorth, ...] | None]:
    """Ask what `worth_of` needs to be told; parameters, returns, valid range and source as there."""
    found = resampled(shots, category)
    if found is None:
        return None
    told = [(step, launched(found.middle, found.tier, Changes(**{step[1]: step[2]}))) for step in STEPS]
    now = launched(found.middle, found.tier, Changes())
    balls = [ball for ball in (now, *(ball for _, ball in told)) if ball is not None]
    attacks = (yield from _attacks(found)) if found.tier in STRUCK and category in FOR_DISTANCE else []
    distances = yield together([*balls, *attacks])
    steps = [step for step, ball in told if ball is not None]
    differences = [distances[:, place] - distances[:, 0] for place in range(1, 1 + len(steps))]
    if attacks:
        carry, total = distances[:, len(balls) :]
        of_attack = np.stack([carry[1] - carry[0], total[3] - total[2]])
        steps[2:2], differences[2:2] = [("attack", "attack_angle_deg", ATTACK_STEP_DEG)], [of_attack]
    return (
        tuple(
            UnitWorth(*step, brought(figures, found.shots), found.basis)
            for step, figures in zip(steps, differences, strict=True)
            if np.isfinite(figures[:, 0]).all()
        )
        or None
    )


def together(balls: Sequence[Launched]) -> Wish:
    """Wish for k lots of resampled balls, each of shape (r,), as one of shape (k, r).

    Valid range: as `answered`. Source: definition.
    """
    return Wish(Launched(*(np.stack(values) for values in zip(*balls, strict=True))), resampled=True)


def _attacks(found: Resampled) -> Asking[list[Launched]]:
    """Strike before and after a step of attack, with the lofts best for carry, then with those best for the total."""
    state = state_of(found.middle)
    pairs = yield from attack_steps(state, ATTACK_STEP_DEG)
    return [struck(state, which) for pair in pairs for which in pair]
