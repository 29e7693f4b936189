"""The picture of club models against their average: view records in shown units → SVG text."""

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.chart_parts import Axis, Words, columns, framed
from pipeline.svg import FAINT, INK, MARKS, QUIET, WIDTH, Drawing, Point, wrapped

_ROW, _HIGH_ROW = 16.0, 25.0  # a name in one line, and in two
_TOP = 20.0
_COLOURS = {"better": MARKS[1][0], "worse": MARKS[2][0]}  # what is settled; the place beside the line says it too


@dataclass(frozen=True, slots=True)
class EffectRow:
    """One model against the average of those shown with it; text_middle and text_range are written at the right."""

    label: str
    verdict: str
    middle: float
    ends: Point
    text_middle: str
    text_range: str


def effects(rows: Sequence[EffectRow], worth: float, words: Words, title: str, beside: Sequence[EffectRow] = ()) -> str:
    """Draw each model's effect with its range; the grey band is where a difference is too small to matter.

    beside: rows of the other parts of a long picture: all parts are laid out alike, on one scale.
    """
    every = (*rows, *beside)
    labels, middles, ranges = ([getattr(row, name) for row in every] for name in ("label", "text_middle", "text_range"))
    place = columns(labels, 0, middles, ranges)
    axis = framed([-worth, worth, *(v for row in every for v in row.ends)], place.plot, place.plot_end)
    high = [len(wrapped(row.label, 9.5, place.plot - 8)) > 1 for row in rows]
    heights = [_HIGH_ROW if two else _ROW for two in high]
    bottom = _TOP + sum(heights)
    picture = Drawing(WIDTH, bottom + 14, title)
    _ground(picture, axis, worth, bottom, words)
    y = _TOP
    for row, height in zip(rows, heights, strict=True):
        middle = y + height / 2
        place.name(picture, row.label, middle)
        ends = axis.at(row.ends[0]), axis.at(row.ends[1])
        picture.certainty(axis.at(row.middle), ends, None, middle, _COLOURS.get(row.verdict, QUIET))
        place.figures(picture, middle, row.text_middle, row.text_range)
        y += height
    return picture.finish()


def _ground(picture: Drawing, axis: Axis, worth: float, bottom: float, words: Words) -> None:
    """Draw the band of what matters too little, the scale, and the line of the average with a word on each side."""
    left, right = axis.at(-worth), axis.at(worth)
    picture.element("rect", x=left, y=_TOP - 4, width=right - left, height=bottom - _TOP + 4, fill=FAINT)
    axis.grid(picture, _TOP - 4, bottom, lambda value, digits: words.signed(value, digits) if value else "0")
    for x in (left, right):
        picture.line((x, _TOP - 4), (x, bottom), QUIET, 0.6, "2.5 2")
    picture.line((axis.at(0), _TOP - 12), (axis.at(0), bottom), INK, 0.9)
    picture.text((axis.at(0) - 5, _TOP - 8), words.shorter, 8, QUIET, "end")
    picture.text((axis.at(0) + 5, _TOP - 8), words.longer, 8, QUIET)
