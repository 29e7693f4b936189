"""Whatever the bytes, there is a result; however a table is written, it says the same."""

import json
import random
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from pipeline.reading import as_json, bodies, read_shot_file
from pipeline.records import Given, ShotFile
from pipeline.resources import table
from pipeline.schema import measurements
from pipeline.units import units

FOLDER = Path(__file__).parent / "shot_files"
INPUTS = [path for path in sorted(FOLDER.glob("*/input.*")) if path.stat().st_size < 3000]
FRAGMENTS = [
    *(
        ",",
        ";",
        "\t",
        "|",
        '"',
        '""',
        "\n",
        "\r\n",
        "\r",
        "\0",
        "#",
        "-",
        "–",
        "=",
        "sep=;\n",
        "{",
        "[",
        "]",
        "}",
        "\ufeff",
    ),
    *(
        "1.234",
        "2,5",
        "1e999",
        "9" * 60,
        "12.05.2024",
        "01/02/2024",
        "5' 6\"",
        " L",
        " in-out",
        "NaN",
        "inf",
        "#N/A",
        '="1"',
    ),
    *(
        "Carry (yd)",
        "Ball Speed",
        "Speed",
        "mph",
        "Average",
        "Club",
        "Date",
        "Speed unit: mph\n",
        "Distance",
        "Ø",
        "\u00a0",
    ),
]
PROFILES = [
    Given(),
    Given("left", {"speed": "mph", "length": "yd"}),
    Given("right", {}, {"Note": "", "Carry": "total_m", "Foo": "apex_m", "Club": "nonsense"}),
]
OUTCOMES = {"ok", "needs_mapping", "retry", "quarantine"}


def check(name: str, content: bytes, profile: Given) -> None:
    """Check what must hold for every reading."""
    reading = read_shot_file(ShotFile(name, content), profile)
    shown = as_json(reading)
    json.dumps(shown)
    assert reading.outcome in OUTCOMES
    assert (reading.fault is None) == (reading.outcome == "ok")
    if reading.fault is not None:
        assert reading.outcome == table("faults")["file"][reading.fault.kind]["outcome"]
        for part in ("rows", "rejected", "bad_cells", "dropped"):
            assert shown[part] == []
    lines = [row["line"] for part in ("rows", "rejected", "dropped") for row in shown[part]]
    assert len(lines) == len(set(lines))  # each record has one fate
    assert {row["line"] for row in shown["bad_cells"]} <= {row["line"] for row in shown["rows"]}
    for field, measurement in measurements().items():
        low, high = measurement.possible
        assert reading.shots[field].is_between(low, high).fill_null(value=True).all()


@given(st.binary(max_size=400), st.sampled_from(["a.csv", "a.json", "a.xlsx", "a"]))
@settings(max_examples=150, deadline=None)
def test_any_bytes_give_a_result(content: bytes, name: str) -> None:
    check(name, content, Given())


@given(st.lists(st.sampled_from(FRAGMENTS), max_size=40), st.sampled_from(PROFILES))
@settings(max_examples=300, deadline=None)
def test_any_mix_of_troublesome_pieces_gives_a_result(pieces: list[str], profile: Given) -> None:
    check("a.csv", "".join(pieces).encode(), profile)
    check("a.csv", ("Club,Ball Speed (mph),Carry\n" + "".join(pieces)).encode(), profile)


def spoilt(draw: random.Random, content: bytes) -> bytes:
    """Insert, delete, repeat, overwrite or cut at random places."""
    for _ in range(draw.choice((1, 2, 3, 6, 15))):
        place = draw.randrange(len(content) + 1)
        match draw.randrange(5):
            case 0 | 1:
                content = content[:place] + draw.choice(FRAGMENTS).encode() + content[place:]
            case 2:
                content = content[:place] + content[place + draw.randrange(1, 12) :]
            case 3:
                content = content[:place] + content[place // 2 : place] + content[place:]
            case _:
                content = (
                    content[:place] + draw.randbytes(1) + content[place + 1 :]
                    if draw.random() < 0.7
                    else content[:place]
                )
    return content


def fuzz(count: int, seed: int) -> None:
    draw = random.Random(seed)  # noqa: S311 - no secrets here
    for _ in range(count):
        path = draw.choice(INPUTS)
        check(path.name, spoilt(draw, path.read_bytes()), draw.choice(PROFILES))


def test_spoilt_files_give_a_result() -> None:
    fuzz(400, seed=1)


@pytest.mark.slow
def test_ten_thousand_spoilt_files_give_a_result() -> None:
    fuzz(10_000, seed=2)


# --- the same table written in many ways --------------------------------------------------------------------------
NAMES = {
    "club_speed_mps": ["Club Speed", "Schlägerkopfgeschwindigkeit", "Vitesse de club", "Velocidad del palo"],
    "ball_speed_mps": ["Ball Speed", "Ballgeschwindigkeit", "Vitesse de balle", "Velocidad de la bola"],
    "launch_angle_deg": ["Launch Angle", "Abflugwinkel", "Angle de lancement", "Ángulo de lanzamiento"],
    "attack_angle_deg": ["Attack Angle", "Eintreffwinkel", "Angle d'attaque", "Ángulo de ataque"],
    "spin_rate_rpm": ["Spin Rate", "Spinrate", "Taux de rotation", "Velocidad de giro"],
    "carry_m": ["Carry", "Flugweite", "Portée", "Vuelo"],
    "offline_m": ["Offline", "Seitliche Abweichung", "Écart latéral", "Desviación lateral"],
    "apex_m": ["Apex", "Scheitelhöhe", "Hauteur maximale", "Altura máxima"],
    "flight_time_s": ["Flight Time", "Flugzeit", "Temps de vol", "Tiempo de vuelo"],
}
RANGES = {  # well inside the possible, in stored units
    "club_speed_mps": (20, 60),
    "ball_speed_mps": (20, 90),
    "launch_angle_deg": (-5, 50),
    "attack_angle_deg": (-10, 10),
    "spin_rate_rpm": (500, 9000),
    "carry_m": (30, 300),
    "offline_m": (-60, 60),
    "apex_m": (2, 60),
    "flight_time_s": (1, 9),
}
WRITTEN_UNITS = {
    "speed": ["m/s", "km/h", "mph", "ft/s"],
    "length": ["m", "yd", "ft"],
    "angle": ["deg"],
    "spin": ["rpm"],
    "time": ["s"],
}
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
TEXTS = ["7 iron", "Größe 5", 'say "hi"', "a;b", "a,b", "a|b", "7\n iron", "-", "none", "Driver"]


@dataclass(frozen=True)
class Writing:
    """One way to write a table."""

    delimiter: str
    decimal: str
    encoding: str
    line_end: str
    style: str
    quote_all: bool
    top: str
    tail: str


writings = st.builds(
    Writing,
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    decimal=st.sampled_from([".", ","]),
    encoding=st.sampled_from(ENCODINGS),
    line_end=st.sampled_from(["\n", "\r\n"]),
    style=st.sampled_from(["{n} ({u})", "{n} [{u}]", "{n} / {u}", "{n}_{u}", "{n} {u}", "units row", "cells"]),
    quote_all=st.booleans(),
    top=st.sampled_from(["", "# by bay 3\n", "Session\nBay:;3\n\n", "Date: 2024-05-01\n"]),
    tail=st.sampled_from(["", "\n\n", "Average;;;\n", "End of session\n"]),
)


@st.composite
def tables(draw: st.DrawFn) -> tuple[dict[str, str], list[tuple[str, dict[str, float]]], dict[str, str]]:
    """Draw units by field, rows of club and figures in those units, and names by field."""
    fields = draw(st.lists(st.sampled_from(sorted(NAMES)), min_size=1, max_size=6, unique=True))
    language = draw(st.integers(0, 3))
    chosen = {field: draw(st.sampled_from(WRITTEN_UNITS[measurements()[field].dimension])) for field in fields}
    rows = []
    for _ in range(draw(st.integers(1, 5))):
        figures = {}
        for field in fields:
            unit = units()[measurements()[field].dimension][chosen[field]]
            stored = draw(st.floats(*RANGES[field], allow_nan=False))
            figures[field] = round(unit.from_stored(stored), 2)
        rows.append((draw(st.sampled_from(TEXTS)), figures))
    return chosen, rows, {field: NAMES[field][language] for field in fields}


def figure(value: float, writing: Writing) -> str:
    return f"{value:.2f}".replace(".", writing.decimal)


def line(cells: list[str], writing: Writing) -> str:
    def quoted(cell: str) -> str:
        if writing.quote_all or any(mark in cell for mark in (writing.delimiter, '"', "\n")):
            return '"' + cell.replace('"', '""') + '"'
        return cell

    return writing.delimiter.join(map(quoted, cells)) + "\n"


def written(
    units_by_field: dict[str, str], rows: list[tuple[str, dict[str, float]]], names: dict[str, str], writing: Writing
) -> bytes:
    fields = list(units_by_field)
    in_name = writing.style not in {"units row", "cells"}
    heads = [writing.style.format(n=names[f], u=units_by_field[f]) if in_name else names[f] for f in fields]
    text = writing.top.replace(";", writing.delimiter) + line(["Club", *heads], writing)
    if writing.style == "units row":
        text += line(["", *(f"[{units_by_field[f]}]" for f in fields)], writing)
    for club, figures in rows:
        suffix = {f: f" {units_by_field[f]}" if writing.style == "cells" else "" for f in fields}
        text += line([club, *(figure(figures[f], writing) + suffix[f] for f in fields)], writing)
    text += writing.tail.replace(";", writing.delimiter)
    if writing.encoding == "cp1252":
        text.encode("cp1252")
    return text.replace("\n", writing.line_end).encode(writing.encoding)


@given(tables(), writings)
@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_table_says_the_same_however_it_is_written(
    drawn: tuple[dict[str, str], list[tuple[str, dict[str, float]]], dict[str, str]], writing: Writing
) -> None:
    chosen, rows, names = drawn
    reading = read_shot_file(ShotFile("a.csv", written(chosen, rows, names, writing)), Given())
    assert reading.outcome == "ok", reading.fault
    assert [row["club"] for row in reading.shots.to_dicts()] == [
        club.replace("\n", writing.line_end) for club, _ in rows
    ]
    for field, name in chosen.items():
        unit = units()[measurements()[field].dimension][name]
        assert reading.shots[field].to_list() == pytest.approx(
            [unit.to_stored(figures[field]) for _, figures in rows], abs=1e-6
        )


# --- harmless rewrites --------------------------------------------------------------------------------------------
def usual_cases() -> list[Path]:
    """Give the text inputs that are used, in UTF-8 with line feeds and no special first line."""
    found = []
    for path in INPUTS:
        content = path.read_bytes()
        outcome = json.loads((path.parent / "expected.json").read_text(encoding="utf-8"))["outcome"]
        usual = path.suffix == ".csv" and outcome == "ok" and content.endswith(b"\n") and b"\r" not in content
        if usual and not content.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"sep=")) and b"\0" not in content:
            found.append(path)
    return found


def reread(path: Path, content: bytes, shift: int = 0) -> dict[str, Any]:
    """Read changed content of a case, with line numbers shifted back."""
    profile = json.loads((path.parent / "expected.json").read_text(encoding="utf-8"))["given"]
    shown = as_json(read_shot_file(ShotFile(path.name, content), Given(**profile)))
    shown["dialect"].pop("encoding")
    for part in ("rows", "rejected", "bad_cells", "dropped"):
        for row in shown[part]:
            row["line"] -= shift
    for key in ("header_line", "units_line"):
        shown["dialect"][key] = shown["dialect"][key] and shown["dialect"][key] - shift
    return shown


@pytest.mark.parametrize("path", usual_cases(), ids=lambda path: path.parent.name)
def test_harmless_rewrites_change_nothing(path: Path) -> None:
    content = path.read_bytes()
    plain = reread(path, content)
    utf8 = "legacy_encoding" not in plain["warnings"] and "mixed_encoding" not in plain["warnings"]
    assert reread(path, content.rstrip(b"\n") + b"\n\n  \n") == plain
    assert reread(path, b"# from the bay\n" + content, shift=1) == plain
    assert reread(path, b"\n\n" + content, shift=2) == plain
    if b'"' not in content:  # inside quotes line ends are text
        assert reread(path, content.replace(b"\n", b"\r\n")) == plain
    if utf8:
        assert reread(path, b"\xef\xbb\xbf" + content) == plain
        assert reread(path, content.decode().encode("utf-16")) == plain
    if plain["dialect"]["units_line"] is None and not plain["rejected"] and not plain["dropped"]:
        assert reread(path, content.rstrip(b"\n")) == plain


# --- the two ways to split --------------------------------------------------------------------------------------
LINES = [
    *(
        "7I,118.0,165,ok",
        '"7I","118.0","165","a,b"',
        "7I, 118.5 ,166,",
        "7I,118,,",
        "7I,118",
        "7I,1,2,3,4",
        "7I,1,2,,,",
        ",,,",
    ),
    *(
        "",
        "   ",
        "# note",
        "#1,118,1,x",
        "Average,1,1,1",
        "Club,Ball Speed (mph),Carry (yd),Note",
        '7I,"118",1,"open',
        '"a""b",1,2,x',
    ),
    *(
        '7I,118,165,"two',
        'lines",',
        "7I,\0,1,x",
        "7I,11\r8,1,x",
        "7I,118.0,165,ok\r",
        '7I,118,165, "late"',
        "\u3000,118,\u00a0165,y",
        "text",
    ),
]


@given(st.lists(st.sampled_from(LINES), max_size=25), st.booleans())
@settings(max_examples=200, deadline=None)
def test_fast_and_slow_splitting_agree(lines: list[str], ended: bool) -> None:  # noqa: FBT001 - hypothesis fills it in
    text = "\n".join(["Club,Ball Speed (mph),Carry (yd),Note", *lines]) + ("\n" if ended else "")
    assume(text.count("\0") == 0 or not text.endswith("\0"))
    file = ShotFile("a.csv", text.encode())
    slow = as_json(read_shot_file(file, Given()))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bodies, "FEW_LINES", 0)
        assert as_json(read_shot_file(file, Given())) == slow
