"""The launch a golfer can reach with loft; every golfer here is invented."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analysis.ball_flight import FlightModel
from pipeline.analysis.delivery import SetShots
from pipeline.analysis.whatif import DEGREE, RPM, OwnFlight, flown
from pipeline.analysis.window import LOFTS_RAD, TRADE_APEX_M, apex_code, top_of, window_of
from pipeline.physics import strike
from pipeline.physics.atmosphere import air_at
from pipeline.physics.constants import BALL_MASS_KG
from pipeline.physics.strike import Launched
from pipeline.room_records import LaunchWindow, ReachableWindow

MPH, YARD, FOOT = 0.44704, 0.9144, 0.3048
ROLLING = 1 / (1 + BALL_MASS_KG / 0.2 + 2.5)  # grip of a 200 g head, the ball rolling off the face
ALL = np.ones(LOFTS_RAD.size, dtype=np.bool_)


@pytest.fixture
def at_18() -> FlightModel:
    return FlightModel(air_at(0.0, 291.15, 0.5))


def golfer(
    model: FlightModel, club_mph: float, attack: float, loft: float, efficiency: float = 1.48, grip: float = ROLLING
) -> SetShots:
    """Three shots about a delivery, whose middle is that delivery but for a hair."""
    apart = 1e-6 * np.array([-1.0, 0.0, 1.0])
    delivered = (club_mph * MPH + apart, attack * DEGREE + apart, loft * DEGREE + 0 * apart, efficiency, grip)
    ball = strike.launch(*delivered)
    flight = flown(ball, model)
    return SetShots(np.stack([*delivered[:2], *ball, flight.carry_m, flight.total_m]), frozenset(), frozenset())


def own_flight(shots: SetShots, model: FlightModel) -> OwnFlight:
    flight = flown(Launched(*shots.rows[2:5, 1:2]), model)
    return OwnFlight(float(flight.apex_m[0]), float(flight.descent_rad[0]) / DEGREE)


def both(shots: SetShots, model: FlightModel) -> tuple[LaunchWindow, LaunchWindow]:
    found = window_of(shots, model, "driver", own_flight(shots, model))
    assert found is not None
    assert found.by_carry is not None
    assert found.by_total is not None
    return found.by_carry, found.by_total


# --- the top of a curve -------------------------------------------------------------------------------------------
def test_the_top_of_a_parabola_by_hand() -> None:
    heights = 200.0 - 0.5 * (LOFTS_RAD / DEGREE - 14.0) ** 2
    top = top_of(LOFTS_RAD, heights, ALL)
    assert top is not None
    # 1 % of 200 is lost where 0.5 x² = 2
    assert np.array(top) / DEGREE == pytest.approx([14.0, 12.0, 16.0], abs=0.03)


@given(phase=st.floats(0.0, 6.3), waves=st.floats(2.0, 6.0), best=st.floats(10.0, 20.0))
def test_ripples_do_not_move_the_top(*, phase: float, waves: float, best: float) -> None:
    degrees = LOFTS_RAD / DEGREE
    heights = 230.0 - 0.5 * (degrees - best) ** 2 + 0.05 * np.sin(waves * degrees + phase)
    top = top_of(LOFTS_RAD, heights, ALL)
    assert top is not None
    # the highest place itself strays by up to sqrt(2 * 0.05 / 0.5) = 0.45 degrees
    assert top.best / DEGREE == pytest.approx(best, abs=0.25)


def test_a_curve_that_only_rises_has_no_top() -> None:
    assert top_of(LOFTS_RAD, 100.0 + LOFTS_RAD, ALL) is None
    assert top_of(LOFTS_RAD, 100.0 - LOFTS_RAD, ALL) is None
    assert top_of(LOFTS_RAD, 200.0 - 1000.0 * np.abs(LOFTS_RAD - 0.3), ALL) is None  # too narrow to be seen
    assert top_of(LOFTS_RAD, np.full(LOFTS_RAD.size, np.nan), ~ALL) is None


def test_what_is_not_trusted_does_not_count() -> None:
    heights = 200.0 - 0.5 * (LOFTS_RAD / DEGREE - 14.0) ** 2
    trusted = LOFTS_RAD / DEGREE >= 13.0
    cut = top_of(LOFTS_RAD, np.where(trusted, heights, 900.0), trusted)
    assert cut is not None
    assert cut.best / DEGREE == pytest.approx(14.0, abs=0.03)
    assert cut.low == LOFTS_RAD[trusted][0]
    assert top_of(LOFTS_RAD, heights, LOFTS_RAD / DEGREE >= 15.0) is None


# --- the window ---------------------------------------------------------------------------------------------------
# Regression against our own prototype, not a check: ball over club speed 1.47 whatever the loft, in air of 18 °C.
# Launch, spin, total and carry [yd], apex [ft] of the loft that goes farthest in all.
PROTOTYPE = [
    (80, -4, 11.3, 3493, 202, 170, 48),
    (80, 0, 13.2, 3029, 208, 176, 54),
    (80, 4, 15.8, 2705, 213, 182, 66),
    (95, -4, 8.8, 3491, 246, 216, 61),
    (95, -2, 9.9, 3254, 249, 220, 66),
    (95, 2, 12.3, 2823, 256, 226, 77),
    (105, -4, 7.3, 3407, 274, 245, 68),
    (105, 0, 9.8, 2976, 281, 253, 82),
    (105, 4, 12.6, 2615, 287, 260, 97),
    (113, -2, 7.6, 3125, 300, 272, 82),
    (113, 2, 10.3, 2710, 306, 279, 97),
    (113, 6, 13.3, 2371, 311, 286, 115),
]


@pytest.mark.parametrize("row", PROTOTYPE, ids=lambda row: f"{row[0]} mph {row[1]:+d}")
def test_the_windows_of_the_prototype(at_18: FlightModel, row: tuple[float, ...]) -> None:
    club_mph, attack, launch, spin, total, carry, apex = row
    loft = launch + 0.23 * (launch - attack)
    # The efficiency that gives the ratio at that loft; here the ratio falls with loft, there it did not.
    plain = strike.launch(club_mph * MPH, attack * DEGREE, loft * DEGREE, 1.48, ROLLING).ball_speed_mps
    efficiency = 1.48 * 1.47 * club_mph * MPH / float(plain)
    best = both(golfer(at_18, club_mph, attack, loft, efficiency), at_18)[1].best
    assert best.total_m is not None
    assert best.carry_m is not None
    assert best.apex_m is not None
    # A top so flat: 1 yd of the total is 1 degree of loft, and a degree is 200 rpm, 2 yd of carry and 8 ft.
    assert best.total_m / YARD == pytest.approx(total, abs=1.5)
    assert best.launch_angle_deg == pytest.approx(launch, abs=1.0)
    assert best.spin_rate_rpm == pytest.approx(spin, abs=250.0)
    assert best.carry_m / YARD == pytest.approx(carry, abs=3.5)
    assert best.apex_m / FOOT == pytest.approx(apex, abs=8.0)


@settings(max_examples=15, deadline=None)
@given(club_mph=st.floats(80.0, 118.0), attack=st.floats(-4.0, 6.0), grip=st.floats(0.22, 0.28))
def test_the_best_is_the_best_and_the_bounds_lose_one_in_a_hundred(
    *, club_mph: float, attack: float, grip: float
) -> None:
    model = FlightModel(air_at(0.0, 291.15, 0.5))
    shots = golfer(model, club_mph, attack, 13.0, grip=grip)
    found = window_of(shots, model, "driver")
    assert found is not None
    window = found.by_carry
    assert window is not None
    lofts = np.radians(np.linspace(6.0, 28.0, 500))
    line = strike.launch(club_mph * MPH, attack * DEGREE, lofts, 1.48, grip)
    carries = flown(line, model).carry_m
    assert window.best.carry_m == pytest.approx(carries.max(), abs=0.1)
    launches = line.launch_rad / DEGREE
    for launch, spin in (
        (window.launch_low_deg, window.spin_low_rpm),
        (window.launch_high_deg, window.spin_high_rpm),
    ):
        assert np.interp(launch, launches, carries) == pytest.approx(0.99 * carries.max(), abs=0.15)
        assert spin == pytest.approx(np.interp(launch, launches, line.spin_radps / RPM), abs=2.0)
    assert window.launch_low_deg < window.best.launch_angle_deg < window.launch_high_deg


def test_the_total_wants_less_loft_than_the_carry(at_18: FlightModel) -> None:
    carry, total = both(golfer(at_18, 100.0, 0.0, 13.0), at_18)
    assert (carry.quantity, total.quantity) == ("carry_m", "total_m")
    assert total.best.launch_angle_deg < carry.best.launch_angle_deg
    assert total.best.spin_rate_rpm < carry.best.spin_rate_rpm
    assert total.best.ball_speed_mps > carry.best.ball_speed_mps
    assert total.best.apex_m is not None
    assert carry.best.apex_m is not None
    assert total.best.apex_m < carry.best.apex_m
    assert carry.lost_share == 0.01


@pytest.mark.parametrize(("loft", "place"), [(9.5, "too_low"), (14.0, "in"), (20.0, "too_high")])
def test_where_the_golfer_is(at_18: FlightModel, loft: float, place: str) -> None:
    shots = golfer(at_18, 100.0, 0.0, loft)
    window = both(shots, at_18)[0]
    assert window.place == place
    launched = shots.rows[3, 1] / DEGREE
    assert (window.launch_low_deg <= launched <= window.launch_high_deg) == (place == "in")
    assert window.best.carry_m == pytest.approx(shots.rows[5, 1] + window.gain_m, abs=1e-6)
    assert (window.gain_m < 0.01 * shots.rows[5, 1]) == (place == "in")
    changed = loft + window.best.loft_change_deg
    assert changed == pytest.approx(14.0, abs=1.0)


def test_the_distances_are_measured_ones_and_the_models_differences(at_18: FlightModel) -> None:
    shots = golfer(at_18, 100.0, 0.0, 10.0)
    plain = both(shots, at_18)[0]
    other = shots.rows.copy()
    other[5:] += [[-6.0], [4.0]]
    found = window_of(SetShots(other, frozenset(), frozenset()), at_18, "driver", OwnFlight(31.0, 35.0))
    assert found is not None
    assert found.by_carry is not None
    best, apex_rise = found.by_carry.best, plain.best.apex_m
    own = own_flight(shots, at_18)
    assert best.carry_m == pytest.approx(plain.best.carry_m - 6.0 if plain.best.carry_m else None, abs=1e-9)
    assert best.total_m == pytest.approx(plain.best.total_m + 4.0 if plain.best.total_m else None, abs=1e-9)
    assert apex_rise is not None
    assert own.apex_m is not None
    assert own.descent_angle_deg is not None
    assert plain.best.descent_angle_deg is not None
    assert best.apex_m == pytest.approx(31.0 + apex_rise - own.apex_m, abs=1e-9)
    steeper = plain.best.descent_angle_deg - own.descent_angle_deg
    assert best.descent_angle_deg == pytest.approx(35.0 + steeper, abs=1e-9)
    assert steeper > 3


def test_what_is_not_known_is_not_told(at_18: FlightModel) -> None:
    shots = golfer(at_18, 100.0, 0.0, 13.0)
    rows = shots.rows.copy()
    rows[6] = np.nan
    found = window_of(SetShots(rows, frozenset(), frozenset()), at_18, "driver")
    assert found is not None
    assert found.by_total is not None
    best = found.by_total.best
    assert (best.total_m, best.apex_m, best.descent_angle_deg) == (None, None, None)
    assert best.carry_m is not None
    assert found.by_total.apex is None


@pytest.mark.parametrize("category", ["wood", "hybrid", "iron", "wedge", None])
def test_only_a_driver_is_there_to_go_far(at_18: FlightModel, category: str | None) -> None:
    assert window_of(golfer(at_18, 100.0, 0.0, 13.0), at_18, category) is None


@pytest.mark.parametrize("row", range(5))
def test_all_five_columns_are_needed(at_18: FlightModel, row: int) -> None:
    rows = golfer(at_18, 100.0, 0.0, 13.0).rows.copy()
    rows[row] = np.nan
    assert window_of(SetShots(rows, frozenset(), frozenset()), at_18, "driver") is None


def test_a_blow_that_no_impact_explains_has_no_window(at_18: FlightModel) -> None:
    rows = golfer(at_18, 100.0, 0.0, 13.0).rows.copy()
    rows[4] *= 40
    assert window_of(SetShots(rows, frozenset(), frozenset()), at_18, "driver") is None


def test_a_window_lies_where_the_model_is_trusted(at_18: FlightModel) -> None:
    shots = golfer(at_18, 80.0, -4.0, 14.0)
    total = both(shots, at_18)[1]
    lofts = np.interp(total.launch_low_deg * DEGREE, *_launch_and_loft(80.0, -4.0))
    lowest = strike.launch(80.0 * MPH, -4.0 * DEGREE, np.array([lofts, lofts - 0.3 * DEGREE]), 1.48, ROLLING)
    assert flown(lowest, at_18).run_trusted.tolist() == [True, False]
    slow = window_of(golfer(at_18, 35.0, 0.0, 16.0), at_18, "driver")  # below the measured ball speeds
    assert slow == ReachableWindow(None, None)


def _launch_and_loft(club_mph: float, attack: float) -> tuple[np.ndarray, np.ndarray]:
    return strike.launch(club_mph * MPH, attack * DEGREE, LOFTS_RAD, 1.48, ROLLING).launch_rad, LOFTS_RAD


# --- the height beside what fitters name --------------------------------------------------------------------------
def test_the_apex_beside_what_fitters_name() -> None:
    assert TRADE_APEX_M[0] / FOOT == pytest.approx(100.0)
    assert TRADE_APEX_M[1] / FOOT == pytest.approx(110.0)
    fast, slow = 105 * MPH, 104.9 * MPH
    assert apex_code(99.9 * FOOT, slow) == "lower_because_slower"
    assert apex_code(99.9 * FOOT, fast) == "lower_because_steeper"
    assert apex_code(100.1 * FOOT, slow) == apex_code(109.9 * FOOT, fast) == "in_trade_range"
    assert apex_code(110.1 * FOOT, fast) == "higher"
    assert apex_code(None, fast) is None


@pytest.mark.parametrize(("club_mph", "attack"), [(105, 4), (105, 6), (109, 4), (113, 2), (113, 4)])
def test_fast_players_who_hit_up_peak_where_fitters_say(at_18: FlightModel, club_mph: float, attack: float) -> None:
    # Common practice, no source: 100 to 110 ft. Between the best in all and the best carry, 10 ft are left either way.
    carry, total = both(golfer(at_18, club_mph, attack, 14.0), at_18)
    assert carry.best.apex_m is not None
    assert total.best.apex_m is not None
    assert total.best.apex_m / FOOT <= 120
    assert carry.best.apex_m / FOOT >= 90
    assert total.best.apex_m < TRADE_APEX_M[1] + 10 * FOOT
    assert carry.best.apex_m > TRADE_APEX_M[0] - 10 * FOOT


def test_the_best_apex_of_slower_players_is_lower(at_18: FlightModel) -> None:
    apexes = [both(golfer(at_18, club_mph, 5.0, 15.0), at_18)[1] for club_mph in (80.0, 95.0, 113.0)]
    heights = [window.best.apex_m or 0.0 for window in apexes]
    assert heights[0] < 70 * FOOT < heights[1] < 90 * FOOT < heights[2]
    assert [window.apex for window in apexes] == ["lower_because_slower", "lower_because_slower", "in_trade_range"]
