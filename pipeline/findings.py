"""What may be said on page 1: the numbers that give each sentence. Codes only; the vocabulary has the words."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.clubs import same_job
from pipeline.records import Comparison, Fitting, SetResult


@dataclass(frozen=True, slots=True)
class Finding:
    """The answer: its code, the set it speaks of, and the comparison behind it, if there is one."""

    code: str
    subject: SetResult
    comparison: Comparison | None = None


def own(fitting: Fitting) -> SetResult:
    """Give the own club's set."""
    return next(result for result in fitting.sets if result.set.is_own)


def answer(fitting: Fitting) -> Finding:
    """Decide the answer.

    no_carry          no carry, measured or modelled
    one_set           nothing else was hit
    bag               no two clubs do the same job, and there are three or more: a bag is laid out
    other_kinds       the other clubs are of other kinds than the own one
    too_uneven        of the own club, or of every other build, more than a third was set aside: no average is taken
    too_few           less than three counted shots with the own club or with every other build
    longer_real       a build's interval lies wholly above 0, and its difference reaches the smallest that matters
    longer_real_small the same, but the difference is smaller than that
    longer_open       the leading build's interval includes 0
    same              every build is the same for practical purposes
    own_longest_real  every build is behind, the nearest one surely, by the smallest that matters or more
    own_longest_real_small  the same, but by less than that
    own_longest_open  every build is behind, the nearest one perhaps by chance
    """
    base = own(fitting)
    like = [r for r in fitting.sets if r is not base and same_job(r.set.build, base.set.build)]
    if not fitting.comparisons:
        return _nothing_compared(fitting, base, like)
    if all(c.verdict == "same" for c in fitting.comparisons):
        return Finding("same", base)
    best = leading(fitting)
    return Finding(_code(best, fitting.smallest_difference_m), fitting.sets[best.build], best)


def _nothing_compared(fitting: Fitting, base: SetResult, like: Sequence[SetResult]) -> Finding:
    if "carry_m" not in fitting.sources:
        return Finding("no_carry", base)
    if fitting.judged.bag and not like:
        return Finding("bag", base)
    if "carry_m" not in base.averages:
        return Finding("too_few", base)
    uneven = next((r for r in like if "carry_m" in r.averages), None)
    if base.uneven or (uneven and all(r.uneven for r in like)):
        return Finding("too_uneven", base if base.uneven else uneven or base)
    if not like:
        return Finding("one_set" if len(fitting.sets) == 1 else "other_kinds", base)
    return Finding("too_few", base)


def leading(fitting: Fitting) -> Comparison:
    """Give the build to speak of: the longest of those likely longer, else the longest."""
    proven = [c for c in fitting.comparisons if c.verdict == "likely_real" and c.difference > 0]
    return max(proven or fitting.comparisons, key=lambda c: c.difference)


def _code(best: Comparison, smallest: float) -> str:
    ahead = "longer" if best.difference > 0 else "own_longest"
    if best.verdict != "likely_real":
        return f"{ahead}_open"
    return f"{ahead}_real" if abs(best.difference) >= smallest else f"{ahead}_real_small"


def shows_own_first(finding: Finding) -> bool:
    """Tell whether the three figures are about the own club rather than a build."""
    return finding.comparison is None or finding.comparison.difference <= 0
