"""How long reading takes against bare polars.read_csv of the same bytes: python tests/benchmarks/reading_speed.py."""

import random
import resource
import time
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading import read_shot_file, read_shot_files
from pipeline.records import Given, ShotFile

if TYPE_CHECKING:
    from collections.abc import Callable

HEADER = (
    "Shot,Date,Club,Club Speed (mph),Ball Speed (mph),Smash Factor,Launch Angle (deg),Launch Direction (deg),"
    "Spin Rate (rpm),Spin Axis (deg),Carry (yd),Apex (ft)"
)
TARGETS = {60: 10.0, 100_000: 8.0}
FILES, ROWS = 10_000, 60  # read together
BULK_TARGETS = {"a loop of read_csv": 0.5, "joining and one read_csv": 5.0}


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


def best(action: "Callable[[], object]", repeats: int, clock: "Callable[[], float]" = time.perf_counter) -> float:
    """Give the shortest of several runs in seconds."""
    times = []
    for _ in range(repeats):
        start = clock()
        action()
        times.append(clock() - start)
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
        print(f"{rows:>7} rows: read_csv {bare * 1e3:.2f} ms, reading {reading * 1e3:.2f} ms")
    return found


def many_files() -> list[ShotFile]:
    """Give files of different shots under one heading."""
    rows = shot_lines(200 * ROWS).split(b"\n")[1:-1]
    starts = (37 * place % (len(rows) - ROWS) for place in range(FILES))
    return [
        ShotFile(f"{place}.csv", b"\n".join([HEADER.encode(), *rows[start : start + ROWS], b""]))
        for place, start in enumerate(starts)
    ]


def joined(files: list[ShotFile]) -> bytes:
    """Join all bytes under one heading."""
    start = len(HEADER) + 1
    return b"".join([files[0].content, *(file.content[start:] for file in files[1:])])


def bulk() -> dict[str, float]:
    """Give what reading many files at once is measured against → time over time of that, measured in turns.

    The parse of one large text is spread over all processors, most of the rest is not; hence both clocks.
    """
    files = many_files()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    readings = read_shot_files(files, Given())
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert sum(reading.shots.height for reading in readings) == FILES * ROWS
    del readings
    size = sum(len(file.content) for file in files)
    print(f"{FILES} files of {ROWS} rows, {size / 2**20:.0f} MiB: peak {peak / 1024:.0f} MiB more")
    text = joined(files)
    actions: dict[str, Callable[[], object]] = {
        "bulk": lambda: read_shot_files(files, Given()),
        "a loop of read_csv": lambda: [pl.read_csv(file.content) for file in files],
        "joining and one read_csv": lambda: pl.read_csv(joined(files)),
        "one read_csv, joined before": lambda: pl.read_csv(text),
    }
    found: dict[str, float] = {}
    for word, clock in (("", time.perf_counter), (" (processor time of all threads)", time.process_time)):
        times = dict.fromkeys(actions, float("inf"))
        for _ in range(5):
            for name, action in actions.items():
                times[name] = min(times[name], best(action, 1, clock))
        found |= {f"{name}{word}": times["bulk"] / seconds for name, seconds in times.items() if name != "bulk"}
        print(", ".join(f"{name} {seconds * 1e3:.0f} ms" for name, seconds in times.items()) + word)
    return found


if __name__ == "__main__":
    for other, ratio in bulk().items():
        target = f" (target {BULK_TARGETS[other]} x)" if other in BULK_TARGETS else ""
        print(f"reading in bulk: {ratio:.2f} x {other}{target}")
    for rows, ratio in ratios().items():
        print(f"{rows:>7} rows: {ratio:.1f} x read_csv (target {TARGETS[rows]:.0f} x)")
