"""Pictures in which every ball is a mark: view records in shown units → SVG text, nothing measured or decided here."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from pipeline.chart_parts import Axis, Columns, Words, columns, digits_of, framed, readable_ticks, side_labels, spread
from pipeline.svg import (
    DISC,
    FAINT,
    INK,
    QUIET,
    RULE,
    WIDTH,
    Drawing,
    Point,
    clipped,
    dash_of,
    mark_of,
    text_width,
)

_PANELS_HIGH = 560.0  # all rows of panels together: a page
_CAPTION = 14.0  # the line below a plan or below all panels
_TICKS = 13.0  # the labels below a plan


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
class StripRow:
    """Every ball of a set on one line: counted ones, and (carry, number) of those set aside."""

    index: int
    letter: str
    label: str
    counted: tuple[float, ...]
    aside: tuple[tuple[float, int], ...]


# --- landing ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Ground:
    """A piece of ground in shown units (left is negative), drawn from `corner` on at k points a unit."""

    near: float
    far: float
    left: float
    right: float
    corner: Point = (0.0, 0.0)
    k: float = 1.0

    def at(self, place: Point) -> Point:
        """Place (carry, side) on the page: carry to the right, the left side up."""
        return self.corner[0] + (place[0] - self.near) * self.k, self.corner[1] + (place[1] - self.left) * self.k

    def drawn(self, corner: Point, k: float, wide: float, high: float) -> "_Ground":
        """Draw it on a page, with more ground on all sides where the room is larger."""
        along, across = (wide / k - (self.far - self.near)) / 2, (high / k - (self.right - self.left)) / 2
        return _Ground(self.near - along, self.far + along, self.left - across, self.right + across, corner, k)


def _ground(sets: Sequence[LandingSet]) -> _Ground:
    """Frame outlines and balls, the aim line always inside, never narrower than it is readable."""
    along = [p[0] for s in sets for p in (*s.balls, s.middle)]
    across = [p[1] for s in sets for p in (*s.balls, s.middle)] + [0.0]
    for s in sets:
        if s.oval:
            dx, dy = s.oval.reach()
            along += [s.oval.centre[0] - dx, s.oval.centre[0] + dx]
            across += [s.oval.centre[1] - dy, s.oval.centre[1] + dy]
    middle, half = (min(along) + max(along)) / 2, max((max(along) - min(along)) / 2, 8.0) * 1.06 + 3
    centre, reach = (min(across) + max(across)) / 2, max((max(across) - min(across)) / 2, 8.0) * 1.06 + 3
    return _Ground(middle - half, middle + half, centre - reach, centre + reach)


def landing_plan(sets: Sequence[LandingSet], words: Words, title: str) -> str:
    """Draw where the balls came down, seen from above, target line to the right, same scale both ways."""
    whole, start = 292.0, text_width(words.aim, 8) + 6
    ground, wide, top = _ground(sets), whole - start - 6, 14.0
    k = min(wide / (ground.far - ground.near), 185.0 / (ground.right - ground.left))
    high = max((ground.right - ground.left) * k, 60.0)
    picture = Drawing(whole, top + high + _TICKS + _CAPTION, title)
    drawn = ground.drawn((start, top), k, wide, high)
    _grid(picture, drawn, (wide, high), words, words.aim)
    _landed(picture, sets, drawn, (start, top, start + wide, top + high))
    picture.text((start, top - 5), words.left, 8, QUIET)
    picture.text((start, picture.height - 4), words.right, 8, QUIET)
    picture.text((whole - 6, picture.height - 4), words.carry_axis, 8, QUIET, "end")
    return picture.finish()


def _grid(picture: Drawing, ground: _Ground, size: Point, words: Words, aim: str) -> None:
    """Draw grid and aim line with their labels, below and at the left."""
    (wide, high), (x0, y0) = size, ground.corner
    x1, y1 = x0 + wide, y0 + high
    room = text_width(words.number(ground.far, 0), 8) / 2 + 1
    along = readable_ticks(ground.near, ground.far - room / ground.k, max(int(wide / 34), 2))
    for t in along:
        x = ground.at((t, 0))[0]
        picture.line((x, y0), (x, y1), FAINT, 0.6)
        picture.text((x, y1 + 10), words.number(t, digits_of(along)), 8, QUIET, "middle")
    across = readable_ticks(ground.left, ground.right, max(int(high / 28), 2))
    for t in across:
        y = ground.at((0, t))[1]
        picture.line((x0, y), (x1, y), FAINT if t else INK, 0.6 if t else 0.8)
        side_labels(picture, [(y, words.number(abs(t), digits_of(across)) if t else aim)], x0 - 4)


def _landed(picture: Drawing, sets: Sequence[LandingSet], ground: _Ground, room: tuple[float, ...]) -> None:
    """Draw outlines first, then balls, then the letter discs, so that nothing hides a letter."""
    for s in sets:
        if s.oval:
            (cx, cy), colour = ground.at(s.oval.centre), mark_of(s.index)[0]
            turned = f"rotate({math.degrees(s.oval.angle):.2f} {cx:.2f} {cy:.2f})"
            picture.element(
                "ellipse", cx=cx, cy=cy, rx=s.oval.long_axis * ground.k, ry=s.oval.short_axis * ground.k,
                transform=turned, fill=colour, fill_opacity=0.07, stroke=colour, stroke_width=1.1,
                stroke_dasharray=dash_of(s.index) if len(sets) > 1 else None,
            )  # fmt: skip
    balls = [(s.index, ground.at(ball)) for s in sets for ball in s.balls]
    for index, at in balls:
        picture.ball(index, at)
    taken: list[Point] = []
    for s in sets:
        middle = ground.at(s.middle)
        taken.append(_disc_place(middle, [at for _, at in balls], taken, room))
        if taken[-1] != middle:
            picture.line(middle, taken[-1], mark_of(s.index)[0], 0.9)
        picture.disc(s.index, s.letter, taken[-1])


def _disc_place(middle: Point, balls: Sequence[Point], taken: Sequence[Point], room: tuple[float, ...]) -> Point:
    """Keep the disc on the middle; where it would hide half the balls, a disc or the edge, put it beside, on a line."""

    def hidden(place: Point) -> int:
        return sum(math.dist(place, ball) < DISC + 1 for ball in balls)

    def fits(place: Point) -> bool:
        inside = room[0] + DISC <= place[0] <= room[2] - DISC and room[1] + DISC <= place[1] <= room[3] - DISC
        return inside and all(math.dist(place, other) > 2 * DISC + 1 for other in taken)

    if fits(middle) and hidden(middle) * 2 < max(len(balls), 2):
        return middle
    turns = [math.radians(angle) for angle in (-45, -135, 45, 135, -90, 90, 0, 180)]
    around = [(middle[0] + r * math.cos(a), middle[1] + r * math.sin(a)) for r in (16, 24, 34) for a in turns]
    return min((place for place in around if fits(place)), key=hidden, default=middle)


def landing_panels(sets: Sequence[LandingSet], words: Words, title: str, *, same_ground: bool) -> str:
    """Draw one small plan a set, all on one scale; same_ground: all show the same piece of ground."""
    columns = min(len(sets), 4)
    rows = math.ceil(len(sets) / columns)
    gap, name, scale_room = 10.0, 16.0, 22.0
    wide = (WIDTH - gap * (columns - 1)) / columns - scale_room
    grounds = [_ground(sets if same_ground else [s]) for s in sets]
    left, right = min(g.left for g in grounds), max(g.right for g in grounds)
    tallest = min(128.0, (_PANELS_HIGH - _CAPTION) / rows - name - _TICKS - 6)
    k = min(*(wide / (g.far - g.near) for g in grounds), tallest / (right - left))
    high, step = max((right - left) * k, 44.0), name + _TICKS + 6
    picture = Drawing(WIDTH, rows * (high + step) + _CAPTION, title)
    for i, (s, ground) in enumerate(zip(sets, grounds, strict=True)):
        x, y = (i % columns) * (wide + scale_room + gap) + scale_room, (i // columns) * (high + step) + name
        drawn = replace(ground, left=left, right=right).drawn((x, y), k, wide, high)
        _grid(picture, drawn, (wide, high), words, "0")
        _landed(picture, [s], drawn, (x, y, x + wide, y + high))
        picture.text((x, y - 5), clipped(f"{s.letter}  {s.label}", 8.5, wide), 8.5, INK, weight=600)
    picture.text((scale_room, picture.height - 4), words.sides, 8, QUIET)
    picture.text((WIDTH, picture.height - 4), words.carry_axis, 8, QUIET, "end")
    return picture.finish()


# --- every shot ---------------------------------------------------------------------------------------------------
_BAND = 6.4  # the balls of a row lie within this of its line
_LANE = 9.0  # from line to line of numbers
_BETWEEN = 4.5  # between two numbers beside each other
_FARTHEST = 14.0  # a number farther than this from its cross asks for another lane


@dataclass(frozen=True, slots=True)
class _Number:
    """A shot's number: its cross, where it is written, and on which lane: 1, 2 above, −1, −2 below."""

    cross: float
    at: float
    lane: int
    text: str


def _numbers(aside: Iterable[tuple[float, int]], left: float, right: float) -> list[_Number]:
    """Find room for the numbers of crosses (x, number): above, or below as well, or on two lanes each.

    It takes the fewest lanes on which every number stands near its cross. Outer lanes stand above the gaps of the inner
    ones, so that their leaders run between numbers. Of more crosses than four lanes hold, only every second, third …
    is numbered.
    """
    crosses = sorted(aside)
    wide = max((text_width(str(n), 8) for _, n in crosses), default=0.0)
    room = int((right - left) / (wide + _BETWEEN))
    crosses = crosses[:: max(math.ceil(len(crosses) / (4 * room)), 1)]
    for lanes in ((1,), (1, -1)):
        found = _on_lanes(crosses, wide, (left, right), lanes)
        if all(abs(n.at - n.cross) < _FARTHEST and left <= n.at <= right for n in found):
            return found
    return _on_lanes(crosses, wide, (left, right), (1, -1, 2, -2))


def _on_lanes(crosses: Sequence[tuple[float, int]], wide: float, ends: Point, lanes: tuple[int, ...]) -> list[_Number]:
    """Deal the numbers out to lanes, each as near to its cross as it fits."""
    gap = (wide + _BETWEEN) / (2 if len(lanes) == 4 else 1)
    dealt = [(x, n, lanes[i % len(lanes)]) for i, (x, n) in enumerate(crosses)]
    found = []
    for side in (1, -1):
        mine = [number for number in dealt if number[2] * side > 0]
        places = spread([x for x, *_ in mine], gap, ends[0] + wide / 2, ends[1] - wide / 2)
        found += [_Number(x, at, lane, str(n)) for (x, n, lane), at in zip(mine, places, strict=True)]
    return found


def every_shot(rows: Sequence[StripRow], words: Words, title: str) -> str:
    """Draw each ball of each set on the carry axis: counted ones as marks, set aside ones as numbered crosses."""
    place = columns([row.label for row in rows], 18)
    values = [v for row in rows for v in (*row.counted, *(a for a, _ in row.aside))]
    axis = framed(values, place.plot, place.plot_end, 2)
    numbers = [_numbers([(axis.at(v), n) for v, n in row.aside], place.plot, WIDTH) for row in rows]
    heights, bottom = [], 2.0
    for found in numbers:
        above, below = (max((n.lane * side for n in found if n.lane * side > 0), default=0) for side in (1, -1))
        heights.append(bottom + max(_BAND + 5 + _LANE * above + (2 if above else 0), 11.5))
        bottom = heights[-1] + max(_BAND + 2 + _LANE * below + (5 if below else 0), 11.5)
    picture = Drawing(WIDTH, bottom + 24, title)
    axis.grid(picture, 2, bottom, words.number)
    for row, found, y in zip(rows, numbers, heights, strict=True):
        _strip(picture, row, found, y, (place, axis))
    picture.text((axis.right, bottom + 21), words.carry_axis, 8, QUIET, "end")
    return picture.finish()


def _strip(picture: Drawing, row: StripRow, numbers: Sequence[_Number], y: float, frame: tuple[Columns, Axis]) -> None:
    place, axis = frame
    picture.line((axis.left, y), (axis.right, y), RULE, 0.5)
    picture.disc(row.index, row.letter, (7, y))
    place.name(picture, row.label, y)
    for j, value in enumerate(row.counted):
        picture.ball(row.index, (axis.at(value), y + ((j * 7) % 5 - 2) * 1.8), 2.0)
    for value, _ in row.aside:
        picture.cross((axis.at(value), y))
    for number in numbers:
        side = 1 if number.lane > 0 else -1
        inner, end = y - side * (_BAND + 3), y - side * (_BAND + 3 + _LANE * (abs(number.lane) - 1))
        picture.path([(number.cross, y - side * 3), (number.at, inner), (number.at, end)], QUIET, 0.6)
        picture.text((number.at, end - 2 if side > 0 else end + 8), number.text, 8, INK, "middle", 700)
