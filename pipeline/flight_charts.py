"""Pictures of flight and launch: view records in shown units → SVG text, nothing measured or decided here."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from pipeline.chart_parts import Axis, Words, digits_of, framed, readable_ticks, side_labels
from pipeline.svg import (
    DISC,
    FAINT,
    INK,
    QUIET,
    WIDTH,
    Drawing,
    Point,
    clipped,
    dash_of,
    mark_of,
    text_width,
    wrapped,
)

_TALLEST, _LOWEST = 190.0, 34.0  # the flights' plot
_BOX_DASHES = (None, "5 2.5")


@dataclass(frozen=True, slots=True)
class FlightCurve:
    """The middle flight of a set: (distance, height) points."""

    index: int
    letter: str
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class LaunchBox:
    """A launch window: its word in the picture, those beside it, its bounds and best in launch [deg] and spin [rpm]."""

    word: str
    said: tuple[str, ...]
    launch: Point
    spin: Point
    best: Point


@dataclass(frozen=True, slots=True)
class LaunchPlace:
    """Where a set starts now: launch [deg] and spin [rpm], and the words beside the picture."""

    index: int
    letter: str
    at: Point
    said: tuple[str, ...]


# --- flights ------------------------------------------------------------------------------------------------------
def flights(curves: Sequence[FlightCurve], words: Words, title: str, heights: float = 1.0) -> str:
    """Draw the middle flights from the side, same scale up and along; heights: units of height to one of length."""
    left, right, top = 24.0, 8.0, 16.0
    room = WIDTH - left - right
    far = max(p[0] for c in curves for p in c.points) * 1.03
    high = max(max(p[1] for c in curves for p in c.points) * 1.15, far / 100)
    k = min(room / far, _TALLEST / high)
    high = max(high, _LOWEST / k)
    axis, base = Axis(0, room / k, left, WIDTH - right), top + high * k
    picture = Drawing(WIDTH, base + 25, title)
    axis.grid(picture, top, base, words.number)
    levels = [(base - t / heights * k, t) for t in readable_ticks(0, high * heights, max(int(high * k / 25), 1))]
    for y, t in levels:
        picture.line((left, y), (WIDTH - right, y), FAINT if t else INK, 0.6 if t else 0.8)
    side_labels(picture, [(y, words.number(t, digits_of([t for _, t in levels]))) for y, t in levels], left - 4)
    lines = [[(axis.at(p[0]), base - p[1] * k) for p in curve.points] for curve in curves]
    taken: list[Point] = []
    for curve, line in zip(curves, lines, strict=True):
        picture.path(line, mark_of(curve.index)[0], 1.5, dash_of(curve.index))
        taken.append(_free_place(line, taken, base))
    for curve, at in zip(curves, taken, strict=True):
        picture.disc(curve.index, curve.letter, at)
    picture.text((WIDTH - right, base + 22), words.distance_axis, 8, QUIET, "end")
    picture.text((left, top - 6), words.height_axis, 8, QUIET)
    return picture.finish()


def _free_place(line: Sequence[Point], taken: Sequence[Point], base: float) -> Point:
    """Find the place on a curve, from its middle outwards, whose disc covers no other; else the farthest from them."""
    ends = min(2, (len(line) - 1) // 2)
    inner = [(x, min(y, base - DISC - 1)) for x, y in line[ends : len(line) - ends]]
    middle = len(inner) // 2 + 4
    candidates = [place for _, place in sorted(enumerate(inner), key=lambda pair: abs(pair[0] - middle))]
    for place in candidates:
        if all(math.dist(place, other) > 2 * DISC + 1.6 for other in taken):
            return place
    return max(candidates, key=lambda p: min(math.dist(p, other) for other in taken))


# --- launch window ------------------------------------------------------------------------------------------------
def launch_window(boxes: Sequence[LaunchBox], place: LaunchPlace | None, words: Words, title: str) -> str:
    """Draw launch across and spin up: each window as an outline, the line loft moves along in it, and the golfer."""
    left, top, base, end = 40.0, 16.0, 166.0, 308.0
    launches = [v for box in boxes for v in box.launch] + ([place.at[0]] if place else [])
    spins = [v for box in boxes for v in box.spin] + ([place.at[1]] if place else [])
    across, up = framed(launches, left, end, 0.6), framed(spins, base, top, 60)
    picture = Drawing(WIDTH, base + 25, title)
    _launch_grid(picture, across, up, words)
    middle = (across.at(place.at[0]), up.at(place.at[1])) if place else None
    taken: list[tuple[float, float, float, float]] = []
    if middle:
        taken.append((middle[0] - DISC, middle[1] - DISC, middle[0] + DISC, middle[1] + DISC))
    for box, dash in zip(boxes, _BOX_DASHES, strict=False):
        _outline(picture, box, (across, up), dash)
    lines = [point for box in boxes for point in _points(box, (across, up))]
    for box in boxes:
        taken.append(_box_word(picture, box, (across, up), lines, taken))
    if place and middle:
        picture.disc(place.index, place.letter, middle)
    _beside(picture, boxes, place, end + 24)
    return picture.finish()


def _launch_grid(picture: Drawing, across: Axis, up: Axis, words: Words) -> None:
    """Draw both axes with their units; the upright one runs from its left end, the base, to its right end, the top."""
    across.grid(picture, up.right, up.left, words.number)
    levels = readable_ticks(up.low, up.high, 5)
    for value in levels:
        picture.line((across.left, up.at(value)), (across.right, up.at(value)), FAINT, 0.6)
    side_labels(picture, [(up.at(value), words.number(value, digits_of(levels))) for value in levels], across.left - 4)
    picture.text((across.right, up.left + 22), words.launch_axis, 8, QUIET, "end")
    picture.text((0, up.right - 6), words.spin_axis, 8, QUIET)


def _outline(picture: Drawing, box: LaunchBox, axes: tuple[Axis, Axis], dash: str | None) -> None:
    """Draw a window, and in it the line along which loft moves launch and spin together."""
    (x0, y0), (x1, y1) = _corners(box, axes)
    picture.element(
        "rect", x=x0, y=y0, width=x1 - x0, height=y1 - y0, fill="none", stroke=INK, stroke_width=1.2,
        stroke_dasharray=dash,
    )  # fmt: skip
    picture.path(_loft_line(box, axes), QUIET, 0.8)


def _corners(box: LaunchBox, axes: tuple[Axis, Axis]) -> tuple[Point, Point]:
    """Give the upper left and the lower right corner of a window."""
    across, up = axes
    return (across.at(box.launch[0]), up.at(box.spin[1])), (across.at(box.launch[1]), up.at(box.spin[0]))


def _loft_line(box: LaunchBox, axes: tuple[Axis, Axis]) -> list[Point]:
    across, up = axes
    ends = (box.launch[0], box.spin[0]), box.best, (box.launch[1], box.spin[1])
    return [(across.at(launch), up.at(spin)) for launch, spin in ends]


Frame = tuple[float, float, float, float]  # left, top, right, bottom


def _box_word(
    picture: Drawing, box: LaunchBox, axes: tuple[Axis, Axis], lines: Sequence[Point], taken: Sequence[Frame]
) -> Frame:
    """Write a window's word at its corner, where it covers least of the lines and nothing that is written."""
    (x0, y0), (x1, y1) = _corners(box, axes)
    wide = text_width(box.word, 8)
    outer_left, outer_right = x0 - wide - 4, x1 + 4
    corners = [(x, y) for y in (y0 - 3, y1 + 9) for x in (x0, x1 - wide)]
    corners += [(x, y) for y in (y0 + 7, y1) for x in (outer_right, outer_left)]
    corners += [(x0 + 4, y0 + 10), (x1 - wide - 4, y1 - 4)]
    corners += [(x, y) for y in (y0 - 14, y1 + 20) for x in (x0, x1 - wide)]
    room = (axes[0].left, axes[1].right - 2, axes[0].right, axes[1].left)
    places = [(x, y, (x, y - 6, x + wide, y + 1.5)) for x, y in corners]

    def written_over(place: tuple[float, float, Frame]) -> tuple[int, int]:
        frame = place[2]
        outside = not (room[0] <= frame[0] and room[1] <= frame[1] and frame[2] <= room[2] and frame[3] <= room[3])
        return sum(_meet(frame, other) for other in taken), outside

    least = min(written_over(place) for place in places)
    clear = [place for place in places if written_over(place) == least]
    x, y, frame = min(clear, key=lambda place: sum(_holds(place[2], point) for point in lines))
    picture.text((x, y), box.word, 8, INK, weight=600)
    return (frame[0] - 4, frame[1], frame[2] + 4, frame[3])


def _points(box: LaunchBox, axes: tuple[Axis, Axis]) -> list[Point]:
    """Give points close together on the lines of a window."""
    (x0, y0), (x1, y1) = _corners(box, axes)
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0), *_loft_line(box, axes)]
    pairs = [pair for i, pair in enumerate(pairwise(corners)) if i != 4]
    return [(a[0] + (b[0] - a[0]) * i / 40, a[1] + (b[1] - a[1]) * i / 40) for a, b in pairs for i in range(41)]


def _meet(one: Frame, other: Frame) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _holds(frame: Frame, point: Point) -> bool:
    return frame[0] - 1 <= point[0] <= frame[2] + 1 and frame[1] - 1 <= point[1] <= frame[3] + 1


def _beside(picture: Drawing, boxes: Sequence[LaunchBox], place: LaunchPlace | None, left: float) -> None:
    """Write the figures of each window and of the golfer beside the picture, each by its mark."""
    y, start = 24.0, left + 22
    for box, dash in zip(boxes, _BOX_DASHES, strict=False):
        picture.element(
            "rect",
            x=left,
            y=y - 7,
            width=15,
            height=9,
            fill="none",
            stroke=INK,
            stroke_width=1.2,
            stroke_dasharray=dash,
        )
        y = _paragraph(picture, (start, y), box.said)
    if place:
        picture.disc(place.index, place.letter, (left + 7.5, y - 3))
        _paragraph(picture, (start, y), place.said)


def _paragraph(picture: Drawing, at: Point, lines: Sequence[str]) -> float:
    """Write lines below one another, the first as a name of one or two lines; give where the next may start."""
    x, y = at
    for line in wrapped(lines[0], 9.5, WIDTH - x):
        picture.text((x, y), line, 9.5, INK, weight=600)
        y += 11.5
    for line in lines[1:]:
        picture.text((x, y), clipped(line, 9.5, WIDTH - x), 9.5)
        y += 11.5
    return y + 10
