"""How long reading takes against bare polars.read_csv of the same bytes: python tests/benchmarks/reading_speed.py."""

import random
import time
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading import read_shot_file
from pipeline.records import Given, ShotFile

if TYPE_CHECKING:
    from collections.abc import Callable

HEADER = (
    "Shot,Date,Club,Club Speed (mph),Ball Speed (mph),Smash Factor,Launch Angle (deg),Launch Direction (deg),"
    "Spin Rate (rpm),Spin Axis (deg),Carry (yd),Apex (ft)"
)
TARGETS = {60: 10.0, 100_000: 8.0}


def shot_lines(count: int) -> bytes:
    """Write a file of plausible shots."""
    draw = random.Random(count)  # noqa: S311 - figures for a benchmark
    lines = [HEADER]
    for shot in range(count):
        club, smash = draw.uniform(80, 110), draw.uniform(1.3, 1.5)
        clock = f"{shot // 3600 % 24:02}:{shot // 60 % 60:02}:{shot % 60:02}"
        speeds = f"{club:.1f},{club * smash:.1f},{smash:.2f}"
        angles = f"{draw.uniform(8, 20):.1f},{draw.uniform(-5, 5):.1f}"
        spin = f"{draw.randrange(1800, 7000)},{draw.uniform(-20, 20):.1f}"
        flight = f"{draw.uniform(140, 260):.1f},{draw.uniform(60, 120):.1f}"
        lines.append(f"{shot + 1},2024-05-01 {clock},Club {shot % 5},{speeds},{angles},{spin},{flight}")
    return ("\n".join(lines) + "\n").encode()


def best(action: "Callable[[], object]", repeats: int) -> float:
    """Give the shortest of several runs in seconds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        times.append(time.perf_counter() - start)
    return min(times)


def ratios() -> dict[int, float]:
    """Give rows → time of reading over time of bare polars.read_csv, measured in turns."""
    found = {}
    for rows, repeats in ((60, 60), (100_000, 9)):
        content = shot_lines(rows)
        file = ShotFile("shots.csv", content)
        assert read_shot_file(file, Given()).shots.height == rows
        bare = reading = float("inf")
        for _ in range(3):
            bare = min(bare, best(lambda content=content: pl.read_csv(content), repeats))  # type: ignore[misc]
            reading = min(reading, best(lambda file=file: read_shot_file(file, Given()), repeats))  # type: ignore[misc]
        found[rows] = reading / bare
        print(f"{rows:>7} rows: read_csv {bare * 1e3:.2f} ms, reading {reading * 1e3:.2f} ms")  # noqa: T201
    return found


if __name__ == "__main__":
    for rows, ratio in ratios().items():
        print(f"{rows:>7} rows: {ratio:.1f} x read_csv (target {TARGETS[rows]:.0f} x)")  # noqa: T201
