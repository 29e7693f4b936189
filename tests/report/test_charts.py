"""Pictures: well-formed, spoken, and marking what they are given where it belongs; test_contact_sheet has extremes."""

import itertools
import math
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import ball_charts, chart_parts, charts, flight_charts, svg
from pipeline.ball_charts import LandingSet, StripRow
from pipeline.charts import DifferenceRow
from pipeline.flight_charts import FlightCurve, LaunchBox, LaunchPlace
from tests.report import svg_checks
from tests.report.chart_cases import (
    chart_words,
    clubs,
    curve,
    difference,
    landing,
    lever,
    lever_rows,
    place,
    scattered,
    strip,
)

WORDS = chart_words()
SVG = "{http://www.w3.org/2000/svg}"


def parsed(text: str) -> ET.Element:
    assert svg_checks.faults(svg_checks.read(text)) == []
    return ET.fromstring(text)  # noqa: S314 - our own output


def number_of(e: ET.Element, *names: str) -> tuple[float, ...]:
    return tuple(float(e.attrib[name]) for name in names)


def rings(root: ET.Element) -> list[tuple[float, float]]:
    found = [e for e in root.iter(f"{SVG}circle") if e.attrib["r"] == svg.number(svg.RING)]
    return [(float(e.attrib["cx"]), float(e.attrib["cy"])) for e in found]


def lines(root: ET.Element, width: str, colour: str | None = None) -> list[tuple[float, ...]]:
    found = [e for e in root.iter(f"{SVG}line") if e.attrib["stroke-width"] == width]
    wanted = [e for e in found if colour in (None, e.attrib["stroke"])]
    return [number_of(e, "x1", "x2", "y1") for e in wanted]


def place_of(root: ET.Element, words: str) -> tuple[float, float]:
    found = next(e for e in root.iter(f"{SVG}text") if e.text == words)
    return float(found.attrib["x"]), float(found.attrib["y"])


# --- how sure -----------------------------------------------------------------------------------------------------
def test_the_ring_lies_between_the_ends_of_its_lines() -> None:
    root = parsed(charts.differences([difference(1, 8, 5)], WORDS, "t"))
    [(ring, y)], [thin], [thick] = rings(root), lines(root, "1.1"), lines(root, "4.2")
    assert thin[0] < thick[0] < ring < thick[1] < thin[1]
    assert thin[2] == thick[2] == y
    assert (thin[1] - thin[0]) / (thick[1] - thick[0]) == pytest.approx(3, rel=0.01)


def test_a_range_is_drawn_over_its_ring_only_where_the_ring_would_hide_it() -> None:
    root = parsed(charts.differences([difference(1, 0, 0.3), difference(2, 0, 90)], WORDS, "t"))
    order = [(e.tag.removeprefix(SVG), e.attrib.get("stroke")) for e in root if e.attrib.get("stroke-width") != "0.6"]
    marks = [tag for tag, colour in order if colour == svg.MARKS[1][0]]
    assert marks == ["circle", "line", "line"]
    assert [tag for tag, colour in order if colour == svg.MARKS[2][0]] == ["line", "line", "circle"]


def test_levers_stand_on_one_scale_around_zero() -> None:
    rows = [lever("a", 10, (4, 16)), lever("b", -20, (-22, -18)), lever("Sum", 30, None, is_sum=True)]
    root = parsed(charts.levers(rows, 2, WORDS, "t"))
    [zero] = [line[0] for line in lines(root, "0.9")]
    (one, _), (other, _) = rings(root)
    assert (one - zero) * -2 == pytest.approx(other - zero, abs=0.05)
    stroke = next(x1 for x1, x2, _ in lines(root, "2.4", svg.INK) if x1 == x2)
    assert stroke - zero == pytest.approx(3 * (one - zero), abs=0.05)
    assert place_of(root, "cost")[0] < zero < place_of(root, "brought")[0]
    assert "0" in {e.text for e in root.iter(f"{SVG}text")}


def test_levers_range_is_as_long_as_it_is_told() -> None:
    root = parsed(charts.levers([lever("a", 10, (4, 18)), lever("b", 1, (0, 2))], 2, WORDS, "t"))
    first = lines(root, "1.6", svg.MARKS[2][0])[0]
    zero, ring = lines(root, "0.9")[0][0], rings(root)[0][0]
    assert [(x - zero) / (ring - zero) for x in first[:2]] == pytest.approx([0.4, 1.8], abs=0.01)


def test_a_rule_parts_levers_from_their_sum() -> None:
    root = parsed(charts.levers(lever_rows([(3, 2), (6, 3)], 9), 1, WORDS, "t"))
    [rule] = lines(root, "0.6", svg.RULE)
    (_, second), (_, whole) = rings(root)[1:]
    assert second < rule[2] < whole


def test_a_bag_says_each_step_between_its_clubs() -> None:
    root = parsed(charts.bag(clubs([200, 188, 140]), WORDS, "t"))
    heights = [y for _, y in rings(root)]
    first, second = place_of(root, "12 yd: a usual step"), place_of(root, "48 yd: far apart")
    assert heights[0] < first[1] < heights[1] < second[1] < heights[2]
    usual, odd = (next(e for e in root.iter(f"{SVG}text") if e.text == words) for words in
                  ("12 yd: a usual step", "48 yd: far apart"))  # fmt: skip
    assert (usual.attrib.get("font-weight"), odd.attrib["font-weight"]) == (None, "700")
    (far, top), (middle, next_one), (near, _) = rings(root)
    assert (middle - near) / (far - middle) == pytest.approx(4, rel=0.01)
    stair = next(e.attrib["d"] for e in root.iter(f"{SVG}path"))
    turn = (top + next_one) / 2
    corners = [(far, top), (far, turn), (middle, turn), (middle, next_one)]
    assert stair == "M" + "L".join(f"{svg.number(x)} {svg.number(y)}" for x, y in corners)


def test_figures_at_the_right_take_the_room_they_need() -> None:
    wide = DifferenceRow(1, "B", "b", -142, (-175, -109), (-150, -130), "−142 yards long", "−175 to −109 or so")
    root = parsed(charts.differences([wide], WORDS, "t"))
    assert place_of(root, "−142 yards long")[0] > lines(root, "1.1")[0][1] + svg.RING


# --- balls --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("spread", [0.0, 3.0, 40.0])
def test_landing_plan_marks_every_ball(spread: float) -> None:
    sets = [landing(i, scattered(i, 8, 200 + 20 * i, spread, spread)) for i in range(2)]
    root = parsed(ball_charts.landing_plan(sets, WORDS, "Where?"))
    circles = [e for e in root.iter(f"{SVG}circle") if e.attrib["r"] == "2.2"]
    squares = [e for e in root.iter(f"{SVG}rect") if e.attrib.get("stroke") == svg.MARKS[1][0]]
    assert (len(circles), len(squares)) == (8, 8)


def test_landing_plan_shows_right_below_left_and_far_to_the_right() -> None:
    balls = ((200.0, -10.0), (230.0, 15.0))
    root = parsed(ball_charts.landing_plan([LandingSet(0, "A", "a", balls, (215, 2.5), None)], WORDS, "t"))
    (x1, y1), (x2, y2) = (number_of(e, "cx", "cy") for e in root.iter(f"{SVG}circle") if e.attrib["r"] == "2.2")
    assert x2 > x1
    assert y2 > y1
    assert (x2 - x1) / 30 == pytest.approx((y2 - y1) / 25, rel=0.01)
    assert y1 < place_of(root, "aim line")[1] < y2


def test_a_disc_that_would_hide_its_balls_stands_beside_them_on_a_line() -> None:
    spot = parsed(ball_charts.landing_plan([landing(0, [(200.0, 5.0)])], WORDS, "t"))
    [ball] = [number_of(e, "cx", "cy") for e in spot.iter(f"{SVG}circle") if e.attrib["r"] == "2.2"]
    [disc] = [number_of(e, "cx", "cy") for e in spot.iter(f"{SVG}circle") if e.attrib["r"] == svg.number(svg.DISC)]
    leader = next(
        number_of(e, "x1", "y1", "x2", "y2") for e in spot.iter(f"{SVG}line") if e.attrib["stroke-width"] == "0.9"
    )
    assert math.dist(ball, disc) > svg.DISC + 2.2
    assert leader == (*ball, *disc)
    wide = parsed(ball_charts.landing_plan([landing(0, [(180.0, -20.0), (220.0, 20.0)])], WORDS, "t"))
    assert [e for e in wide.iter(f"{SVG}line") if e.attrib["stroke-width"] == "0.9"] == []


def test_outlines_over_each_other_differ_in_grey() -> None:
    both = parsed(ball_charts.landing_plan([landing(i, scattered(i)) for i in range(2)], WORDS, "t"))
    assert len({e.attrib.get("stroke-dasharray") for e in both.iter(f"{SVG}ellipse")}) == 2


@pytest.mark.parametrize("count", [3, 5, 8])
@pytest.mark.parametrize("same_ground", [True, False])
def test_landing_panels_one_a_set_on_one_scale(count: int, *, same_ground: bool) -> None:
    sets = [landing(i, [(100.0 + 20 * i + x, y) for x, y in scattered(1, near=0)]) for i in range(count)]
    root = parsed(ball_charts.landing_panels(sets, WORDS, "Where?", same_ground=same_ground))
    ovals = [number_of(e, "rx", "ry", "cx") for e in root.iter(f"{SVG}ellipse")]
    assert len(ovals) == count
    assert len({oval[:2] for oval in ovals}) == 1
    apart = ovals[1][2] - ovals[0][2]
    assert (ovals[2][2] - ovals[1][2]) == pytest.approx(apart, abs=0.1)
    aims = lines(root, "0.8", svg.INK)
    panels = aims[1][0] - aims[0][0]
    assert apart > panels + 5 if same_ground else apart == pytest.approx(panels, abs=0.1)


def test_every_panel_has_a_scale_of_its_own() -> None:
    sets = [landing(i, scattered(i, near=(240.0, 90.0, 40.0)[i])) for i in range(3)]
    picture = svg_checks.read(ball_charts.landing_panels(sets, WORDS, "t", same_ground=False))
    below = [t for t in picture.texts if t.words.isdigit() and t.left > 30]
    edges = sorted(t.left for t in picture.texts if t.words[1:3] == "  ")
    for left, right in itertools.pairwise([*edges, picture.width]):
        labels = [t for t in below if left - 8 < t.left < right - 24 and t.top > 100]
        assert len({t.words for t in labels}) >= 2


def test_every_shot_numbers_what_is_set_aside() -> None:
    rows = [strip(0, (200.0, 210.0), ((150.0, 7), (151.0, 8))), strip(1, (), ((205.0, 31),))]
    root = parsed(ball_charts.every_shot(rows, WORDS, "Which?"))
    bold = [e.text for e in root.iter(f"{SVG}text") if e.attrib.get("font-weight") == "700"]
    assert {"7", "8", "31"} <= set(bold)
    assert sum(e.attrib["stroke-width"] == "1.1" for e in root.iter(f"{SVG}path")) == 3


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(100, 250), st.integers(1, 9999)), min_size=1, max_size=40))
def test_numbers_of_crosses_keep_apart_and_lead_to_their_cross(aside: list[tuple[float, int]]) -> None:
    row = StripRow(0, "A", "a", (180.0,), tuple(aside))
    picture = svg_checks.read(ball_charts.every_shot([row], WORDS, "t"))
    assert svg_checks.faults(picture) == []
    assert sorted(t.words for t in picture.texts if t.colour == svg.INK and t.size == 8) == sorted(
        str(n) for _, n in aside
    )


@given(st.lists(st.floats(0, 300), min_size=1, max_size=20), st.floats(1, 14))
def test_spread_moves_only_what_is_too_near(wanted: list[float], gap: float) -> None:
    rising = sorted(wanted)
    found = chart_parts.spread(rising, gap, 0, 300)
    assert all(b - a >= gap - 1e-6 for a, b in itertools.pairwise(found))
    if all(b - a >= gap for a, b in itertools.pairwise(rising)):
        assert found == pytest.approx(rising)
    if (len(rising) - 1) * gap <= 300:
        assert min(found) >= -1e-6
        assert max(found) <= 300 + 1e-6


# --- flight and launch --------------------------------------------------------------------------------------------
def test_flights_keep_their_letters_apart_and_differ_in_dashes() -> None:
    root = parsed(flight_charts.flights([curve(i) for i in range(4)], WORDS, "How?"))
    paths = list(root.iter(f"{SVG}path"))
    assert len({e.attrib.get("stroke-dasharray") for e in paths}) == len({e.attrib["stroke"] for e in paths}) == 4


def test_a_flight_keeps_its_shape_and_fits() -> None:
    high = FlightCurve(0, "A", ((0.0, 0.0), (20.0, 60.0), (40.0, 0.0)))
    root = parsed(flight_charts.flights([high], WORDS, "t"))
    d = next(root.iter(f"{SVG}path")).attrib["d"]
    (x0, y0), (x1, y1), (x2, y2) = (tuple(map(float, pair.split())) for pair in d[1:].split("L"))
    assert (y0 - y1) / (x2 - x0) == pytest.approx(1.5, rel=0.01)
    assert y0 == y2
    assert x1 == pytest.approx((x0 + x2) / 2, abs=0.02)
    assert y1 > 0


@pytest.mark.parametrize(
    ("far", "high", "least", "most"), [(40, 90, 200, 240), (240, 0.4, 74, 80), (200, 30, 100, 130)]
)
def test_flights_are_neither_towers_nor_threads(far: float, high: float, least: float, most: float) -> None:
    picture = svg_checks.read(flight_charts.flights([curve(0, far, high)], WORDS, "t"))
    assert least <= picture.height <= most


def test_a_launch_window_lies_between_its_bounds() -> None:
    box = LaunchBox("for carry", ("Window", "10 to 14", "2000 to 3000"), (10, 14), (2000, 3000), (12, 2500))
    root = parsed(
        flight_charts.launch_window([box], LaunchPlace(0, "A", (12, 2500), ("Own", "12", "2500")), WORDS, "t")
    )
    outline = next(e for e in root.iter(f"{SVG}rect") if float(e.attrib["width"]) > 20)
    x, y, wide, high = number_of(outline, "x", "y", "width", "height")
    [disc, _] = [number_of(e, "cx", "cy") for e in root.iter(f"{SVG}circle")]
    assert disc == pytest.approx((x + wide / 2, y + high / 2), abs=0.1)
    loft = next(root.iter(f"{SVG}path")).attrib["d"]
    ends = [(x, y + high), (x + wide / 2, y + high / 2), (x + wide, y)]
    assert [tuple(map(float, p.split())) for p in loft[1:].split("L")] == [pytest.approx(end, abs=0.1) for end in ends]
    low, up = place_of(root, "2250"), place_of(root, "2750")
    assert low[1] > disc[1] > up[1]
    assert place_of(root, "12")[0] == pytest.approx(disc[0], abs=0.1)


def test_the_two_windows_differ_in_dashes_and_words() -> None:
    boxes = [
        LaunchBox(name, (name, "1", "2"), (10 - i, 14 - i), (2000 - 300 * i, 3000), (12, 2500))
        for i, name in enumerate(("for carry", "for the total"))
    ]
    root = parsed(flight_charts.launch_window(boxes, place(4, 4000), WORDS, "t"))
    outlines = [e for e in root.iter(f"{SVG}rect") if float(e.attrib["width"]) > 20]
    assert len({e.attrib.get("stroke-dasharray") for e in outlines}) == 2
    assert sum(e.text in ("for carry", "for the total") for e in root.iter(f"{SVG}text")) == 4


# --- any numbers --------------------------------------------------------------------------------------------------
SIDE = st.floats(-120, 120)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(SIDE, st.floats(0, 150)), min_size=1, max_size=6))
def test_differences_of_any_size_stay_readable(pairs: list[tuple[float, float]]) -> None:
    rows = [difference(i + 1, middle, half) for i, (middle, half) in enumerate(pairs)]
    assert svg_checks.faults(svg_checks.read(charts.differences(rows, WORDS, "t"))) == []


@settings(max_examples=30, deadline=None)
@given(st.lists(st.lists(st.tuples(st.floats(2, 340), SIDE), min_size=1, max_size=7), min_size=1, max_size=5))
def test_balls_anywhere_stay_readable(balls: list[list[tuple[float, float]]]) -> None:
    sets = [landing(i, each) for i, each in enumerate(balls)]
    plan = ball_charts.landing_plan(sets[:2], WORDS, "t")
    panels = ball_charts.landing_panels(sets, WORDS, "t", same_ground=len(sets) > 2)
    assert [svg_checks.faults(svg_checks.read(drawing)) for drawing in (plan, panels)] == [[], []]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.floats(20, 330), st.floats(0, 90)), min_size=1, max_size=8))
def test_flights_of_any_shape_stay_readable(shapes: list[tuple[float, float]]) -> None:
    curves = [curve(i, far, high) for i, (far, high) in enumerate(shapes)]
    assert svg_checks.faults(svg_checks.read(flight_charts.flights(curves, WORDS, "t"))) == []


# --- parts --------------------------------------------------------------------------------------------------------
@given(st.text(max_size=60))
def test_any_text_is_escaped(text: str) -> None:
    printable = "".join(c for c in text if c.isprintable())
    drawing = svg.Drawing(100, 50, printable + "x")
    drawing.text((1, 10), printable)
    root = ET.fromstring(drawing.finish())  # noqa: S314 - our own output
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


def test_marks_differ_in_colour_and_shape() -> None:
    assert len({colour for colour, _ in svg.MARKS}) == len({shape for _, shape in svg.MARKS}) == 4
    assert svg.mark_of(9) == svg.OTHER_MARK


@given(st.text("ab Wi", max_size=60), st.floats(30, 200))
def test_a_name_is_wrapped_into_two_lines_that_fit(text: str, width: float) -> None:
    found = svg.wrapped(text, 9.5, width)
    assert 1 <= len(found) <= 2
    assert all(svg.text_width(line, 9.5) <= width + 0.01 for line in found)
    if not any("…" in line for line in found):
        assert "".join(found).replace(" ", "") == text.replace(" ", "")


@pytest.mark.parametrize(("values", "digits"), [([0, 5, 10], 0), ([0, 2.5, 5], 1), ([0, 0.25], 2), ([-1.5, 0], 1)])
def test_labels_have_the_decimals_they_need(values: list[float], digits: int) -> None:
    assert chart_parts.digits_of(values) == digits


def test_spread_shares_the_move() -> None:
    assert chart_parts.spread([50, 50, 50], 10, 0, 100) == [40, 50, 60]
    assert chart_parts.spread([50, 50, 50, 80], 10, 0, 100) == [40, 50, 60, 80]
    assert chart_parts.spread([2, 99, 99], 10, 0, 100) == [2, 90, 100]


def test_a_text_is_as_wide_as_its_widest_weight() -> None:
    assert svg.text_width("0000", 10) == pytest.approx(4 * 5.28, abs=0.01)  # 528 of 1000 units, the bold font's digits


def test_labels_count_in_ones_twos_and_fives() -> None:
    assert svg.ticks(0, 12, 5) == [0, 5, 10]
    assert svg.ticks(0, 120, 5) == [0, 25, 50, 75, 100]


@given(st.floats(-500, 500), st.floats(0.5, 500), st.integers(1, 8))
def test_a_scale_has_two_labels_at_least(low: float, span: float, wanted: int) -> None:
    assert len(chart_parts.readable_ticks(low, low + span, wanted)) >= 2
