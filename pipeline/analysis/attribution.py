"""What each lever brought between two sets: Shapley values over all mixtures of the two, with their ranges."""

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.delivery import (
    DELIVERY_ROWS,
    USUAL,
    Middle,
    SetShots,
    Usual,
    all_but_one,
    middles,
    present,
    shots_of,
    state_of,
    tier_of,
    with_spin,
)
from pipeline.analysis.distances import Asking, Distances, Rounds, Wish, answered, in_rounds
from pipeline.analysis.draws import generator_of
from pipeline.analysis.fates import counted_of
from pipeline.analysis.ranges import RESAMPLES, SHOWN_LEVEL, doubts, sayable
from pipeline.clubs import same_job
from pipeline.lever_records import Attribution, Gain, LeverStory, VisitLevers
from pipeline.physics import strike
from pipeline.physics.strike import Launched
from pipeline.records import Build, Fate, ShotSet

QUANTITIES: Final = ("carry_m", "total_m")

# How far the delivered loft follows the attack angle where the static lofts are not known: 1 when the face turns with
# the arc, 0 when the golfer holds it. Own judgement, no source; the shots themselves tell it too badly.
FOLLOW: Final = 1.0
FOLLOW_SPREAD: Final = 0.5
# How much of the doubt about a missing spin is not shared by the two sets: own judgement, no source.
UNSHARED: Final = 0.5


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
    return generator.integers(0, n, (RESAMPLES, n)), all_but_one(n)


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
    Source: `shapley`, `Doubt`; resampling of whole shots as in Efron's bootstrap (textbook, from memory).
    """
    return answered([_attributing(base, final, usual, loft_change_rad)], flown)[0]


def _attributing(
    base: SetShots, final: SetShots, usual: Usual, loft_change_rad: float | None
) -> Asking[tuple[str, Attribution, Attribution] | None]:
    """Mix two sets, as they are, resampled, and with each shot left out; share what the mixtures carry."""
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
    worth = yield Wish(_played(tier, pair, FOLLOW + FOLLOW_SPREAD * follow, loft_change_rad), resampled=True)
    shares = shapley(np.moveaxis(worth, 0, 1))
    if not np.isfinite(shares[..., 0]).all():
        return None
    measured, apart = last_means - first_means, loft_change_rad is not None
    carry, total = (
        _attribution(name, tier, shares[:, k], measured[k], counts, apart=apart) for k, name in enumerate(QUANTITIES)
    )
    return tier, carry, total


def _gains(
    figures: Mapping[str, Floats], families: Sequence[Sequence[str]], counts: tuple[int, int]
) -> dict[str, Gain]:
    """Tell levers by their figures; those printed together, a family, are judged together."""
    unsure = dict(zip(figures, doubts(np.stack([*figures.values()]), counts), strict=True))
    passed: dict[str, bool] = {}
    for family in families:
        passed |= zip(family, sayable([unsure[name] for name in family]), strict=True)
    return {
        name: Gain(name, each.figure, *each.range(SHOWN_LEVEL), passed.get(name, False))
        for name, each in unsure.items()
    }


def _attribution(
    quantity: str, tier: str, shares: Floats, measured: Floats, counts: tuple[int, int], *, apart: bool
) -> Attribution:
    """Word the shares (k, r) of one distance and its measured change (r,) as a record [m]."""
    names = LEVERS[len(shares)]
    whole, known = shares.sum(axis=0), bool(np.isfinite(measured[0]))
    figures = dict(zip(names, shares, strict=True))
    if "fit" in figures:
        figures["attack_and_fit"] = figures["attack"] + figures["fit"]
    if tier in UNDETERMINED:
        del figures[names[-1]]
    hidden = ("attack_and_fit",) if apart else ("attack", "fit")
    families = [[name for name in figures if name not in hidden]]
    if tier not in UNDETERMINED:
        summed = {"modelled": whole, "unexplained": measured - whole} if known else {"modelled": whole}
        figures |= summed
        families += [[name] for name in summed]
    gains = _gains(figures, families, counts)
    return Attribution(
        quantity,
        tuple(gains[name] for name in names if name in gains),
        gains.get("attack_and_fit"),
        gains.get("modelled"),
        float(measured[0]) if known else None,
        gains.get("unexplained"),
    )


# --- a visit ------------------------------------------------------------------------------------------------------
def _warnings(base: SetShots, final: SetShots) -> tuple[str, ...]:
    """Say what speaks against comparing two sets closely."""
    holds = {
        "different_files": base.files.isdisjoint(final.files),
        "different_days": bool(base.days and final.days) and base.days.isdisjoint(final.days),
    }
    return tuple(code for code, true in holds.items() if true)


def _loft_change(against: Build, build: Build) -> float | None:
    """Give how much more static loft a club has than another [rad], None where either is not known."""
    if against == build:  # the same club hit in another way: its own loft is what it was
        return 0.0
    lofts = against.loft_deg, build.loft_deg
    return None if lofts[0] is None or lofts[1] is None else math.radians(lofts[1] - lofts[0])


def _story(base: tuple[ShotSet, SetShots], final: tuple[ShotSet, SetShots]) -> Asking[LeverStory | None]:
    (against, before), (build, after) = base, final
    change = _loft_change(against.build, build.build)
    found = yield from _attributing(before, after, USUAL.get(build.build.category, USUAL[None]), change)
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


def asking_levers(sets: Sequence[ShotSet], frame: pl.DataFrame, fates: Sequence[Fate]) -> Rounds[VisitLevers]:
    """Say what each lever brought, over the own club and from each set to the next.

    Parameters: sets, all of the visit in their order, the own club first; frame, all shots with `set`, `file`,
    `time`, the columns of shot.toml and used_…, and their fates in the same order.
    Returns: a calculation that asks for distances (`distances.finished`) and gives VisitLevers of the sets that do the
    own club's job; a set with fewer than three counted shots that have a ball speed and a launch angle is passed over,
    so a step may reach over it.
    Valid range: as `attribute`. The steps' levers need not sum to those over the own club, only what they model does.
    Source: `attribute`.
    """
    own = next(s for s in sets if s.is_own)
    like = [s for s in sets if same_job(s.build, own.build)]
    hit = [(s, shots_of(counted_of(frame, fates, s.index))) for s in like]
    usable = {s.index: (s, shots) for s, shots in hit if tier_of(present(shots))}
    over_own = [(own.index, index) for index in usable if index != own.index] if own.index in usable else []
    steps = list(itertools.pairwise(usable))
    asked = list(dict.fromkeys([*over_own, *steps]))
    told = yield from in_rounds([_story(usable[a], usable[b]) for a, b in asked])
    stories = dict(zip(asked, told, strict=True))
    return VisitLevers(*(tuple(story for pair in pairs if (story := stories[pair])) for pairs in (over_own, steps)))
