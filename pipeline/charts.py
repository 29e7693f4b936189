"""The report's pictures: view records in shown units → SVG text, nothing measured or decided here.

One grammar in all of them: a small open mark is one ball, a filled letter disc is a whole set, an outline is where the
next balls fall, a thick-and-thin line is how sure we are, a numbered cross is a ball set aside.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pipeline.svg import (
    FAINT,
    INK,
    PAPER,
    QUIET,
    RULE,
    Drawing,
    Point,
    clipped,
    mark_of,
    scale,
    text_width,
    ticks,
)

WIDTH = 493.0  # points: the column of an A4 page between margins of 18 mm


@dataclass(frozen=True, slots=True)
class Oval:
    """An ellipse around a set's middle: centre, half-axes, angle of the long axis from the target line [rad]."""

    centre: Point
    long_axis: float
    short_axis: float
    angle: float

    def reach(self) -> Point:
        """Give half the width and half the height of the box around it."""
        c, s = math.cos(self.angle), math.sin(self.angle)
        return math.hypot(self.long_axis * c, self.short_axis * s), math.hypot(self.long_axis * s, self.short_axis * c)


@dataclass(frozen=True, slots=True)
class LandingSet:
    """Where the balls of a set came down: (carry, side) of each, side + right."""

    index: int
    letter: str
    label: str
    balls: tuple[Point, ...]
    middle: Point
    oval: Oval | None


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    """One build against the own club; text_middle and text_range are written at the right."""

    index: int
    letter: str
    label: str
    middle: float
    thin: Point
    thick: Point
    text_middle: str
    text_range: str


@dataclass(frozen=True, slots=True)
class FlightCurve:
    """The middle flight of a set: (distance, height) points."""

    index: int
    letter: str
    points: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class StripRow:
    """Every ball of a set on one line: counted ones, and (carry, number) of those set aside."""

    index: int
    letter: str
    label: str
    counted: tuple[float, ...]
    aside: tuple[tuple[float, int], ...]


@dataclass(frozen=True, slots=True)
class Words:
    """Words that stand in pictures."""

    left: str
    right: str
    aim: str
    carry_axis: str
    distance_axis: str
    height_axis: str
    shorter: str
    longer: str
    same: str


def _plain(value: float) -> str:
    return f"{value:.0f}"


def signed(value: float, digits: int = 0) -> str:
    """Write a difference with its sign, a true minus, and no sign on a rounded zero."""
    text = f"{abs(value):.{digits}f}"
    return text if float(text) == 0 else ("+" if value > 0 else "−") + text


# --- difference ---------------------------------------------------------------------------------------------------
def differences(rows: Sequence[DifferenceRow], words: Words, title: str) -> str:
    """Draw each build's difference from the own club with its certainty."""
    left, right, top, step = 170.0, 92.0, 20.0, 24.0
    bottom = top + step * len(rows)
    ends = [0.0, *(v for row in rows for v in row.thin)]
    margin = max((max(ends) - min(ends)) * 0.06, 0.5)
    low, high = min(ends) - margin, max(ends) + margin
    x = scale(low, high, left, WIDTH - right)
    picture = Drawing(WIDTH, bottom + 20, title)
    for t in ticks(low, high, 5):
        picture.line((x(t), top - 6), (x(t), bottom), FAINT, 0.6)
        if abs(x(t) - x(0)) > 14 or t == 0:
            picture.text((x(t), bottom + 11), signed(t) if t else words.same, 8, QUIET, "middle")
    picture.line((x(0), top - 10), (x(0), bottom), INK, 0.9)
    picture.text((x(0) - 4, top - 7), words.shorter, 8, QUIET, "end")
    picture.text((x(0) + 4, top - 7), words.longer, 8, QUIET)
    for i, row in enumerate(rows):
        _difference_row(picture, row, top + step * (i + 0.5), x, WIDTH - right + 10)
    return picture.finish()


def _difference_row(picture: Drawing, row: DifferenceRow, y: float, x: Callable[[float], float], right: float) -> None:
    colour = mark_of(row.index)[0]
    picture.disc(row.index, row.letter, (7, y))
    picture.text((18, y + 3.2), clipped(row.label, 9.5, 145), 9.5)
    picture.certainty((x(row.thin[0]), x(row.thin[1])), (x(row.thick[0]), x(row.thick[1])), y, colour)
    picture.element("circle", cx=x(row.middle), cy=y, r=3.6, fill=PAPER, stroke=colour, stroke_width=1.4)
    picture.text((right, y + 3.2), row.text_middle, 9.5, INK, weight=700)
    picture.text((WIDTH, y + 3.2), row.text_range, 8, QUIET, "end")


# --- landing ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Window:
    """A part of the ground, in shown units."""

    near: float
    far: float
    left: float  # smallest side value (left is negative)
    right: float


def _window(sets: Sequence[LandingSet]) -> _Window:
    """Frame outlines and balls, the aim line always inside, never narrower than it is readable."""
    along = [p[0] for s in sets for p in s.balls]
    across = [p[1] for s in sets for p in s.balls] + [0.0]
    for s in sets:
        if s.oval:
            dx, dy = s.oval.reach()
            along += [s.oval.centre[0] - dx, s.oval.centre[0] + dx]
            across += [s.oval.centre[1] - dy, s.oval.centre[1] + dy]
    middle, half = (min(along) + max(along)) / 2, max((max(along) - min(along)) / 2, 8.0)
    centre, reach = (min(across) + max(across)) / 2, max((max(across) - min(across)) / 2, 8.0)
    return _Window(middle - half - 4, middle + half + 4, centre - reach - 4, centre + reach + 4)


def landing_plan(sets: Sequence[LandingSet], words: Words, title: str, width: float = 292.0) -> str:
    """Draw where the balls came down, seen from above, target line to the right, same scale both ways."""
    view = _window(sets)
    margins = (24.0, 10.0, 6.0, 26.0)  # left, top, right, bottom
    across, along = view.right - view.left, view.far - view.near
    k = min((width - margins[0] - margins[2]) / along, 185.0 / across)
    height = margins[1] + across * k + margins[3]
    picture = Drawing(width, height, title)
    _ground(picture, view, k, margins, words)
    spare = (width - margins[0] - margins[2]) / k - along
    _landed(picture, sets, _placed(view.near - spare / 2, view.left, k, margins))
    picture.text((width - margins[2], height - 3), words.carry_axis, 8, QUIET, "end")
    return picture.finish()


def _placed(near: float, left: float, k: float, margins: tuple[float, ...]) -> Callable[[Point], Point]:
    """Map (carry, side) to the page: carry to the right, the golfer's left side up."""
    return lambda p: (margins[0] + (p[0] - near) * k, margins[1] + (p[1] - left) * k)


def _ground(picture: Drawing, view: _Window, k: float, margins: tuple[float, ...], words: Words) -> None:
    """Draw grid, aim line and the words left and right."""
    spare = (picture.width - margins[0] - margins[2]) / k - (view.far - view.near)
    near, far = view.near - spare / 2, view.far + spare / 2
    at = _placed(near, view.left, k, margins)
    bottom, end = at((near, view.right))[1], picture.width - margins[2]
    for t in ticks(near, far, max(int((far - near) * k / 45), 2)):
        x = at((t, 0))[0]
        picture.line((x, margins[1]), (x, bottom), FAINT, 0.6)
        picture.text((x, bottom + 10), _plain(t), 8, QUIET, "middle")
    for t in ticks(view.left, view.right, max(int((view.right - view.left) * k / 40), 2)):
        y = at((0, t))[1]
        picture.line((margins[0], y), (end, y), INK if t == 0 else FAINT, 0.8 if t == 0 else 0.6)
        picture.text((margins[0] - 4, y + 2.7), _plain(abs(t)), 8, QUIET, "end")
    picture.line((margins[0], at((0, 0))[1]), (end, at((0, 0))[1]), INK, 0.8)
    picture.text((end, at((0, 0))[1] - 3), words.aim, 8, INK, "end")
    _on_paper(picture, (margins[0] + 2, margins[1] + 7), words.left)
    _on_paper(picture, (margins[0] + 2, bottom - 3), words.right)


def _on_paper(picture: Drawing, at: Point, words: str) -> None:
    """Write quiet words with the lines behind them wiped out."""
    wide = text_width(words, 8)
    picture.element("rect", x=at[0] - 1, y=at[1] - 7, width=wide + 2, height=9, fill=PAPER)
    picture.text(at, words, 8, QUIET)


def _landed(picture: Drawing, sets: Sequence[LandingSet], at: Callable[[Point], Point]) -> None:
    """Draw outlines first, then balls, then the letter discs, so that nothing hides a letter."""
    k = at((1, 0))[0] - at((0, 0))[0]
    for s in sets:
        if s.oval:
            (cx, cy), colour = at(s.oval.centre), mark_of(s.index)[0]
            turned = f"rotate({math.degrees(s.oval.angle):.2f} {cx:.2f} {cy:.2f})"
            picture.element(
                "ellipse", cx=cx, cy=cy, rx=s.oval.long_axis * k, ry=s.oval.short_axis * k, transform=turned,
                fill=colour, fill_opacity=0.07, stroke=colour, stroke_width=1.1,
            )  # fmt: skip
    for s in sets:
        for ball in s.balls:
            picture.ball(s.index, at(ball))
    for s in sets:
        picture.disc(s.index, s.letter, at(s.middle))


def landing_panels(sets: Sequence[LandingSet], words: Words, title: str, *, same_ground: bool) -> str:
    """Draw one small plan a set, all on one scale; same_ground: all show the same piece of ground."""
    columns = min(len(sets), 4)
    gap, label_room, axis_room = 10.0, 16.0, 22.0
    panel = (WIDTH - gap * (columns - 1)) / columns
    views = [_window(sets if same_ground else [s]) for s in sets]
    views = [_Window(v.near, v.far, min(w.left for w in views), max(w.right for w in views)) for v in views]
    across = views[0].right - views[0].left
    k = min(*(panel / (v.far - v.near) for v in views), 128.0 / across)
    high = across * k
    rows = math.ceil(len(sets) / columns)
    picture = Drawing(WIDTH, rows * (high + label_room + axis_room) + 8, title)
    for i, (s, view) in enumerate(zip(sets, views, strict=True)):
        origin = (i % columns) * (panel + gap), (i // columns) * (high + label_room + axis_room) + label_room
        _panel(picture, s, (view, k, panel), origin)
    _on_paper(picture, (2, label_room + 8), words.left)
    _on_paper(picture, (2, label_room + high - 4), words.right)
    picture.text((WIDTH, picture.height - 1), words.carry_axis, 8, QUIET, "end")
    return picture.finish()


def _panel(picture: Drawing, s: LandingSet, frame: tuple[_Window, float, float], origin: Point) -> None:
    view, k, wide = frame
    spare = wide / k - (view.far - view.near)
    near, far = view.near - spare / 2, view.far + spare / 2
    at = _placed(near, view.left, k, (origin[0], origin[1]))
    bottom = at((near, view.right))[1]
    for t in ticks(near, far, max(int(wide / 38), 2)):
        x = at((t, 0))[0]
        picture.line((x, origin[1]), (x, bottom), FAINT, 0.6)
        if origin[0] + 7 < x < origin[0] + wide - 7:
            picture.text((x, bottom + 10), _plain(t), 8, QUIET, "middle")
    for t in ticks(view.left, view.right, 4):
        y = at((0, t))[1]
        picture.line((origin[0], y), (origin[0] + wide, y), FAINT, 0.6)
        if t:
            picture.text((origin[0] + wide - 1, y - 1.5), _plain(abs(t)), 8, QUIET, "end")
    picture.line((origin[0], at((0, 0))[1]), (origin[0] + wide, at((0, 0))[1]), INK, 0.8)
    _landed(picture, [s], at)
    picture.text((origin[0], origin[1] - 5), clipped(f"{s.letter}  {s.label}", 8.5, wide), 8.5, INK, weight=600)


# --- flights ------------------------------------------------------------------------------------------------------
def flights(curves: Sequence[FlightCurve], words: Words, title: str) -> str:
    """Draw the middle flights seen from the side, same scale up and along."""
    left, right, top, bottom_room = 24.0, 8.0, 12.0, 25.0
    far = max(p[0] for c in curves for p in c.points) * 1.03
    high = max(p[1] for c in curves for p in c.points) * 1.15
    k = (WIDTH - left - right) / far
    x, base = scale(0, far, left, WIDTH - right), top + high * k
    picture = Drawing(WIDTH, base + bottom_room, title)
    for t in ticks(0, far, 6):
        picture.line((x(t), top), (x(t), base), FAINT, 0.6)
        picture.text((x(t), base + 10), _plain(t), 8, QUIET, "middle")
    for t in ticks(0, high, max(int(high * k / 25), 1)):
        picture.line(
            (left, base - t * k), (WIDTH - right, base - t * k), INK if t == 0 else FAINT, 0.8 if t == 0 else 0.6
        )
        picture.text((left - 4, base - t * k + 2.7), _plain(t), 8, QUIET, "end")
    placed: list[Point] = []
    for curve in curves:
        points = [(x(p[0]), base - p[1] * k) for p in curve.points]
        picture.path(points, mark_of(curve.index)[0], 1.5)
        placed.append(_free_place(points, placed))
    for curve, at in zip(curves, placed, strict=True):
        picture.disc(curve.index, curve.letter, at)
    picture.text((WIDTH - right, base + 22), words.distance_axis, 8, QUIET, "end")
    picture.text((left, top - 4), words.height_axis, 8, QUIET)
    return picture.finish()


def _free_place(points: Sequence[Point], taken: Sequence[Point]) -> Point:
    """Find the place on a curve, from its middle outwards, whose disc covers no other; else the farthest."""
    middle = len(points) // 2
    candidates = sorted(range(2, len(points) - 2), key=lambda i: abs(i - middle - 4))
    for i in candidates:
        if all(math.dist(points[i], other) > 14 for other in taken):
            return points[i]
    return max((points[i] for i in candidates), key=lambda p: min(math.dist(p, other) for other in taken))


# --- every shot ---------------------------------------------------------------------------------------------------
def every_shot(rows: Sequence[StripRow], words: Words, title: str) -> str:
    """Draw each ball of each set on the carry axis: counted ones as marks, set aside ones as numbered crosses."""
    left, right, top, step = 170.0, 8.0, 6.0, 28.0
    bottom = top + step * len(rows)
    values = [v for row in rows for v in (*row.counted, *(a for a, _ in row.aside))]
    low, high = min(values), max(values)
    margin = max((high - low) * 0.05, 2)
    x = scale(low - margin, high + margin, left, WIDTH - right)
    picture = Drawing(WIDTH, bottom + 24, title)
    for t in ticks(low - margin, high + margin, 6):
        picture.line((x(t), top), (x(t), bottom), FAINT, 0.6)
        picture.text((x(t), bottom + 10), _plain(t), 8, QUIET, "middle")
    for i, row in enumerate(rows):
        _strip(picture, row, top + step * (i + 0.5), x)
    picture.text((WIDTH - right, bottom + 21), words.carry_axis, 8, QUIET, "end")
    return picture.finish()


def _strip(picture: Drawing, row: StripRow, y: float, x: Callable[[float], float]) -> None:
    picture.line((170, y), (WIDTH - 8, y), RULE, 0.5)
    picture.disc(row.index, row.letter, (7, y))
    picture.text((18, y + 3), clipped(row.label, 9, 148), 9)
    for j, value in enumerate(row.counted):
        picture.ball(row.index, (x(value), y + ((j * 7) % 5 - 2) * 1.8), 2.0)
    ends = [-math.inf, -math.inf]  # where the last number above and below the line ended
    for value, shot in sorted(row.aside):
        picture.cross((x(value), y))
        wide = text_width(str(shot), 8)
        lane = 0 if x(value) - wide / 2 > ends[0] or ends[0] <= ends[1] else 1
        ends[lane] = x(value) + wide / 2 + 2
        picture.text((x(value), y - 5 if lane == 0 else y + 11.5), str(shot), 8, INK, "middle", 700)
