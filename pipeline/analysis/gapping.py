"""The clubs of a bag: how far each carries, the steps between them, and which step is not settled."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from types import MappingProxyType

from pipeline.analysis.averages import average
from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.comparison import FEWEST_SHOTS, LEVEL, shots_needed, welch
from pipeline.analysis.expectation import farther_share
from pipeline.judgements import Bag, BagClub, Gap

# Steps of 8 to 15 yd are what sets of clubs are made with; below and above these a club is missing or one too many
# (own judgement, no source).
OVERLAP_M = 5.4864
HOLE_M = 18.288


def _club(set_index: int, carry: Floats) -> BagClub | None:
    found = average("carry_m", "measured", carry, carry)
    if found is None or found.n < FEWEST_SHOTS:
        return None
    return BagClub(set_index, found.n, found.mean, found.low, found.high, found.sd)


_LOOKS = ("overlap", "even", "hole")  # from close together to far apart


def _looks(gap: float, overlap_m: float, hole_m: float) -> str:
    return "overlap" if gap < overlap_m else "hole" if gap > hole_m else "even"


def gapping(
    sets: Sequence[tuple[int, Floats]],
    smallest_difference: float,
    aside: Mapping[int, int] = MappingProxyType({}),
    overlap_m: float = OVERLAP_M,
    hole_m: float = HOLE_M,
) -> Bag:
    """Lay out a bag by carry.

    sets: index and carries of the counted shots of each club, shape (n,), finite [m]; smallest_difference that matters
    [m]; aside: index of a set → shots set aside as mishits; overlap_m and hole_m: steps below the one overlap, above
    the other leave a hole [m], overlap_m < hole_m.
    Returns the clubs with three shots or more, longest carry first, and the steps between neighbours. Intervals are
    Bonferroni-simultaneous over the steps; a step is settled when both ends of its interval look like its mean. Order
    and step are read off the same shots, so two clubs of equal carry look a little apart. Source: Welch's comparison
    (see comparison.welch); the two limits are our judgement.
    """
    shots = dict(sets)
    clubs = [club for index, values in sets if (club := _club(index, values))]
    clubs.sort(key=lambda club: (-club.carry_m, club.set_index))
    gaps = []
    for longer, shorter in pairwise(clubs):
        far, near = shots[longer.set_index], shots[shorter.set_index]
        step = welch(far, near, (aside.get(longer.set_index, 0), aside.get(shorter.set_index, 0)))
        half = step.half_width(LEVEL, len(clubs) - 1)
        low, high = step.mean - half, step.mean + half
        looks = _looks(step.mean, overlap_m, hole_m)
        ends = (_LOOKS.index(_looks(end, overlap_m, hole_m)) for end in (low, high))
        may_be = _LOOKS[next(ends) : next(ends) + 1]
        settled = len(may_be) == 1
        wanted = None if settled else shots_needed(longer.sd, shorter.sd, smallest_difference, len(clubs) - 1)
        had = min(len(far), len(near))
        more = wanted - had if wanted is not None and wanted > had else None
        often = farther_share(near, far)[0]
        clubs_of_step = longer.set_index, shorter.set_index, longer.n, shorter.n
        gaps.append(Gap(*clubs_of_step, step.mean, low, high, looks, may_be, settled, often, more))
    kept = {club.set_index for club in clubs}
    return Bag(tuple(clubs), tuple(gaps), tuple(index for index, _ in sets if index not in kept))
