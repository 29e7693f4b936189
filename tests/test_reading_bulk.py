"""Files read together say exactly what they say one by one."""

import json
import random
from collections.abc import Callable, Sequence
from dataclasses import fields
from pathlib import Path

import pandera.polars
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from pipeline.reading import bulk, common_tops, read_shot_file, read_shot_files
from pipeline.reading.common_tops import Tops
from pipeline.reading.joined import JoinedSource, join
from pipeline.records import FileReading, Given, ShotFile

FOLDER = Path(__file__).parent / "shot_files"
INPUTS = sorted(FOLDER.glob("*/input.*"))
PROFILES = [
    Given(),
    Given("left", {"speed": "mph", "length": "yd"}),
    Given("right", {}, {"Note": "", "Carry": "total_m", "Foo": "apex_m", "Club": "nonsense"}, {}, {"Offline": "l"}),
    Given("left", {"length": "m", "speed": "km/h"}, decimal=",", date_order="dmy"),
]


def assert_same(files: Sequence[ShotFile], profile: Given) -> None:
    found = read_shot_files(files, profile)
    assert len(found) == len(files)
    for file, reading in zip(files, found, strict=True):
        alone = read_shot_file(file, profile)
        for part in fields(FileReading):
            if part.name == "shots":
                assert_frame_equal(reading.shots, alone.shots, check_exact=True)
            else:
                assert getattr(reading, part.name) == getattr(alone, part.name), (part.name, file)


def joined(files: Sequence[ShotFile], profile: Given | None = None) -> int:
    """Count the files that are not read alone."""
    alone: list[str] = []

    def counted(file: ShotFile, known: Given) -> FileReading:
        alone.append(file.name)
        return read_shot_file(file, known)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bulk, "read_shot_file", counted)
        read_shot_files(files, profile or Given())
    return len(files) - len(alone)


def named(contents: Sequence[bytes]) -> list[ShotFile]:
    return [ShotFile(f"{place}.csv", content) for place, content in enumerate(contents)]


# --- plain batches ------------------------------------------------------------------------------------------------
HEAD = b"Shot,Date,Club,Player,Club Speed (mph),Ball Speed (mph),Launch Angle,Carry (yd),Offline (yd),Foo,\n"


def row(shot: int, date: str = "2024-05-01 10:00:00", carry: str = "160.5") -> bytes:
    return f"{shot},{date},7 Iron,Oak,85.{shot % 10},118.{shot % 7},17,{carry},-{shot % 9},x{shot},\n".encode()


def plain(count: int, rows: int = 5) -> list[bytes]:
    return [HEAD + b"".join(row(file + shot) for shot in range(rows)) for file in range(count)]


def test_plain_files_are_all_read_together() -> None:
    files = named(plain(40))
    assert joined(files) == 40
    assert_same(files, Given())


def test_one_contract_call_for_a_batch(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[int] = []
    validate = pandera.polars.DataFrameSchema.validate

    def counted(self: pandera.polars.DataFrameSchema, shots: pl.DataFrame, *, lazy: bool) -> object:
        calls.append(shots.height)
        return validate(self, shots, lazy=lazy)

    monkeypatch.setattr(pandera.polars.DataFrameSchema, "validate", counted)
    read_shot_files(named(plain(40)), Given())
    assert calls == [200]


@pytest.mark.parametrize("size", [1, 2000])
def test_batches_are_cut_by_size(size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bulk, "_BATCH", size)
    assert_same(named(plain(40)), Given())


def test_nothing_to_read() -> None:
    assert read_shot_files([], Given()) == []
    assert_same(named([b"", b"", b"", HEAD, HEAD, HEAD.rstrip(b"\n"), b"\n\n"]), Given())


def test_impossible_values_stay_with_their_file() -> None:
    contents = plain(9)
    contents[2] += row(1, carry="9999")
    contents[3] += row(1).replace(b",17,", b",170,") + row(2).replace(b",17,", b",-99,")
    contents[8] = HEAD + row(1, carry="-5") + contents[8][len(HEAD) :]
    files = named(contents)
    assert joined(files) == 9
    assert_same(files, Given())
    assert [len(reading.rejected) for reading in read_shot_files(files, Given())] == [0, 0, 1, 0, 0, 0, 0, 0, 1]


ODD: dict[str, Callable[[bytes], bytes]] = {
    "quotes": lambda c: c.replace(b"7 Iron", b'"7 Iron"'),
    "too long": lambda c: c + b"1" + row(9),
    "long and short": lambda c: c + row(3).replace(b",17,", b",17,18,") + row(4).replace(b",17,", b","),
    "short last line": lambda c: c + b"9,2024-05-01 10:00:00,7 Iron",
    "blank line": lambda c: c + b"\n" + row(1),
    "blank cells": lambda c: c + b"," * 10 + b"\n" + row(1),
    "blanks only": lambda c: c + b"   \n" + row(1),
    "comment": lambda c: c + b"# of the bay" + row(1)[1:],
    "average": lambda c: c + b"Average" + row(1)[1:],
    "heading again": lambda c: c + HEAD + row(1),
    "units below": lambda c: c.replace(HEAD, HEAD + b",,,,mph,mph,deg,yd,yd,,\n"),
    "other units below": lambda c: c.replace(HEAD, HEAD + b",,,,m/s,m/s,deg,yd,yd,,\n"),
    "no measurement": lambda c: c + b"9,2024-05-01 10:00:00,7 Iron,Oak,,,,,,,\n" + row(1),
    "word in a number": lambda c: c + row(1, carry="n/a"),
    "null words": lambda c: (
        c + row(1, carry="-") + row(2, carry="NaN") + row(3, carry="None").replace(b",17,", b",--,")
    ),
    "null words only": lambda c: c.replace(b"160.5", b"nan"),
    "unit in a cell": lambda c: c + row(1, carry="150 m"),
    "not finite": lambda c: c + row(1, carry="inf") + row(2, carry="nan"),
    "beyond measure": lambda c: c + row(1, carry="1e999"),
    "exponent": lambda c: c + row(1, carry="1.6e2"),
    "side": lambda c: c.replace(b",-", b",3 L,", 1).replace(b",,", b",", 1),
    "no decimals": lambda c: c.replace(b".", b""),
    "groups of three": lambda c: c[: len(HEAD)] + b"1,,7I,,85.123,118.123,17.123,160.123,3,,\n",
    "date by day": lambda c: c + row(1, date="13.05.2024 10:00"),
    "date by day or month": lambda c: c + row(1, date="03/05/2024 10:00"),
    "impossible date": lambda c: c + row(1, date="2024-02-31 10:00:00"),
    "no date": lambda c: c.replace(b"2024-05-01 10:00:00", b""),
    "date as a null word": lambda c: c.replace(b"2024-05-01 10:00:00", b"-"),
    "scientific shot": lambda c: c + b"1E5" + row(1)[1:],
    "all too fast": lambda c: c.replace(b",85.", b",385."),
    "all too slow": lambda c: c.replace(b",85.", b",0.").replace(b",118.", b",1."),
    "km/h under mph": lambda c: c.replace(b",118.", b",250."),
    "two golfers": lambda c: c + row(1).replace(b"Oak", b"Elm"),
    "trade words": lambda c: c + b"Club,Date,Club,Player,Carry,Ball Speed,Launch Angle,1,Offline,Carry (yd),\n",
    "trade words in a row": lambda c: c + row(1).replace(b"Oak", b"Carry (yd)").replace(b"x1", b"Ball Speed (mph)"),
    "nameless column filled": lambda c: c.rstrip(b"\n") + b"note\n" + row(1),
    "other delimiter": lambda c: c.replace(b"7 Iron", b"7;Iron"),
    "tabs": lambda c: c.replace(b"7 Iron", b"\t7 Iron"),
    "padded": lambda c: c.replace(b",17,", b" , 17,"),
    "wide blanks": lambda c: c.replace(b"7 Iron", "\u3000Eisen\u00a07\u2003".encode()),
    "next line sign": lambda c: c.replace(b"7 Iron", "\u0085 7 Iron\u001c".encode()),
    "mark inside": lambda c: HEAD + "\ufeff".encode() + c[len(HEAD) :],
    "zero byte": lambda c: c.replace(b"Oak", b"A\0n", 1),
    "zero bytes at the end": lambda c: c + b"\0\0",
    "old code page": lambda c: c.replace(b"Oak", "Föhre".encode("cp1252")),
    "UTF-8": lambda c: c.replace(b"Oak", "Föhre".encode()),
    "half a character": lambda c: c.rstrip(b"\n") + "ö".encode()[:1],
    "UTF-16": lambda c: c.decode().encode("utf-16"),
    "mark on top": lambda c: b"\xef\xbb\xbf" + c,
    "carriage returns": lambda c: c.replace(b"\n", b"\r\n"),
    "carriage returns below": lambda c: HEAD + c[len(HEAD) :].replace(b"\n", b"\r\n"),
    "only carriage returns": lambda c: c.replace(b"\n", b"\r"),
    "carriage return inside": lambda c: c.replace(b"7 Iron", b"7\rIron"),
    "not ended": lambda c: c.rstrip(b"\n"),
    "blank lines at the end": lambda c: c + b"\n\r\n\n",
    "no rows": lambda c: c[: len(HEAD)],
    "no end of heading": lambda c: c[: len(HEAD) - 1],
    "number in words": lambda c: c.replace(b"Oak", b"Total").replace(b"7 Iron", b"Max 7"),
    "summary first": lambda c: HEAD + b"Max 7" + c[len(HEAD) + 1 :],
    "formula": lambda c: c.replace(b"7 Iron", b"=7 Iron").replace(b",17,", b",=17,"),
    "carry empty": lambda c: c.replace(b"160.5", b""),
    "late in a long file": lambda c: c * 1 + b"".join(map(row, range(300))) + row(1).replace(b"Oak", b"Carry (yd)"),
}


@pytest.mark.parametrize("name", ODD)
def test_an_odd_file_among_plain_ones(name: str) -> None:
    contents = plain(7)
    contents[3] = ODD[name](contents[3])
    assert_same(named(contents), PROFILES[len(name) % 2 * 3])
    assert joined(named(contents)) >= 6


def test_a_row_of_more_trade_words_than_the_heading() -> None:
    contents = [b"A,B,C,Ball Speed (mph),Carry (yd)\n" + b"x,y,z,118.5,160.5\n" * 3] * 5
    contents[2] += b"Club,Player,Spin Rate,118.5,160.5\n"
    assert_same(named(contents), Given())
    assert joined(named(contents)) == 4


def test_null_words_do_no_harm() -> None:
    contents = plain(7)
    contents[3] = ODD["null words"](contents[3])
    assert joined(named(contents)) == 7


@pytest.mark.parametrize("name", ODD)
def test_odd_files_together(name: str) -> None:
    assert_same(named([*map(ODD[name], plain(4)), *plain(1)]), Given())


def test_all_odd_files_in_one_batch() -> None:
    contents = [make(content) for make in ODD.values() for content in plain(2)]
    random.Random(3).shuffle(contents)  # noqa: S311 - no secrets here
    assert_same(named(contents), Given())


# --- the cases of the reader --------------------------------------------------------------------------------------
def test_all_cases_in_one_batch() -> None:
    files = [ShotFile(path.name, path.read_bytes()) for path in INPUTS if path.stat().st_size < 100_000]
    assert_same([*files, *files[::-1], *files], Given())


@pytest.mark.slow
@pytest.mark.parametrize("place", range(len(PROFILES)))
def test_all_cases_in_one_batch_with_what_is_known(place: int) -> None:
    files = [ShotFile(path.name, path.read_bytes()) for path in INPUTS if path.stat().st_size < 100_000]
    assert_same([*files, *files, *files[::-1]], PROFILES[place])


@pytest.mark.parametrize("path", INPUTS, ids=lambda path: path.parent.name)
def test_a_case_three_times(path: Path) -> None:
    known = json.loads((path.parent / "expected.json").read_text(encoding="utf-8"))["given"]
    assert_same([ShotFile(path.name, path.read_bytes())] * 3, Given(**known))


# --- generated batches --------------------------------------------------------------------------------------------
TOPS = [
    *("Club,Ball Speed (mph),Carry (yd),Note\n", "\ufeffClub;Ball Speed (mph);Carry (yd);Note\n"),
    *("Club;Ball Speed (km/h);Carry (m);Note\n", "Club\tBall Speed\tCarry\tNote\n\tmph\tyd\t\n"),
    *("Bay: 3\nSpeed unit: mph\n\nClub;Ball Speed;Carry (m);Club\n", "sep=;\nClub;Ball Speed (m/s);Carry (m);Note\n"),
    *("Date,Time,Ball Speed (mph),Carry (yd)\n", "Player,Club Path,Carry (yd),Carry (yd)\n"),
    *("Club,Ball Speed,Carry,Note\n", "Club,Distance (m),Ball Speed (mph),\n", ",Ball,,\nClub,Speed (mph),Spin,Note\n"),
    *("Shot,Ball Speed (mph),Carry (yd),Time\n", "Carry (yd),Foo,Club,Bar\n", "Club,Foo,Bar,Note\n"),
]
USUAL = ["45.2", "118.3", "60", "7 Iron", "x", "99.25"]
CELLS = [
    *(
        "45,2",
        "1.234",
        "1,234",
        "",
        "-",
        "nan",
        "NA",
        "—",
        "1e3",
        "0",
        "9999",
        "-5",
        "3 L",
        "in-out",
        "150 m",
        "Carry",
        "mph",
    ),
    *("Ball Speed (mph)", "Average", "#1", "# x", "2024-05-01", "10:00:00", "2024-05-01 10:00:00", "1.5.2024"),
    *("05/03/2024", "1E5", " 60 ", "ö", "\u00a0", '"60"', "a|b", "a;b", "a\tb", "\0", "\x1c", "\r", "=1", "Driver"),
    *("45,", ",5", "4,5,6", "+45.2", ".5", "45.", "1_000", "Max 7", "\ufeff7", "good, Carry", "3;Carry (yd)"),
]
ENDS = ["", "\n", "\n\n", "\r\n", " ", "\n#x\n", "\nAverage\n"]
cells = st.one_of(st.sampled_from(USUAL), st.sampled_from(USUAL), st.sampled_from(USUAL), st.sampled_from(CELLS))
regular_rows = st.lists(st.tuples(*[st.sampled_from(USUAL)] * 4), min_size=1, max_size=4)
any_rows = st.lists(st.lists(cells, min_size=3, max_size=5) | st.tuples(cells, cells, cells, cells), max_size=4)


@st.composite
def batches(draw: st.DrawFn) -> list[bytes]:
    """Draw files under one top or two, most of them of the same columns of words and numbers."""
    tops = draw(st.lists(st.sampled_from(TOPS), min_size=1, max_size=2))
    worded = draw(st.sampled_from([{0}, {0, 3}, {0, 3}, {3}, {1}, set()]))
    comma = draw(st.booleans())
    contents = []
    for _ in range(draw(st.integers(1, 6))):
        top = draw(st.sampled_from(tops))
        delimiter = next((mark for mark in ";\t" if mark in top.replace("sep=;", "")), ",")
        lines = []
        rows: Sequence[Sequence[str]] = draw(regular_rows) if draw(st.integers(0, 2)) else draw(any_rows)
        for drawn in rows:
            found = list(drawn)
            if isinstance(drawn, tuple):
                for place, cell in enumerate(found):
                    if place in worded or cell not in USUAL:
                        continue
                    number = cell if cell[0].isdigit() and "I" not in cell else "70.5"
                    found[place] = number.replace(".", ",") if comma and delimiter != "," else number
            lines.append(delimiter.join(found))
        text = top + "\n".join(lines) + draw(st.sampled_from(ENDS))
        contents.append((text.replace("\n", "\r\n") if draw(st.integers(0, 9)) == 0 else text).encode())
    return contents


def check_batch(contents: list[bytes], profile: Given) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bulk, "_FEWEST", 1)
        patch.setattr(common_tops, "_SHORTEST", 1)
        assert_same(named(contents), profile)


@given(batches(), st.sampled_from(PROFILES))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_generated_batches(contents: list[bytes], profile: Given) -> None:
    check_batch(contents, profile)


@pytest.mark.slow
@given(batches(), st.sampled_from(PROFILES))
@settings(max_examples=4000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_many_generated_batches(contents: list[bytes], profile: Given) -> None:
    check_batch(contents, profile)


def spoilt(draw: random.Random, content: bytes) -> bytes:
    """Repeat, delete, overwrite or insert a little at a random place."""
    place = draw.randrange(len(content) + 1)
    pieces = [*(cell.encode() for cell in CELLS), *(end.encode() for end in ENDS), b",", b";"]
    match draw.randrange(4):
        case 0:
            return content[:place] + draw.choice(pieces) + content[place:]
        case 1:
            return content[:place] + content[place + draw.randrange(1, 12) :]
        case 2:
            return content[:place] + content[place // 2 : place] + content[place:]
        case _:
            return content[:place] + draw.randbytes(1) + content[place + 1 :]


def spoil(count: int, seed: int) -> None:
    draw = random.Random(seed)  # noqa: S311 - no secrets here
    inputs = [path.read_bytes() for path in INPUTS if path.stat().st_size < 3000]
    for _ in range(count):
        contents = [draw.choice([*inputs, *plain(3)]) for _ in range(4)] * 3
        check_batch([spoilt(draw, c) if draw.random() < 0.4 else c for c in contents], draw.choice(PROFILES))


def test_spoilt_batches() -> None:
    spoil(6, seed=1)


@pytest.mark.slow
def test_many_spoilt_batches() -> None:
    spoil(600, seed=2)


def test_a_joined_source_gives_the_cells_of_any_line() -> None:
    head = b"Shot,Club,Ball speed (mph),Launch angle (deg),Spin rate (rpm),Carry (m)\n"
    contents = [head + b"1,Driver,140,12,2700,200\n2,7 iron,110,,6500,140\n", head + b"1,Driver,141,12,2600,210\n"]
    top = Tops(frozenset()).of(contents[0])
    assert top is not None
    source = JoinedSource(join(top, contents))
    assert source.cells_on(3, 6) == ("2", "7 iron", "110", "", "6500", "140")
    assert source.cells_on(4, 2) == ("1", "Driver")
