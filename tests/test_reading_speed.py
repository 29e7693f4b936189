"""Reading costs what the file's size costs, also when the file is hostile."""

import random
import time
from collections.abc import Callable

import pytest

from pipeline.reading import read_shot_file
from pipeline.records import Given, ShotFile

HEAD = b"Club,Ball Speed (mph),Carry (yd)\n"
HOSTILE: dict[str, Callable[[int], bytes]] = {
    "many columns": lambda n: b"Carry (yd)," * (10 * n) + b"\n" + b"1," * (10 * n),
    "many unknown columns": lambda n: b",".join(b"Foo%d" % i for i in range(10 * n)) + b"\n1\n",
    "wide heading over short rows": lambda n: b"Club,Carry (yd)," + b"Foo," * 400 + b"\n" + b"7I,165\n" * (5 * n),
    "one row of many cells": lambda n: HEAD + b"7I,118,165," * (10 * n) + b"\n",
    "huge cell": lambda n: HEAD + b"7I,118," + b"9" * (100 * n) + b"\n",
    "huge cell of blanks": lambda n: HEAD + b"7I,118,1" + b" " * (100 * n) + b"x\n",
    "huge quoted cell": lambda n: HEAD + b'7I,118,"' + b"1,2 " * (20 * n) + b'"\n',
    "unclosed quotes": lambda n: HEAD + b'7I,"118,165\n' * (4 * n),
    "quotes that pair up over lines": lambda n: HEAD + b'"a\n' + b'x""y\n' * (4 * n),
    "only quotes": lambda n: b'"' * (50 * n),
    "zero bytes in every row": lambda n: HEAD + b"7I,\0,165\n" * (4 * n),
    "only zero bytes": lambda n: b"\0" * (100 * n) + b"x",
    "blank lines": lambda n: HEAD + b"\n" * (40 * n),
    "text lines": lambda n: HEAD + b"".join(b"foo%d,bar\n" % i for i in range(4 * n)),
    "lines of trade words": lambda n: HEAD + b"Club,Face\n" * (4 * n),
    "other headings over and over": lambda n: HEAD + b"Club,Total (yd),x\n" * (4 * n) + b"7I,1,1\n",
    "bad cells": lambda n: HEAD + b"".join(b"7I,118,x%d\n" % i for i in range(4 * n)),
    "impossible values": lambda n: HEAD + b"7I,9999,165\n7I,1,1\n" * (2 * n),
    "broken JSON lines": lambda n: b'{"carry_yd":1\n' * (4 * n),
    "JSON with many keys": lambda n: b"\n".join(b'{"k%d":1,"carry_yd":1}' % i for i in range(n)),
    "deep JSON": lambda n: b'[{"a":' * (4 * n),
    "noise": lambda n: random.Random(1).randbytes(50 * n),  # noqa: S311 - no secrets here
}


def seconds(content: bytes) -> float:
    start = time.process_time()
    read_shot_file(ShotFile("a.json" if content[:1] in b"[{" else "a.csv", content), Given())
    return time.process_time() - start


@pytest.mark.slow
@pytest.mark.parametrize("name", HOSTILE)
def test_eight_times_the_size_costs_at_most_about_eight_times(name: str) -> None:
    """Quadratic work would cost sixty-four times; small times are noise and pass."""
    small, large = (min(seconds(HOSTILE[name](size)) for _ in range(2)) for size in (2_000, 16_000))
    assert large < 24 * small + 0.3


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_give_a_result(name: str) -> None:
    assert seconds(HOSTILE[name](500)) < 20
