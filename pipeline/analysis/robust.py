"""Spread and cut values for a handful of shots (schemas/small_samples.toml)."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.resources import table

Floats = NDArray[np.float64]

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
    n = len(values)
    constant = _listed("mad_consistency", n) or 1.482602 / (1 - 0.76213 / n - 0.86413 / n**2)
    return constant * float(np.median(np.abs(values - np.median(values))))


def _freedom(n: int) -> float:
    return _listed("mad_freedom", n) or 0.37 * n - (0.0 if n % 2 == 0 else 0.4)


def _median_variance(n: int) -> float:
    return _listed("median_variance", n) or (math.pi / 2) / (n + (0.57 if n % 2 else 1.4))


def own_cut(n: int, sides: int) -> float:
    """Give the multiple of a set's own spread that 19 clean normal sets of n in 20 stay within (simulated)."""
    listed = _listed("cut_two_sided" if sides == 2 else "cut_low", n)
    return listed or (3.5 + 7.5 / n if sides == 2 else 3.42)


def scale_and_cut(groups: Sequence[Floats], k: int, sides: int, floor: float) -> tuple[float, float]:
    """Give the spread of group k and the multiple of it beyond which a shot stands out.

    The MAD of 8 shots carries about 3 degrees of freedom, so the other groups (same golfer, same kind of club) lend
    theirs: s*^2 = (nu_k s_k^2 + nu_p s_o^2)/(nu_k + nu_p) with nu_p at most 4, and the cut is a t quantile that allows
    for the median's own error. A group alone uses simulated cuts.
    floor: smallest believable spread (resolution/sqrt 12), so that rounded data cannot give a spread of 0.
    Source: our simulations; the t form is a judgement, conservative at equal spread (no publication).
    """
    n = len(groups[k])
    scale, freedom = _pooled(groups, k)
    if freedom == _freedom(n):
        return max(scale, floor), own_cut(n, sides)
    quantile = float(special.stdtrit(freedom, 1 - _ALPHA / (n * sides)))
    return max(scale, floor), quantile * math.sqrt(max(1 + _median_variance(n) - 2 / n, 0.5))


def _pooled(groups: Sequence[Floats], k: int) -> tuple[float, float]:
    """Give the spread of group k, helped by the others, and the degrees of freedom behind it."""
    own, nu_own = mad_sigma(groups[k]), _freedom(len(groups[k]))
    others = [(_freedom(len(g)), mad_sigma(g)) for j, g in enumerate(groups) if j != k and len(g) >= FEWEST_SHOTS]
    lent = sum(nu for nu, _ in others)
    if not lent:
        return own, nu_own
    lent_variance = sum(nu * s * s for nu, s in others) / lent
    nu_lent = min(lent, _BORROWED_FREEDOM)
    return math.sqrt((nu_own * own**2 + nu_lent * lent_variance) / (nu_own + nu_lent)), nu_own + nu_lent


def stand_out(groups: Sequence[Floats], side: str, floor: float) -> list[NDArray[np.bool_]]:
    """Mark the shots of each group that stand out: side "low", "high" or "both".

    groups: one array (n_k,) a set, finite. Returns one mask (n_k,) a set; groups below 5 shots are never marked.
    """
    masks = []
    for k, values in enumerate(groups):
        if len(values) < FEWEST_SHOTS:
            masks.append(np.zeros(len(values), dtype=bool))
            continue
        scale, cut = scale_and_cut(groups, k, 2 if side == "both" else 1, floor)
        distance = values - np.median(values)
        signed = np.abs(distance) if side == "both" else distance * (-1 if side == "low" else 1)
        masks.append(signed > cut * scale)
    return masks


def parts_from_median(groups: Sequence[tuple[int, Floats]], floor: float = 0.0) -> tuple[int, ...]:
    """Give the keys of the groups whose mean and median part: a few values pull the mean.

    groups: key and values, shape (n,), finite, any unit; below 5 values nothing is said. floor: as in scale_and_cut.
    |mean − median| > max(0.5, t(nu, 0.99) sqrt(v_n − 1/n)) s*, with v_n the variance of the median of n normal values,
    s* the pooled spread and nu its freedom. Half a spread is a judgement; the second term keeps clean small sets below
    it: their mean and median part by 0.2 to 0.3 s* by chance, and five values alone hardly tell s*.
    Source: own rule; false alarms by simulation in the tests.
    """
    arrays = [values for _, values in groups]
    found = []
    for k, (key, values) in enumerate(groups):
        n = len(values)
        if n < FEWEST_SHOTS:
            continue
        scale, freedom = _pooled(arrays, k)
        by_chance = float(special.stdtrit(freedom, _PARTED_SURE)) * math.sqrt(max(_median_variance(n) - 1 / n, 0.0))
        if abs(float(values.mean() - np.median(values))) > max(max(_PARTED, by_chance) * scale, floor):
            found.append(key)
    return tuple(found)
