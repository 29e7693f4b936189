"""Each caution once earned and once not. All shots are invented."""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.averages import average
from pipeline.analysis.cautions import cautions
from pipeline.judgements import DeviceCheck, Judged, OrderEffect
from pipeline.records import (
    AirUsed,
    Comparison,
    Fate,
    FileReading,
    Fitting,
    SetResult,
    ShotResult,
    VisitFacts,
)

MakeFrame = Callable[..., pl.DataFrame]
NAN: Final = float("nan")
RIGHT: Final = VisitFacts(hand="right")


def fitting(**parts: object) -> Fitting:
    """Make the record of a visit that has earned no caution but for what is told."""
    plain: dict[str, Any] = {
        "visit_id": "0", "name": "visit", "date": dt.date(2024, 5, 6), "facts": RIGHT, "files": (),
        "own_club_from": "visit.toml", "air": AirUsed(0.0, 20.0, 50.0, 1.2, "typical", 1.0, 1.0), "sets": (),
        "shots": (), "sources": {"carry_m": "measured"}, "comparisons": (), "smallest_difference_m": 4.6,
        "device_check": (), "home": None, "cautions": (),
    }  # fmt: skip
    return Fitting(**(plain | parts))


def against_own(build: int) -> Comparison:
    return Comparison(build, 0, 8, 8, "carry_m", 1.0, -1.0, 3.0, 0.5, 1.5, "not_settled", 5, 1)


def in_order(build: int, *, adjusted: bool) -> OrderEffect:
    return OrderEffect(build, 0, 8, 8, 1.0, adjusted, 1.0, 0.0, -1.0, 1.0, 1.0)


@pytest.fixture
def codes(
    frame: MakeFrame, set_result: Callable[..., SetResult], reading: Callable[..., FileReading]
) -> Callable[..., tuple[str, ...]]:
    """Cautions of a visit of two clubs, all well but for what is told."""

    def make(
        results: tuple[SetResult, ...] | None = None,
        compared: tuple[int, ...] = (1,),
        rejected: int = 0,
        parts: dict[str, Any] | None = None,
        **columns: object,
    ) -> tuple[str, ...]:
        of_sets = results or (set_result(0), set_result(1))
        readings = (reading(line=[2]), reading(line=[2], rejected=rejected))
        against = tuple(against_own(build) for build in compared)
        visit = fitting(sets=of_sets, files=readings, comparisons=against, **(parts or {}))
        return cautions(visit, frame(4, **columns))

    return make


Codes = Callable[..., tuple[str, ...]]
MakeResult = Callable[..., SetResult]


def test_a_visit_may_earn_none(codes: Codes) -> None:
    assert codes() == ()


def test_a_guessed_own_club_matters_beside_another(codes: Codes, set_result: MakeResult) -> None:
    assert codes(parts={"own_club_from": "first hit"}) == ("own_guessed",)
    assert codes(parts={"own_club_from": "first hit"}, results=(set_result(0),), compared=()) == ()
    assert codes(parts={"own_club_from": "label"}) == ()


def test_uneven_and_few_shots(codes: Codes, set_result: MakeResult) -> None:
    assert codes(results=(set_result(0), set_result(1, uneven=True))) == ("uneven",)
    assert codes(results=(set_result(0), set_result(1, counted=5))) == ()
    assert codes(results=(set_result(0), set_result(1, counted=4))) == ("few_shots",)


def test_one_after_another(codes: Codes) -> None:
    for adjusted, earned in ((False, ("one_after_another",)), (True, ())):
        effects = (in_order(1, adjusted=True), in_order(2, adjusted=adjusted))
        assert codes(parts={"judged": Judged(orders=effects)}) == earned


def test_mean_and_middle_part(codes: Codes) -> None:
    assert codes(parts={"judged": Judged(parted=(1,))}) == ("parted",)


def test_staff_decided_by_hand(codes: Codes) -> None:
    for fate, earned in ((Fate("counted", "staff", {}, "why", by="staff"), ("by_hand",)), (Fate("mishit"), ())):
        assert codes(parts={"shots": (ShotResult(1, "a.csv", 2, 0, fate, {}, {}),)}) == earned


def test_best_of_several_from_two_compared(codes: Codes, set_result: MakeResult) -> None:
    assert codes(results=tuple(set_result(i) for i in range(3)), compared=(1, 2)) == ("best_of_several",)


@pytest.mark.parametrize(("counts", "earned"), [((0, 1), False), ((0, 2), True), ((3, 1), True), ((2, 2), False)])
def test_mishits_two_apart(codes: Codes, set_result: MakeResult, counts: tuple[int, int], earned: bool) -> None:  # noqa: FBT001
    results = tuple(set_result(i, mishits=n) for i, n in enumerate(counts))
    assert codes(results=results) == (("uneven_mishits",) if earned else ())
    assert codes(results=results, compared=()) == ()


def test_mishits_with_a_club_that_is_not_compared_are_no_part_of_it(codes: Codes, set_result: MakeResult) -> None:
    results = (set_result(0), set_result(1, mishits=1), set_result(2, "wedge", mishits=4))
    assert codes(results=results) == ()
    assert codes(results=results, compared=(1, 2)) == ("best_of_several", "uneven_mishits")


def sideways(result: SetResult, quantity: str = "offline_m") -> SetResult:
    found = average(quantity, "measured", np.array([1.0, 2.0]), np.array([1.0, 2.0]))
    assert found is not None
    return replace(result, averages={quantity: found})


def test_unknown_hand_matters_where_something_has_a_left_and_a_right(codes: Codes, set_result: MakeResult) -> None:
    sided = (set_result(0), sideways(set_result(1)))
    assert codes(parts={"facts": VisitFacts()}, results=sided) == ("hand_unknown",)
    assert codes(parts={"facts": VisitFacts(hand="left")}, results=sided) == ()
    assert codes(parts={"facts": VisitFacts()}, results=(set_result(0), sideways(set_result(1), "carry_m"))) == ()


def test_no_axis_where_the_model_flew_without_one(codes: Codes) -> None:
    assert codes(model_carry_m=200.0) == ("no_axis",)
    assert codes(model_carry_m=200.0, spin_axis_deg=[NAN, NAN, NAN, 1.0]) == ()
    assert codes(spin_axis_deg=NAN) == ()


@pytest.mark.parametrize(
    ("column", "code"), [("model_run_unreliable", "run_unreliable"), ("model_outside_range", "outside_range")]
)
def test_model_flags_of_shots_the_model_flew(codes: Codes, column: str, code: str) -> None:
    flown = {"model_carry_m": [200.0, 200.0, 200.0, NAN], "spin_axis_deg": 0.0}
    assert codes(**flown, **{column: [False, True, False, False]}) == (code,)
    # a shot without spin is marked by the model too, but it was not flown
    assert codes(**flown, **{column: [False, False, False, True]}) == ()
    assert codes(spin_axis_deg=0.0, **{column: True}) == ()


def test_dropped_rows_of_any_file(codes: Codes) -> None:
    assert codes(rejected=1) == ("dropped_rows",)


def test_order_of_importance(codes: Codes, set_result: MakeResult) -> None:
    far = DeviceCheck("b.csv", 9, 0.8, 0.01, far_off=True)
    everything = codes(
        results=(set_result(0, counted=2, mishits=3, uneven=True), sideways(set_result(1)), set_result(2)),
        compared=(1, 2),
        rejected=1,
        parts={
            "own_club_from": "first hit",
            "facts": VisitFacts(),
            "judged": Judged(orders=(in_order(1, adjusted=False),), parted=(0,)),
            "shots": (ShotResult(1, "a.csv", 2, 0, Fate("counted", by="staff"), {}, {}),),
            "device_check": (far,),
        },
        model_carry_m=200.0,
        model_run_unreliable=True,
        model_outside_range=True,
    )
    assert everything == (
        "own_guessed",
        "uneven",
        "few_shots",
        "parted",
        "one_after_another",
        "best_of_several",
        "uneven_mishits",
        "by_hand",
        "device_far_off",
        "hand_unknown",
        "no_axis",
        "run_unreliable",
        "outside_range",
        "dropped_rows",
    )


def test_a_device_far_off_is_said(codes: Codes) -> None:
    near, far = DeviceCheck("a.csv", 9, 1.03, 0.01, far_off=False), DeviceCheck("b.csv", 9, 0.8, 0.01, far_off=True)
    assert codes(parts={"device_check": (near,)}) == ()
    assert codes(parts={"device_check": (near, far)}) == ("device_far_off",)
