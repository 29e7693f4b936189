"""What each lever could still bring; every golfer here is invented."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analysis.ball_flight import FlightModel
from pipeline.analysis.delivery import ROWS, SetShots, state_of
from pipeline.analysis.distances import Distances, distances
from pipeline.analysis.room import CEILING, MOST_LOFT_STEP_DEG, OWN_SHARE, loft_code, reach, room_of, steps_of
from pipeline.analysis.whatif import DEGREE, flown, what_if
from pipeline.analysis.worth import resampled
from pipeline.physics import strike
from pipeline.physics.atmosphere import Air
from pipeline.resources import table
from pipeline.room_records import Brought, Changes, LeverRoom, LoftAdvice, LoftChoice, Ranged, Room

MPH = 0.44704
AIR = Air(1.225, 1.789e-5, within_range=True)


def golfer(
    club_mph: float = 100.0,
    attack: float = -2.0,
    loft: float = 13.0,
    efficiency: float = 1.45,
    scattered: float = 1.0,
    shots: int = 12,
) -> SetShots:
    """Invent shots scattered about a delivery, by 2 mph, 2 degrees and 0.04 of efficiency."""
    scatter = scattered * np.random.default_rng(8).normal(0.0, 1.0, (5, shots))
    scatter -= scatter.mean(axis=1, keepdims=True)
    delivered = (
        (club_mph + 2 * scatter[0]) * MPH,
        (attack + 2 * scatter[1]) * DEGREE,
        (loft + scatter[2]) * DEGREE,
        efficiency + 0.04 * scatter[3],
        0.24 + 0.01 * scatter[4],
    )
    ball = strike.launch(*delivered)
    flight = flown(ball, FlightModel(AIR))
    return SetShots(np.stack([*delivered[:2], *ball, flight.carry_m, flight.total_m]), frozenset(), frozenset())


def without(shots: SetShots, *names: str) -> SetShots:
    rows = shots.rows.copy()
    rows[[list(ROWS).index(name) for name in names]] = np.nan
    return SetShots(rows, shots.files, shots.days)


@pytest.fixture
def fly(model: FlightModel) -> Distances:
    return distances(model)


def told(shots: SetShots, fly: Distances, category: str | None = "driver") -> Room:
    found = room_of(shots, fly, category)
    assert found is not None
    return found


def figures(brings: Brought) -> np.ndarray:
    return np.array([brings.carry.value_m, brings.total.value_m])


def by_lever(room: Room) -> dict[str, LeverRoom]:
    return {lever.lever: lever for lever in room.levers}


def asked(shots: SetShots, model: FlightModel, changes: Changes) -> np.ndarray:
    found = what_if(shots, model, "driver", changes)
    assert found is not None
    moved = {value.quantity: value.difference for value in found.values}
    return np.array([moved["carry_m"], moved["total_m"]])


# --- how far a lever may move -------------------------------------------------------------------------------------
@given(
    values=st.lists(st.floats(-100.0, 100.0), min_size=3, max_size=30),
    error=st.floats(0.0, 20.0),
    share=st.floats(0.5, 0.99),
)
def test_a_reach_is_one_of_the_golfers_own(*, values: list[float], error: float, share: float) -> None:
    found = reach(np.array([*values, np.nan]), error, share)
    assert found is not None
    assert 0.0 <= found <= max(values) - np.mean(values) + 1e-9
    assert found == 0.0 or np.std(values, ddof=1) > error


def test_a_reach_by_hand() -> None:
    values = np.array([-3.0, -1.0, 0.0, 1.0, 3.0])  # variance 5
    assert reach(values, 0.0, 0.75) == pytest.approx(0.6745 * np.sqrt(5.0), rel=1e-4)
    assert reach(values, 1.0, 0.75) == pytest.approx(0.6745 * 2.0, rel=1e-4)
    assert reach(values, 0.0, 0.999) == 3.0  # no farther than the best shot
    assert reach(values[:2], 0.0, 0.75) is None


@settings(max_examples=60, deadline=None)
@given(
    club_mph=st.floats(60.0, 125.0),
    attack=st.floats(-6.0, 9.0),
    efficiency=st.floats(1.30, 1.62),
    scattered=st.floats(0.05, 3.0),
    shots=st.integers(3, 25),
    missing=st.sampled_from([(), ("spin",), ("attack",), ("attack", "spin")]),
)
def test_no_lever_leaves_its_bounds(
    *, club_mph: float, attack: float, efficiency: float, scattered: float, shots: int, missing: tuple[str, ...]
) -> None:
    set_ = without(golfer(club_mph, attack, 14.0, efficiency, scattered, shots), *missing)
    found = resampled(set_, "driver")
    assert found is not None
    steps = steps_of(set_, found, "driver")
    speed = set_.rows[0]
    middle = float(speed.mean())
    assert 0.0 <= steps["club_speed"].size <= min(0.02 * middle, speed.max() - middle) + 1e-12
    assert steps["strike"].size >= 0.0
    if "attack" in missing:
        assert "attack" not in steps
        ratio = float(set_.rows[2].mean()) / middle
        assert ratio + steps["strike"].size <= max(ratio, 1.56)
        return
    own = float(state_of(found.middle).efficiency[0])
    assert own + steps["strike"].size <= max(own, CEILING) + 1e-12
    assert 0.0 <= steps["attack"].size <= 2.0 * DEGREE + 1e-12
    assert attack * DEGREE + steps["attack"].size <= max(attack * DEGREE, 5.0 * DEGREE) + 1e-9
    assert steps["attack"].size <= set_.rows[1].max() - set_.rows[1].mean() + 1e-12


def test_the_reading_error_is_taken_out_and_the_quantile_is_the_golfers() -> None:
    set_ = golfer()
    found = resampled(set_, "driver")
    assert found is not None
    steps = steps_of(set_, found, "driver")
    spread = np.sqrt(set_.rows[1].var(ddof=1) - (0.5 * DEGREE) ** 2)
    assert steps["attack"].size == pytest.approx(0.6745 * spread, rel=1e-4)
    assert steps["attack"].bound == "own"
    efficiency = strike.invert(*set_.rows[:5]).efficiency
    spread = np.sqrt(efficiency.var(ddof=1) - (np.hypot(0.010, 0.006) * 1.45) ** 2)
    assert steps["strike"].size == pytest.approx(0.6745 * spread, rel=0.005)
    assert steps["club_speed"].bound == "limit"
    assert steps["club_speed"].size == pytest.approx(0.02 * set_.rows[0].mean())
    assert OWN_SHARE["club_speed"] == 0.90


def test_a_ceiling_is_never_below_what_is_read() -> None:
    # 12 degrees of spin loft at 105 mph: the ceiling gives the ratio fitters name as the best they see, 1.50.
    ball = strike.launch(105 * MPH, 0.0, 12.0 * DEGREE, CEILING, 0.24)
    assert ball.ball_speed_mps / (105 * MPH) == pytest.approx(1.50, abs=0.005)
    set_ = golfer(efficiency=1.58)
    found = resampled(set_, "driver")
    assert found is not None
    assert steps_of(set_, found, "driver")["strike"] == (0.0, "limit")
    close = golfer(efficiency=CEILING - 0.01)
    found = resampled(close, "driver")
    assert found is not None
    assert steps_of(close, found, "driver")["strike"].size == pytest.approx(0.01, abs=0.002)


@pytest.mark.parametrize(("efficiency", "room"), [(1.52, 0.033), (1.60, 0.0)])
def test_without_an_attack_the_ratio_has_that_ceiling_too(efficiency: float, room: float) -> None:
    set_ = without(golfer(105.0, 0.0, 12.0, efficiency, 2.0), "attack")
    found = resampled(set_, "driver")
    assert found is not None
    step = steps_of(set_, found, "driver")["strike"]
    assert step.bound == "limit"
    assert step.size == pytest.approx(room, abs=0.01)
    assert set_.rows[2].mean() / set_.rows[0].mean() + step.size == pytest.approx(1.50, abs=0.005) or room == 0.0


# --- what it brings -----------------------------------------------------------------------------------------------
def test_the_parts_add_up_and_the_levers_alone_do_not(fly: Distances) -> None:
    set_ = golfer(loft=10.0)
    room = told(set_, fly)
    assert list(by_lever(room)) == ["club_speed", "strike", "attack", "fit"]
    parts = sum(figures(lever.part) for lever in room.levers)
    assert parts == pytest.approx(figures(room.together), abs=1e-9)
    alone = sum(figures(lever.alone) for lever in room.levers)
    assert np.abs(alone - figures(room.together)).max() > 0.2
    assert room.carry_m == pytest.approx(set_.rows[5].mean() + figures(room.together)[0])
    assert room.total_m == pytest.approx(set_.rows[6].mean() + figures(room.together)[1])
    assert room.tier == "full"
    assert room.basis == "modelled"


def test_a_lever_alone_is_the_what_if_of_its_step(model: FlightModel, fly: Distances) -> None:
    set_ = golfer(loft=10.0)
    levers = by_lever(told(set_, fly))
    for lever in ("club_speed", "strike", "attack"):
        room = levers[lever]
        assert room.step > 0
        changes = Changes(**{room.quantity: room.step})
        assert figures(room.alone) == pytest.approx(asked(set_, model, changes), abs=1e-6)


def test_all_together_is_the_what_if_of_all_steps(model: FlightModel, fly: Distances) -> None:
    set_ = golfer(loft=10.0)
    room = told(set_, fly)
    levers = by_lever(room)
    changes = Changes(
        levers["club_speed"].step, levers["strike"].step, levers["attack"].step, loft_deg=levers["fit"].step
    )
    # A step of the ratio is taken at today's delivery, and the same efficiency is a hair more ratio at another.
    assert figures(room.together) == pytest.approx(asked(set_, model, changes), abs=1e-3)
    assert room.loft_then is not None
    assert levers["fit"].step == pytest.approx(room.loft_then.step_deg)


def test_what_is_now_is_the_golfers_average(fly: Distances) -> None:
    set_ = golfer()
    levers = by_lever(told(set_, fly))
    means = set_.rows.mean(axis=1)
    assert levers["club_speed"].now == pytest.approx(means[0])
    assert levers["strike"].now == pytest.approx(means[2] / means[0])
    assert levers["attack"].now == pytest.approx(means[1] / DEGREE)
    assert levers["fit"].now == pytest.approx(13.0, abs=0.2)


def test_distances_not_known_now_are_not_known_then(fly: Distances) -> None:
    room = told(without(golfer(), "total"), fly)
    assert room.total_m is None
    assert room.carry_m is not None


def test_a_golfer_without_spread_has_no_room_but_loft(fly: Distances) -> None:
    levers = by_lever(told(golfer(loft=9.0, scattered=0.02), fly))
    assert [levers[lever].step for lever in ("club_speed", "strike", "attack")] == [0.0, 0.0, 0.0]
    assert figures(levers["attack"].part) == pytest.approx([0.0, 0.0], abs=1e-6)
    assert levers["fit"].step == MOST_LOFT_STEP_DEG
    assert levers["fit"].bound == "limit"
    assert figures(levers["fit"].part).min() > 1


def test_the_same_shots_give_the_same_room(fly: Distances) -> None:
    assert told(golfer(), fly) == told(golfer(), fly)


# --- loft ---------------------------------------------------------------------------------------------------------
def today(shots: SetShots, fly: Distances) -> LoftAdvice:
    advice = told(shots, fly).loft_today
    assert advice is not None
    return advice


def test_loft_is_advised_where_carry_and_total_gain(model: FlightModel, fly: Distances) -> None:
    low = golfer(attack=0.0, loft=9.5, scattered=0.3)
    advice = today(low, fly)
    assert advice.code == "advised"
    assert 0.5 <= advice.step_deg <= 2.0
    assert advice.step_deg == min(advice.by_carry.step_deg, advice.by_total.step_deg)
    chosen = advice.by_total
    assert figures(chosen.brings) == pytest.approx(asked(low, model, Changes(loft_deg=chosen.step_deg)), abs=1e-6)
    assert figures(chosen.brings).min() > 0
    assert figures(by_lever(told(low, fly))["fit"].alone) == pytest.approx(figures(chosen.brings))
    high = today(golfer(attack=0.0, loft=18.0, scattered=0.3), fly)
    assert high.code == "advised"
    assert -2.0 <= high.step_deg <= -0.5


def test_between_the_two_best_no_loft_is_worth_fitting(fly: Distances) -> None:
    set_ = golfer(attack=0.0, loft=14.1, scattered=0.3)
    advice = today(set_, fly)
    assert advice.code == "none"
    assert advice.step_deg == 0.0
    assert advice.by_total.step_deg < 0 < advice.by_carry.step_deg
    assert advice.by_carry.brings.carry.value_m > 0 > advice.by_carry.brings.total.value_m
    assert advice.by_total.brings.total.value_m > 0 > advice.by_total.brings.carry.value_m
    assert advice.by_carry.brings.carry.value_m < 0.01 * set_.rows[5].mean()
    fit = by_lever(told(set_, fly))["fit"]
    assert figures(fit.alone).tolist() == [0.0, 0.0]
    assert figures(fit.part) == pytest.approx([0.0, 0.0], abs=1e-6)


@pytest.mark.parametrize("loft", [12.9, 13.0, 13.1])
def test_where_the_carry_alone_gains_both_are_shown(fly: Distances, loft: float) -> None:
    advice = today(golfer(attack=0.0, loft=loft, scattered=0.3), fly)
    assert advice.code == "carry_and_total_disagree"
    assert advice.step_deg == 0.0
    assert advice.by_carry.step_deg > 1.5
    assert abs(advice.by_total.step_deg) < 0.5
    assert advice.by_carry.brings.carry.value_m > 2.2
    assert advice.by_carry.brings.total.value_m < 0


def choice(step_deg: float, carry: float, total: float, *, sure: bool = True) -> LoftChoice:
    gains = (Ranged(value, value - 1, value + 1, sure) for value in (carry, total))
    return LoftChoice(step_deg, Brought(*gains))


@pytest.mark.parametrize(
    ("by_carry", "by_total", "code"),
    [
        (choice(1.5, 3.0, 0.5), choice(0.8, 2.0, 1.0), "advised"),
        (choice(-0.8, 2.0, 1.0), choice(-1.5, 0.5, 3.0), "advised"),
        (choice(1.5, 3.0, -2.0), choice(-0.8, -2.0, 1.0), "carry_and_total_disagree"),
        (choice(1.5, 3.0, -2.0), choice(0.4, 1.0, 0.1), "carry_and_total_disagree"),
        (choice(1.5, 3.0, 0.5), choice(0.8, 2.0, -0.1), "none"),
        (choice(1.5, 3.0, 0.5), choice(0.8, 2.0, 1.0, sure=False), "none"),
    ],
)
def test_what_is_advised_of_two_lofts(by_carry: LoftChoice, by_total: LoftChoice, code: str) -> None:
    assert loft_code(by_carry, by_total) == code


def test_the_loft_is_chosen_for_the_golfer_with_the_other_levers_moved(fly: Distances) -> None:
    room = told(golfer(attack=-4.0, loft=12.0), fly)
    assert room.loft_today is not None
    assert room.loft_then is not None
    # the club left as it is turns up with the attack, so less is missing then
    assert room.loft_then.by_carry.step_deg < room.loft_today.by_carry.step_deg


# --- which levers -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("category", ["wood", "hybrid", "iron", "wedge", None])
def test_from_the_turf_there_is_no_room_in_attack_and_loft(fly: Distances, category: str | None) -> None:
    room = told(golfer(85.0, -4.0, 24.0, 1.42), fly, category)
    assert list(by_lever(room)) == ["club_speed", "strike"]
    assert (room.loft_today, room.loft_then) == (None, None)
    assert "tee_height" not in by_lever(room)["strike"].ways
    assert sum(figures(lever.part) for lever in room.levers) == pytest.approx(figures(room.together), abs=1e-9)


@pytest.mark.parametrize("missing", [("attack",), ("attack", "spin")])
def test_without_an_attack_speed_and_ratio_are_left(
    model: FlightModel, fly: Distances, missing: tuple[str, ...]
) -> None:
    set_ = without(golfer(), *missing)
    room = told(set_, fly)
    levers = by_lever(room)
    assert list(levers) == ["club_speed", "strike"]
    assert room.loft_today is None
    assert sum(figures(lever.part) for lever in room.levers) == pytest.approx(figures(room.together), abs=1e-9)
    for lever in levers.values():
        changes = Changes(**{lever.quantity: lever.step})
        assert lever.step > 0
        assert figures(lever.alone) == pytest.approx(asked(set_, model, changes), abs=1e-6)
    assert room.basis == ("common_practice" if "spin" in missing else "modelled")


def test_without_speeds_or_shots_there_is_no_room(fly: Distances) -> None:
    assert room_of(without(golfer(), "club_speed"), fly, "driver") is None
    assert room_of(without(golfer(), "club_speed", "spin"), fly, "driver") is None
    assert room_of(without(golfer(), "ball_speed"), fly, "driver") is None
    assert room_of(golfer(shots=2), fly, "driver") is None
    rows = golfer().rows.copy()
    rows[4] *= 40  # no single blow explains it
    assert room_of(SetShots(rows, frozenset(), frozenset()), fly, "driver") is None


def test_every_lever_has_ways_cautions_and_a_source(fly: Distances) -> None:
    advice = table("lever_advice")
    levers = by_lever(told(golfer(), fly))
    assert list(advice) == list(levers)
    for lever, row in advice.items():
        assert row.keys() - {"turf"} == {"ways", "cautions", "source", "reading"}
        assert row["reading"] in ("read", "common practice")
        assert levers[lever].ways == tuple(row["ways"])
        assert levers[lever].cautions == tuple(row["cautions"])
        assert row["ways"]
    safety = {"build_up_slowly", "warm_up_first", "stop_on_pain", "ask_physician_or_coach", "no_promise"}
    assert safety <= set(levers["club_speed"].cautions)
    assert {"conforming_clubs", "club_work_by_trained_hands"} <= set(levers["fit"].cautions)
    assert {"tee_height", "ball_position", "shoulder_tilt"} <= set(levers["attack"].ways)
