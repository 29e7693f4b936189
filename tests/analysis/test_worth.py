"""What a step of each quantity is worth; every golfer here is invented."""

import numpy as np
import pytest

from pipeline.analysis.ball_flight import FlightModel
from pipeline.analysis.delivery import ROWS, SetShots, state_of
from pipeline.analysis.distances import Distances, answered, distances
from pipeline.analysis.ranges import RESAMPLES
from pipeline.analysis.whatif import DEGREE, flown, what_if
from pipeline.analysis.worth import MPH, STEPS, attack_steps, ranged, resampled, worth_of
from pipeline.physics import strike
from pipeline.room_records import Brought, Changes, UnitWorth

ALL = ["club_speed", "strike", "attack", "loft", "loft", "spin", "spin"]


def golfer(
    model: FlightModel,
    club_mph: float = 100.0,
    attack: float = -2.0,
    loft: float = 13.0,
    shots: int = 9,
    scattered: float = 1.0,
) -> SetShots:
    """Invent shots scattered about a delivery."""
    scatter = scattered * np.random.default_rng(4).normal(0.0, 1.0, (5, shots))
    scatter -= scatter.mean(axis=1, keepdims=True)
    delivered = (
        (club_mph + scatter[0]) * MPH,
        (attack + scatter[1]) * DEGREE,
        (loft + scatter[2]) * DEGREE,
        1.48 + 0.01 * scatter[3],
        0.24 + 0.01 * scatter[4],
    )
    ball = strike.launch(*delivered)
    flight = flown(ball, model)
    return SetShots(np.stack([*delivered[:2], *ball, flight.carry_m, flight.total_m]), frozenset(), frozenset())


def without(shots: SetShots, *names: str) -> SetShots:
    rows = shots.rows.copy()
    rows[[list(ROWS).index(name) for name in names]] = np.nan
    return SetShots(rows, shots.files, shots.days)


@pytest.fixture
def fly(model: FlightModel) -> Distances:
    return distances(model)


def told(shots: SetShots, fly: Distances, category: str | None = "driver") -> tuple[UnitWorth, ...]:
    found = worth_of(shots, fly, category)
    assert found is not None
    return found


def distances_of(shots: SetShots, model: FlightModel, changes: Changes) -> tuple[float, float]:
    found = what_if(shots, model, "driver", changes)
    assert found is not None
    moved = {value.quantity: value.difference for value in found.values}
    return moved["carry_m"], moved["total_m"]


def figures(brings: Brought) -> tuple[float, float]:
    return brings.carry.value_m, brings.total.value_m


def test_a_worth_is_the_what_if_of_its_step(model: FlightModel, fly: Distances) -> None:
    shots = golfer(model)
    found = {(worth.quantity, worth.step): worth for worth in told(shots, fly) if worth.lever != "attack"}
    assert list(found) == [(quantity, step) for _, quantity, step in STEPS]
    for (quantity, step), worth in found.items():
        assert figures(worth.brings) == pytest.approx(distances_of(shots, model, Changes(**{quantity: step})), abs=1e-6)


def test_the_steps_are_those_of_the_trade() -> None:
    assert [step for *_, step in STEPS] == [pytest.approx(1609.344 / 3600), 0.01, 1.0, -1.0, 100.0, -100.0]


def test_attack_is_worth_the_best_of_after_less_the_best_of_before(model: FlightModel, fly: Distances) -> None:
    shots = golfer(model)
    attack = next(worth for worth in told(shots, fly) if worth.lever == "attack")
    assert (attack.quantity, attack.step) == ("attack_angle_deg", 1.0)
    own = state_of(resampled(shots, "driver").middle)  # type: ignore[union-attr]
    lofts = np.radians(np.linspace(5.0, 25.0, 801))
    best = [
        fly(strike.launch(own.club_speed_mps[0], own.attack_rad[0] + step, lofts, own.efficiency[0], own.grip[0])).max(
            axis=1
        )
        for step in (0.0, DEGREE)
    ]
    assert figures(attack.brings)[0] == pytest.approx(best[1][0] - best[0][0], abs=0.05)
    assert figures(attack.brings)[1] == pytest.approx(best[1][1] - best[0][1], abs=0.15)  # the total ripples


def test_attack_is_the_difference_of_two_what_ifs(model: FlightModel, fly: Distances) -> None:
    shots = golfer(model)
    attack = next(worth for worth in told(shots, fly) if worth.lever == "attack")
    own = state_of(resampled(shots, "driver").middle)  # type: ignore[union-attr]
    for place, pair in enumerate(answered([attack_steps(own, 1.0)], fly)[0]):
        assert [changes.attack_angle_deg for changes in pair] == [0.0, 1.0]
        before, after = (distances_of(shots, model, changes)[place] for changes in pair)
        assert figures(attack.brings)[place] == pytest.approx(after - before, abs=1e-6)


def test_the_directions(model: FlightModel, fly: Distances) -> None:
    found = told(golfer(model, loft=10.0), fly)
    assert [worth.lever for worth in found] == ALL
    carry = [worth.brings.carry.value_m for worth in found]
    assert min(carry[:3]) > 1
    assert carry[3] > 0 > carry[4]  # launched too low
    assert carry[5] > 0 > carry[6]
    lofty = [worth.brings.total.value_m for worth in told(golfer(model, 110.0, loft=18.0), fly)]
    assert lofty[3] < 0 < lofty[4]  # launched too high, with too much spin
    assert lofty[5] < 0 < lofty[6]


def test_common_practice_for_the_speed_and_the_strike(model: FlightModel, fly: Distances) -> None:
    # Common practice, no source: a mile an hour is two to three yards, a hundredth of the ratio about two.
    for club_mph in (90.0, 100.0, 110.0):
        speed, ratio, *_ = told(golfer(model, club_mph, -1.0), fly)
        assert 1.5 < speed.brings.total.value_m / 0.9144 < 3.8
        assert 1.3 < ratio.brings.total.value_m / 0.9144 < 2.9


def test_ranges_hold_the_figure_and_shrink_with_the_scatter(model: FlightModel, fly: Distances) -> None:
    wide, narrow = (told(golfer(model, scattered=scattered), fly) for scattered in (1.0, 0.1))
    for loose, tight in zip(wide, narrow, strict=True):
        for gain in (loose.brings.carry, loose.brings.total, tight.brings.carry, tight.brings.total):
            assert gain.low_m <= gain.value_m <= gain.high_m
        far, near = loose.brings.carry, tight.brings.carry  # a total ripples by as much as a tight range is wide
        assert near.high_m - near.low_m < 0.3 * (far.high_m - far.low_m)


def test_a_direction_is_sayable_only_when_it_is_sure(model: FlightModel, fly: Distances) -> None:
    found = told(golfer(model, loft=14.0), fly)
    for worth in found:
        for gain in (worth.brings.carry, worth.brings.total):
            if gain.low_m <= 0 <= gain.high_m:
                assert not gain.sayable
    assert found[0].brings.carry.sayable
    assert not all(gain.sayable for worth in found for gain in (worth.brings.carry, worth.brings.total))


def test_the_range_of_a_mean_is_that_of_student(model: FlightModel) -> None:
    shots = 8
    found = resampled(golfer(model, shots=shots), "driver")
    assert found is not None
    speeds = golfer(model, shots=shots).rows[0]
    told_ = ranged(found.middle.club_speed_mps[None], shots)[0]
    # Student's 90 % point with 7 degrees of freedom: 1.415 (textbook, from memory); resamples leave a tenth of chance
    half = 1.415 * speeds.std(ddof=1) / np.sqrt(shots)
    assert told_.value_m == pytest.approx(speeds.mean())
    assert told_.high_m - told_.low_m == pytest.approx(2 * half, rel=0.12)


def test_shots_all_alike_have_no_range() -> None:
    drawn = np.linspace(-1.0, 1.0, RESAMPLES)
    assert ranged(np.zeros((1, 1 + RESAMPLES + 5)), 5)[0].high_m == 0.0
    guessed = ranged(np.concatenate([[0.0], drawn, np.zeros(5)])[None], 5)[0]
    assert (guessed.low_m, guessed.high_m) == pytest.approx((-0.8, 0.8))
    assert not guessed.sayable
    beside = ranged(np.concatenate([[-1.5], drawn, np.zeros(5)])[None], 5)[0]
    assert (beside.low_m, beside.high_m) == pytest.approx((-1.5, 0.8))
    above = ranged(np.concatenate([[0.5], drawn + 0.95, np.zeros(5)])[None], 5)[0]
    assert above.sayable


def test_the_same_shots_in_any_order_are_worth_the_same(model: FlightModel, fly: Distances) -> None:
    shots = golfer(model)
    assert told(shots, fly) == told(shots, fly)
    first = resampled(shots, "driver")
    assert first is not None
    assert first.middle.spin_radps.shape == (1 + RESAMPLES + 9,)
    left_out = first.middle.club_speed_mps[1 + RESAMPLES :]
    assert left_out[0] == pytest.approx(shots.rows[0, 1:].mean())
    assert left_out[-1] == pytest.approx(shots.rows[0, :-1].mean())


@pytest.mark.parametrize(
    ("missing", "levers", "basis"),
    [
        (("spin",), ["club_speed", "strike", "attack", "loft", "loft"], "common_practice"),
        (("attack",), ["club_speed", "strike", "spin", "spin"], "modelled"),
        (("attack", "spin"), ["club_speed", "strike"], "common_practice"),
        (("club_speed", "attack"), ["spin", "spin"], "modelled"),
    ],
)
def test_what_the_columns_tell(
    model: FlightModel, fly: Distances, missing: tuple[str, ...], levers: list[str], basis: str
) -> None:
    found = told(without(golfer(model), *missing), fly)
    assert [worth.lever for worth in found] == levers
    assert {worth.basis for worth in found} == {basis}


def test_a_spin_nobody_read_widens_the_ranges(model: FlightModel, fly: Distances) -> None:
    shots = golfer(model, scattered=0.3)
    seen, guessed = told(shots, fly), told(without(shots, "spin"), fly)
    widths = [next(w.brings.carry for w in found if w.lever == "loft" and w.step > 0) for found in (seen, guessed)]
    assert widths[1].high_m - widths[1].low_m > 2 * (widths[0].high_m - widths[0].low_m)


def test_nothing_is_told_of_ball_speed_and_launch_alone(model: FlightModel, fly: Distances) -> None:
    assert worth_of(without(golfer(model), "club_speed", "spin"), fly, "driver") is None
    assert worth_of(without(golfer(model), "launch"), fly, "driver") is None
    assert worth_of(golfer(model, shots=2), fly, "driver") is None
    assert worth_of(SetShots(np.empty((7, 0)), frozenset(), frozenset()), fly, "driver") is None


def test_a_blow_that_no_impact_explains_is_worth_nothing(model: FlightModel, fly: Distances) -> None:
    rows = golfer(model).rows.copy()
    rows[4] *= 40
    assert worth_of(SetShots(rows, frozenset(), frozenset()), fly, "driver") is None


@pytest.mark.parametrize("category", ["wood", "hybrid", "iron", "wedge", None])
def test_only_a_driver_is_hit_upwards(model: FlightModel, fly: Distances, category: str | None) -> None:
    shots = golfer(model, 80.0, -3.0, 25.0)
    assert [worth.lever for worth in told(shots, fly, category)] == [lever for lever in ALL if lever != "attack"]
