"""The launch a golfer can reach with loft alone, at the delivery there is, and how wide the best part of it is."""

from typing import Final, NamedTuple

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import NDArray

from pipeline.analysis.ball_flight import FlightModel, Floats
from pipeline.analysis.delivery import SetShots, State, state_of
from pipeline.analysis.distances import Asking, Wish, answered, distances
from pipeline.analysis.whatif import DEGREE, NOT_KNOWN, RPM, Flown, OwnFlight, whole_middle
from pipeline.physics import strike
from pipeline.physics.strike import Launched
from pipeline.room_records import LaunchWindow, ReachableWindow, Reached

# Kinds of club that are there to go as far as they can, from a tee: own judgement. The loft of the others is chosen for
# the gaps of a bag and for how the ball lands.
FOR_DISTANCE: Final = ("driver",)

LOFTS_RAD: Final = np.radians(np.linspace(2.0, 35.8, 170))
LOST_SHARE: Final = 0.01  # about 2 yd, less than two shots of anybody differ by: own judgement

# What is fitted with a smooth curve: twice the window, so that the curve's ends lie outside it.
_FITTED_SHARE: Final = 2 * LOST_SHARE
_FEWEST_FITTED: Final = 8  # lofts, for a curve with five numbers
_POWERS: Final = 4
_FINE: Final = 401

# The height fitters name as a good one of a driver, 100 to 110 ft, and the slowest golfers they name it for, 105 mph:
# common practice, no source.
TRADE_APEX_M: Final = (30.48, 33.528)
TRADE_SPEED_MPS: Final = 105 * 0.44704


class Top(NamedTuple):
    """Where a curve is highest, and between which places it is nearly as high, in the unit of its places."""

    best: float
    low: float
    high: float


def top_of(places: Floats, heights: Floats, trusted: NDArray[np.bool_], share: float = LOST_SHARE) -> Top | None:
    """Find the top of a curve that has ripples, and the stretch where next to nothing is lost.

    Parameters: places, rising, shape (n,); heights there, above 0 [any unit]; trusted, which of them count; share, how
    much of the height may be lost, 0 to 1 [1].
    Returns: Top; None where the curve is not seen to fall on both sides of the top.
    Valid range: one hump. Where the trusted places end before the stretch does, the stretch ends there.
    Source: fourth powers by least squares through what lies within twice the share of the highest (own choice): a
    total ripples by 0.1 yd where the number of hops changes, and 60 places average that out.
    """
    near = trusted & (heights >= (1 - _FITTED_SHARE) * np.max(heights, where=trusted, initial=0.0))
    if np.count_nonzero(near) < _FEWEST_FITTED:
        return None
    curve = Polynomial.fit(places[near], heights[near], _POWERS)
    fine = np.linspace(places[near][0], places[near][-1], _FINE)
    fitted = curve(fine)
    best = int(np.argmax(fitted))
    if best in (0, _FINE - 1):
        return None
    inside = fine[fitted >= (1 - share) * fitted[best]]
    return Top(float(fine[best]), float(inside[0]), float(inside[-1]))


def line_of(state: State, lofts_rad: Floats) -> Launched:
    """Strike the ball with a golfer's delivery and many lofts.

    Parameters: state, of shape (1,), or (k, 1) of k deliveries; lofts_rad, delivered, shape (n,) [rad].
    Returns: Launched of shape (n,) or (k, n).
    Valid range: as `strike.launch`.
    Source: `strike.launch`.
    """
    return strike.launch(state.club_speed_mps, state.attack_rad, lofts_rad, state.efficiency, state.grip)


def window_of(
    shots: SetShots, model: FlightModel, category: str | None, own: OwnFlight = NOT_KNOWN
) -> ReachableWindow | None:
    """Give the launch this golfer can reach by loft at this delivery, and where in it next to nothing is lost.

    Parameters: shots, the counted ones of a set; model, what all balls are flown with; category, kind of club; own,
    averages of apex and descent.
    Returns: ReachableWindow; None for a club that is not there for distance, and without club speed, attack, ball
    speed, launch and spin.
    Valid range: delivered lofts of 2 to 35.8 degrees. Where flight or run are not trusted nothing counts, so a window
    may end there, and one whose best lies there is None. Own speed, attack, strike and grip are kept: another head may
    have another grip.
    Source: derived here. A free optimum over launch and spin runs to a high launch with hardly any spin that no loft
    gives, so only the line of one delivery is searched.
    """
    return answered([asking_window(shots, category, own)], distances(model))[0]


def asking_window(shots: SetShots, category: str | None, own: OwnFlight = NOT_KNOWN) -> Asking[ReachableWindow | None]:
    """Ask what `window_of` needs to be told; parameters, returns, valid range and source as there."""
    found = _delivered(shots, category)
    if found is None:
        return None
    state, means = found
    line = line_of(state, LOFTS_RAD)
    carry, total, apex, descent, trusted, run_trusted = yield Wish(line)
    over = _Line(state, line, Flown(carry, total, apex, descent, trusted > 0, run_trusted > 0), means, own)
    return ReachableWindow(_window(over, "carry_m"), _window(over, "total_m"))


def _delivered(shots: SetShots, category: str | None) -> tuple[State, Floats] | None:
    """Give a set's delivery and its means of carry and total, where loft is the only free number."""
    found = whole_middle(shots, category)
    if found is None or found[0] != "full" or category not in FOR_DISTANCE:
        return None
    state = state_of(found[1])
    return (state, found[2][:, 0]) if np.isfinite(state.grip).all() else None


class _Line(NamedTuple):
    """All lofts of one golfer, and what was measured."""

    state: State
    line: Launched
    flights: Flown
    means: Floats
    own: OwnFlight

    def at(self, values: Floats, loft: float) -> float:
        """Read a value of the line at a loft between the grid's; straight lines are good to 1 mm of carry there."""
        return float(np.interp(loft, LOFTS_RAD, values))

    def over_own(self, values: Floats, loft: float) -> float:
        """Give the difference to the loft delivered now."""
        return self.at(values, loft) - self.at(values, float(self.state.loft_rad[0]))


def _window(over: _Line, quantity: str) -> LaunchWindow | None:
    values = over.flights.carry_m if quantity == "carry_m" else over.flights.total_m
    trusted = over.flights.trusted & (over.flights.run_trusted | (quantity == "carry_m"))
    top = top_of(LOFTS_RAD, values, trusted & np.isfinite(values))
    if top is None:
        return None
    now, best = float(over.state.loft_rad[0]), _reached(over, top.best)
    launch, spin = ([over.at(x, loft) for loft in top[1:]] for x in over.line[1:])
    return LaunchWindow(
        quantity=quantity,
        lost_share=LOST_SHARE,
        best=best,
        launch_low_deg=launch[0] / DEGREE,
        launch_high_deg=launch[1] / DEGREE,
        spin_low_rpm=spin[0] / RPM,
        spin_high_rpm=spin[1] / RPM,
        place="too_low" if now < top.low else "too_high" if now > top.high else "in",
        gain_m=over.over_own(values, top.best),
        apex=apex_code(best.apex_m, float(over.state.club_speed_mps[0])),
    )


def _reached(over: _Line, loft: float) -> Reached:
    """Tell the flight at a loft: the line's launch, and the measured averages plus what the model says differs."""
    ball_speed, launch, spin = (over.at(values, loft) for values in over.line)
    carry, total = (float(mean) if np.isfinite(mean) else None for mean in over.means)
    measured = (carry, total, over.own.apex_m, over.own.descent_angle_deg)
    differences = [over.over_own(values, loft) for values in over.flights[:4]]
    differences[3] /= DEGREE
    carry, total, apex, descent = (
        None if own is None else own + difference for own, difference in zip(measured, differences, strict=True)
    )
    change = (loft - float(over.state.loft_rad[0])) / DEGREE
    return Reached(change, ball_speed, launch / DEGREE, spin / RPM, carry, total, apex, descent)


def apex_code(apex_m: float | None, club_speed_mps: float) -> str | None:
    """Hold the height of the best flight beside the 100 to 110 ft fitters name.

    Parameters: apex_m, None where it is not known [m]; club_speed_mps [m/s].
    Returns: in_trade_range | lower_because_slower | lower_because_steeper (as fast as those they name it for, but
    not hitting up enough) | higher; None without an apex.
    Valid range: any.
    Source: common practice, no source, for 105 to 113 mph hitting up.
    """
    if apex_m is None:
        return None
    if apex_m > TRADE_APEX_M[1]:
        return "higher"
    if apex_m >= TRADE_APEX_M[0]:
        return "in_trade_range"
    return "lower_because_slower" if club_speed_mps < TRADE_SPEED_MPS else "lower_because_steeper"
