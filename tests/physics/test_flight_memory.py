"""Memory of a very large call: results, and little beside them."""

import tracemalloc

import numpy as np
import pytest

from pipeline.physics.atmosphere import Air
from pipeline.physics.flight import Launch, fly

AIR = Air(1.225, 1.789e-5, within_range=True)


@pytest.mark.slow
@pytest.mark.parametrize("count", [100_000, 1_000_000])
def test_working_memory_does_not_grow_with_the_shots(count: int) -> None:
    rng = np.random.default_rng(1)
    launch = Launch.of(rng.uniform(27, 85, count), rng.uniform(0.03, 0.7, count), rng.uniform(150, 1000, count))
    tracemalloc.start()
    try:
        flight = fly(launch, AIR)
        kept, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert flight.landed.all()
    assert kept < 150 * count, "twelve landing rows, four derived ones, two flags"
    assert peak - kept < 25e6
