"""What is said beyond the averages: builds against the own club, order, accuracy, and the steps of a bag."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.analysis.accuracy import accuracy, compare_spreads
from pipeline.analysis.ball_flight import Floats, column
from pipeline.analysis.comparison import compare
from pipeline.analysis.expectation import STATED, expect
from pipeline.analysis.fates import COUNTING
from pipeline.analysis.gapping import gapping
from pipeline.analysis.order import allow_for_order, hitting_places
from pipeline.analysis.robust import parts_from_median
from pipeline.analysis.strokes import exchange
from pipeline.clubs import same_job
from pipeline.judgements import Accuracy, Bag, Exchange, History, Judged, OrderEffect, SpreadComparison
from pipeline.records import Comparison, Fate, SetResult, ShotSet

_FEWEST_JOBS = 3  # from so many clubs of different jobs on, a visit is about the bag
_CARRY_ERROR_M = 0.264  # of a carry printed in whole yards: 1 yd/sqrt 12
_TEE_CLUBS = ("driver", "wood")


@dataclass(frozen=True, slots=True)
class Worth:
    """What a studio counts with [m]: the smallest difference that matters, a fairway's width, a hole's length."""

    smallest_difference_m: float
    fairway_width_m: float
    hole_m: float


@dataclass(frozen=True, slots=True)
class _Sample:
    """The counted shots of a set that have a carry: carry and side [m] (side NaN where missing), place in the visit."""

    set: ShotSet
    n_mishit: int
    carry: Floats
    offline: Floats
    place: Floats

    def placed(self) -> tuple[Floats, Floats]:
        return self.carry, self.place


def _samples(
    results: Sequence[SetResult], frame: pl.DataFrame, fates: Sequence[Fate], sources: dict[str, str]
) -> list[_Sample]:
    """Give the samples of the sets that may be averaged, in the sets' order."""
    carry, index, place = column(frame, "used_carry_m"), frame["set"].to_numpy(), hitting_places(frame)
    offline = column(frame, "used_offline_m") if "offline_m" in sources else np.full(frame.height, np.nan)
    counts = np.array([fate.fate in COUNTING for fate in fates]) & np.isfinite(carry)
    found = []
    for result in results:
        if not result.uneven and "carry_m" in result.averages:
            mine = counts & (index == result.set.index)
            found.append(_Sample(result.set, result.n_mishit, carry[mine], offline[mine], place[mine]))
    return found


def judge(
    results: Sequence[SetResult],
    frame: pl.DataFrame,
    fates: Sequence[Fate],
    sources: dict[str, str],
    worth: Worth,
    history: History | None = None,
) -> tuple[tuple[Comparison, ...], Judged]:
    """Compare the builds that do the own club's job with it, in carry, and say the rest a visit gives.

    results: the sets, own club among them; frame and fates: all shots; history: what the studio has learned of builds
    and shots, None where it goes by what is stated. Sets too uneven to average are left out, and where that is the own
    club, or no carry is known, nothing is compared.
    """
    if "carry_m" not in sources:
        return (), Judged()
    samples = _samples(results, frame, fates, sources)
    own = next((sample for sample in samples if sample.set.is_own), None)
    like = [s for s in samples if own and s is not own and same_job(s.set.build, own.set.build)]
    compared, orders = _comparisons(own, like, worth.smallest_difference_m) if own else ((), ())
    one_job = [(s.set.index, s.carry) for s in samples if own is None or s is own or s in like]
    learned = history.of(own.set.build.category) if history and own else None
    prior, typical = (learned.between, learned.shots) if learned else (STATED, None)
    builds = [(s.set.index, s.carry) for s in like]
    expected = expect(own.set.index, own.carry, builds, prior, typical) if own else ()
    return compared, Judged(
        expectations=expected,
        prior=prior if expected else None,
        history_customers=learned.customers if learned and expected else 0,
        orders=orders,
        accuracies=_accuracies(samples, worth.fairway_width_m),
        spreads=_spreads(own, like) if own else (),
        exchange=_exchange(results, worth.hole_m),
        bag=_bag(samples, [r.set for r in results], worth.smallest_difference_m),
        parted=parts_from_median(one_job, _CARRY_ERROR_M),
    )


def _comparisons(
    own: _Sample, like: Sequence[_Sample], smallest: float
) -> tuple[tuple[Comparison, ...], tuple[OrderEffect, ...]]:
    """Compare, and allow for the order of the shots where that can be done."""
    builds = [(s.set.index, s.carry) for s in like]
    aside = {s.set.index: s.n_mishit for s in (own, *like)}
    plain = compare("carry_m", own.set.index, own.carry, builds, smallest, aside)
    by_set = {sample.set.index: sample for sample in like}
    pairs = [
        allow_for_order(c, by_set[c.build].placed(), own.placed(), smallest, (aside[c.build], own.n_mishit))
        for c in plain
    ]
    return tuple(c for c, _ in pairs), tuple(effect for _, effect in pairs)


def _accuracies(samples: Sequence[_Sample], width_m: float) -> tuple[Accuracy, ...]:
    found = []
    for sample in samples:
        sided = np.isfinite(sample.offline)
        valid = int(sided.sum()) + sample.n_mishit
        found.append(accuracy(sample.set.index, sample.carry[sided], sample.offline[sided], valid, width_m))
    return tuple(a for a in found if a)


def _spreads(own: _Sample, like: Sequence[_Sample]) -> tuple[SpreadComparison, ...]:
    """Compare how far apart the balls come down, across and along."""
    across = [(s.set.index, s.offline[np.isfinite(s.offline)]) for s in like]
    along = [(s.set.index, s.carry) for s in like]
    own_across = own.offline[np.isfinite(own.offline)]
    return (
        *compare_spreads("offline_m", own.set.index, own_across, across),
        *compare_spreads("carry_m", own.set.index, own.carry, along),
    )


def _exchange(results: Sequence[SetResult], hole_m: float) -> Exchange | None:
    """Give the rate of exchange where the own club is one for the tee and how far it goes in all is known."""
    own = next(result for result in results if result.set.is_own)
    if own.set.build.category not in _TEE_CLUBS or "total_m" not in own.averages or own.uneven:
        return None
    return exchange(hole_m, own.averages["total_m"].mean)


def _bag(samples: Sequence[_Sample], sets: Sequence[ShotSet], smallest: float) -> Bag | None:
    """Lay out the bag: of sets that do the same job the own club or the first hit speaks; names the jobs left out."""
    chosen: list[_Sample] = []
    for sample in samples:
        if sample.set.build.category and not any(same_job(sample.set.build, s.set.build) for s in chosen):
            chosen.append(sample)
    if len(chosen) < _FEWEST_JOBS:
        return None
    bag = gapping([(s.set.index, s.carry) for s in chosen], smallest, {s.set.index: s.n_mishit for s in chosen})
    jobs = [sample.set.build for sample in chosen]
    missing = [s.index for s in sets if s.build.category and not any(same_job(s.build, job) for job in jobs)]
    return replace(bag, left_out=(*bag.left_out, *missing)) if bag.gaps else None
