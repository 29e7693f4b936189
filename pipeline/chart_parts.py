"""What several pictures share: their words, an axis rows with names and figures, and room for marks."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from pipeline.svg import FAINT, INK, QUIET, WIDTH, Drawing, scale, text_width, ticks, wrapped

_NARROWEST, _WIDEST = 70.0, 170.0  # where the plot may start, right of the rows' names
LEADING = 10.5  # from line to line of a name in two lines


@dataclass(frozen=True, slots=True)
class Words:
    """Words that stand in pictures, and how the language writes (value, digits) as a number and as a difference."""

    number: Callable[[float, int], str]
    signed: Callable[[float, int], str]
    left: str
    right: str
    aim: str
    sides: str
    carry_axis: str
    distance_axis: str
    height_axis: str
    launch_axis: str
    spin_axis: str
    shorter: str
    longer: str
    same: str
    cost: str
    brought: str


def digits_of(values: Sequence[float]) -> int:
    """Give how many decimals the labels of an axis need to be true and to differ."""
    return next(n for n in (0, 1, 2, 3) if n == 3 or all(round(value, n) == value for value in values))


def readable_ticks(low: float, high: float, wanted: int) -> list[float]:
    """Give about as many round values as wanted, but never fewer than two: one alone is no scale."""
    found = ticks(low, high, wanted)
    while len(found) < 2:
        wanted += 1
        found = ticks(low, high, wanted)
    return found


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Move rising places apart to a gap, each as little as may be, within bounds while there is room."""
    blocks: list[tuple[float, int]] = []
    for i, place in enumerate(wanted):
        mean, count = place - i * gap, 1
        while blocks and blocks[-1][0] > mean:
            before, n = blocks.pop()
            mean, count = (before * n + mean * count) / (n + count), n + count
        blocks.append((mean, count))
    shifts = [mean for mean, count in blocks for _ in range(count)]
    last = max(high - (len(wanted) - 1) * gap, low)
    return [min(max(shift, low), last) + i * gap for i, shift in enumerate(shifts)]


@dataclass(frozen=True, slots=True)
class Axis:
    """A level axis: the values low to high lie between left and right on the page."""

    low: float
    high: float
    left: float
    right: float

    def at(self, value: float) -> float:
        """Place a value."""
        return scale(self.low, self.high, self.left, self.right)(value)

    def grid(self, picture: Drawing, top: float, bottom: float, write: Callable[[float, int], str]) -> None:
        """Draw faint lines at round values, far enough apart for what is written of them below."""
        values = readable_ticks(self.low, self.high, max(int((self.right - self.left) / 42), 2))
        for value in values:
            x, text = self.at(value), write(value, digits_of(values))
            picture.line((x, top), (x, bottom), FAINT, 0.6)
            picture.text((min(x, picture.width - text_width(text, 8) / 2), bottom + 10), text, 8, QUIET, "middle")


def framed(values: Sequence[float], left: float, right: float, least: float = 1.0) -> Axis:
    """Give an axis around values with a little room at its ends, never so short that its labels would be alike."""
    low, high = min(values), max(values)
    margin = max((high - low) * 0.06, least)
    return Axis(low - margin, high + margin, left, right)


def side_labels(picture: Drawing, places: Iterable[tuple[float, str]], x: float) -> None:
    """Write labels of heights right-aligned at x."""
    for y, text in places:
        picture.text((x, y + 2.7), text, 8, QUIET, "end")


@dataclass(frozen=True, slots=True)
class Columns:
    """Where things stand in a row: its name from `indent` to the plot, then the figures and the end of their ranges."""

    indent: float
    plot: float
    plot_end: float
    middles: float
    ranges_end: float

    def name(self, picture: Drawing, label: str, y: float, weight: int | None = None) -> None:
        """Write the name of a row at its height, in two lines where it is long."""
        lines = wrapped(label, 9.5, self.plot - 8 - self.indent)
        first = y + 3.2 - LEADING / 2 * (len(lines) - 1)
        for i, line in enumerate(lines):
            picture.text((self.indent, first + LEADING * i), line, 9.5, INK, weight=weight)

    def figures(self, picture: Drawing, y: float, middle: str, span: str) -> None:
        """Write a row's figures: the middle, and its range in quiet."""
        picture.text((self.middles, y + 3.2), middle, 9.5, INK, weight=700)
        if span:
            picture.text((self.ranges_end, y + 3.2), span, 8, QUIET, "end")


def columns(
    labels: Iterable[str], indent: float, middles: Iterable[str] = (), ranges: Iterable[str] = (), least: float = 0.0
) -> Columns:
    """Lay out rows so that the widest name, figure and range find room; least: of figures and ranges together."""
    name, middle, span = (
        max((text_width(text, size) for text in texts), default=0.0)
        for texts, size in ((labels, 9.5), (middles, 9.5), (ranges, 8))
    )
    plot = min(max(indent + name + 12, _NARROWEST), _WIDEST)
    wide = middle + 8 + span
    start = WIDTH - max(wide, least)
    return Columns(indent, plot, start - 14 if middle else WIDTH - 8, start, start + wide)
