"""What is said of sets and shots. All shots are invented."""

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.ball_flight import FlightModel, add_used
from pipeline.analysis.dispersion import prediction_ellipse
from pipeline.analysis.results import set_results, shot_results
from pipeline.records import Build, Fate, SetResult, ShotSet

MakeFrame = Callable[..., pl.DataFrame]
NAN: Final = math.nan
COUNTED, ASKED, MISHIT, BAD = Fate("counted"), Fate("asked"), Fate("mishit"), Fate("bad_read")
BY_HAND: Final = Fate("mishit", "staff", words="asked", by="staff")
CARRY: Final = [200.0, 204.0, 196.0, 202.0, 198.0, 150.0, 20.0]
OFFLINE: Final = [1.0, -3.0, 4.0, 2.0, -6.0, 50.0, 90.0]
FATES: Final = [*[COUNTED] * 4, ASKED, MISHIT, BAD]


def result_of(
    which: ShotSet, shots: pl.DataFrame, fates: Sequence[Fate], sources: dict[str, str], model: FlightModel
) -> SetResult:
    """Sum up a visit of one set."""
    return set_results([which], shots.with_columns(set=pl.lit(which.index)), fates, sources, model)[0]


def club(index: int, category: str | None = "driver", *, own: bool = False) -> ShotSet:
    return ShotSet(index, "ABCDEFGH"[index], f"club {index}", "", Build(f"club {index}", category), own)


def test_a_set_counts_its_fates_and_averages_what_counts(frame: MakeFrame, model: FlightModel) -> None:
    shots, sources = add_used(frame(7, carry_m=CARRY, offline_m=OFFLINE, club_speed_mps=[40.0] * 5 + [50.0, 60.0]))
    found = result_of(club(0), shots, FATES, sources, model)
    assert (found.n_counted, found.n_mishit, found.n_bad_read, found.n_asked) == (5, 1, 1, 1)
    assert found.averages.keys() == {"carry_m", "offline_m", "club_speed_mps"}
    carry = found.averages["carry_m"]
    assert (carry.n, carry.mean, carry.all_valid_mean, carry.source) == (5, 200.0, 1150 / 6, "measured")
    assert found.averages["club_speed_mps"].all_valid_mean == 250 / 6
    assert found.ellipse == prediction_ellipse(np.array(CARRY[:5]), np.array(OFFLINE[:5]))
    assert found.flight is None
    assert not found.uneven


@pytest.mark.parametrize(
    ("fates", "uneven"),
    [
        ([COUNTED] * 4 + [MISHIT, BAD], False),  # 2 of 6 are a third, not more
        ([COUNTED] * 3 + [MISHIT, BAD, BAD], True),
        ([COUNTED] * 6 + [MISHIT] * 3, False),
        ([COUNTED] * 5 + [MISHIT] * 3, True),
        ([ASKED] * 6, False),
        ([BAD], True),
        ([COUNTED] * 5 + [BY_HAND] * 4, False),  # staff's word is not the set's unevenness
        ([COUNTED] * 5 + [MISHIT] * 3 + [BY_HAND], False),  # 3 of 9
        ([COUNTED] * 5 + [MISHIT] * 4 + [BY_HAND], True),
        ([BY_HAND] * 4, True),  # nothing left to average
    ],
)
def test_uneven_from_more_than_a_third_set_aside(
    frame: MakeFrame,
    model: FlightModel,
    fates: list[Fate],
    uneven: bool,  # noqa: FBT001
) -> None:
    shots, sources = add_used(frame(len(fates), carry_m=100.0))
    assert result_of(club(0), shots, fates, sources, model).uneven is uneven


def test_a_quantity_needs_three_of_five_counted_shots(frame: MakeFrame, model: FlightModel) -> None:
    shots = frame(6, attack_angle_deg=[1.0, 2.0, 3.0, NAN, NAN, 4.0], club_path_deg=[1.0, 2.0, NAN, NAN, NAN, 4.0])
    found = result_of(club(0), shots, [COUNTED] * 5 + [MISHIT], {}, model)
    assert found.averages.keys() == {"attack_angle_deg"}
    assert found.averages["attack_angle_deg"].n == 3


def test_a_flight_quantity_without_a_source_is_not_averaged(frame: MakeFrame, model: FlightModel) -> None:
    """Another set of the visit lacks it, so it would be compared with nothing."""
    shots = frame(
        5, carry_m=200.0, apex_m=30.0, flight_time_s=6.0, total_m=220.0, offline_m=1.0, descent_angle_deg=40.0
    )
    assert result_of(club(0), shots, [COUNTED] * 5, {}, model).averages == {}


def test_the_source_decides_which_value_is_averaged(frame: MakeFrame, model: FlightModel) -> None:
    shots, sources = add_used(frame(5, apex_m=[30.0, 30.0, NAN, NAN, NAN], model_apex_m=25.0))
    found = result_of(club(0), shots, [COUNTED] * 5, sources, model).averages["apex_m"]
    assert (found.source, found.mean, found.n) == ("modelled", 25.0, 5)


def test_no_ellipse_without_both_coordinates_or_five_full_shots(frame: MakeFrame, model: FlightModel) -> None:
    one, sources = add_used(frame(5, carry_m=CARRY[:5]))
    assert result_of(club(0), one, [COUNTED] * 5, sources, model).ellipse is None
    both, sources = add_used(frame(6, carry_m=CARRY[:6], offline_m=[*OFFLINE[:4], NAN, 5.0]))
    assert result_of(club(0), both, [COUNTED] * 6, sources, model).ellipse is not None
    assert result_of(club(0), both, [*[COUNTED] * 5, MISHIT], sources, model).ellipse is None


def test_the_flight_is_that_of_the_counted_shots(drives: MakeFrame, model: FlightModel) -> None:
    shots, sources = add_used(drives(6, ball_speed_mps=[60.0] * 5 + [30.0]))
    found = result_of(club(0), shots, [COUNTED] * 5 + [MISHIT], sources, model)
    assert found.flight is not None
    assert found.flight.forward_m[-1] == pytest.approx(found.averages["carry_m"].mean)


@pytest.mark.parametrize("fate", [MISHIT, BAD])
def test_a_set_of_which_nothing_counts(drives: MakeFrame, model: FlightModel, fate: Fate) -> None:
    shots, sources = add_used(drives(3))
    found = result_of(club(0), shots, [fate] * 3, sources, model)
    assert (found.n_counted, found.averages, found.ellipse, found.flight, found.uneven) == (0, {}, None, None, True)


# --- shots --------------------------------------------------------------------------------------------------------
def test_every_shot_is_listed_with_what_is_known_of_it(frame: MakeFrame) -> None:
    shots, sources = add_used(frame(3, set=[0, 0, 0], carry_m=[150.0, 151.0, None], ball_speed_mps=[60.0, NAN, 0.0]))
    found = shot_results(shots, [COUNTED, BAD, MISHIT], sources)
    assert [(s.number, s.file, s.line, s.set_index) for s in found] == [
        (1, "a.csv", 2, 0),
        (2, "a.csv", 3, 0),
        (3, "a.csv", 4, 0),
    ]
    assert [s.fate for s in found] == [COUNTED, BAD, MISHIT]
    assert [s.measured for s in found] == [
        {"ball_speed_mps": 60.0, "carry_m": 150.0},
        {"carry_m": 151.0},
        {"ball_speed_mps": 0.0},
    ]
    assert [s.used for s in found] == [{"carry_m": 150.0}, {"carry_m": 151.0}, {}]


def test_the_typical_value_of_an_uneven_set_is_its_median(frame: MakeFrame, model: FlightModel) -> None:
    shots, sources = add_used(frame(6, carry_m=[200.0, 201.0, 230.0, 1.0, 2.0, 3.0]))
    even = result_of(club(0), shots, [COUNTED] * 3 + [BY_HAND] * 3, sources, model)
    assert even.typical("carry_m") == pytest.approx(631 / 3)
    assert result_of(club(0), shots, [COUNTED] * 3 + [MISHIT] * 3, sources, model).typical("carry_m") == 201.0
