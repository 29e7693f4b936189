"""A small run of archive_speed.py, with what it must give: ratios in one run, and memory."""

import sys
from pathlib import Path
from typing import Final

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks import archive_speed as bench

pytestmark = pytest.mark.slow

SHOTS: Final = 2_000_000


def test_sums_keep_up_with_the_reading(tmp_path: Path) -> None:
    """In 240 files; the more shots a file has, the more the kept sums save."""
    manifest = bench.make(tmp_path / "archive", SHOTS, 10)
    found = bench.speeds(manifest)
    assert found.direct <= 4 * found.raw
    assert found.kept <= 0.5 * found.direct
    assert found.pieces > SHOTS / bench.SHOTS
    assert bench.peak_mb(tmp_path / "archive", "keeping") < 1_000


def test_joined_files_are_read_much_quicker(tmp_path: Path) -> None:
    slow, quick = bench.joined_over_many(tmp_path, 500_000)
    assert quick <= 0.15 * slow


def test_a_season_is_rolled_up_in_seconds(tmp_path: Path) -> None:
    """It takes less than 2 s; the tests beside this one may take three quarters of the machine."""
    assert bench.whole(tmp_path) <= 15
