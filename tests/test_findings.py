"""Each answer once, and the numbers on either side of it. Figures are invented."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import pytest

from pipeline.findings import Finding, answer, leading, own, shows_own_first
from pipeline.judgements import Bag, Judged
from pipeline.records import AirUsed, Average, Build, Comparison, Fitting, SetResult, ShotSet, VisitFacts

CARRY: Final = Average("carry_m", "measured", 8, 200.0, 200.0, 5.0, 195.0, 205.0, 199.0)


def result(index: int, category: str | None = "driver", *, carry: bool = True, is_own: bool | None = None) -> SetResult:
    mine = index == 0 if is_own is None else is_own
    which = ShotSet(index, "ABCDEF"[index], f"club {index}", "", Build(f"club {index}", category), mine)
    return SetResult(which, 8, 0, 0, 0, {"carry_m": CARRY} if carry else {}, None, None, uneven=False)


def comparison(build: int, difference: float, verdict: str = "not_settled") -> Comparison:
    half = abs(difference) / 2 if verdict == "likely_real" else abs(difference) + 1
    return Comparison(
        build=build,
        against=0,
        n_build=8,
        n_against=8,
        quantity="carry_m",
        difference=difference,
        low=difference - half,
        high=difference + half,
        half_low=difference - half / 3,
        half_high=difference + half / 3,
        verdict=verdict,
        more_shots=None,
        compared=1,
    )


def fitting(
    comparisons: Sequence[Comparison] = (),
    sets: Sequence[SetResult] | None = None,
    sources: Sequence[str] = ("carry_m",),
) -> Fitting:
    return Fitting(
        visit_id="0",
        name="visit",
        date=dt.date(2024, 5, 6),
        facts=VisitFacts(),
        files=(),
        own_club_from="label",
        air=AirUsed(0.0, 20.0, 50.0, 1.2, "normal", 1.0, 1.0),
        sets=tuple(sets) if sets is not None else tuple(result(i) for i in range(4)),
        shots=(),
        sources=dict.fromkeys(sources, "measured"),
        comparisons=tuple(comparisons),
        smallest_difference_m=5.0,
        device_check=(),
        home=None,
        cautions=(),
    )


@pytest.mark.parametrize(
    ("difference", "verdict", "code"),
    [
        (9.0, "likely_real", "longer_real"),
        (5.0, "likely_real", "longer_real"),
        (4.99, "likely_real", "longer_real_small"),
        (0.01, "likely_real", "longer_real_small"),
        (9.0, "not_settled", "longer_open"),
        (0.01, "not_settled", "longer_open"),
        (0.0, "not_settled", "own_longest_open"),
        (-0.01, "not_settled", "own_longest_open"),
        (-9.0, "likely_real", "own_longest_real"),
        (-5.0, "likely_real", "own_longest_real"),
        (-4.99, "likely_real", "own_longest_real_small"),
    ],
)
def test_one_build_against_the_own_club(difference: float, verdict: str, code: str) -> None:
    visit = fitting([comparison(1, difference, verdict)])
    assert answer(visit) == Finding(code, visit.sets[1], visit.comparisons[0])


def test_all_the_same() -> None:
    visit = fitting([comparison(1, 1.0, "same"), comparison(2, -2.0, "same")])
    assert answer(visit) == Finding("same", visit.sets[0])


def test_one_not_the_same_is_not_all_the_same() -> None:
    visit = fitting([comparison(1, 1.0, "same"), comparison(2, -2.0)])
    assert answer(visit) == Finding("longer_open", visit.sets[1], visit.comparisons[0])


def test_the_longest_of_those_likely_longer_leads() -> None:
    """A longer lead that may be chance does not speak before a shorter one that is not."""
    visit = fitting([comparison(1, 12.0), comparison(2, 6.0, "likely_real"), comparison(3, 7.0, "likely_real")])
    assert leading(visit) == visit.comparisons[2]
    assert answer(visit) == Finding("longer_real", visit.sets[3], visit.comparisons[2])


def test_a_build_likely_shorter_does_not_lead() -> None:
    visit = fitting([comparison(1, -9.0, "likely_real"), comparison(2, 3.0), comparison(3, 2.0)])
    assert answer(visit) == Finding("longer_open", visit.sets[2], visit.comparisons[1])


def test_when_all_are_behind_the_nearest_speaks() -> None:
    visit = fitting([comparison(1, -9.0, "likely_real"), comparison(2, -3.0), comparison(3, -12.0, "likely_real")])
    assert answer(visit) == Finding("own_longest_open", visit.sets[2], visit.comparisons[1])
    surely = fitting([comparison(1, -9.0, "likely_real"), comparison(2, -7.0, "likely_real")])
    assert answer(surely) == Finding("own_longest_real", surely.sets[2], surely.comparisons[1])


def test_no_carry() -> None:
    visit = fitting([], [result(0, carry=False), result(1, carry=False)], sources=["offline_m"])
    assert answer(visit) == Finding("no_carry", visit.sets[0])


def test_too_few_with_the_own_club_or_with_every_build() -> None:
    nothing = fitting([], [result(0, carry=False), result(1)])
    assert answer(nothing) == Finding("too_few", nothing.sets[0])
    few = fitting([], [result(0), result(1)])
    assert answer(few) == Finding("too_few", few.sets[0])


def uneven(which: SetResult) -> SetResult:
    return replace(which, uneven=True)


def test_too_uneven_to_average() -> None:
    mine = fitting([], [uneven(result(0)), result(1)])
    assert answer(mine) == Finding("too_uneven", mine.sets[0])
    alone = fitting([], [uneven(result(0))])
    assert answer(alone) == Finding("too_uneven", alone.sets[0])
    others = fitting([], [result(0), uneven(result(1)), uneven(result(2)), result(3, "wedge")])
    assert answer(others) == Finding("too_uneven", others.sets[1])
    some = fitting([], [result(0), uneven(result(1)), result(2)])
    assert answer(some).code == "too_few"
    nothing_counts = fitting([], [uneven(result(0, carry=False)), result(1)])
    assert answer(nothing_counts).code == "too_few"


def test_another_number_is_another_kind_of_club() -> None:
    sets = [result(0, "iron"), result(1, "iron")]
    numbered = [replace(r, set=replace(r.set, build=replace(r.set.build, number=7 + i))) for i, r in enumerate(sets)]
    assert answer(fitting([], numbered)).code == "other_kinds"


def test_a_bag_speaks_where_no_two_clubs_do_the_same_job() -> None:
    jobs = [result(0), result(1, "wedge"), result(2, "iron")]
    laid_out = Judged(bag=Bag((), (), ()))
    bag = replace(fitting([], jobs), judged=laid_out)
    assert answer(bag) == Finding("bag", bag.sets[0])
    beside_a_build = replace(fitting([], [*jobs, result(3)]), judged=laid_out)
    assert answer(beside_a_build).code == "too_few"


def test_one_set_or_only_other_kinds() -> None:
    alone = fitting([], [result(0)])
    assert answer(alone) == Finding("one_set", alone.sets[0])
    wedges = fitting([], [result(0), result(1, "wedge"), result(2, None)])
    assert answer(wedges) == Finding("other_kinds", wedges.sets[0])
    unknown = fitting([], [result(0, None), result(1, None)])
    assert answer(unknown).code == "too_few"


def test_the_own_club_is_found_by_its_mark() -> None:
    visit = fitting([], [result(0, is_own=False), result(1, is_own=True)])
    assert own(visit) == visit.sets[1]


@pytest.mark.parametrize(
    ("comparisons", "first"),
    [
        ([], True),
        ([comparison(1, 1.0, "same")], True),
        ([comparison(1, 0.01)], False),
        ([comparison(1, 0.0)], True),
        ([comparison(1, -4.0)], True),
        ([comparison(1, 8.0, "likely_real")], False),
    ],
)
def test_figures_of_the_own_club_unless_a_build_leads(comparisons: list[Comparison], first: bool) -> None:  # noqa: FBT001
    assert shows_own_first(answer(fitting(comparisons))) is first
