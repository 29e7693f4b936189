"""For each sentence of schemas/sentences.toml a visit that earns it, and visits just across the border that do not.

Figures are invented, in yards, on the records of the example's driver visit. Where a rule is a function of the
analysis, that function decides here as well, so that its limits are the ones that are tested.
"""

import datetime as dt
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline import session, settings, visit_facts
from pipeline.analysis.accuracy import accuracy
from pipeline.analysis.cautions import cautions
from pipeline.analysis.comparison import verdict
from pipeline.analysis.delivery import tier_of
from pipeline.analysis.device_check import device_checks
from pipeline.analysis.gapping import gapping
from pipeline.analysis.order import allow_for_order
from pipeline.analysis.room import loft_code
from pipeline.analysis.strokes import exchange
from pipeline.analysis.window import apex_code
from pipeline.judgements import AtHome as There
from pipeline.judgements import BetweenClubs, Expectation, HomeCourse, Judged, SpreadComparison
from pipeline.lever_records import Attribution, Gain, LeverStory, VisitLevers
from pipeline.records import (
    Average,
    Build,
    Comparison,
    Fate,
    Fitting,
    Row,
    ShotFile,
    ShotSet,
    VisitFacts,
)
from pipeline.resources import table
from pipeline.room_records import (
    Brought,
    LaunchWindow,
    LeverRoom,
    LoftAdvice,
    LoftChoice,
    Outlook,
    Ranged,
    ReachableWindow,
    Reached,
    Room,
    UnitWorth,
)

Value = Any  # what dataclasses.replace takes
YARD = 0.9144
FOOT = 0.3048
MPH = 0.44704
MISHIT = Fate("mishit", "slow_ball", {"ball_speed_mps": 50.0, "middle_ball_speed_mps": 60.0})
ASKED = Fate("asked", "fast_ball", {"ball_speed_mps": 70.0, "middle_ball_speed_mps": 60.0})
EXAMPLE = Path(__file__).resolve().parent.parent.parent / "inbox_example/customer 0142"


@dataclass(frozen=True)
class Case:
    """Keys of the vocabulary, the visit that earns them all, and visits that earn none of them."""

    keys: tuple[str, ...]
    earns: Fitting
    misses: tuple[Fitting, ...]


def case(keys: str, earns: Fitting, *misses: Fitting) -> Case:
    return Case(tuple(keys.split()), earns, misses)


# --- visits -------------------------------------------------------------------------------------------------------
@cache
def example() -> Fitting:
    file = ShotFile("driver shots.csv", (EXAMPLE / "driver shots.csv").read_bytes())
    facts = visit_facts.read((EXAMPLE / "visit.toml").read_text(encoding="utf-8"))
    made = session.fit("customer 0142", [file], facts, settings.load(), dt.date(2026, 11, 25), "id")
    assert isinstance(made, Fitting)
    return made


def average(name: str, mean: float, n: int = 8) -> Average:
    half = 2.0 if n > 1 else math.nan
    return Average(name, "measured", n, mean, mean, half, mean - half, mean + half, mean)


def compared(build: int, difference: float, half: float, more: int | None = None, method: str = "welch") -> Comparison:
    """Compare a build with the own club, in yards; the verdict is that of the analysis."""
    middle, low, high = (yards * YARD for yards in (difference, difference - half, difference + half))
    said = verdict(low, high, 5 * YARD)
    return Comparison(build, 0, 8, 8, "carry_m", middle, low, high, middle, middle, said, more, 1, method)


Difference = tuple[float, ...] | tuple[float, float, int | None, str] | None


def visit(*differences: Difference, ways: bool = False, own_yd: float = 200.0, n: int = 8, **changes: Value) -> Fitting:
    """Make a visit of the own club and builds (or ways to hit it), each with its difference, or not compared (None)."""
    first, base = example(), example().sets[0]
    shots = [s for s in first.shots if s.set_index == 0 and s.fate == Fate("counted")]
    sets, taken, found = [], [], []
    for index, difference in enumerate((None, *differences)):
        label = "Own driver" if ways or not index else f"Driver {index + 1}"
        phase = (f"way {index}" if index else "as always") if ways else ""
        which = ShotSet(index, "ABCDEFGHIJKLMNO"[index], label, phase, Build(label, "driver"), not index)
        few = {name: replace(each, n=n) for name, each in base.averages.items()}
        carry = average("carry_m", (own_yd + (difference or (0.0,))[0]) * YARD, n)
        sets.append(
            replace(
                base,
                set=which,
                averages={**few, "carry_m": carry},
                n_mishit=0,
                n_bad_read=0,
                n_asked=0,
                n_counted=len(shots),
            )
        )
        taken += [replace(s, set_index=index, number=100 * index + i) for i, s in enumerate(shots, 1)]
        found += [compared(index, *difference)] if difference else []
    given = {
        "judged": Judged(),
        "levers": VisitLevers(),
        "outlooks": (),
        "cautions": (),
        "facts": VisitFacts(hand="right"),
        "comparisons": tuple(found),
    }
    return replace(first, sets=tuple(sets), shots=tuple(taken), **{**given, **changes})


def with_set(fitting: Fitting, index: int, **changes: Value) -> Fitting:
    sets = [replace(r, **changes) if r.set.index == index else r for r in fitting.sets]
    return replace(fitting, sets=tuple(sets))


def with_build(fitting: Fitting, index: int, **changes: Value) -> Fitting:
    which = fitting.sets[index].set
    return with_set(fitting, index, set=replace(which, build=replace(which.build, **changes)))


def with_means(fitting: Fitting, index: int, **means: float | None) -> Fitting:
    """Set averages of a set; None takes one away."""
    averages = {**fitting.sets[index].averages, **{k: average(k, v) for k, v in means.items() if v is not None}}
    return with_set(fitting, index, averages={k: v for k, v in averages.items() if means.get(k, 0) is not None})


def with_judged(fitting: Fitting, **changes: Value) -> Fitting:
    return replace(fitting, judged=replace(fitting.judged, **changes))


def with_fate(fitting: Fitting, fate: Fate) -> Fitting:
    """Give the first shot another fate."""
    first, *rest = fitting.shots
    aside = fate.fate in ("mishit", "bad_read")
    counts = {"n_counted": fitting.sets[0].n_counted - aside, f"n_{fate.fate}": 1}
    return with_set(replace(fitting, shots=(replace(first, fate=fate), *rest)), 0, **counts)


def without(fitting: Fitting, *names: str) -> Fitting:
    """Take quantities away from every shot and set."""
    shots = [replace(s, used={k: v for k, v in s.used.items() if k not in names}) for s in fitting.shots]
    for index in range(len(fitting.sets)):
        fitting = with_means(fitting, index, **dict.fromkeys(names))
    return replace(fitting, shots=tuple(shots), sources={k: v for k, v in fitting.sources.items() if k not in names})


# --- the answer ---------------------------------------------------------------------------------------------------
def of_answer(code: str) -> str:
    return f"answer.{code} under.{code} suggest.{code}"


def _answers() -> Iterator[Case]:
    yield case(
        of_answer("longer_real") + " verdict.likely_real_longer", visit((5, 4.9)), visit((4.99, 4.9)), visit((5, 5))
    )
    yield case(
        of_answer("longer_real_small") + " verdict.likely_real_longer_small",
        visit((4.99, 4.9)),
        visit((5, 4.9)),
        visit((4.99, 4.99)),
    )
    yield case("answer.longer_open under.longer_open", visit((5, 5)), visit((5, 4.99)), visit((0, 9)))
    yield case("suggest.longer_open verdict.not_settled_more", visit((8, 12, 4)), visit((8, 12)), visit((4, 4.99, 1)))
    yield case("suggest.longer_open_never verdict.not_settled_never", visit((8, 12)), visit((8, 12, 4)))
    yield case("suggest.longer_open_near verdict.not_settled_near", visit((4, 4.99, 1)), visit((4, 5.01, 1)))
    yield case(of_answer("same") + " verdict.same", visit((0, 4.99)), visit((0, 5)), visit((0.5, 0.4)))
    yield case("suggest.same", visit((1, 3.9), (-2, 20)), visit((1, 20.0), (-2, -1.9)))
    yield case(
        of_answer("own_longest_real") + " verdict.likely_real_shorter",
        visit((-5, 4.9)),
        visit((-4.99, 4.9)),
        visit((-5, 5)),
    )
    yield case(
        of_answer("own_longest_real_small") + " verdict.likely_real_shorter_small",
        visit((-4.99, 4.9)),
        visit((-5, 4.9)),
        visit((-4.99, 4.99)),
    )
    yield case(of_answer("own_longest_open"), visit((0, 9)), visit((0.01, 9)), visit((-9, 8.9)))
    yield case("answer.about", visit((5.2, 1), own_yd=200.4), visit((5, 1)), visit((0.3, 0.2), own_yd=200.4))
    few = "answer.too_few under.too_few suggest.too_few"
    yield case(few, visit(None), visit((1, 9)), visit())
    nothing = with_set(visit(None), 1, uneven=True, n_counted=0, averages={}, flight=None)
    yield case(few, replace(nothing, shots=visit().shots), with_set(visit(None), 1, uneven=True))


def _ways() -> Iterator[Case]:
    def way(*differences: Difference) -> Fitting:
        return visit(*differences, ways=True)

    yield case("suggest.longer_real_way headings.which_way set.way base.base.way", way((5, 4.9)), visit((5, 4.9)))
    yield case("suggest.longer_real_way", way((5, 4.9)), way((4.99, 4.9)))
    yield case("suggest.longer_real_small_way", way((4.99, 4.9)), way((5, 4.9)), visit((4.99, 4.9)))
    yield case("answer.longer_open_way suggest.longer_open_way", way((8, 12, 4)), visit((8, 12, 4)), way((8, 7.9)))
    yield case("suggest.longer_open_never_way", way((8, 12)), visit((8, 12)), way((8, 12, 4)))
    yield case("suggest.longer_open_near_way", way((4, 4.99, 1)), visit((4, 4.99, 1)), way((4, 5.01, 1)))
    yield case("answer.same_way suggest.same_way", way((0, 4.99)), visit((0, 4.99)), way((0, 5)))
    beside = way((0, 4.99), (0, 4.99))
    other_club = replace(beside.sets[2].set, label="Driver 3", phase="")
    yield case("answer.same suggest.same", with_set(beside, 2, set=other_club), beside)
    yield case(
        "answer.own_longest_real_way suggest.own_longest_real_way", way((-5, 4.9)), visit((-5, 4.9)), way((-4.99, 4.9))
    )
    yield case(
        "answer.own_longest_real_small_way suggest.own_longest_real_small_way",
        way((-4.99, 4.9)),
        visit((-4.99, 4.9)),
        way((-5, 4.9)),
    )
    yield case("answer.own_longest_open_way suggest.own_longest_open_way", way((0, 9)), visit((0, 9)), way((0.01, 9)))
    plain = way((5, 4.9))
    unnamed = with_set(plain, 0, set=replace(plain.sets[0].set, phase=""))
    yield case("base.base.before base.compared.before", unnamed, plain)
    yield case("base.compared.way", plain, unnamed, visit((5, 4.9)))
    behind = way((-5, 4.9))
    yield case("base.with_base.way", behind, visit((-5, 4.9)))
    yield case("base.with_base.before", with_set(behind, 0, set=replace(behind.sets[0].set, phase="")), behind)
    yield case("base.base.own base.compared.own", visit((5, 4.9)), plain)
    tighter = with_judged(visit((5, 4.9)), **_accuracies(8), spreads=(spread("offline_m", 0.5),))
    yield case("base.with_base.own", tighter, visit((5, 4.9)))
    other = visit((5, 4.9))
    phased = with_set(other, 1, set=replace(other.sets[1].set, phase="teed low"))
    yield case("set.with_phase", phased, other, plain)


def _alone() -> Iterator[Case]:
    yield case("answer.one_set suggest.one_set", visit(), visit(None), with_set(visit(), 0, uneven=True))
    yield case("under.one_set figures.range", visit(n=3), visit(n=2))
    yield case("under.one_set_few", visit(n=2), visit(n=3), visit(None, n=2))
    wedge = with_build(visit(None), 1, category="wedge")
    two = with_build(visit(None, n=2), 1, category="wedge")
    yield case("answer.other_kinds suggest.other_kinds", wedge, visit(None))
    yield case("under.other_kinds", with_build(visit(None, n=3), 1, category="wedge"), two)
    yield case("under.other_kinds_few", two, with_build(visit(None, n=3), 1, category="wedge"))
    yield case(of_answer("too_uneven"), with_set(visit(), 0, uneven=True), visit())
    yield case(of_answer("no_carry"), without(visit(), "carry_m"), visit())


def _beside_the_answer() -> Iterator[Case]:
    some = with_fate(visit((5, 4.9)), MISHIT)
    some_misread = with_fate(visit((5, 4.9)), Fate("bad_read", "zero_spin"))
    yield case("under.counted", some, visit((5, 4.9)), with_fate(visit((5, 4.9)), ASKED))
    yield case("under.all_counted counted.none", visit((5, 4.9)), some)
    twice = with_fate(visit((5, 4.9)), Fate("bad_read", "duplicate", {"first_number": 2.0}))
    yield case("under.all_counted", twice, some_misread)
    none = replace(visit(), shots=visit().shots[:1])
    yield case("under.uncounted", with_set(with_fate(none, MISHIT), 0, n_counted=0), with_set(none, 0, n_counted=1))
    yield case("counted.one_ball counted.one_reading", with_set(none, 0, n_counted=1), visit())
    yield case("counted.balls counted.readings", visit(), with_set(none, 0, n_counted=1))
    yield case("counted.some how.all_valid", some, visit((5, 4.9)), with_fate(visit((5, 4.9)), ASKED))
    yield case("counted.some", some, with_fate(visit((5, 4.9)), Fate("mishit", "staff", by="staff")))
    yield case(
        "counted.by_hand",
        with_fate(visit((5, 4.9)), Fate("mishit", "staff", {}, "talked", by="staff")),
        some,
        with_fate(visit((5, 4.9)), Fate("counted", "staff", by="staff")),
    )
    yield case("suggest.asked", with_fate(visit((5, 4.9)), ASKED), some)

    def hoped(expected: float, farther: float = 0.7, lead: float = 8.0) -> Fitting:
        found = Expectation(1, 0, 8, 8, 8 * YARD, expected * YARD, -YARD, 9 * YARD, farther, 0.1, 0.99, 2.0)
        return with_judged(visit((lead, 9)), expectations=(found,))

    yield case("under.expect", hoped(8.4), hoped(8.6), visit((8, 9)))
    yield case("under.expect", hoped(0.51), hoped(0.49), hoped(8.6), hoped(3, lead=-8.0), visit((8, 9)))
    yield case("under.expect_little", hoped(0.49), hoped(-1.0, lead=0.0), hoped(0.51))
    yield case("under.farther", hoped(3, 0.451), hoped(3, 0.449), hoped(3, 0.951), hoped(3, 0.7, lead=-8.0))
    yield case("under.farther_nearly_always", hoped(3, 0.951), hoped(3, 0.949))

    def in_turn(plain: float, method: str) -> Fitting:
        return with_means(visit((6, 1, None, method)), 1, carry_m=(200 + plain) * YARD)

    yield case(
        "under.in_turn",
        in_turn(7.01, "welch_with_shot_number"),
        in_turn(6.99, "welch_with_shot_number"),
        in_turn(7.01, "welch"),
    )
    beside_wedge = with_build(visit((6, 1), None), 2, category="wedge")
    yield case("under.left_out", visit((6, 1), None), visit((6, 1)), beside_wedge, visit(None))
    yield case("figures.own", visit((0.01, 9)), visit((0, 9)), visit())
    many = visit(*[(i / 10, 9) for i in range(6)])
    yield case("verdict.many", many, visit(*[(i / 10, 9) for i in range(5)]))
    uneven = with_set(visit((6, 1), None), 2, uneven=True)
    yield case("verdict.too_few", visit((6, 1), None), uneven, beside_wedge)
    yield case("verdict.too_uneven", uneven, visit((6, 1), None))
    again = visit(version=2, version_date=dt.date(2026, 12, 1))
    yield case("document.version", again, visit(version=2, version_date=None), visit(version_date=dt.date(2026, 12, 1)))
    yield case("document.version_number", again, visit(version=1, version_date=dt.date(2026, 12, 1)))


# --- later pages --------------------------------------------------------------------------------------------------
def _flight() -> Iterator[Case]:
    own = {"launch_angle_deg": 12.0, "spin_rate_rpm": 2500.0, "apex_m": 25.0}

    def flown(launch: float, spin: float) -> Fitting:
        build = {**own, "launch_angle_deg": launch, "spin_rate_rpm": spin}
        return with_means(with_means(visit((5, 4.9)), 0, **own), 1, **build)

    like = flown(12.0, 2500.0)
    yield case("fly.own", with_means(visit(), 0, **own), like, with_means(visit(), 0, apex_m=None))
    yield case("fly.versus", like, with_means(visit(), 0, **own), with_means(like, 1, spin_rate_rpm=None))
    yield case("fly.higher", flown(12.5, 2500), flown(12.49, 2500), flown(11.5, 2500))
    yield case("fly.lower", flown(11.5, 2500), flown(11.51, 2500), flown(12.5, 2500))
    yield case("fly.same_launch", flown(12.49, 2500), flown(12.5, 2500), flown(11.5, 2500))
    yield case("fly.more_spin", flown(12, 2600), flown(12, 2599), flown(12, 2400))
    yield case("fly.less_spin", flown(12, 2400), flown(12, 2401), flown(12, 2600))
    yield case("fly.same_spin", flown(12, 2401), flown(12, 2400), flown(12, 2600))
    lacking = with_means(visit(), 0, apex_m=None)
    yield case("fly.some read.flights", lacking, with_set(lacking, 0, flight=None))
    yield case("fly.some", with_set(with_means(visit(None), 0, apex_m=None), 1, flight=None), visit(None))
    yield case("fly.no_flight", with_set(lacking, 0, flight=None), lacking, visit())


def _method() -> Iterator[Case]:
    plain = visit((5, 4.9))

    def used(**sources: str) -> Fitting:
        return replace(plain, sources={"carry_m": "modelled", **sources})

    yield case("how.measured", used(apex_m="measured"), used(apex_m="modelled"))
    yield case("how.modelled", used(), used(carry_m="measured"))
    airs = replace(used(carry_m="restated"), air=replace(plain.air, device_altitude_m=900.0, device_temperature_c=20.0))
    yield case("how.restated", airs, used(carry_m="restated"), replace(airs, sources={"carry_m": "measured"}))
    yield case("how.run_modelled", used(total_m="run_modelled"), used(total_m="modelled"))
    yield case("how.compare headings.which read.difference", plain, visit(), visit(None))
    learned = with_judged(plain, prior=BetweenClubs(1.8288, 60.0, "history"), history_customers=120)
    stated = with_judged(plain, prior=example().judged.prior)
    yield case("how.expect", stated, learned, plain)
    yield case("how.expect_history", learned, stated, plain)
    yield case("how.calibrated", replace(plain, air=replace(plain.air, lift_multiplier=1.001)), plain)

    def order(*places: int) -> dict[str, Any]:
        """Work out the order of eight shots with the own club at these places, and eight with the build between."""
        rest = [place for place in range(16) if place not in places]
        dice = np.random.default_rng(1)
        own, build = ((dice.normal(180, 4, 8), np.array(p, float)) for p in (places, rest))
        return {"orders": (allow_for_order(compared(1, 5, 4.9), build, own, 5 * YARD)[1],)}

    in_turn, one_by_one = with_judged(plain, **order(*range(0, 16, 2))), with_judged(plain, **order(*range(8)))
    mostly_in_turn = with_judged(plain, **order(0, 1, 2, 3, 6, 7, 10, 11))
    yield case("how.order", in_turn, one_by_one)
    yield case("how.order", mostly_in_turn if mostly_in_turn.judged.orders[0].inflation <= 1.3 else in_turn, plain)
    yield case("caution.one_after_another", warned(one_by_one), warned(in_turn), warned(plain))


def _home() -> Iterator[Case]:
    def at(density: float, sets: Sequence[There] = (There(0, 190.0, None),)) -> Fitting:
        return visit(home=HomeCourse(1500.0, 20.0, density, tuple(sets)))

    yield case("home.thinner headings.home home.carry home.set", at(0.9949), visit())
    yield case("home.thinner", at(0.9949), at(0.9951), at(1.0051))
    yield case("home.denser", at(1.0051), at(1.0049), at(0.9949))
    yield case("home.same", at(1.0049), at(1.0051), at(0.9949))
    yield case("home.set", at(0.9), without(at(0.9), "carry_m"))


def spread(quantity: str, ratio: float, said: str = "likely_real", n: int = 8) -> SpreadComparison:
    return SpreadComparison(1, 0, n, n, quantity, ratio, 0.05, said)


def _accuracies(n: int) -> dict[str, Any]:
    values = np.linspace(-9, 9, n)
    found = accuracy(0, 180 + values, values, n, 32 * YARD)
    return {"accuracies": (found,) if found else ()}


def _accuracy() -> Iterator[Case]:
    plain = visit((5, 4.9))
    told = with_judged(plain, **_accuracies(3))
    yield case("headings.accuracy accuracy.width", told, with_judged(plain, **_accuracies(2)))

    def spreads(*found: SpreadComparison) -> Fitting:
        return with_judged(told, spreads=found)

    for quantity, side in (("offline_m", "across"), ("carry_m", "along")):
        open_ = spreads(spread(quantity, 0.5, "not_settled"))
        yield case(f"accuracy.tighter_{side}", spreads(spread(quantity, 0.99)), spreads(spread(quantity, 1.01)), open_)
        yield case(f"accuracy.wider_{side}", spreads(spread(quantity, 1.01)), spreads(spread(quantity, 0.99)), open_)
    open_ = spreads(spread("carry_m", 2.0, "not_settled", n=39))
    enough = spreads(spread("carry_m", 2.0, "not_settled", n=40))
    yield case("accuracy.no_difference", open_, enough, spreads(spread("carry_m", 2.0)), told)
    yield case("accuracy.no_difference_many", enough, open_)
    wood, iron = (with_build(told, 0, category=category) for category in ("wood", "iron"))
    yield case("accuracy.width", wood, iron)
    beside_wood = with_build(with_build(plain, 0, category="iron"), 1, category="wood")
    [found] = _accuracies(8)["accuracies"]
    of_both = with_judged(beside_wood, accuracies=(found, replace(found, set_index=1)))
    yield case("accuracy.width", of_both, with_judged(beside_wood, accuracies=(found,)))

    def left(yards: float) -> Fitting:
        return with_judged(told, exchange=exchange(400 * YARD, (400 - yards) * YARD))

    yield case("accuracy.exchange", left(20.01), left(19.99), replace(left(20.01), judged=replace(told.judged)))


def bag(*steps: float, noise: float = 0.1, left_out: tuple[int, ...] = ()) -> Fitting:
    """Lay out irons, the longest first, with these steps between them, in yards; noise moves each ball up or down."""
    fitting = visit(*[None] * len(steps))
    carries = 200 - np.concatenate([[0.0], np.cumsum(steps)])
    for index in range(len(carries)):
        fitting = with_build(fitting, index, category="iron", number=5 + index)
    balls = [(i, (carry + noise * np.array([-1, 1] * 4)) * YARD) for i, carry in enumerate(carries)]
    found = replace(gapping(balls, 5 * YARD), left_out=left_out)
    return with_judged(fitting, bag=found)


def _bag() -> Iterator[Case]:
    even = bag(10, 10)
    keys = "answer.bag under.bag suggest.bag"
    like = with_build(even, 2, number=5)
    yield case(keys, even, with_judged(even, bag=None), like)
    yield case("headings.bag read.bag", even, with_judged(even, bag=None))
    yield case("bag.sure_overlap", bag(5.8, 10), bag(5.95, 10), even)
    yield case("bag.sure_hole", bag(20.2, 10), bag(20.05, 10), bag(20.2, 10, left_out=(2,)))
    yield case("bag.sure_hole_perhaps", bag(20.2, 10, left_out=(2,)), bag(20.2, 10), bag(20.05, 10, left_out=(2,)))
    yield case("bag.overlap bag.unsettled", bag(6.05, 10), bag(6.2, 10))
    yield case("bag.even", bag(5.95, 4), bag(5.8, 4))
    yield case("bag.hole bag.unsettled", bag(19.95, 10), bag(19.8, 10))
    yield case("bag.open", bag(6, 6, noise=6), bag(6, 6), bag(6, 6, noise=60))
    yield case("bag.all_even", bag(6.2, 19.8), bag(6.05, 19.8), bag(6.2, 19.95), bag(6.2, 19.8, left_out=(2,)))
    yield case("bag.left_out", bag(10, 10, left_out=(2,)), even)


def _parts() -> Iterator[Case]:
    """Sections and pictures that are there or not."""
    plain = visit()
    yield case("headings.where", plain, without(plain, "offline_m"), without(plain, "carry_m"))
    few = with_set(plain, 0, ellipse=None)
    yield case("read.landing", plain, few)
    yield case("read.landing_few", few, plain, without(few, "offline_m"))
    yield case("read.strip", plain, without(plain, "carry_m"))
    yield case("headings.notes", visit(facts=VisitFacts(notes="Well done.")), visit())
    said, blank = (VisitFacts(recommendation=words) for words in ("Driver 2.", " "))
    yield case("headings.recommendation", visit(facts=said), visit(facts=blank))


# --- cautions -----------------------------------------------------------------------------------------------------
def warned(fitting: Fitting, **columns: Value) -> Fitting:
    """Add the cautions a visit has earned; columns: what the model says of its one shot."""
    row = {"model_carry_m": 180.0, "spin_axis_deg": 2.0, "model_run_unreliable": False, "model_outside_range": False}
    return replace(fitting, cautions=cautions(fitting, pl.DataFrame([{**row, **columns}])))


def _cautions() -> Iterator[Case]:
    plain = warned(visit((5, 4.9)))
    yield case(
        "caution.own_guessed",
        warned(visit(None, own_club_from="first hit")),
        warned(visit(own_club_from="first hit")),
        plain,
    )

    def device(ratio: float, shots: int = 5) -> Fitting:
        frame = pl.DataFrame(
            {"file": ["x"] * shots, "carry_m": [100 * ratio] * shots, "model_carry_m": [100.0] * shots}
        )
        return warned(visit(device_check=device_checks(frame, [Fate("counted")] * shots)))

    yield case("caution.device_far_off", device(1.081), device(1.079), device(1.5, shots=4))
    yield case("caution.device_far_off", device(0.919), device(0.921))
    yield case(
        "caution.hand_unknown", warned(visit(facts=VisitFacts())), plain, warned(visit(facts=VisitFacts(hand="left")))
    )
    yield case(
        "caution.few_shots", warned(with_set(visit(), 0, n_counted=4)), warned(with_set(visit(), 0, n_counted=5))
    )
    yield case("caution.uneven", warned(with_set(visit(), 0, uneven=True)), plain)
    parted = with_judged(visit((5, 4.9)), parted=(1,))
    yield case("caution.parted caution_part.parted", warned(parted), plain)
    by_hand = with_fate(visit(), Fate("counted", "staff", {}, "measured twice", by="staff"))
    yield case("caution.by_hand", warned(by_hand), warned(with_fate(visit(), MISHIT)), plain)
    yield case("caution.best_of_several", warned(visit((0.01, 9), (-3, 9))), warned(visit((0, 9), (-3, 9))), plain)
    beside, one = (with_set(visit((5, 4.9)), 1, n_mishit=n) for n in (2, 1))
    apart = with_set(visit((5, 4.9), None), 2, n_mishit=2)
    yield case("caution.uneven_mishits", warned(beside), warned(one), warned(apart))
    yield case(
        "caution.no_axis",
        warned(visit(), spin_axis_deg=math.nan),
        plain,
        warned(visit(), spin_axis_deg=math.nan, model_carry_m=math.nan),
    )
    for code in ("run_unreliable", "outside_range"):
        marked = {f"model_{code}": True}
        yield case(
            f"caution.{code}", warned(visit(), **marked), plain, warned(visit(), **marked, model_carry_m=math.nan)
        )
    [reading] = example().files
    dropped = replace(reading, rejected=(Row(9, "no_measurement"),))
    yield case("caution.dropped_rows", warned(visit(files=(dropped,))), plain)


# --- levers -------------------------------------------------------------------------------------------------------
def gain(lever: str, yards: float, *, sayable: bool = True) -> Gain:
    return Gain(lever, yards * YARD, (yards - 0.4) * YARD, (yards + 0.4) * YARD, sayable)


def story(*gains: Gain, **changes: Value) -> LeverStory:
    both = next((g for g in gains if g.lever == "attack_and_fit"), None)
    carry = Attribution("carry_m", tuple(g for g in gains if g is not both), both, None, 5.0, None)
    told = LeverStory(1, 0, "full", 8, 8, False, "", carry, replace(carry, quantity="total_m"), ())
    return replace(told, **changes)


def told(*gains: Gain, steps: Sequence[LeverStory] = (), **changes: Value) -> Fitting:
    return visit((5, 4.9), levers=VisitLevers((story(*gains, **changes),), tuple(steps)))


def _levers() -> Iterator[Case]:
    untold = visit((5, 4.9))
    sure, small = told(gain("club_speed", 0.51)), told(gain("club_speed", 0.49))
    yield case("headings.levers read.levers lever.from_to", sure, untold)
    yield case(
        "lever.brought", sure, small, told(gain("club_speed", -0.51)), told(gain("club_speed", 3, sayable=False))
    )
    yield case(
        "lever.cost",
        told(gain("attack", -0.51)),
        told(gain("attack", -0.49)),
        told(gain("attack", 0.51)),
        told(gain("fit", -3)),
    )
    yield case(
        "lever.cost_fit",
        told(gain("fit", -0.51)),
        told(gain("fit", -0.49)),
        told(gain("fit", 0.51)),
        told(gain("strike", -3)),
    )
    same_club = replace(visit((5, 4.9), ways=True), levers=told(gain("fit", -3)).levers)
    yield case("lever.cost", same_club, told(gain("fit", -3)))
    yield case("lever.cost_fit", told(gain("fit", -3)), same_club)
    yield case("lever.none", small, sure, untold)
    yield case("lever.open", told(gain("strike", 3, sayable=False)), told(gain("strike", 3)))
    both = gain("attack_and_fit", 3)
    yield case("lever.together_only", told(both, together_only=True), told(both))
    steps = (story(gain("strike", 3)), story(gain("strike", 3, sayable=False)))
    yield case("headings.journey lever.unsure", told(steps=steps), told(steps=steps[1:]))
    yield case("lever.unsure", told(steps=steps), told(steps=(steps[0], steps[0])))
    everything = {"club_speed", "attack", "ball_speed", "launch", "spin"}
    lacking = {
        "no_spin": ["spin"],
        "no_attack": ["attack"],
        "no_attack_no_spin": ["attack", "spin"],
        "ball_only": ["club_speed"],
        "ball_no_spin": ["club_speed", "spin"],
    }
    for code, gone in lacking.items():
        others = [told(tier=tier_of(everything - set(each))) for other, each in lacking.items() if other != code]
        yield case(
            f"lever_tier.{code}", told(tier=tier_of(everything - set(gone))), told(tier=tier_of(everything)), *others
        )
    for code, other in (("different_files", "different_days"), ("different_days", "different_files")):
        yield case(f"lever_warning.{code}", told(warnings=(code,)), told(), told(warnings=(other,)))


def brings(carry: float, total: float | None = None, *, sayable: bool = True) -> Brought:
    both = (carry, carry if total is None else total)
    return Brought(*(Ranged(y * YARD, (y - 0.1) * YARD, (y + 0.1) * YARD, sayable) for y in both))


def room(lever: str, yards: float, step: float = 1.0, *, turf: bool = False) -> LeverRoom:
    advice = table("lever_advice")[lever]
    ways = advice["turf"] if turf else advice["ways"]
    quantities = {
        "club_speed": "club_speed_mps",
        "strike": "smash_factor",
        "attack": "attack_angle_deg",
        "fit": "dynamic_loft_deg",
    }
    return LeverRoom(
        lever, quantities[lever], 9.0, step, "own", brings(yards), brings(yards), tuple(ways), tuple(advice["cautions"])
    )


def ahead(*levers: LeverRoom, loft: LoftAdvice | None = None, **changes: Value) -> Fitting:
    found = Room(
        "full", levers, brings(sum(r.part.carry.value_m for r in levers)), 190.0, 200.0, loft, None, "modelled"
    )
    given = {"worth": None, "room": found, "window": None, **changes}
    return visit(outlooks=(Outlook(0, **given),))


def _rooms() -> Iterator[Case]:
    step = UnitWorth("club_speed", "club_speed_mps", MPH, brings(3), "modelled")
    worth = ahead(room=None, worth=(step,))
    yield case("headings.ahead", worth, visit(), ahead(room("strike", 3)), ahead(room=None))
    yield case("headings.room", ahead(room("strike", 0.51)), worth, visit(), ahead())
    driver = {}
    for lever in table("lever_advice"):
        driver[lever], little = ahead(room(lever, 0.51)), ahead(room(lever, 0.49))
        yield case("room.way", driver[lever], little, ahead(room(lever, -3)))
        yield case("room.little", little, driver[lever])
    turf = ahead(room("strike", 0.51, turf=True))
    still = ahead(room("strike", 0, step=0.0))
    yield case("room.no_room", still, ahead(room("strike", 0.49)), ahead(room("fit", 0, step=0.0)), driver["strike"])
    none = LoftAdvice("none", 0.0, LoftChoice(0.0, brings(0)), LoftChoice(0.0, brings(0)))
    fit = room("fit", 0, step=0.0)
    yield case("room.little", ahead(fit), still, ahead(fit, loft=none))
    for key, levers in WAYS.items():
        misses = [fitting for lever, fitting in driver.items() if lever not in levers]
        yield case(key, driver[levers[0]], *misses, *[ahead(room(lever, 0.49)) for lever in levers])
    yield case("way.tee_height", driver["attack"], turf)
    yield case("way.ball_before_turf", turf, driver["strike"], ahead(room("strike", 0.49, turf=True)))


WAYS = {
    "way.supervised_speed_training way_caution.build_up_slowly way_caution.warm_up_first": ["club_speed"],
    "way_caution.stop_on_pain way_caution.ask_physician_or_coach way_caution.no_promise": ["club_speed"],
    "way.centre_strikes": ["strike"],
    "way.tee_height": ["strike", "attack"],
    "way.ball_position way.shoulder_tilt way_caution.loft_goes_with_attack": ["attack"],
    "way.loft_fitting way_caution.conforming_clubs way_caution.club_work_by_trained_hands": ["fit"],
    "way_caution.try_before_buying": ["fit"],
    "way_caution.bay_safety": ["club_speed", "strike", "attack"],
}


def loft(by_carry: float, by_total: float, gains: tuple[float, float] = (2, 2), *, sayable: bool = True) -> Fitting:
    """Advise on a loft as the analysis does; the smaller step gains carry and total, in yards."""
    choices = [LoftChoice(step, brings(*gains, sayable=sayable)) for step in (by_carry, by_total)]
    code = loft_code(*choices)
    step = min((by_carry, by_total), key=abs) if code == "advised" else 0.0
    return ahead(loft=LoftAdvice(code, step, *choices))


def _lofts() -> Iterator[Case]:
    untold = ahead()
    yield case("loft.advised", loft(0.5, 1.5), loft(0.49, 1.5), loft(0.5, -0.5), loft(1, 1, (2, 0)), untold)
    yield case("loft.carry_and_total_disagree", loft(0.49, 1.5), loft(0.5, 1.5), untold)
    yield case("loft.carry_and_total_disagree", loft(1, -1), loft(-1, -1))
    yield case("loft.none", loft(1, 1, sayable=False), loft(1, 1), untold)
    yield case("loft.none", loft(1, 1, (2, 0)), loft(1, 1, (2, 0.01)))


def window(
    place: str,
    launch: float,
    spin: float,
    gained: float = 3.0,
    *,
    total: bool = False,
    top: tuple[float, float] = (90.0, 100.0),
    carry: float | None = 190.0,
) -> Fitting:
    """Make a launch window of 12.0 to 15.0 degrees and 2200 to 2800 rpm, and a golfer whose averages are these.

    top: the best flight's height in feet and the golfer's club speed in miles an hour.
    """
    best = Reached(1.0, 60.0, 13.5, 2500.0, carry, 200.0, top[0] * FOOT, 40.0)
    code = apex_code(best.apex_m, top[1] * MPH)
    found = LaunchWindow("carry_m", 0.01, best, 12.0, 15.0, 2200.0, 2800.0, place, gained * YARD, code)
    both = ReachableWindow(None, found) if total else ReachableWindow(found, None)
    told_of = ahead(room("strike", 3), window=both)
    return with_means(told_of, 0, launch_angle_deg=launch, spin_rate_rpm=spin)


def _windows() -> Iterator[Case]:
    inside = window("in", 13.0, 2500)
    yield case("headings.window read.window window.carry", inside, ahead(room("strike", 3)))
    yield case("window.carry", inside, window("in", 13.0, 2500, total=True))
    yield case("window.total", window("in", 13.0, 2500, total=True), inside)
    yield case("window.flight", inside, window("in", 13.0, 2500, carry=None))
    unknown = with_means(inside, 0, spin_rate_rpm=None)
    yield case(
        "window.in",
        window("in", 11.96, 2800.4),
        window("in", 11.94, 2500),
        window("in", 13, 2801),
        unknown,
        window("too_low", 11.0, 2500),
    )
    yield case(
        "window.too_low",
        window("too_low", 11.94, 2500, 0.51),
        window("too_low", 11.96, 2500),
        window("too_low", 11.94, 2500, 0.49),
        window("in", 11.94, 2500),
    )
    yield case("window.just_too_low", window("too_low", 11.94, 2500, 0.49), window("too_low", 11.94, 2500, 0.51))
    yield case(
        "window.too_high",
        window("too_high", 15.06, 2500, 0.51),
        window("too_high", 15.04, 2500),
        window("too_high", 15.06, 2500, 0.49),
    )
    yield case("window.just_too_high", window("too_high", 15.06, 2500, -2e-9), window("too_high", 15.06, 2500, 0.51))

    def top(feet: float, mph: float = 106.0, attack: float | None = 1.0) -> Fitting:
        return with_means(window("in", 13.0, 2500, top=(feet, mph)), 0, attack_angle_deg=attack)

    yield case("window.apex_in_trade_range", top(99.6), top(99.4))
    yield case("window.apex_in_trade_range", top(110.4), top(110.6), top(120))
    yield case("window.apex_lower_because_slower", top(99.4, mph=104.9), top(99.4, mph=105.1), top(99.6, mph=104.9))
    yield case("window.apex_lower_because_steeper", top(99.4, attack=0.0), top(99.4, attack=0.1), top(99.4, mph=104.9))
    yield case("window.apex_lower", top(99.4, attack=0.1), top(99.4, attack=0.0), top(99.6))
    yield case("window.apex_lower", top(99.4, attack=None), top(99.4, mph=104.9, attack=None))
    yield case("window.apex_higher", top(110.6), top(110.4))


GROUPS: tuple[Callable[[], Iterator[Case]], ...] = (
    _answers,
    _ways,
    _alone,
    _beside_the_answer,
    _flight,
    _method,
    _home,
    _accuracy,
    _bag,
    _parts,
    _cautions,
    _levers,
    _rooms,
    _lofts,
    _windows,
)


@cache
def cases() -> tuple[Case, ...]:
    return tuple(each for group in GROUPS for each in group())
