"""A small writer of SVG for print: points as unit, presentation attributes only.

The PDF renderer ignores page CSS, currentColor and letter features inside SVG, places tspans wrongly and reads only a
direct <title> child as the picture's words; so every mark carries its own attributes and every text is plain.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any

from pipeline import typeface

WIDTH = 493.0  # points: the column of an A4 page between margins of 18 mm
INK, QUIET, RULE, FAINT, PAPER, WARN = "#1E2730", "#55606B", "#C9CED3", "#E9ECEF", "#FFFFFF", "#9B1C1C"
# Contrast with white 4.9, 6.6, 5.2, 13.6, 15.1 to 1; shape and letter carry the meaning where colours look alike.
MARKS = (("#69727D", "circle"), ("#0B5FA5", "square"), ("#B84A00", "diamond"), ("#3D1F5C", "triangle"))
OTHER_MARK = (INK, "circle")
RING = 3.6  # radius of the ring at the middle of an interval
DISC = 6.2  # radius of the letter disc
_DASHES = (None, "7 2.5", "2.5 2", "8 2 2 2")  # a set's line in grey: whole, long dashes, short ones, both in turn
_FONT = "Source Sans 3"

Point = tuple[float, float]


def mark_of(index: int) -> tuple[str, str]:
    """Give colour and shape of a set: four that differ, then ink circles told apart by their letters."""
    return MARKS[index] if index < len(MARKS) else OTHER_MARK


def dash_of(index: int) -> str | None:
    """Give the dashes of a set's line: four that differ, then whole ones told apart by their letters."""
    return _DASHES[index] if index < len(_DASHES) else None


def number(value: float) -> str:
    """Write a coordinate: two decimals, no trailing zeros, never −0."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def text_width(text: str, size: float) -> float:
    """Give the width of a text, letters set one by one in the widest weight, as the renderer does in pictures."""
    return typeface.width(text) * size


def clipped(text: str, size: float, width: float) -> str:
    """Shorten a text to a width."""
    room = width / size
    if typeface.width(text) <= room:
        return text
    ends = (n for n in range(len(text) - 1, 0, -1) if typeface.width(text[:n].rstrip() + "…") <= room)
    return text[: next(ends, 0)].rstrip() + "…"


def wrapped(text: str, size: float, width: float) -> list[str]:
    """Break a text into one or two lines of a width, between words where it can; what is over is cut off."""
    if text_width(text, size) <= width:
        return [text]
    breaks = [i for i, c in enumerate(text) if c == " " and text_width(text[:i], size) <= width]
    if not breaks:
        return [clipped(text, size, width)]
    return [text[: breaks[-1]].rstrip(), clipped(text[breaks[-1] :].strip(), size, width)]


def scale(low: float, high: float, start: float, end: float) -> Callable[[float], float]:
    """Map [low, high] linearly to [start, end]."""
    slope = (end - start) / (high - low)
    return lambda value: start + (value - low) * slope


def ticks(low: float, high: float, wanted: int = 5) -> list[float]:
    """Give round values between low and high, about as many as wanted."""
    raw = (high - low) / wanted
    power = 10.0 ** math.floor(math.log10(raw))
    multiples = (1, 2, 2.5, 5, 10) if power >= 10 else (1, 2, 5, 10)  # 25, but not 2.5, which few count in
    step = next(m * power for m in multiples if m * power >= raw * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [round(k * step, 6) for k in range(first, math.floor(high / step + 1e-9) + 1)]


@dataclass(slots=True)
class Drawing:
    """One picture being drawn; title is the whole sentence a screen reader speaks."""

    width: float
    height: float
    title: str
    parts: list[str] = field(default_factory=list)

    def element(self, tag: str, text: str | None = None, **attributes: float | str | None) -> None:
        """Add an element; None attributes are left out, names use _ for -."""
        written = "".join(
            f' {name.replace("_", "-")}="{number(v) if isinstance(v, int | float) else escape(v)}"'
            for name, v in attributes.items()
            if v is not None
        )
        self.parts.append(f"<{tag}{written}/>" if text is None else f"<{tag}{written}>{escape(text)}</{tag}>")

    def line(self, start: Point, end: Point, colour: str = RULE, width: float = 0.5, dash: str | None = None) -> None:
        """Draw a straight line."""
        self.element(
            "line", x1=start[0], y1=start[1], x2=end[0], y2=end[1], stroke=colour, stroke_width=width,
            stroke_dasharray=dash,
        )  # fmt: skip

    def path(self, points: Sequence[Point], colour: str, width: float, dash: str | None = None) -> None:
        """Draw a line through points."""
        d = "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)
        self.element("path", d=d, stroke=colour, stroke_width=width, fill="none", stroke_dasharray=dash)

    def text(
        self,
        at: Point,
        words: str,
        size: float = 8,
        colour: str = INK,
        anchor: str = "start",
        weight: int | None = None,
    ) -> None:
        """Write words; anchor start, middle or end."""
        self.element(
            "text", words, x=at[0], y=at[1], font_size=size, fill=colour,
            text_anchor=None if anchor == "start" else anchor, font_weight=weight,
        )  # fmt: skip

    def ball(self, index: int, at: Point, radius: float = 2.2) -> None:
        """Draw the small open mark of one ball."""
        colour, shape = mark_of(index)
        style: dict[str, Any] = {"fill": "none", "stroke": colour, "stroke_width": 0.9}
        x, y = at
        if shape == "circle":
            self.element("circle", cx=x, cy=y, r=radius, **style)
        elif shape == "square":
            self.element(
                "rect", x=x - radius * 0.9, y=y - radius * 0.9, width=1.8 * radius, height=1.8 * radius, **style
            )
        else:
            up, wide, down = 1.25 * radius, 1.15 * radius, (1.25 if shape == "diamond" else 0.9) * radius
            corners = [(x, y - up), (x + wide, y + (0 if shape == "diamond" else down))]
            corners += [(x, y + down)] if shape == "diamond" else []
            corners += [(x - wide, y + (0 if shape == "diamond" else down))]
            self.element("path", d="M" + "L".join(f"{number(a)} {number(b)}" for a, b in corners) + "Z", **style)

    def disc(self, index: int, letter: str, at: Point) -> None:
        """Draw the filled letter disc that stands for a whole set."""
        self.element("circle", cx=at[0], cy=at[1], r=DISC, fill=mark_of(index)[0], stroke=PAPER, stroke_width=1)
        self.text((at[0], at[1] + 2.9), letter, 8.5 if len(letter) == 1 else 8, PAPER, "middle", 700)

    def cross(self, at: Point, radius: float = 2.6) -> None:
        """Draw the mark of a ball set aside."""
        x, y = at
        d = f"M{number(x - radius)} {number(y - radius)}L{number(x + radius)} {number(y + radius)}"
        d += f"M{number(x - radius)} {number(y + radius)}L{number(x + radius)} {number(y - radius)}"
        self.element("path", d=d, stroke=INK, stroke_width=1.1, fill="none")

    def certainty(self, middle: float, thin: Point, thick: Point | None, y: float, colour: str) -> None:
        """Draw a ring on how sure we are: a thin line, a thick one within it where there are two, no end stops.

        The ring lies over its lines, but where they would vanish in it they lie over the ring.
        """
        inner, width = (thin, 1.6) if thick is None else (thick, 4.2)
        hidden = max(middle - inner[0], inner[1] - middle) < RING + 1.5
        ring: dict[str, Any] = {"cx": middle, "cy": y, "r": RING, "fill": PAPER, "stroke": colour, "stroke_width": 1.4}
        if hidden:
            self.element("circle", **ring)
        if thick is not None:
            self.line((thin[0], y), (thin[1], y), colour, 1.1)
        self.line((inner[0], y), (inner[1], y), colour, min(width, 2.4) if hidden else width)
        if not hidden:
            self.element("circle", **ring)

    def finish(self, font: str = _FONT) -> str:
        """Give the SVG; font is a family, for a picture that stands alone with others to fall back on."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {number(self.width)} {number(self.height)}"'
            f' width="{number(self.width)}pt" height="{number(self.height)}pt" role="img" font-family="{escape(font)}">'
            f"<title>{escape(self.title)}</title>{''.join(self.parts)}</svg>"
        )
