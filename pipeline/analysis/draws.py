"""Draws of what the truth may be, given a handful of shots; the same shots always give the same draws."""

import hashlib

import numpy as np

from pipeline.analysis.ball_flight import Floats

DRAWS = 4000
RANGE = 0.90  # the share of draws a printed range holds
_STEP_M = 1e-6  # files in different units give the same value some ulps apart


def generator_of(*samples: Floats) -> np.random.Generator:
    """Seed a generator from the shots themselves, whatever order they stand in."""
    digest = hashlib.sha256()
    for values in samples:
        digest.update(np.round(np.sort(values) / _STEP_M).astype(np.int64).tobytes() + b"|")
    return np.random.default_rng(int.from_bytes(digest.digest()[:16], "big"))


def means_and_spreads(values: Floats, generator: np.random.Generator) -> tuple[Floats, Floats]:
    """Draw means and standard deviations a normal sample of these values may come from.

    values: shape (n,), finite, n >= 2 [any unit]. Returns two arrays of shape (DRAWS,) in that unit; two equal values
    give a spread of 0. sigma² = (n−1) s²/chi²(n−1), mu = mean + sigma/sqrt(n) z.
    Source: posterior under the flat prior on mu and log sigma (textbook, from memory), confirmed by simulation.
    """
    n = len(values)
    spread = values.std(ddof=1) * np.sqrt((n - 1) / generator.chisquare(n - 1, DRAWS))
    return values.mean() + spread / np.sqrt(n) * generator.standard_normal(DRAWS), spread


def range_of(draws: Floats) -> tuple[float, float]:
    """Give the range that holds the middle draws."""
    low, high = np.quantile(draws, [(1 - RANGE) / 2, (1 + RANGE) / 2])
    return float(low), float(high)
