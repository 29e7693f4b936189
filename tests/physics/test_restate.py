"""Restating distances to another air."""

from typing import Final

import numpy as np
import pytest

from pipeline.physics.atmosphere import Air, air_at
from pipeline.physics.flight import Launch, fly
from pipeline.physics.ground import total_distance
from pipeline.physics.restate import carry_ratio

MPH, RPM, DEGREE = 0.44704, 2.0 * np.pi / 60.0, np.pi / 180.0
HERE: Final = air_at(0.0, 291.15, 0.5)
HIGH: Final = air_at(1609.344, 291.15, 0.5)
COLD: Final = air_at(0.0, 276.15, 0.5)
# Driver, 5-iron, 7-iron, pitching wedge.
BAG: Final = Launch.of(
    np.array([160.0, 122.0, 115.0, 97.0]) * MPH,
    np.array([11.0, 14.5, 18.0, 25.0]) * DEGREE,
    np.array([2600.0, 5200.0, 6700.0, 8800.0]) * RPM,
    0.02,
    0.05,
)


def test_the_same_air_changes_nothing() -> None:
    for ratio in carry_ratio(BAG, HIGH, HIGH):
        np.testing.assert_array_equal(ratio, 1.0)


def test_a_measured_distance_times_the_ratio_is_the_distance_there() -> None:
    ratios = carry_ratio(BAG, HERE, HIGH, firmness=0.6, drag_scale=1.05, lift_scale=0.97)
    here, there = (fly(BAG, air, drag_scale=1.05, lift_scale=0.97) for air in (HERE, HIGH))
    np.testing.assert_allclose(ratios.carry * here.carry_m, there.carry_m, rtol=1e-14)
    np.testing.assert_allclose(ratios.apex * here.apex_m, there.apex_m, rtol=1e-14)
    totals = [total_distance(flight, 0.6).total_m for flight in (here, there)]
    np.testing.assert_allclose(ratios.total * totals[0], totals[1], rtol=1e-14)


def test_thinner_is_farther_and_colder_is_shorter() -> None:
    assert np.all(carry_ratio(BAG, HERE, HIGH).carry > 1.03)
    assert np.all(carry_ratio(BAG, HERE, COLD).carry < 0.99)
    highest = carry_ratio(BAG, HERE, air_at(2500.0, 291.15, 0.5)).carry
    assert np.all(highest > carry_ratio(BAG, HERE, HIGH).carry)


def test_two_steps_are_as_one_and_the_way_back_undoes_it() -> None:
    direct, first, second = (carry_ratio(BAG, *airs) for airs in ((HERE, COLD), (HERE, HIGH), (HIGH, COLD)))
    back = carry_ratio(BAG, COLD, HERE)
    for place in range(3):
        np.testing.assert_allclose(first[place] * second[place], direct[place], rtol=1e-14)
        np.testing.assert_allclose(direct[place] * back[place], 1.0, rtol=1e-14)


def test_bad_and_topped_shots_have_no_ratio_and_leave_the_others_alone() -> None:
    launch = Launch.of([70.0, np.nan, 30.0, 70.0], [0.2, 0.2, -0.1, 0.2], 280.0)
    ratios = carry_ratio(launch, HERE, HIGH)
    for ratio in (ratios.carry, ratios.apex):
        assert np.isnan(ratio).tolist() == [False, True, True, False]
        assert ratio[0] == ratio[3]
    assert np.isnan(ratios.total).tolist() == [False, True, False, False]
    assert ratios.total[2] == 1.0, "a ball that only runs does not meet the air of the model"


def test_no_shots_and_impossible_air() -> None:
    assert carry_ratio(Launch.of([], [], []), HERE, HIGH).total.shape == (0,)
    with pytest.raises(ValueError, match="density"):
        carry_ratio(BAG, HERE, Air(-1.0, 1e-5, within_range=True))
