"""Each caution once earned and once not. All shots are invented."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

import polars as pl
import pytest

from pipeline.analysis.cautions import cautions
from pipeline.records import Build, DeviceCheck, FileReading, SetResult, ShotSet, Visit, VisitFacts

MakeFrame = Callable[..., pl.DataFrame]
NAN: Final = float("nan")
RIGHT: Final = VisitFacts(hand="right")


@pytest.fixture
def codes(
    frame: MakeFrame, set_result: Callable[..., SetResult], reading: Callable[..., FileReading]
) -> Callable[..., tuple[str, ...]]:
    """Cautions of a visit that has earned none but for what is told: two clubs hit by turns, all well."""

    def make(
        order: tuple[int, ...] = (0, 1, 0, 1),
        results: tuple[SetResult, ...] | None = None,
        own_from: str = "visit.toml",
        compared: int = 1,
        rejected: int = 0,
        facts: VisitFacts = RIGHT,
        checks: tuple[DeviceCheck, ...] = (),
        **columns: object,
    ) -> tuple[str, ...]:
        of_sets = results or tuple(set_result(i) for i in range(len(set(order))))
        shots = frame(len(order), set=list(order), **columns)
        visit = Visit(shots, tuple(r.set for r in of_sets), own_from)
        readings = [reading(line=[2]), reading(line=[2], rejected=rejected)]
        return cautions(visit, shots, of_sets, compared, readings, facts, checks)

    return make


Codes = Callable[..., tuple[str, ...]]
MakeResult = Callable[..., SetResult]


def test_a_visit_may_earn_none(codes: Codes) -> None:
    assert codes() == ()


def test_a_guessed_own_club_matters_beside_another(codes: Codes) -> None:
    assert codes(own_from="first hit") == ("own_guessed",)
    assert codes(own_from="first hit", order=(0, 0), compared=0) == ()
    assert codes(own_from="label") == ()


def test_uneven_and_few_shots(codes: Codes, set_result: MakeResult) -> None:
    assert codes(results=(set_result(0), set_result(1, uneven=True))) == ("uneven",)
    assert codes(results=(set_result(0), set_result(1, counted=5))) == ()
    assert codes(results=(set_result(0), set_result(1, counted=4))) == ("few_shots",)


@pytest.mark.parametrize(
    ("order", "earned"),
    [((0, 0, 1, 1), True), ((1, 1, 0, 0), True), ((0, 0, 1, 1, 0), False), ((0, 1, 0, 1), False), ((0, 0, 0), False)],
)
def test_one_after_another(codes: Codes, order: tuple[int, ...], earned: bool) -> None:  # noqa: FBT001
    assert codes(order=order) == (("one_after_another",) if earned else ())
    assert codes(order=order, compared=0) == ()


def test_best_of_several_from_two_compared(codes: Codes) -> None:
    assert codes(compared=2) == ("best_of_several",)


@pytest.mark.parametrize(("counts", "earned"), [((0, 1), False), ((0, 2), True), ((3, 1), True), ((2, 2), False)])
def test_mishits_two_apart(codes: Codes, set_result: MakeResult, counts: tuple[int, int], earned: bool) -> None:  # noqa: FBT001
    results = tuple(set_result(i, mishits=n) for i, n in enumerate(counts))
    assert codes(results=results) == (("uneven_mishits",) if earned else ())
    assert codes(results=results, compared=0) == ()


def test_mishits_with_another_kind_of_club_are_no_part_of_the_comparison(codes: Codes, set_result: MakeResult) -> None:
    results = (set_result(0), set_result(1, mishits=1), set_result(2, "wedge", mishits=4))
    assert codes(results=results, order=(0, 1, 2, 0)) == ()


def test_unknown_hand(codes: Codes) -> None:
    assert codes(facts=VisitFacts()) == ("hand_unknown",)
    assert codes(facts=VisitFacts(hand="left")) == ()


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
    everything = codes(
        order=(0, 0, 1, 1),
        results=(set_result(0, counted=2, mishits=3, uneven=True), set_result(1)),
        own_from="first hit",
        compared=2,
        rejected=1,
        facts=VisitFacts(),
        model_carry_m=200.0,
        model_run_unreliable=True,
        model_outside_range=True,
    )
    assert everything == (
        "own_guessed",
        "uneven",
        "few_shots",
        "one_after_another",
        "best_of_several",
        "uneven_mishits",
        "hand_unknown",
        "no_axis",
        "run_unreliable",
        "outside_range",
        "dropped_rows",
    )


def test_own_club_is_found_by_its_mark_not_its_place(codes: Codes, set_result: MakeResult) -> None:
    first, second = set_result(0, "wedge", mishits=5), set_result(1, mishits=0)
    wedge = replace(first, set=ShotSet(0, "A", "w", "", Build("w", "wedge"), is_own=False))
    own = replace(second, set=replace(second.set, is_own=True))
    assert codes(results=(wedge, own)) == ()


def test_a_device_far_off_is_said(codes: Codes) -> None:
    near, far = DeviceCheck("a.csv", 9, 1.03, 0.01, far_off=False), DeviceCheck("b.csv", 9, 0.8, 0.01, far_off=True)
    assert codes(checks=(near,)) == ()
    assert codes(checks=(near, far)) == ("device_far_off",)
