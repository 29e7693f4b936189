"""Geometry read back from a picture's SVG: what stands where, and what must never meet."""

import itertools
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from pipeline import svg

_NS = "{http://www.w3.org/2000/svg}"
_GRID = {svg.FAINT, svg.RULE}  # lines that carry no meaning; text may stand on them
_NEAR = 0.4  # points by which boxes may touch


@dataclass(frozen=True, slots=True)
class Text:
    """A text and the box of its ink: capitals and digits are 0.66 em high, tails reach 0.2 em down."""

    words: str
    size: float
    colour: str
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Picture:
    """What was read of a picture: size, texts, letters and their discs, points of all lines that mean something."""

    width: float
    height: float
    title: str
    texts: tuple[Text, ...]
    letters: tuple[Text, ...]
    discs: tuple[svg.Point, ...]
    points: tuple[svg.Point, ...]
    colours: frozenset[str]


def _text(e: ET.Element) -> Text:
    words, size = e.text or "", float(e.attrib["font-size"])
    wide, x, y = svg.text_width(words, size), float(e.attrib["x"]), float(e.attrib["y"])
    left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[e.attrib.get("text-anchor", "start")]
    return Text(words, size, e.attrib["fill"], left, y - 0.66 * size, left + wide, y + 0.2 * size)


def _along(corners: list[svg.Point]) -> Iterator[svg.Point]:
    for a, b in itertools.pairwise(corners):
        n = max(int(math.dist(a, b) / 1.5), 1)
        yield from ((a[0] + (b[0] - a[0]) * i / n, a[1] + (b[1] - a[1]) * i / n) for i in range(n + 1))


def _points(e: ET.Element) -> Iterator[svg.Point]:
    """Give points along a mark's outline; of a thick line its edges, too."""
    tag, a = e.tag.removeprefix(_NS), e.attrib
    if tag == "line":
        (x1, y1, x2, y2), half = (float(a[n]) for n in ("x1", "y1", "x2", "y2")), float(a["stroke-width"]) / 2
        for dx, dy in ((0.0, half), (0.0, -half)) if y1 == y2 else ((half, 0.0), (-half, 0.0)):
            yield from _along([(x1 + dx, y1 + dy), (x2 + dx, y2 + dy)])
    elif tag == "path":
        for part in a["d"].replace("Z", "").split("M")[1:]:
            yield from _along([(float(x), float(y)) for x, y in (p.split() for p in part.split("L"))])
    elif tag == "rect":
        x, y, w, h = (float(a[n]) for n in ("x", "y", "width", "height"))
        yield from _along([(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)])
    elif tag in ("circle", "ellipse"):
        rx, ry = (float(a.get(n, a.get("r", "0"))) for n in ("rx", "ry"))
        cx, cy = float(a["cx"]), float(a["cy"])
        turned = re.match(r"rotate\(([-\d.]+)", a.get("transform", ""))
        c, s = (f(math.radians(float(turned[1]) if turned else 0.0)) for f in (math.cos, math.sin))
        for i in range(72):
            u, v = rx * math.cos(i * math.pi / 36), ry * math.sin(i * math.pi / 36)
            yield cx + u * c - v * s, cy + u * s + v * c


def read(source: str) -> Picture:
    """Read a picture; fails on what is no well-formed SVG or holds a number that is none."""
    root = ET.fromstring(source)  # noqa: S314 - our own output
    assert root[0].tag == f"{_NS}title"
    for e in root.iter():
        for name, value in e.attrib.items():
            assert not re.search(r"(?i)\b(nan|inf)", value), (e.tag, name, value)
    discs = [e for e in root.iter(f"{_NS}circle") if e.attrib["r"] == svg.number(svg.DISC)]
    written = [_text(e) for e in root.iter(f"{_NS}text")]
    places = tuple((float(e.attrib["cx"]), float(e.attrib["cy"])) for e in discs)
    letters = tuple(t for t in written if t.colour == svg.PAPER)
    marks = [e for e in root if e not in discs and e.attrib.get("stroke", e.attrib.get("fill")) not in _GRID]
    drawn = frozenset(e.attrib[n] for e in marks for n in ("stroke", "fill") if n in e.attrib) - {"none", svg.PAPER}
    wide, high = (float(v) for v in root.attrib["viewBox"].split()[2:])
    points = tuple(p for e in marks for p in _points(e))
    texts = tuple(t for t in written if t.colour != svg.PAPER)
    return Picture(wide, high, root[0].text or "", texts, letters, places, points, drawn)


def faults(picture: Picture) -> list[str]:
    """List what a reader would stumble over."""
    found = [f"outside: {t.words}" for t in picture.texts if not _inside(t, picture)]
    found += [f"below 8 pt: {t.words}" for t in (*picture.texts, *picture.letters) if t.size < 8]
    for one, other in itertools.combinations(picture.texts, 2):
        if _meet(one, other):
            found.append(f"texts meet: {one.words} | {other.words}")
    for text in picture.texts:
        if any(_distance(disc, text) < svg.DISC for disc in picture.discs):
            found.append(f"a disc on: {text.words}")
        if any(text.left < x < text.right and text.top < y < text.bottom for x, y in picture.points):
            found.append(f"a mark on: {text.words}")
    for a, b in itertools.combinations(picture.discs, 2):
        if math.dist(a, b) < 2 * svg.DISC - _NEAR:
            found.append(f"discs meet: {a} {b}")
    found += [f"a mark outside: {p}" for p in picture.points if not _holds(picture, p)]
    found += [f"a disc outside: {d}" for d in picture.discs if not _holds(picture, d, svg.DISC)]
    return found


def _inside(t: Text, picture: Picture) -> bool:
    over = -t.left, -t.top, t.right - picture.width, t.bottom - picture.height
    return max(over) <= _NEAR


def _holds(picture: Picture, p: svg.Point, radius: float = 0.0) -> bool:
    low, far = radius - 0.5, 0.5 - radius
    return low <= p[0] <= picture.width + far and low <= p[1] <= picture.height + far


def _meet(one: Text, other: Text) -> bool:
    across = min(one.right, other.right) - max(one.left, other.left)
    return across > _NEAR and min(one.bottom, other.bottom) - max(one.top, other.top) > _NEAR


def _distance(p: svg.Point, t: Text) -> float:
    """Give how far a point lies outside a text's ink; 0 inside."""
    return math.hypot(max(t.left - p[0], p[0] - t.right, 0), max(t.top - p[1], p[1] - t.bottom, 0))


def luminance(colour: str) -> float:
    """Give the relative luminance of a colour (WCAG 2.2, definition of relative luminance; from memory)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str = svg.PAPER) -> float:
    """Give the contrast of two colours, 1 to 21 (WCAG 2.2)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)
