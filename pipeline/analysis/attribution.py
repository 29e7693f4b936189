"""What each lever brought between two sets: Shapley values over all mixtures of the two, with their ranges."""

import itertools
import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from pipeline.analysis.ball_flight import FlightModel, Floats
from pipeline.analysis.delivery import (
    DELIVERY_ROWS,
    USUAL,
    Middle,
    SetShots,
    Usual,
    middles,
    present,
    shots_of,
    state_of,
    tier_of,
    with_spin,
)
from pipeline.analysis.draws import generator_of
from pipeline.analysis.fates import counted_of
from pipeline.clubs import same_job
from pipeline.lever_records import Attribution, Gain, LeverStory, VisitLevers
from pipeline.physics import strike
from pipeline.physics.flight import Launch, fly
from pipeline.physics.ground import total_distance
from pipeline.physics.strike import Launched
from pipeline.records import Fate, ShotSet

Distances = Callable[[Launched], Floats]

RESAMPLES: Final = 400
SHOWN_LEVEL: Final = 0.80
SAYABLE_LEVEL: Final = 0.90
QUANTITIES: Final = ("carry_m", "total_m")

# How far the delivered loft follows the attack angle where the static lofts are not known: 1 when the face turns with
# the arc, 0 when the golfer holds it. Own judgement, no source; the shots themselves tell it too badly.
FOLLOW: Final = 1.0
FOLLOW_SPREAD: Final = 0.5
# How much of the doubt about a missing spin is not shared by the two sets: own judgement, no source.
UNSHARED: Final = 0.5


def distances(model: FlightModel) -> Distances:
    """Make the only link to the flight: from launched balls to carry and total.

    Parameters: model, the air, the ground and the studio's calibration all balls are flown with.
    Returns: a function from Launched of any shape to carry and total, shape (2, …) [m].
    Valid range: as `fly`; NaN outside its domains. The balls fly straight: what a tilted axis costs is not in it.
    Source: `fly` and `total_distance`.
    """

    def flown(balls: Launched) -> Floats:
        launch = Launch.of(*(np.ravel(values) for values in balls))
        flight = fly(launch, model.air, drag_scale=model.drag_scale, lift_scale=model.lift_scale)
        both = np.stack([flight.carry_m, total_distance(flight, model.firmness).total_m])
        return both.reshape(2, *np.shape(balls.ball_speed_mps))

    return flown


# --- the game -----------------------------------------------------------------------------------------------------
def coalitions(players: int) -> NDArray[np.bool_]:
    """List all mixtures of two sets, shape (2^players, players): True takes the player from the final set.

    Player j is bit j of the row's number. Valid range: 1 and more. Source: definition.
    """
    return (np.arange(1 << players)[:, None] >> np.arange(players) & 1).astype(bool)


def shapley(values: Floats) -> Floats:
    """Share a game's worth among its players, whatever order they come in.

    Parameters: values, worth of each coalition in the order of `coalitions`, shape (2^k, …) [any unit].
    Returns: shape (k, …) in that unit, the mean over all k! orders of what each player adds when its turn comes; the
    sum is values[-1] - values[0].
    Valid range: any; NaN gives NaN.
    Source: Shapley 1953, in the form by coalitions (textbook, from memory); for changes of distance between two states
    as in Shorrocks 2013 (abstract read).
    """
    players = int(np.log2(len(values)))
    shares = np.zeros((players, *values.shape[1:]))
    for coalition, player in itertools.product(range(len(values)), range(players)):
        if not coalition >> player & 1:
            size = coalition.bit_count()
            weight = math.factorial(size) * math.factorial(players - size - 1) / math.factorial(players)
            shares[player] += weight * (values[coalition | 1 << player] - values[coalition])
    return shares


def _taken(mixture: NDArray[np.bool_], base: Floats, final: Floats) -> Floats:
    return np.where(mixture[:, None], final, base)


def struck_mixtures(base: Middle, final: Middle, follow: Floats, loft_change_rad: float | None) -> Launched:
    """Strike the 16 mixtures of club speed, strike, attack and fit.

    Parameters: base and final, r middle shots each; follow, how far the delivered loft follows the attack, (r,) [1];
    loft_change_rad, static loft of the final club less that of the base club, None where either is not known [rad].
    Returns: Launched of shape (16, r), in the order of `coalitions`.
    Valid range: as `strike.invert` and `strike.launch`; NaN outside.
    The strike is the efficiency, the fit is the grip and the club's own part of the delivered loft. A delivered loft
    belongs to both attack and club, and the shots do not say how it is shared: with a known loft change that is the
    club's and the rest of the change goes with the attack; else `follow` times the change of attack goes with it.
    Source: derived here.
    """
    first, last = state_of(base), state_of(final)
    speed, efficient, steep, fitted = coalitions(4).T
    change = last.loft_rad - first.loft_rad
    with_attack = follow * (last.attack_rad - first.attack_rad)
    of_club = change - with_attack if loft_change_rad is None else np.full_like(change, loft_change_rad)
    return strike.launch(
        _taken(speed, first.club_speed_mps, last.club_speed_mps),
        _taken(steep, first.attack_rad, last.attack_rad),
        first.loft_rad + _taken(fitted, 0 * change, of_club) + _taken(steep, 0 * change, change - of_club),
        _taken(efficient, first.efficiency, last.efficiency),
        _taken(fitted, first.grip, last.grip),
    )


def speed_mixtures(base: Middle, final: Middle, *, club: bool) -> Launched:
    """Launch the mixtures that need no impact: club speed, ball over club speed, launch and spin.

    Parameters: base and final, r middle shots each; club, whether there is a club speed: without one the ball speed is
    the first player and there is no second.
    Returns: Launched of shape (8, r), or (4, r) without a club speed, in the order of `coalitions`.
    Valid range: any. The spin of a set goes in proportion to the speed it is mixed with.
    Source: derived here: at the same delivery a blow's speeds and spin are nearly in proportion.
    """
    players = coalitions(3 if club else 2).T
    speed, launched = players[0], players[-1]
    first, last = (m.club_speed_mps if club else m.ball_speed_mps for m in (base, final))
    driven = _taken(speed, first, last)
    ratio = _taken(players[1], base.ball_speed_mps / first, final.ball_speed_mps / last) if club else 1.0
    return Launched(
        driven * ratio,
        _taken(launched, base.launch_rad, final.launch_rad),
        driven * _taken(launched, base.spin_radps / first, final.spin_radps / last),
    )


def _played(tier: str, pair: tuple[Middle, Middle], follow: Floats, loft_change_rad: float | None) -> Launched:
    if tier in ("full", "no_spin"):
        return struck_mixtures(*pair, follow, loft_change_rad)
    return speed_mixtures(*pair, club=tier in ("no_attack", "no_attack_no_spin"))


# the last lever moved the spin, which nobody read
UNDETERMINED: Final = ("no_attack_no_spin", "ball_no_spin")
LEVERS: Final = {
    4: ("club_speed", "strike", "attack", "fit"),
    3: ("club_speed", "strike", "launch_and_spin"),
    2: ("ball_speed", "launch_and_spin"),
}


# --- ranges -------------------------------------------------------------------------------------------------------
def _picks(n: int, generator: np.random.Generator) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Choose shots for resamples (RESAMPLES, n), and all shots but one (n, n - 1)."""
    each = np.arange(n)
    return generator.integers(0, n, (RESAMPLES, n)), np.array([np.delete(each, i) for i in each])


def _middles_of(shots: SetShots, generator: np.random.Generator, before: int, after: int) -> tuple[Middle, Floats]:
    """Average a set as it is, resampled, and with each shot left out; as it is again while the other set's are.

    before and after: how many shots the other set has, if its turn comes before or after this one's.
    """
    n = shots.rows.shape[1]
    resampled, left_out = _picks(n, generator)
    whole, drawn, fewer = (middles(shots, picks) for picks in (np.arange(n)[None], resampled, left_out))
    blocks = [whole, drawn, *[whole] * before, fewer, *[whole] * after]
    joined = (np.concatenate(parts, axis=-1) for parts in zip(*(m for m, _ in blocks), strict=True))
    return Middle(*joined), np.concatenate([means for _, means in blocks], axis=-1)


def interval(figures: Floats, counts: tuple[int, int], level: float) -> tuple[float, float]:
    """Give the range that holds the truth with that chance, fit for a handful of shots.

    Parameters: figures, one number told from the two sets as they are, from RESAMPLES resamples, and with each shot of
    the base set and then of the final set left out, shape (1 + RESAMPLES + n0 + n1,) [any unit]; counts, n0 and n1, 3
    or more; level, 0 to 1.
    Returns: low and high in that unit; NaN where no resample has a value.
    Valid range: any; figures that are all alike give that figure twice.
    Percentiles of the resamples, with tails as far out as few shots demand: a resample's variance is too small by
    (n - 1)/n, and Welch's freedom, from the variances with shots left out, turns the normal quantile into a t. What
    the resamples vary beyond the shots (loft following attack, a spin nobody read) has all freedoms.
    Source: expanded percentiles as in Hesterberg 2015 (from memory), the two-sample freedom derived here; cover by
    simulation in tests/benchmarks/levers_bench.py.
    """
    drawn, *left_out = np.split(figures, [1, 1 + RESAMPLES, 1 + RESAMPLES + counts[0]])[1:]
    drawn = drawn[np.isfinite(drawn)]
    if not drawn.size:
        return math.nan, math.nan
    spare = [n - 1 for n in counts]
    of_sets = [float(np.nanvar(left)) * n for left, n in zip(left_out, spare, strict=True)]
    resampled = sum(v * n / (n + 1) for v, n in zip(of_sets, spare, strict=True))
    beyond = max(float(drawn.var()) - resampled, 0.0)
    variance = sum(of_sets) + beyond
    if variance == 0:
        return float(figures[0]), float(figures[0])
    spent = sum(v**2 / n for v, n in zip(of_sets, spare, strict=True))
    freedom = variance**2 / spent if spent > 0 else math.inf
    wider = math.sqrt(variance / (resampled + beyond))
    tail = float(special.ndtr(-wider * special.stdtrit(freedom, (1 + level) / 2)))
    low, high = np.quantile(drawn, [tail, 1 - tail], method="weibull")  # place p (B + 1) holds p
    return float(low), float(high)


# --- two sets -----------------------------------------------------------------------------------------------------
def attribute(
    base: SetShots, final: SetShots, flown: Distances, usual: Usual, loft_change_rad: float | None = None
) -> tuple[str, Attribution, Attribution] | None:
    """Say what each lever brought from one set to another.

    Parameters: base and final, the counted shots; flown, from `distances`; usual, for this kind of club;
    loft_change_rad, static loft of the final club less that of the base club, None where either is not known [rad].
    Returns: the tier and the attributions of carry and of total; None where fewer than three shots of either set have a
    ball speed and a launch angle, or where no single blow explains a set's middle shot.
    Valid range: sets of one visit read by one device. Between devices or days an error of 0.4 m/s in club speed alone
    moves about 3 yd from speed to strike, and no range here knows of it. Shots are taken as independent.
    Source: `shapley`, `interval`; resampling of whole shots as in Efron's bootstrap (textbook, from memory).
    """
    tier = tier_of(present(base) & present(final))
    if tier is None:
        return None
    counts = base.rows.shape[1], final.rows.shape[1]
    generator = generator_of(*(row[np.isfinite(row)] for s in (base, final) for row in s.rows[:DELIVERY_ROWS]))
    first, first_means = _middles_of(base, generator, 0, counts[1])
    last, last_means = _middles_of(final, generator, counts[0], 0)
    unseen = np.zeros((5, 1 + RESAMPLES + sum(counts)))
    unseen[:, 1 : 1 + RESAMPLES] = generator.standard_normal((5, RESAMPLES))
    follow, grip, attack, *own = unseen
    pair = (
        with_spin(first, tier, usual, np.stack([grip + UNSHARED * own[0], attack])),
        with_spin(last, tier, usual, np.stack([grip + UNSHARED * own[1], attack])),
    )
    worth = flown(_played(tier, pair, FOLLOW + FOLLOW_SPREAD * follow, loft_change_rad))
    shares = shapley(np.moveaxis(worth, 0, 1))
    if not np.isfinite(shares[..., 0]).all():
        return None
    carry, total = (
        _attribution(name, tier, shares[:, k], (last_means - first_means)[k], counts)
        for k, name in enumerate(QUANTITIES)
    )
    return tier, carry, total


def _gain(lever: str, figures: Floats, counts: tuple[int, int]) -> Gain:
    """Tell a lever by its figures, as `interval` takes them."""
    low, high = interval(figures, counts, SHOWN_LEVEL)
    least, most = interval(figures, counts, SAYABLE_LEVEL)
    return Gain(lever, float(figures[0]), low, high, least > 0 or most < 0)


def _attribution(quantity: str, tier: str, shares: Floats, measured: Floats, counts: tuple[int, int]) -> Attribution:
    """Word the shares (k, r) of one distance and its measured change (r,) as a record [m]."""
    names = LEVERS[len(shares)]
    whole = shares.sum(axis=0)
    told = tier not in UNDETERMINED
    levers = tuple(
        _gain(name, share, counts) for name, share in zip(names, shares, strict=True) if told or name != names[-1]
    )
    known = bool(np.isfinite(measured[0]))
    return Attribution(
        quantity,
        levers,
        _gain("attack_and_fit", shares[2] + shares[3], counts) if "fit" in names else None,
        _gain("modelled", whole, counts) if told else None,
        float(measured[0]) if known else None,
        _gain("unexplained", measured - whole, counts) if told and known else None,
    )


# --- a visit ------------------------------------------------------------------------------------------------------
def _warnings(base: SetShots, final: SetShots) -> tuple[str, ...]:
    """Say what speaks against comparing two sets closely."""
    holds = {
        "different_files": base.files.isdisjoint(final.files),
        "different_days": bool(base.days and final.days) and base.days.isdisjoint(final.days),
    }
    return tuple(code for code, true in holds.items() if true)


def _story(base: tuple[ShotSet, SetShots], final: tuple[ShotSet, SetShots], flown: Distances) -> LeverStory | None:
    (against, before), (build, after) = base, final
    lofts = against.build.loft_deg, build.build.loft_deg
    same_club = against.build == build.build  # hit in another way: its own loft is what it was
    change = 0.0 if same_club else None
    if not same_club and lofts[0] is not None and lofts[1] is not None:
        change = math.radians(lofts[1] - lofts[0])
    found = attribute(before, after, flown, USUAL.get(build.build.category, USUAL[None]), change)
    if found is None:
        return None
    tier, carry, total = found
    return LeverStory(
        build=build.index,
        against=against.index,
        tier=tier,
        shots=after.rows.shape[1],
        against_shots=before.rows.shape[1],
        together_only=carry.attack_and_fit is not None and change is None,
        undetermined="launch_and_spin" if tier in UNDETERMINED else "",
        carry=carry,
        total=total,
        warnings=_warnings(before, after),
    )


def levers(sets: Sequence[ShotSet], frame: pl.DataFrame, fates: Sequence[Fate], model: FlightModel) -> VisitLevers:
    """Say what each lever brought, over the own club and from each set to the next.

    Parameters: sets, all of the visit, the own club first, then in hitting order; frame, all shots with `set`, `file`,
    `time`, the columns of shot.toml and used_…, and their fates in the same order; model, what all balls are flown
    with.
    Returns: VisitLevers of the sets that do the own club's job; a set with fewer than three counted shots that have a
    ball speed and a launch angle is passed over, so a step may reach over it.
    Valid range: as `attribute`. The steps' levers need not sum to those over the own club, only what they model does.
    Source: `attribute`.
    """
    own = next(s for s in sets if s.is_own)
    like = [s for s in sets if same_job(s.build, own.build)]
    told = [(s, shots_of(counted_of(frame, fates, s.index))) for s in like]
    usable = {s.index: (s, shots) for s, shots in told if tier_of(present(shots))}
    over_own = [(own.index, index) for index in usable if index != own.index] if own.index in usable else []
    steps = list(itertools.pairwise(usable))
    flown = distances(model)
    stories = {(a, b): _story(usable[a], usable[b], flown) for a, b in dict.fromkeys([*over_own, *steps])}
    return VisitLevers(*(tuple(story for pair in pairs if (story := stories[pair])) for pairs in (over_own, steps)))
