"""What would become of a golfer's shot if one thing changed: measured, plus the model's difference."""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.ball_flight import FlightModel, Floats
from pipeline.analysis.delivery import (
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
from pipeline.physics import strike
from pipeline.physics.flight import Launch, fly
from pipeline.physics.ground import total_distance
from pipeline.physics.strike import Launched
from pipeline.room_records import Changed, Changes, WhatIf

RPM: Final = np.pi / 30
DEGREE: Final = np.pi / 180

_STILL: Final = 1e-9  # in any stored unit: what moves less has not moved

# With these the strike's equations are solved, so attack and loft can be moved.
STRUCK: Final = ("full", "no_spin")
_FREE: Final = ("follow",)  # changes nothing by itself
_BALL: Final = ("spin_rate_rpm",)
_SPEEDS: Final = ("club_speed_mps", "smash_factor")
_ANGLES: Final = ("attack_angle_deg", "loft_deg")
# Which changes each tier can follow: where the spin was not read, there is none to be moved.
FOLLOWS: Final = {
    "full": (*_SPEEDS, *_ANGLES, *_BALL),
    "no_spin": (*_SPEEDS, *_ANGLES),
    "no_attack": (*_SPEEDS, *_BALL),
    "no_attack_no_spin": _SPEEDS,
    "ball_only": _BALL,
    "ball_no_spin": (),
}


class OwnFlight(NamedTuple):
    """Averages of a set's counted shots beyond those of SetShots: apex_m [m], descent_angle_deg [deg]; None: not known.

    Parameters and returns: as above. Valid range: any. Source: definition.
    """

    apex_m: float | None = None
    descent_angle_deg: float | None = None


NOT_KNOWN: Final = OwnFlight()


class Flown(NamedTuple):
    """Flights of balls, arrays of the balls' shape.

    Parameters: carry_m and total_m, apex_m [m], descent_rad, below the horizontal [rad]; trusted and run_trusted,
    whether launch and landing lie inside what flight and run were compared with.
    Returns: a named tuple.
    Valid range: as `fly` and `run`.
    Source: definition.
    """

    carry_m: Floats
    total_m: Floats
    apex_m: Floats
    descent_rad: Floats
    trusted: NDArray[np.bool_]
    run_trusted: NDArray[np.bool_]


def flown(balls: Launched, model: FlightModel) -> Flown:
    """Fly balls straight, with all that is told of a flight.

    Parameters: balls, arrays of shape (n,); model, what all balls of a visit are flown with.
    Returns: Flown of shape (n,).
    Valid range: as `fly`; NaN outside its domains. What a tilted spin axis costs is not in it.
    Source: `fly` and `total_distance`.
    """
    flight = fly(Launch.of(*balls), model.air, drag_scale=model.drag_scale, lift_scale=model.lift_scale)
    rest = total_distance(flight, model.firmness)
    return Flown(
        flight.carry_m,
        rest.total_m,
        flight.apex_m,
        flight.descent_angle_rad,
        ~flight.outside_range,
        ~rest.unreliable,
    )


def whole_middle(shots: SetShots, category: str | None) -> tuple[str, Middle, Floats] | None:
    """Average a set, and put the usual spin where none was read.

    Parameters: shots of one set; category, its kind of club.
    Returns: the tier, the middle shot (1,), and the means of carry and total, shape (2, 1) [m]; None without a tier.
    Valid range: as `middles` and `with_spin`.
    Source: `middles`.
    """
    tier = tier_of(present(shots))
    if tier is None:
        return None
    middle, means = middles(shots, np.arange(shots.rows.shape[1])[None])
    return tier, with_spin(middle, tier, USUAL.get(category, USUAL[None]), np.zeros((2, 1))), means


def struck(state: State, changes: Sequence[Changes]) -> Launched:
    """Strike the ball with a changed delivery, in k ways.

    Parameters: state, of shape (r,); changes, k of them.
    Returns: Launched of shape (k, r).
    Valid range: as `strike.launch`; NaN where a ball over club speed below what the spin alone takes is asked for.
    Source: `strike.launch`. A better strike is more speed along the face's normal at the delivery as it is: with v_t
    kept, (v_n')² = ((ratio + step) V)² - v_t² (derived here).
    """
    by = {name: np.array([[getattr(each, name)] for each in changes]) for name in Changes.__slots__}
    now = strike.launch(*state)
    along = now.spin_radps * strike.SPIN_ARM_M
    asked = now.ball_speed_mps + by["smash_factor"] * state.club_speed_mps
    with np.errstate(invalid="ignore"):
        better = np.sqrt((np.maximum(asked, 0.0) ** 2 - along**2) / (now.ball_speed_mps**2 - along**2))
    turned = by["loft_deg"] + by["follow"] * by["attack_angle_deg"]
    ball = strike.launch(
        state.club_speed_mps + by["club_speed_mps"],
        state.attack_rad + by["attack_angle_deg"] * DEGREE,
        state.loft_rad + turned * DEGREE,
        state.efficiency * better,
        state.grip,
    )
    return ball._replace(spin_radps=ball.spin_radps + by["spin_rate_rpm"] * RPM)


def driven(middle: Middle, changes: Changes) -> Launched:
    """Change a shot's speeds and spin where the strike cannot be solved.

    Parameters: middle, of shape (r,); changes of club speed, ball over club speed and spin.
    Returns: Launched of shape (r,); the launch angle stays, the spin goes with the club speed.
    Valid range: any. A club speed is needed only to change it or the ratio.
    Source: derived here: at the same delivery a blow's speeds and spin are nearly in proportion.
    """
    if not (changes.club_speed_mps or changes.smash_factor):
        return Launched(middle.ball_speed_mps, middle.launch_rad, middle.spin_radps + changes.spin_rate_rpm * RPM)
    share = 1 + changes.club_speed_mps / middle.club_speed_mps
    ratio = middle.ball_speed_mps / middle.club_speed_mps + changes.smash_factor
    return Launched(
        middle.club_speed_mps * share * ratio,
        middle.launch_rad,
        middle.spin_radps * share + changes.spin_rate_rpm * RPM,
    )


def follows(tier: str, changes: Changes) -> bool:
    """Say whether the columns of a tier tell what some changes do.

    Valid range: any. Source: `FOLLOWS`.
    """
    return {name for name in Changes.__slots__ if name not in _FREE and getattr(changes, name)} <= set(FOLLOWS[tier])


def launched(middle: Middle, tier: str, changes: Sequence[Changes]) -> Launched:
    """Launch a middle shot with something changed, in k ways.

    Parameters: middle, of shape (r,), with a spin; tier, of its columns; changes, k of them that the tier follows.
    Returns: Launched of shape (k, r).
    Valid range: as `struck` and `driven`.
    Source: `struck` and `driven`.
    """
    if tier in STRUCK:
        return struck(state_of(middle), changes)
    return Launched(*(np.stack(rows) for rows in zip(*(driven(middle, each) for each in changes), strict=True)))


def what_if(
    shots: SetShots, model: FlightModel, category: str | None, changes: Changes, own: OwnFlight = NOT_KNOWN
) -> WhatIf | None:
    """Tell what would become of a set's middle shot.

    Parameters: shots, the counted ones of the set; model, what all balls are flown with; category, kind of club, None
    where it is not known; changes; own, averages of apex and descent.
    Returns: WhatIf with ball speed, launch, spin, carry, total, apex and descent; no change gives what was measured.
    None where the columns do not tell what the change does, or where it leads to no shot at all.
    Valid range: small changes, a few degrees and mph: the strike's two numbers are taken as the golfer's own and the
    head's, whatever is changed. Where the model is not trusted, `outside_range` says so.
    Source: `launched` and `flown`.
    """
    found = whole_middle(shots, category)
    if found is None:
        return None
    tier, middle, means = found
    if not follows(tier, changes):
        return None
    balls = Launched(*(rows[:, 0] for rows in launched(middle, tier, (Changes(), changes))))
    flights = flown(balls, model)
    moved = _moved(balls, flights)
    if not all(np.isfinite(list(moved.values()))):
        return None
    known = {
        "ball_speed_mps": middle.ball_speed_mps[0],
        "launch_angle_deg": middle.launch_rad[0] / DEGREE,
        "spin_rate_rpm": np.nan if tier in SPINLESS else middle.spin_radps[0] / RPM,
        "carry_m": means[0, 0],
        "total_m": means[1, 0],
        "apex_m": own.apex_m,
        "descent_angle_deg": own.descent_angle_deg,
    }
    values = tuple(_changed(name, known[name], difference, tier) for name, difference in moved.items())
    return WhatIf(changes, tier, values, not (flights.trusted[1] and flights.run_trusted[1]))


def _moved(balls: Launched, flights: Flown) -> dict[str, float]:
    """Give the differences between two shots, in stored units."""
    after = [float(np.diff(values)[0]) for values in balls]
    over = [float(np.diff(values)[0]) for values in flights[:4]]
    return {
        "ball_speed_mps": after[0],
        "launch_angle_deg": after[1] / DEGREE,
        "spin_rate_rpm": after[2] / RPM,
        "carry_m": over[0],
        "total_m": over[1],
        "apex_m": over[2],
        "descent_angle_deg": over[3] / DEGREE,
    }


def _changed(quantity: str, measured: float | None, difference: float, tier: str) -> Changed:
    known = None if measured is None or not np.isfinite(measured) else float(measured)
    guessed = "common_practice" if tier in SPINLESS else "modelled"
    return Changed(
        quantity,
        known,
        None if known is None else known + difference,
        difference,
        "measured" if abs(difference) < _STILL and known is not None else guessed,
    )
