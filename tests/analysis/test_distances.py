"""The shortcut for nearly alike balls, held against flying every one. All balls are invented."""

from typing import Final

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.analysis import whatif
from pipeline.analysis.ball_flight import FlightModel
from pipeline.analysis.distances import Asking, Distances, Wish, answered, distances, finished, in_rounds, side_by_side
from pipeline.physics.atmosphere import Air
from pipeline.physics.strike import Launched

Floats = NDArray[np.float64]
MODEL: Final = FlightModel(Air(1.225, 1.789e-5, within_range=True))
FLOWN: Final = distances(MODEL)
YARD: Final = 0.9144
# ball speed [m/s], launch [rad], spin [rad/s]: a middle ball of each kind of club, and the spread of its resamples
CLUBS: Final = {
    "driver": ((65.0, 0.22, 280.0), (0.5, 0.012, 12.0)),
    "slow driver": ((48.0, 0.24, 300.0), (0.5, 0.012, 12.0)),
    "iron": ((50.0, 0.30, 650.0), (0.4, 0.010, 25.0)),
    "wedge": ((38.0, 0.48, 900.0), (0.4, 0.012, 40.0)),
}


def resamples(kind: str, rows: int = 3, count: int = 120, wider: float = 1.0) -> Launched:
    middle, spread = (np.array(values)[:, None, None] for values in CLUBS[kind])
    drawn = np.random.default_rng(rows).normal(0.0, 1.0, (3, rows, count)) * spread * wider
    drawn[..., 0] = 0.0
    steps = np.linspace(0.0, 2.0, rows)[:, None] * spread
    return Launched(*(middle + steps + drawn))


def asking(*wishes: Wish) -> Asking[list[Floats]]:
    """Ask for one thing after the other."""
    got = []
    for wish in wishes:
        got.append((yield wish))  # noqa: PERF401 - no comprehension may yield
    return got


def one(wish: Wish, flown: Distances = FLOWN) -> Floats:
    return answered([asking(wish)], flown)[0][0]


class Counting:
    """The flight, and how many balls it was asked for each time."""

    def __init__(self) -> None:
        self.asked: list[int] = []

    def __call__(self, balls: Launched) -> Floats:
        self.asked.append(np.size(balls.ball_speed_mps))
        return FLOWN(balls)


@pytest.mark.parametrize("kind", CLUBS)
def test_resamples_go_as_far_as_if_each_were_flown(kind: str) -> None:
    """The total ripples by 0.1 yd where the number of hops changes; a surface cannot follow that, nor need it."""
    balls = resamples(kind)
    told, flown = one(Wish(balls, resampled=True)), FLOWN(balls)[:2]
    assert told.shape == flown.shape
    assert told[..., 0] == pytest.approx(flown[..., 0], abs=1e-12)
    assert np.abs(told[0] - flown[0]).max() < 0.03 * YARD
    assert np.abs(told[1] - flown[1]).max() < 0.25 * YARD
    assert (told[1] - flown[1]).std() < 0.07 * YARD


def test_resamples_cost_thirty_three_flights_a_row() -> None:
    flown = Counting()
    one(Wish(resamples("driver", rows=4), resampled=True), flown)
    assert flown.asked == [4 * 33]


def test_plain_balls_are_flown_as_they_are() -> None:
    balls = resamples("iron")
    assert one(Wish(balls)).tolist() == FLOWN(balls).tolist()
    single = Launched(np.float64(60.0), np.linspace(0.1, 0.4, 5), np.float64(300.0))  # type: ignore[arg-type]
    spelt = Launched(np.full(5, 60.0), np.linspace(0.1, 0.4, 5), np.full(5, 300.0))
    assert one(Wish(single)).tolist() == FLOWN(spelt).tolist()


def test_a_row_the_surface_cannot_follow_is_flown_ball_by_ball() -> None:
    """Balls between the ground and the sky: no smooth surface goes through that."""
    balls = resamples("driver", rows=3, count=50)
    balls.launch_rad[1] = np.linspace(-0.2, 0.3, 50)
    flown = Counting()
    told = one(Wish(balls, resampled=True), flown)
    assert flown.asked == [3 * 33, 50]
    assert told[:, 1].tolist() == FLOWN(Launched(*(values[1] for values in balls)))[:2].tolist()
    assert np.abs(told - FLOWN(balls)[:2])[0].max() < 0.03 * YARD


def test_balls_that_are_not_known_stay_so_and_spoil_no_other() -> None:
    balls = resamples("driver")
    balls.spin_radps[0, 3] = np.nan
    balls.ball_speed_mps[1] = np.nan
    told, flown = one(Wish(balls, resampled=True)), FLOWN(balls)[:2]
    assert np.isnan(told).tolist() == np.isnan(flown).tolist()
    known = np.isfinite(flown)
    assert known.sum() == 2 * (3 * 120 - 121)
    assert np.abs((told - flown)[0][known[0]]).max() < 0.03 * YARD


def test_resamples_all_alike_do_not_differ() -> None:
    balls = Launched(*(np.full((2, 30), value) for value in (60.0, 0.2, 300.0)))
    told = one(Wish(balls, resampled=True))
    assert np.ptp(told, axis=-1).max() == 0.0
    assert told[:, 0, 0] == pytest.approx(FLOWN(balls)[:2, 0, 0])


def test_calculations_are_answered_together_and_each_by_itself() -> None:
    first, second, third = (Wish(resamples(kind, rows=2), resampled=True) for kind in ("driver", "iron", "wedge"))
    line = Wish(Launched(np.full(7, 60.0), np.linspace(0.1, 0.4, 7), np.full(7, 300.0)))
    flown = Counting()
    both = answered([asking(first, line), asking(line, second, third), asking()], flown)
    assert flown.asked == [2 * 33 + 7, 7 + 2 * 33, 2 * 33]
    assert [len(answers) for answers in both] == [2, 3, 0]
    assert both[0][1].tolist() == both[1][0].tolist() == one(line).tolist()
    for got, wish in zip((both[0][0], *both[1][1:]), (first, second, third), strict=True):
        assert got == pytest.approx(one(wish), abs=1e-9)


def test_what_no_surface_followed_flies_with_what_others_wish_next() -> None:
    balls = resamples("driver", rows=2, count=50)
    balls.launch_rad[1] = np.linspace(-0.2, 0.3, 50)
    rough, line = Wish(balls, resampled=True), Wish(Launched(*np.full((3, 7), [[60.0], [0.2], [250.0]])))
    flown = Counting()
    both = answered([asking(rough, line), asking(line, line)], flown)
    assert flown.asked == [2 * 33 + 7, 50 + 7, 7]
    assert both[0][0] == pytest.approx(one(rough), abs=1e-9)
    assert both[0][1].tolist() == both[1][1].tolist() == one(line).tolist()


def test_plain_balls_are_told_all_that_is_known_of_their_flights() -> None:
    balls = Launched(*np.array([[65.0, 20.0], [0.2, 0.01], [280.0, 1.0]]))
    carry, total, apex, descent, trusted, run_trusted = one(Wish(balls))
    expected = whatif.flown(balls, MODEL)
    for found, known in zip((carry, total, apex, descent), expected, strict=False):
        assert found.tolist() == known.tolist()
    assert (trusted.tolist(), run_trusted.tolist()) == ([1.0, 0.0], [1.0, 0.0])


def test_nothing_asked_is_nothing_flown() -> None:
    flown = Counting()
    assert answered([], flown) == []
    assert answered([asking()], flown) == [[]]
    assert not flown.asked


def test_two_calculations_side_by_side_are_told_what_each_is_told_alone_in_fewer_flights() -> None:
    flown = Counting()
    short, long = (Wish(Launched(*np.full((3, n), [[60.0], [0.2], [250.0]]))) for n in (2, 3))
    alone = [answered([asking(*wishes)], FLOWN) for wishes in ((short, long, short), (long,))]
    both = finished(side_by_side(in_rounds([asking(short, long, short)]), in_rounds([asking(long)])), flown)
    for found, expected in zip(both, alone, strict=True):
        for one, other in zip(found[0], expected[0], strict=True):
            np.testing.assert_array_equal(one, other)
    assert flown.asked == [5, 3, 2]
    assert finished(side_by_side(in_rounds([asking()]), in_rounds([])), flown) == ([[]], [])
