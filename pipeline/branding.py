"""The studio's logo and colour: checked before use, and refused rather than repaired."""

import base64
import io
import re
from dataclasses import dataclass, field
from xml.parsers import expat

from pipeline.errors import SettingsError
from pipeline.resources import table

TALLEST_MM, WIDEST_MM = 14.0, 60.0
LARGEST_PNG, LARGEST_SVG = 1_000_000, 200_000  # bytes
MOST_PIXELS = 4_000  # a side
MOST_SHAPES, DEEPEST = 20_000, 100  # shapes drawn, those repeated counted each time; elements in each other
LEAST_CONTRAST = 4.5  # WCAG 2.2, 1.4.3: what text needs, and thin lines deserve
_PNG = b"\x89PNG\r\n\x1a\n"
_SVG = "http://www.w3.org/2000/svg"
_INSIDE = re.compile(r"url\(\s*[\"']?#([\w.:-]+)[\"']?\s*\)", re.IGNORECASE)
_OTHER_COLOUR = re.compile(r"\b(device-cmyk|lab|lch|oklab|oklch|hwb|color)\(", re.IGNORECASE)
_NUMBER = re.compile(r"[-+]?(?:\d{1,9}(?:\.\d{0,15})?|\.\d{1,15})")
_COLOURS = ("1", "P", "L", "LA", "RGB", "RGBA")  # what a PNG may hold, in Pillow's words; not grey of 16 bits


@dataclass(frozen=True, slots=True)
class Logo:
    """A checked picture, and how large it is drawn."""

    kind: str  # svg+xml | png
    content: bytes
    width_mm: float
    height_mm: float

    @property
    def address(self) -> str:
        """Give the picture as an address that holds all of it."""
        return f"data:image/{self.kind};base64,{base64.b64encode(self.content).decode()}"


# --- colour -----------------------------------------------------------------------------------------------------------
def contrast_on_white(colour: str) -> float:
    """Give the contrast ratio of a colour #rrggbb on white paper, 1 to 21 (WCAG 2.2, relative luminance of sRGB)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 1.05 / (0.2126 * red + 0.7152 * green + 0.0722 * blue + 0.05)


def colour_fault(colour: str) -> str:
    """Say why a colour is too pale for lines on white paper, if it is."""
    ratio = contrast_on_white(colour)
    if ratio >= LEAST_CONTRAST:
        return ""
    below = int(ratio * 100) / 100  # 4.499 is not 4.50
    return (
        f"its contrast on white paper is {below:.2f} : 1 and must be at least {LEAST_CONTRAST} : 1. Take a darker one"
    )


# --- logo -------------------------------------------------------------------------------------------------------------
def page(logo: Logo) -> str:
    """Write a page with the logo alone, to see whether it can be drawn."""
    return f'<!DOCTYPE html><html lang="en"><title>logo</title><body><img src="{logo.address}" alt="logo">'


def checked(content: bytes, name: str) -> Logo:
    """Check a logo's file; raises SettingsError with its name, the reason and what to do."""
    if content.startswith(_PNG):
        return _fitted("png", content, *_png_size(content, name))
    if name.lower().endswith(".svg"):
        return _fitted("svg+xml", content, *_svg_size(content, name))
    raise _refused(name, "it is neither a PNG nor an SVG picture", "Save it as one of these")


def _refused(name: str, why: str, to_do: str) -> SettingsError:
    return SettingsError(f'{name}: not used as logo: {why}. {to_do}, or set logo = "" in studio.toml.')


def _fitted(kind: str, content: bytes, width: float, height: float) -> Logo:
    """Draw it as large as its place allows."""
    scale = min(WIDEST_MM / width, TALLEST_MM / height)
    return Logo(kind, content, *(max(round(side * scale, 2), 0.01) for side in (width, height)))


def _png_size(content: bytes, name: str) -> tuple[int, int]:
    from PIL import Image  # noqa: PLC0415 - only a studio with such a logo needs it

    if len(content) > LARGEST_PNG:
        raise _refused(name, f"it is larger than {LARGEST_PNG // 1_000_000} MB", "Save it smaller")
    width, height = int.from_bytes(content[16:20]), int.from_bytes(content[20:24])
    if max(width, height) > MOST_PIXELS:  # before a pixel is unpacked
        raise _refused(name, f"it is {width} × {height} pixels and may have {MOST_PIXELS} a side", "Save it smaller")
    try:
        with Image.open(io.BytesIO(content), formats=["PNG"]) as picture:
            picture.verify()  # every part's checksum; it has to be opened again after that
        with Image.open(io.BytesIO(content), formats=["PNG"]) as picture:
            picture.load()
            size, mode = picture.size, picture.mode
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as fault:
        raise _refused(name, "it is damaged", "Save it anew") from fault
    if mode not in _COLOURS:
        raise _refused(name, "its colours are of a kind a report cannot draw", "Save it with 8 bits a colour")
    return size


@dataclass(slots=True)
class _Shape:
    """An element of an SVG: what it is called, holds and points to."""

    tag: str
    text: str = ""
    inside: "list[_Shape]" = field(default_factory=list)
    points_to: list[str] = field(default_factory=list)


class _Drawing:
    """Reads an SVG from end to end and refuses what does more than draw."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.size: tuple[float, float] | None = None
        self._root = _Shape("")
        self._open = [self._root]
        self._named: dict[str, _Shape] = {}
        self._counts: dict[int, int] = {}

    def read(self, content: bytes) -> None:
        """Read it; nothing is loaded from elsewhere, and entities are refused before they can be declared."""
        parser = expat.ParserCreate(namespace_separator=" ")
        parser.StartDoctypeDeclHandler = self._doctype
        parser.ProcessingInstructionHandler = self._instruction
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._text
        try:
            parser.Parse(content, True)
        except (expat.ExpatError, ValueError, LookupError) as fault:
            raise _refused(self.name, f"it is damaged ({fault})", "Save it anew") from fault

    def refuse(self, why: str, to_do: str = "Save it as plain SVG without that") -> None:
        """Refuse it."""
        raise _refused(self.name, why, to_do)

    def _doctype(self, *_words: object) -> None:
        self.refuse("it declares a document type (<!DOCTYPE …>)")

    def _instruction(self, *_words: object) -> None:
        self.refuse("it has a processing instruction (<?…?>)")

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        space, _, plain = tag.rpartition(" ")
        if len(self._open) == 1:
            self.size = _size(attributes)
            if (space, plain) != (_SVG, "svg"):
                self.refuse("it is no SVG picture", "Save it as plain SVG")
        elif plain == "svg":
            self.refuse("it holds a picture inside the picture")
        rules = table("logo")
        if plain.lower() in rules["refused"]:
            self.refuse(f"it holds {rules['refused'][plain.lower()]}")
        if space == _SVG and plain not in rules["drawn"]:
            self.refuse(f"it holds <{plain[:40]}>, which a report cannot draw")
        if len(self._open) > DEEPEST:
            self.refuse(f"its elements lie deeper than {DEEPEST} in each other")
        shape = _Shape(plain)
        for key, value in attributes.items():
            self._attribute(shape, key.rpartition(" ")[2], value)
        self._named.setdefault(attributes.get("id", ""), shape)
        self._open[-1].inside.append(shape)
        self._open.append(shape)

    def _attribute(self, shape: _Shape, key: str, value: str) -> None:
        if key.lower().startswith("on"):
            self.refuse(f"it holds a script ({key[:40]})")
        if key in ("href", "src", "base"):
            if not value.strip().startswith("#"):
                self.refuse(f"it points outside itself ({key})")
            shape.points_to.append(value.strip()[1:])
        self._look(shape, key, value)

    def _look(self, shape: _Shape, where: str, text: str) -> None:
        """Refuse an address that leads out of the picture; in a style, a backslash could hide one."""
        shape.points_to += _INSIDE.findall(text)
        rest = _INSIDE.sub("", text).lower()
        if "url(" in rest or "@import" in rest or (where == "style" and "\\" in rest):
            self.refuse(f"it points outside itself ({where[:40]})")
        if _OTHER_COLOUR.search(rest):
            self.refuse("it names a colour in another way than red, green and blue", "Save it with RGB colours")

    def _text(self, text: str) -> None:
        self._open[-1].text += text if self._open[-1].tag == "style" else ""

    def _end(self, _tag: str) -> None:
        shape = self._open.pop()
        if "@" in shape.text:
            self.refuse("its style holds an @ rule, such as @import")
        self._look(shape, "style", shape.text)

    def shapes(self, shape: _Shape | None = None, depth: int = 0) -> int:
        """Count what is drawn, repetitions too; refuses what repeats itself."""
        shape = shape or self._root
        if depth > 2 * DEEPEST:
            self.refuse("parts of it repeat themselves or each other (use)", "Save it as plain SVG without that")
        if id(shape) not in self._counts:
            repeated = [self._named[name] for name in shape.points_to if name in self._named]
            self._counts[id(shape)] = 1 + sum(self.shapes(each, depth + 1) for each in [*shape.inside, *repeated])
        return self._counts[id(shape)]


def _size(attributes: dict[str, str]) -> tuple[float, float] | None:
    """Give width and height of an SVG in its own units; None without a viewBox that can be read."""
    found = [_NUMBER.fullmatch(part) for part in attributes.get("viewBox", "").replace(",", " ").split()]
    sides = [float(each[0]) for each in found if each][2:]
    return (sides[0], sides[1]) if len(found) == 4 and all(found) and min(sides) > 0 else None


def _svg_size(content: bytes, name: str) -> tuple[float, float]:
    if len(content) > LARGEST_SVG:
        raise _refused(name, f"it is larger than {LARGEST_SVG // 1000} kB", "Save it simpler")
    drawing = _Drawing(name)
    drawing.read(content)
    if drawing.size is None:
        raise _refused(name, "it does not say how large it is", "Save it with a viewBox")
    if drawing.shapes() > MOST_SHAPES:
        raise _refused(name, f"it draws more than {MOST_SHAPES} shapes", "Save it simpler")
    return drawing.size
