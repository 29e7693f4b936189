"""Spread and cut values for a handful of shots (schemas/small_samples.toml)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.analysis.parts import Codes, Floats, by_size, medians
from pipeline.resources import table

FEWEST_SHOTS = 5  # below this no statistical flag can be trusted
_ALPHA = 0.05  # chance that a clean normal set of shots has any shot marked; the simulated cuts hold for this alone
_PARTED, _PARTED_SURE = 0.5, 0.99  # mean and median part from half a spread on, and more than chance would
_BORROWED_FREEDOM = 4.0  # cap on what other sets lend, so that sets of different spread do no harm


def _listed(name: str, n: int) -> float | None:
    row = table("small_samples")[name]
    place = n - row["from"]
    return float(row["values"][place]) if 0 <= place < len(row["values"]) else None


def mad_sigma(values: Floats) -> float:
    """Estimate the standard deviation from the median absolute deviation, unbiased for small normal samples.

    values: shape (n,), finite, n >= 2. Returns the same unit; 0 when more than half the values are equal.
    Source: Park, Kim & Wang 2020, table A2; beyond it Hayes 2014 (both second-hand).
    """
    return _mad_constant(len(values)) * float(np.median(np.abs(values - np.median(values))))


def mad_sigmas(values: Floats, groups: Codes, count: int) -> tuple[Floats, Floats]:
    """Give median and mad_sigma of each group of values, both (count,); NaN where a group is empty.

    values: shape (n,), finite; groups: (n,), 0 … count - 1. Source: as mad_sigma.
    """
    middle = medians(values, groups, count)
    away = medians(np.abs(values - middle[groups]), groups, count)
    return middle, by_size(_mad_constant, np.bincount(groups, minlength=count)) * away


def _mad_constant(n: int) -> float:
    if n < 2:
        return math.nan
    return _listed("mad_consistency", n) or 1.482602 / (1 - 0.76213 / n - 0.86413 / n**2)


def _freedom(n: int) -> float:
    return _listed("mad_freedom", n) or 0.37 * n - (0.0 if n % 2 == 0 else 0.4)


def _median_variance(n: int) -> float:
    return _listed("median_variance", n) or (math.pi / 2) / (n + (0.57 if n % 2 else 1.4))


def own_cut(n: int, sides: int) -> float:
    """Give the multiple of a set's own spread that 19 clean normal sets of n in 20 stay within (simulated)."""
    listed = _listed("cut_two_sided" if sides == 2 else "cut_low", n)
    return listed or (3.5 + 7.5 / n if sides == 2 else 3.42)


@dataclass(frozen=True, slots=True)
class Spreads:
    """Of k sets the middle, the spread, the freedom behind it, and its multiple beyond which shots stand out.

    middle and scale have the values' unit; all have shape (k,), NaN where a set is empty.
    """

    middle: Floats
    scale: Floats
    freedom: Floats
    cut: Floats


def spreads(values: Floats, sets: Codes, kinds: Codes, sides: int) -> Spreads:
    """Give the spread of each set and the multiple of it beyond which a shot stands out.

    values: shape (n,), finite; sets: (n,), 0 … k - 1; kinds: (k,), which sets are alike; sides 1 or 2.
    The MAD of 8 shots carries about 3 degrees of freedom, so the like sets (same golfer, same kind of club) lend
    theirs: s*^2 = (nu_k s_k^2 + nu_p s_o^2)/(nu_k + nu_p) with nu_p at most 4, and the cut is a t quantile that allows
    for the median's own error. A set alone uses simulated cuts; a set below 5 lends nothing.
    Source: our simulations; the t form is a judgement, conservative at equal spread (no publication).
    """
    sizes = np.bincount(sets, minlength=len(kinds))
    middle, own = mad_sigmas(values, sets, len(kinds))
    nu_own, lends = by_size(_freedom, sizes), sizes >= FEWEST_SHOTS
    lent = _sums_of_others(np.where(lends, nu_own, 0.0), kinds)
    with np.errstate(divide="ignore", invalid="ignore"):
        lent_variance = _sums_of_others(np.where(lends, nu_own * own * own, 0.0), kinds) / lent
        nu_lent = np.minimum(lent, _BORROWED_FREEDOM)
        pooled = np.sqrt((nu_own * own**2 + nu_lent * lent_variance) / (nu_own + nu_lent))
        freedom = nu_own + nu_lent
        quantile = special.stdtrit(freedom, 1 - _ALPHA / (sizes * sides))
        helped_cut = quantile * np.sqrt(np.maximum(1 + by_size(_median_variance, sizes) - 2 / sizes, 0.5))
    cut = np.where(lent > 0, helped_cut, by_size(lambda n: own_cut(n, sides) if n else math.nan, sizes))
    return Spreads(middle, np.where(lent > 0, pooled, own), freedom, cut)


def _sums_of_others(amounts: Floats, kinds: Codes) -> Floats:
    """Give for each set the sum of the amounts of all others of its kind, added in their order."""
    found = np.zeros(len(amounts))
    order = np.argsort(kinds, kind="stable")
    sizes = np.bincount(kinds)[kinds[order]]  # of the kind each set is of
    for size in np.unique(sizes[sizes > 1]):
        places = order[sizes == size].reshape(-1, size)
        mine, sums = amounts[places], np.zeros(places.shape)
        for other in range(size):
            sums[:, :other] += mine[:, other, None]
            sums[:, other + 1 :] += mine[:, other, None]
        found[places] = sums
    return found


def scale_and_cut(groups: Sequence[Floats], k: int, sides: int, floor: float) -> tuple[float, float]:
    """Give the spread of group k among like ones and the multiple of it beyond which a shot stands out.

    groups: one array (n_k,) a set, finite. floor: smallest believable spread (resolution/sqrt 12), so that rounded data
    cannot give a spread of 0. Source: as spreads.
    """
    found = spreads(*_together(groups), sides)
    return max(float(found.scale[k]), floor), float(found.cut[k])


def _together(groups: Sequence[Floats]) -> tuple[Floats, Codes, Codes]:
    """Put groups of one kind behind each other."""
    sets = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    return np.concatenate([np.zeros(0), *groups]), sets, np.zeros(len(groups), dtype=np.intp)


def stand_out(groups: Sequence[Floats], side: str, floor: float) -> list[NDArray[np.bool_]]:
    """Mark the shots of each group that stand out: side "low", "high" or "both".

    groups: one array (n_k,) a set, finite. Returns one mask (n_k,) a set; groups below 5 shots are never marked.
    """
    values, sets, kinds = _together(groups)
    mask, _ = standing_out(values, sets, kinds, side, np.full(len(kinds), floor))
    return np.split(mask, np.cumsum([len(group) for group in groups])[:-1])


def standing_out(
    values: Floats, sets: Codes, kinds: Codes, side: str, floors: Floats
) -> tuple[NDArray[np.bool_], Floats]:
    """Mark the shots of sets that stand out, (n,), and give the middle of each one's set, (n,): see stand_out.

    values, sets and kinds: as for spreads; floors: smallest believable spread of each set, (k,). Source: as spreads.
    """
    found = spreads(values, sets, kinds, 2 if side == "both" else 1)
    distance = values - found.middle[sets]
    signed = np.abs(distance) if side == "both" else distance * (-1 if side == "low" else 1)
    limit = found.cut * np.maximum(found.scale, floors)
    judged = np.bincount(sets, minlength=len(kinds)) >= FEWEST_SHOTS
    return judged[sets] & (signed > limit[sets]), found.middle[sets]


def parts_from_median(groups: Sequence[tuple[int, Floats]], floor: float = 0.0) -> tuple[int, ...]:
    """Give the keys of the groups whose mean and median part: a few values pull the mean.

    groups: key and values, shape (n,), finite, any unit; below 5 values nothing is said. floor: as in scale_and_cut.
    |mean − median| > max(0.5, t(nu, 0.99) sqrt(v_n − 1/n)) s*, with v_n the variance of the median of n normal values,
    s* the pooled spread and nu its freedom. Half a spread is a judgement; the second term keeps clean small sets below
    it: their mean and median part by 0.2 to 0.3 s* by chance, and five values alone hardly tell s*.
    Source: own rule; false alarms by simulation in the tests.
    """
    of_all = spreads(*_together([values for _, values in groups]), 1)
    found = []
    for k, (key, values) in enumerate(groups):
        n = len(values)
        if n < FEWEST_SHOTS:
            continue
        scale, freedom = float(of_all.scale[k]), float(of_all.freedom[k])
        by_chance = float(special.stdtrit(freedom, _PARTED_SURE)) * math.sqrt(max(_median_variance(n) - 1 / n, 0.0))
        if abs(float(values.mean() - np.median(values))) > max(max(_PARTED, by_chance) * scale, floor):
            found.append(key)
    return tuple(found)
