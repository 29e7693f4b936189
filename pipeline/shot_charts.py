"""The picture of one shot among the others with its club: from the side and from above, all on one scale."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.chart_parts import Axis, Words, digits_of, readable_ticks, side_labels
from pipeline.svg import FAINT, INK, QUIET, Drawing, Point

_WIDTH, _TALLEST = 350.0, 230.0  # of both plots together; shown half as large again, so that its words can be read
_LEFT, _RIGHT, _TOP, _BETWEEN = 26.0, 10.0, 16.0, 40.0
_LEAST = 24.0  # a plot is never flatter than this
_BOLD, _OTHERS = "#0B5FA5", "#8A939C"
_FONT = "sans-serif"  # a page shows it as a picture by itself, which knows none of the page's fonts


@dataclass(frozen=True, slots=True)
class ShotCurve:
    """A flight: (distance, height) from the side, (distance, side to the right) from above or nothing."""

    from_side: tuple[Point, ...]
    from_above: tuple[Point, ...]


def one_shot(shot: ShotCurve, others: Sequence[ShotCurve], words: Words, title: str, heights: float = 1.0) -> str:
    """Draw a shot, and the others with its club faintly; heights: units of height to one of length."""
    room = _WIDTH - _LEFT - _RIGHT
    every = (*others, shot)
    far = max(max(x for x, _ in curve.from_side) for curve in every) * 1.03
    high = max(max(y for _, y in curve.from_side) for curve in every) * 1.1
    wide = max((abs(y) for curve in every for _, y in curve.from_above), default=0.0) * 1.15
    k = min(room / far, _TALLEST / (high + 2 * wide))
    high = max(high, _LEAST / k)
    half = max(wide, _LEAST / 2 / k) if shot.from_above else 0.0
    axis = Axis(0.0, room / k, _LEFT, _WIDTH - _RIGHT)
    base = _TOP + high * k
    middle = base + _BETWEEN + half * k
    picture = Drawing(_WIDTH, (middle + half * k if shot.from_above else base) + 26, title)
    _side_view(picture, axis, (_TOP, base), k, words, heights)
    _curves(picture, [[(axis.at(x), base - y * k) for x, y in curve.from_side] for curve in every])
    if shot.from_above:
        _plan(picture, axis, middle, half * k, words)
        seen = [curve.from_above for curve in every if curve.from_above]
        _curves(picture, [[(axis.at(x), middle + y * k) for x, y in points] for points in seen])
    return picture.finish(_FONT)


def _side_view(picture: Drawing, axis: Axis, rows: tuple[float, float], k: float, words: Words, heights: float) -> None:
    """Draw the ground, the heights and the distances of the view from the side."""
    top, base = rows
    high = (base - top) / k * heights
    axis.grid(picture, top, base, words.number)
    levels = readable_ticks(0, high, max(int((base - top) / 25), 1))
    for value in levels:
        y = base - value / heights * k
        picture.line((axis.left, y), (axis.right, y), FAINT if value else INK, 0.6 if value else 0.8)
    places = [(base - value / heights * k, words.number(value, digits_of(levels))) for value in levels]
    side_labels(picture, places, axis.left - 4)
    picture.text((axis.left, top - 6), words.height_axis, 8, QUIET)


def _plan(picture: Drawing, axis: Axis, middle: float, half: float, words: Words) -> None:
    """Draw the target line of the view from above: its left is above it, as one stands behind the ball on the left."""
    axis.grid(picture, middle - half, middle + half, words.number)
    picture.line((axis.left, middle), (axis.right, middle), INK, 0.8, "4 3")
    picture.text((axis.left, middle - half - 5), words.left, 8, QUIET)
    picture.text((axis.left, middle + half + 22), words.right, 8, QUIET)
    picture.text((axis.right, middle + half + 22), words.distance_axis, 8, QUIET, "end")


def _curves(picture: Drawing, lines: Sequence[Sequence[Point]]) -> None:
    """Draw all lines, the last one, whose picture it is, over the others and with a ball where it came down."""
    for line in lines[:-1]:
        picture.path(line, _OTHERS, 0.6)
    picture.path(lines[-1], _BOLD, 2.0)
    picture.element("circle", cx=lines[-1][-1][0], cy=lines[-1][-1][1], r=3.0, fill=_BOLD)
