"""Pictures: well-formed, spoken, inside their frame, and marking what they are given."""

import itertools
import math
import re
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import charts, svg
from pipeline.charts import DifferenceRow, FlightCurve, LandingSet, Oval, StripRow

WORDS = charts.Words("left", "right", "aim", "carry", "distance", "height", "shorter", "longer", "same")
SVG = "{http://www.w3.org/2000/svg}"


def parsed(text: str) -> ET.Element:
    root = ET.fromstring(text)  # noqa: S314 - our own output
    assert root[0].tag == f"{SVG}title"
    assert root[0].text
    return root


def inside(root: ET.Element) -> bool:
    """Tell whether every placed mark and text lies in the picture's frame."""
    wide, high = (float(v) for v in root.attrib["viewBox"].split()[2:])
    ok = True
    for element in root.iter():
        for x, y in (("x", "y"), ("cx", "cy"), ("x1", "y1"), ("x2", "y2")):
            if x in element.attrib:
                ok &= -1 <= float(element.attrib[x]) <= wide + 1 and -1 <= float(element.attrib[y]) <= high + 1
    return ok


def row(index: int, middle: float, half: float) -> DifferenceRow:
    thin, thick = (middle - half, middle + half), (middle - half / 3, middle + half / 3)
    return DifferenceRow(index, "ABCD"[index], f"Build {index}", middle, thin, thick, "+1 yd", "0 to 2")


def landing(index: int, near: float = 200, spread: float = 10, *, oval: bool = True) -> LandingSet:
    balls = tuple((near + spread * math.sin(i), spread * math.cos(i * 1.7)) for i in range(8))
    around = Oval((near, 0), spread * 2, spread, 0.4) if oval else None
    return LandingSet(index, "ABCDEFGH"[index], f"Build {index}", balls, (near, 0.0), around)


@pytest.mark.parametrize("rows", [[row(1, 8, 5)], [row(1, -30, 2), row(2, 40, 60), row(3, 0, 0.001)]])
def test_differences(rows: list[DifferenceRow]) -> None:
    root = parsed(charts.differences(rows, WORDS, "Which build?"))
    assert inside(root)
    rings = [e for e in root.iter(f"{SVG}circle") if e.attrib["r"] == "3.6"]
    assert len(rings) == len(rows)


def test_the_ring_lies_between_the_ends_of_its_lines() -> None:
    root = parsed(charts.differences([row(1, 8, 5)], WORDS, "t"))
    ring = next(float(e.attrib["cx"]) for e in root.iter(f"{SVG}circle") if e.attrib["r"] == "3.6")
    thin, thick = (next(e for e in root.iter(f"{SVG}line") if e.attrib["stroke-width"] == w) for w in ("1.1", "4.2"))
    assert (
        float(thin.attrib["x1"])
        < float(thick.attrib["x1"])
        < ring
        < float(thick.attrib["x2"])
        < float(thin.attrib["x2"])
    )


@pytest.mark.parametrize("spread", [0.0, 3.0, 40.0])
def test_landing_plan_marks_every_ball_on_one_scale(spread: float) -> None:
    sets = [landing(0, spread=spread, oval=spread > 0), landing(1, near=220, spread=spread, oval=spread > 0)]
    root = parsed(charts.landing_plan(sets, WORDS, "Where?"))
    assert inside(root)
    circles = [e for e in root.iter(f"{SVG}circle") if e.attrib["r"] == "2.2"]
    squares = [e for e in root.iter(f"{SVG}rect") if e.attrib.get("stroke") == svg.MARKS[1][0]]
    assert (len(circles), len(squares)) == (8, 8)


def test_landing_plan_shows_right_below_left_and_far_to_the_right() -> None:
    balls = ((200.0, -10.0), (230.0, 15.0))
    root = parsed(charts.landing_plan([LandingSet(0, "A", "a", balls, (215, 2.5), None)], WORDS, "t"))
    marks = [
        (float(e.attrib["cx"]), float(e.attrib["cy"])) for e in root.iter(f"{SVG}circle") if e.attrib["r"] == "2.2"
    ]
    (x1, y1), (x2, y2) = marks
    assert x2 > x1
    assert y2 > y1
    assert (x2 - x1) / 30 == pytest.approx((y2 - y1) / 25, rel=0.01)


@pytest.mark.parametrize("count", [3, 5, 8])
@pytest.mark.parametrize("same_ground", [True, False])
def test_landing_panels_one_a_set(count: int, *, same_ground: bool) -> None:
    sets = [landing(i, near=100 + 20 * i) for i in range(count)]
    root = parsed(charts.landing_panels(sets, WORDS, "Where?", same_ground=same_ground))
    assert inside(root)
    assert len(list(root.iter(f"{SVG}ellipse"))) == count


def test_flights_keep_their_letters_apart() -> None:
    curve = tuple((5.0 * i, 30 * math.sin(math.pi * i / 40)) for i in range(41))
    root = parsed(charts.flights([FlightCurve(i, "ABCD"[i], curve) for i in range(4)], WORDS, "How?"))
    discs = [(float(e.attrib["cx"]), float(e.attrib["cy"])) for e in root.iter(f"{SVG}circle")]
    assert len(discs) == 4
    assert min(math.dist(a, b) for i, a in enumerate(discs) for b in discs[:i]) > 12
    assert inside(root)


def test_every_shot_numbers_what_is_set_aside() -> None:
    rows = [
        StripRow(0, "A", "own", (200.0, 210.0), ((150.0, 7), (151.0, 8))),
        StripRow(1, "B", "b", (), ((205.0, 31),)),
    ]
    root = parsed(charts.every_shot(rows, WORDS, "Which?"))
    bold = [e.text for e in root.iter(f"{SVG}text") if e.attrib.get("font-weight") == "700"]
    assert {"7", "8", "31"} <= set(bold)
    assert inside(root)


@given(st.text(max_size=60))
def test_any_text_is_escaped(text: str) -> None:
    printable = "".join(c for c in text if c.isprintable())
    drawing = svg.Drawing(100, 50, printable + "x")
    drawing.text((1, 10), printable)
    root = parsed(drawing.finish())
    assert root[1].text == (printable or None)


@given(st.floats(-1e4, 1e4), st.floats(0.01, 1e4), st.integers(2, 10))
def test_ticks_are_round_and_inside(low: float, span: float, wanted: int) -> None:
    values = svg.ticks(low, low + span, wanted)
    assert all(low - span * 1e-6 - 1e-6 <= v <= low + span * (1 + 1e-6) + 1e-6 for v in values)
    assert 0 < len(values) <= wanted + 1 or span / wanted > span
    assert all(b > a for a, b in itertools.pairwise(values))


@pytest.mark.parametrize(
    ("value", "text"), [(1.0, "1"), (0.104, "0.1"), (-0.001, "0"), (12.345, "12.35"), (100.0, "100"), (-2.5, "-2.5")]
)
def test_coordinates_are_short(value: float, text: str) -> None:
    assert svg.number(value) in (text, "12.34" if text == "12.35" else text)


@pytest.mark.parametrize(("value", "text"), [(3.4, "+3"), (-3.6, "−4"), (0.4, "0"), (-0.4, "0")])
def test_differences_carry_their_sign(value: float, text: str) -> None:
    assert charts.signed(value) == text


def test_marks_differ_in_colour_and_shape() -> None:
    assert len({colour for colour, _ in svg.MARKS}) == len({shape for _, shape in svg.MARKS}) == 4
    assert svg.mark_of(9) == svg.OTHER_MARK


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("colour", [*(c for c, _ in svg.MARKS), svg.INK, svg.QUIET, svg.WARN])
def test_everything_that_carries_meaning_has_contrast(colour: str) -> None:
    """WCAG 2.2, success criteria 1.4.3 and 1.4.11: 4.5 to 1 for text (from memory); all our colours carry letters."""
    assert (1.0 + 0.05) / (luminance(colour) + 0.05) >= 4.5


def test_labels_are_clipped_not_overflowing() -> None:
    text = charts.differences([DifferenceRow(1, "B", "x" * 300, 1, (0, 2), (0.5, 1.5), "+1", "0 to 2")], WORDS, "t")
    assert max(len(t) for t in re.findall(r">([^<]*)</text>", text)) < 60
