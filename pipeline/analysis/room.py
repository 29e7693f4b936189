"""What each lever could still bring one golfer, bounded by what he or she already does and by what is safe.

The bounds are judgement: the golfer's own good shots, never somebody else's, and steps small enough for the impact's
two numbers to be kept. Nothing here is a promise.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np
from scipy import special

from pipeline.analysis.attribution import FOLLOW, shapley, speed_mixtures, struck_mixtures
from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.comparison import FEWEST_SHOTS
from pipeline.analysis.delivery import DELIVERY_ROWS, USUAL, Middle, SetShots, State, state_of, with_spin
from pipeline.analysis.distances import Asking, Distances, Wish, answered
from pipeline.analysis.whatif import DEGREE, STRUCK, struck
from pipeline.analysis.window import FOR_DISTANCE, LOST_SHARE
from pipeline.analysis.worth import Resampled, best_lofts, brought, resampled, together
from pipeline.physics import strike
from pipeline.physics.strike import central_efficiency
from pipeline.resources import table
from pipeline.room_records import Brought, Changes, LeverRoom, LoftAdvice, LoftChoice, Ranged, Room

# How good a shot of one's own may be aimed for: one in four of strike and attack, one in ten of speed. Own judgement.
OWN_SHARE: Final = {"club_speed": 0.90, "strike": 0.75, "attack": 0.75}
# What devices read wrong from shot to shot, taken out of the golfer's spread: own judgement, no source.
SPEED_ERROR_SHARE: Final = 0.010
BALL_SPEED_ERROR_SHARE: Final = 0.006
ATTACK_ERROR_DEG: Final = 0.5
# Own judgement, no source: no more speed than this is put on the page, whatever training gave groups of golfers.
MOST_SPEED_SHARE: Final = 0.02
MOST_ATTACK_STEP_DEG: Final = 2.0
MOST_ATTACK_DEG: Final = 5.0
# What a studio can fit on one driver, and the least worth fitting, for heads of one stamp differ by as much: common
# practice, no source.
MOST_LOFT_STEP_DEG: Final = 2.0
LEAST_LOFT_STEP_DEG: Final = 0.5

# Devices read the speed of another point of the head than mechanics speak of, and give 2 to 3 % more ball over club
# speed than it allows (common practice, no source).
DEVICE_SHARE: Final = 1.03
# Efficiency no golfer is told to strike beyond; who reads more keeps it and has no room left. The restitution is the
# rules' limit with its tolerance and the head a heavy driver's. A heavier head with a stiffer face (0.78, 0.27 kg) ends
# 1 % higher, at 1.52 before the devices' share. With 12 degrees of spin loft at 105 mph this is a ratio of 1.50.
CEILING: Final = float(central_efficiency(0.830, 0.210)) * DEVICE_SHARE
_USUAL_SPIN_LOFT_RAD: Final = 12 * DEGREE


_LEVERS: Final = {
    "club_speed": "club_speed_mps",
    "strike": "smash_factor",
    "attack": "attack_angle_deg",
    "fit": "dynamic_loft_deg",
}


class Step(NamedTuple):
    """How far a lever may move, in the unit of its state, and what ends it (own | limit | best)."""

    size: float
    bound: str


Steps = Mapping[str, Step]
_STILL: Final = Step(0.0, "own")
_NOTHING: Final = Brought(Ranged(0.0, 0.0, 0.0, False), Ranged(0.0, 0.0, 0.0, False))


# --- how far ------------------------------------------------------------------------------------------------------
def reach(values: Floats, error: float, share: float) -> float | None:
    """Say how far above a golfer's average a good shot of his or her own lies.

    Parameters: values, one a shot, NaN where missing, shape (n,) [any unit]; error, spread of the device's misreading
    in that unit; share, of the golfer's shots that may lie below, 0.5 to 1 [1].
    Returns: 0 or more in that unit, never beyond the best shot there was; None with fewer than three values.
    Valid range: any. Where the device's error explains all the spread, 0.
    Source: the normal's point at that share, of the spread that is left once the error's variance is taken out.
    """
    known = values[np.isfinite(values)]
    if known.size < FEWEST_SHOTS:
        return None
    spread = math.sqrt(max(float(known.var(ddof=1)) - error**2, 0.0))
    return min(float(special.ndtri(share)) * spread, max(float(known.max() - known.mean()), 0.0))


def steps_of(shots: SetShots, found: Resampled, category: str | None) -> dict[str, Step]:
    """Say how far speed, strike and attack of a golfer may move.

    Parameters: shots, the counted ones of a set, and found, made of them; category, kind of club.
    Returns: steps upwards of club_speed [m/s], strike [1] (of the efficiency, or of ball over club speed where that
    cannot be solved for) and attack [rad]; a lever the columns or the kind of club do not allow is left out. There is
    none of attack from the turf: a club that must reach the ball before the ground is not there to be hit upwards.
    Valid range: as `reach`; a golfer beyond a limit stays there.
    Source: the bounds at the head of this module.
    """
    speed, struck_well = float(found.middle.club_speed_mps[0]), found.tier in STRUCK
    usual = USUAL.get(category, USUAL[None])
    n = shots.rows.shape[1]
    each = with_spin(Middle(*shots.rows[:DELIVERY_ROWS]), found.tier, usual, np.zeros((2, n)))
    well = state_of(each).efficiency if struck_well else each.ball_speed_mps / each.club_speed_mps
    own = float(state_of(found.middle).efficiency[0]) if struck_well else _ratio(found.middle)
    top = CEILING if struck_well else _ratio_at_ceiling(speed, usual.grip)
    attack = float(found.middle.attack_rad[0]) / DEGREE
    error = math.hypot(SPEED_ERROR_SHARE, BALL_SPEED_ERROR_SHARE)
    asked = {
        "club_speed": (each.club_speed_mps, SPEED_ERROR_SHARE * speed, MOST_SPEED_SHARE * speed),
        "strike": (well, error * own, top - own),
    }
    if struck_well and category in FOR_DISTANCE:
        most = min(MOST_ATTACK_STEP_DEG, MOST_ATTACK_DEG - attack) * DEGREE
        asked["attack"] = (each.attack_rad, ATTACK_ERROR_DEG * DEGREE, most)
    reached = {lever: reach(values, off, OWN_SHARE[lever]) for lever, (values, off, _) in asked.items()}
    limits = {lever: max(most, 0.0) for lever, (*_, most) in asked.items()}
    return {
        lever: Step(size, "own") if size <= limits[lever] else Step(limits[lever], "limit")
        for lever, size in reached.items()
        if size is not None
    }


def _ratio(middle: Middle) -> float:
    return float(middle.ball_speed_mps[0] / middle.club_speed_mps[0])


def _ratio_at_ceiling(speed: float, grip: float) -> float:
    """Ball over club speed of a driver's usual delivery at the ceiling; the clubs with more loft stay far below it."""
    return float(strike.launch(speed, 0.0, _USUAL_SPIN_LOFT_RAD, CEILING, grip).ball_speed_mps / speed)


def moved(state: State, steps: Steps) -> State:
    """Move speed, strike and attack of a delivery; the loft goes with the attack, the club being the same."""
    speed, well, attack = (steps.get(lever, _STILL).size for lever in ("club_speed", "strike", "attack"))
    return State(
        state.club_speed_mps + speed,
        state.attack_rad + attack,
        state.loft_rad + FOLLOW * attack,
        state.efficiency + well,
        state.grip,
    )


# --- loft ---------------------------------------------------------------------------------------------------------
def loft_advices(states: Sequence[State], shots: int) -> Asking[list[LoftAdvice | None]]:
    """Advise a change of the club's loft for some deliveries.

    Parameters: states, of the resamples of a set of that many shots, each of shape (r,).
    Returns: a LoftAdvice a state; None where no best loft is seen. None is advised (code none) where neither distance
    can gain a hundredth. Else the smaller of the two steps is, if both distances gain by it, one of them surely; where
    one wants more loft and the other less, or next to none, they disagree.
    Valid range: steps up to 2 degrees. At low lofts the run is too long, so the total wants too little loft there; the
    carry's word stands against it.
    Source: derived here; that a step is worth fitting from half a degree on is common practice, no source.
    """
    most = MOST_LOFT_STEP_DEG
    best = yield from best_lofts(states)
    steps = [
        np.clip((lofts - state.loft_rad[0]) / DEGREE, -most, most).tolist()
        for lofts, state in zip(best.T, states, strict=True)
    ]
    asked = [(0.0, *(step if math.isfinite(step) else 0.0 for step in pair)) for pair in steps]
    balls = [struck(s, [Changes(loft_deg=x) for x in three]) for s, three in zip(states, asked, strict=True)]
    distances = yield together(balls)
    gone = np.moveaxis(distances, 1, 0)
    return [
        _advice(pair, gone[3 * place : 3 * place + 3], shots) if np.isfinite(pair).all() else None
        for place, pair in enumerate(steps)
    ]


def _advice(steps: Sequence[float], gone: Floats, shots: int) -> LoftAdvice:
    """Advise by what carry and total are now, at the best loft for carry and at that for the total, (3, 2, r) [m]."""
    now, *then = gone
    by_carry, by_total = map(LoftChoice, steps, brought(np.stack(then) - now, shots))
    most_gained = max(by_carry.brings.carry.value_m / now[0, 0], by_total.brings.total.value_m / now[1, 0])
    code = "none" if most_gained < LOST_SHARE else loft_code(by_carry, by_total)
    return LoftAdvice(code, _smaller(by_carry, by_total).step_deg if code == "advised" else 0.0, by_carry, by_total)


def _smaller(by_carry: LoftChoice, by_total: LoftChoice) -> LoftChoice:
    return min(by_carry, by_total, key=lambda choice: abs(choice.step_deg))


def loft_code(by_carry: LoftChoice, by_total: LoftChoice) -> str:
    """Say what is to be done about two lofts, as `loft_advices` explains: advised | carry_and_total_disagree | none.

    Valid range: any. Source: own judgement.
    """
    smaller = _smaller(by_carry, by_total)
    if by_carry.step_deg * by_total.step_deg < 0 or abs(smaller.step_deg) < LEAST_LOFT_STEP_DEG:
        return "carry_and_total_disagree"
    gains = (smaller.brings.carry, smaller.brings.total)
    both = all(gain.value_m > 0 for gain in gains)
    return "advised" if both and any(gain.sayable for gain in gains) else "none"


# --- room ---------------------------------------------------------------------------------------------------------
def room_of(shots: SetShots, flown: Distances, category: str | None) -> Room | None:
    """Say what each lever could still bring this golfer with this club, alone and together.

    Parameters: shots, the counted ones of a set; flown, from `distances`; category, kind of club, None where it is not
    known.
    Returns: Room; None without a club speed and a ball speed, or with too few shots. Speed and strike for every club;
    attack and fit for the driver alone: other clubs are hit from the turf, and their loft is there for the gaps of the
    bag. The fit is chosen for the golfer with the other levers moved.
    Valid range: as `steps_of`. The steps are taken as chosen; the ranges say how well their worth is known.
    Source: derived here; parts by `shapley`.
    """
    return answered([asking_room(shots, resampled(shots, category), category)], flown)[0]


def asking_room(shots: SetShots, found: Resampled | None, category: str | None) -> Asking[Room | None]:
    """Ask what `room_of` needs to be told; found, of `resampled` shots; all else as there."""
    if found is None or not np.isfinite(found.middle.club_speed_mps[0]):
        return None
    steps = steps_of(shots, found, category)
    if not steps:
        return None
    struck_well = found.tier in STRUCK
    played = yield from (_struck_game(found, steps, category) if struck_well else _driven_game(found, steps))
    if not np.isfinite(played.worth[:, :, 0]).all():
        return None
    (together_,) = brought(played.worth[None, :, -1] - played.worth[None, :, 0], found.shots)
    carry, total = (
        float(mean + gain.value_m) if np.isfinite(mean) else None
        for mean, gain in zip(found.means[:, 0], (together_.carry, together_.total), strict=True)
    )
    return Room(
        found.tier, _levers(found, played, category), together_, carry, total, played.today, played.then, found.basis
    )


class _Played(NamedTuple):
    """Steps with the fit's, and carry and total of every mixture of now and then, shape (2, 2^k, r) [m]."""

    steps: Steps
    worth: Floats
    today: LoftAdvice | None
    then: LoftAdvice | None


def _driven_game(found: Resampled, steps: Steps) -> Asking[_Played]:
    """Move speed and the ratio: without an attack nobody knows the loft either."""
    now = found.middle
    speed = now.club_speed_mps + steps.get("club_speed", _STILL).size
    ratio = now.ball_speed_mps / now.club_speed_mps + steps.get("strike", _STILL).size
    spin = now.spin_radps * speed / now.club_speed_mps
    then = Middle(speed, now.attack_rad, speed * ratio, now.launch_rad, spin)
    worth = yield Wish(speed_mixtures(now, then, club=True), resampled=True)
    return _Played(steps, worth, None, None)


def _struck_game(found: Resampled, steps: Steps, category: str | None) -> Asking[_Played]:
    """Move speed, strike and attack, then choose the loft, where the kind of club lets it be chosen."""
    state = state_of(found.middle)
    then = moved(state, steps)
    today = later = None
    if category in FOR_DISTANCE:
        today, later = yield from loft_advices((state, then), found.shots)
    fit = later.step_deg * DEGREE if later else 0.0
    last = then._replace(loft_rad=then.loft_rad + fit)
    after = Middle(last.club_speed_mps, last.attack_rad, *strike.launch(*last))
    mixtures = struck_mixtures(found.middle, after, np.full_like(last.loft_rad, FOLLOW), fit)
    if later:
        bound = "limit" if abs(later.step_deg) == MOST_LOFT_STEP_DEG else "best"
        steps = {**steps, "fit": Step(fit, bound)}
    worth = yield Wish(mixtures, resampled=True)
    return _Played(steps, worth, today, later)


def _levers(found: Resampled, played: _Played, category: str | None) -> tuple[LeverRoom, ...]:
    """Tell each lever that could be moved, its part by Shapley and what it brings alone."""
    worth = np.moveaxis(played.worth, 0, 1)  # (2^k, 2, r)
    places = {place: lever for place, lever in enumerate(_LEVERS) if lever in played.steps}
    parts = brought(shapley(worth)[[*places]], found.shots)
    alone = brought(worth[[1 << place for place in places]] - worth[0], found.shots)
    rooms = []
    for lever, part, by_itself in zip(places.values(), parts, alone, strict=True):
        step = played.steps[lever]
        now, shown = _shown(lever, found, step.size)
        gain = _advised(played.today) if lever == "fit" and played.today else by_itself
        advice = table("lever_advice")[lever]
        ways = advice["ways"] if category in FOR_DISTANCE else advice.get("turf", advice["ways"])
        told = tuple(ways), tuple(advice["cautions"])
        rooms.append(LeverRoom(lever, _LEVERS[lever], now, shown, step.bound, part, gain, *told))
    return tuple(rooms)


def _advised(advice: LoftAdvice) -> Brought:
    """Give what the loft advised brings; nothing where none is."""
    choices = (advice.by_carry, advice.by_total)
    return next((choice.brings for choice in choices if choice.step_deg == advice.step_deg), _NOTHING)


def _shown(lever: str, found: Resampled, size: float) -> tuple[float, float]:
    """Give a lever's average and its step in the stored unit of its quantity."""
    first = Middle(*(values[:1] for values in found.middle))
    if lever == "club_speed":
        return float(first.club_speed_mps[0]), size
    if lever == "attack":
        return float(first.attack_rad[0]) / DEGREE, size / DEGREE
    if lever == "fit":
        return float(state_of(first).loft_rad[0]) / DEGREE, size / DEGREE
    now = _ratio(first)
    if found.tier not in STRUCK:
        return now, size
    state = state_of(first)
    better = strike.launch(*state._replace(efficiency=state.efficiency + size))
    return now, float(better.ball_speed_mps[0] / first.club_speed_mps[0]) - now
