"""Counts in the words staff read."""

import pytest

from pipeline.plurals import many


@pytest.mark.parametrize(("count", "said"), [(0, "0 visits"), (1, "1 visit"), (2, "2 visits"), (2_000, "2,000 visits")])
def test_one_is_said_as_one(count: int, said: str) -> None:
    assert many(count, "visit") == said
