"""Pictures of how sure we are: view records in shown units → SVG text, nothing measured or decided here.

One grammar in all pictures: a small open mark is one ball, a filled letter disc is a whole set, an outline is where the
next balls fall, a ring on a line is a figure and how sure we are of it, a numbered cross is a ball set aside, an
upright stroke is what was measured as it stands.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.chart_parts import Axis, Words, columns, framed
from pipeline.svg import FAINT, INK, QUIET, RULE, WARN, WIDTH, Drawing, Point, mark_of, text_width

_ROW = 22.0
_CLUB_ROW = 29.0  # a club's line and, below it, the step to the next


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
class LeverRow:
    """What one lever brought; a row of a sum stands below the rule. Without ends it is a figure measured, not found."""

    label: str
    middle: float
    ends: Point | None
    is_sum: bool
    text_middle: str
    text_range: str


@dataclass(frozen=True, slots=True)
class ClubStep:
    """The step to the next shorter club in words; is_odd: surely not a usual one."""

    text: str
    is_odd: bool


@dataclass(frozen=True, slots=True)
class ClubRow:
    """One club of a bag, the longest first, and the step to the next, None after the last."""

    index: int
    letter: str
    label: str
    middle: float
    ends: Point
    text_middle: str
    text_range: str
    step: ClubStep | None


# --- difference and levers ----------------------------------------------------------------------------------------
def differences(rows: Sequence[DifferenceRow], words: Words, title: str) -> str:
    """Draw each build's difference from the own club with its certainty."""
    place = columns(
        [row.label for row in rows], 18, [row.text_middle for row in rows], [row.text_range for row in rows]
    )
    axis = framed([0.0, *(v for row in rows for v in row.thin)], place.plot, place.plot_end)
    picture = _around_zero(len(rows), axis, (words.shorter, words.longer, words.same), words, title)
    for i, row in enumerate(rows):
        y = 20 + _ROW * (i + 0.5)
        picture.disc(row.index, row.letter, (7, y))
        place.name(picture, row.label, y)
        thin, thick = ((axis.at(low), axis.at(high)) for low, high in (row.thin, row.thick))
        picture.certainty(axis.at(row.middle), thin, thick, y, mark_of(row.index)[0])
        place.figures(picture, y, row.text_middle, row.text_range)
    return picture.finish()


def levers(rows: Sequence[LeverRow], index: int, words: Words, title: str) -> str:
    """Draw what each lever brought, in the colour of the set it is told of, then their sum and what was measured."""
    place = columns([row.label for row in rows], 0, [row.text_middle for row in rows], [row.text_range for row in rows])
    axis = framed([0.0, *(v for row in rows for v in row.ends or (row.middle,))], place.plot, place.plot_end)
    picture = _around_zero(len(rows), axis, (words.cost, words.brought, "0"), words, title)
    for i, row in enumerate(rows):
        y = 20 + _ROW * (i + 0.5)
        if row.is_sum and (i == 0 or not rows[i - 1].is_sum):
            picture.line((0, y - _ROW / 2), (WIDTH, y - _ROW / 2), RULE, 0.6)
        place.name(picture, row.label, y, 600 if row.is_sum else None)
        if row.ends is None:
            picture.line((axis.at(row.middle), y - 5.5), (axis.at(row.middle), y + 5.5), INK, 2.4)
        else:
            ends = axis.at(row.ends[0]), axis.at(row.ends[1])
            picture.certainty(axis.at(row.middle), ends, None, y, INK if row.is_sum else mark_of(index)[0])
        place.figures(picture, y, row.text_middle, row.text_range)
    return picture.finish()


def _around_zero(rows: int, axis: Axis, sides: tuple[str, str, str], words: Words, title: str) -> Drawing:
    """Start a picture whose zero line has a word on each side, and one below."""
    top, bottom = 20.0, 20 + _ROW * rows
    picture = Drawing(WIDTH, bottom + 14, title)
    axis.grid(picture, top - 6, bottom, lambda value, digits: words.signed(value, digits) if value else sides[2])
    picture.line((axis.at(0), top - 12), (axis.at(0), bottom), INK, 0.9)
    picture.text((axis.at(0) - 5, top - 7), sides[0], 8, QUIET, "end")
    picture.text((axis.at(0) + 5, top - 7), sides[1], 8, QUIET)
    return picture


# --- bag ----------------------------------------------------------------------------------------------------------
def bag(rows: Sequence[ClubRow], words: Words, title: str) -> str:
    """Draw the clubs of a bag on one carry axis, and between two clubs the step from one to the other."""
    widest = max((text_width(row.step.text, 8) for row in rows if row.step), default=0.0)
    figures = [row.text_middle for row in rows], [row.text_range for row in rows]
    place = columns([row.label for row in rows], 18, *figures, widest)
    axis = framed([v for row in rows for v in row.ends], place.plot, place.plot_end, 2)
    heights = [16 + _CLUB_ROW * i for i in range(len(rows))]
    bottom = heights[-1] + 12
    picture = Drawing(WIDTH, bottom + 24, title)
    axis.grid(picture, 6, bottom, words.number)
    for i, (row, y) in enumerate(zip(rows[:-1], heights, strict=False)):
        _step(picture, row, (axis.at(row.middle), y), (axis.at(rows[i + 1].middle), heights[i + 1]), place.middles)
    for row, y in zip(rows, heights, strict=True):
        picture.disc(row.index, row.letter, (7, y))
        place.name(picture, row.label, y)
        picture.line((place.plot, y), (axis.right, y), FAINT, 0.6)
        picture.certainty(axis.at(row.middle), (axis.at(row.ends[0]), axis.at(row.ends[1])), None, y, INK)
        place.figures(picture, y, row.text_middle, row.text_range)
    picture.text((axis.right, bottom + 21), words.carry_axis, 8, QUIET, "end")
    return picture.finish()


def _step(picture: Drawing, row: ClubRow, far: Point, near: Point, start: float) -> None:
    """Draw the stair from a club to the next shorter one, an odd step heavier, with its words at the right."""
    if row.step is None:
        return
    colour, width = (WARN, 1.8) if row.step.is_odd else (QUIET, 0.7)
    y = (far[1] + near[1]) / 2
    picture.path([far, (far[0], y), (near[0], y), near], colour, width)
    picture.text((start, y + 2.7), row.step.text, 8, colour, weight=700 if row.step.is_odd else None)
