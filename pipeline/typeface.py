"""Which characters the report's typeface can draw: what it cannot is replaced, so that no other font steps in."""

import io
import re
import struct
import unicodedata
from collections.abc import Iterable
from functools import cache

from pipeline.resources import folder

SUBSTITUTE = "□"  # the typeface has it; a font's own mark for "no such character" is forbidden in PDF/UA (7.21.8)
_KEPT = frozenset("\n\r\t")
_VARIANTS = re.compile("[\ufe00-\ufe0f\U000e0100-\U000e01ef\U0001f3fb-\U0001f3ff]")  # ask for another look or skin
_BYTE_ORDER_MARK = "\ufeff"  # the typeface has it, but PDF/UA forbids it in text (7.21.7)


def advances(font: bytes) -> dict[str, float]:
    """Read a font file: which characters it can draw, and how far each moves the pen [em].

    Tables head, hhea, hmtx and the full Unicode map of cmap (format 12) of the OpenType specification.
    """
    tables = (struct.unpack_from(">4s4xII", font, 12 + 16 * i) for i in range(struct.unpack_from(">H", font, 4)[0]))
    parts = {name: font[at : at + length] for name, at, length in tables}
    cmap, widths = parts[b"cmap"], parts[b"hmtx"]
    [em], [measured] = struct.unpack_from(">H", parts[b"head"], 18), struct.unpack_from(">H", parts[b"hhea"], 34)
    maps = (struct.unpack_from(">HHI", cmap, 4 + 8 * i) for i in range(struct.unpack_from(">H", cmap, 2)[0]))
    full = cmap[next(start for *kind, start in maps if kind == [3, 10]) :]
    groups = (struct.unpack_from(">III", full, 16 + 12 * i) for i in range(struct.unpack_from(">I", full, 12)[0]))
    glyphs = {chr(code): first + code - low for low, high, first in groups for code in range(low, high + 1)}
    place = {character: 4 * min(glyph, measured - 1) for character, glyph in glyphs.items() if glyph}
    return {character: struct.unpack_from(">H", widths, at)[0] / em for character, at in place.items()}


@cache
def _weights() -> tuple[dict[str, float], ...]:
    fonts = sorted((folder("report_templates") / "fonts").glob("*.ttf"))
    return tuple(advances(path.read_bytes()) for path in fonts)


@cache
def characters() -> frozenset[str]:
    """Give the characters that every weight of the report's typeface can draw."""
    return frozenset.intersection(*(frozenset(weight) for weight in _weights())) - {_BYTE_ORDER_MARK}


def width(text: str) -> float:
    """Give how wide a text is in the widest weight, letters set one by one as in pictures [em]."""
    return sum(max(weight.get(c, 1.0) for weight in _weights()) for c in printable(text))


def subset(font: str, text: str) -> bytes:
    """Give one of our font files with the characters of a text alone, packed for a page on a screen."""
    from fontTools import subset as tools  # noqa: PLC0415 - a fifth of a second, needed for one kind of page only

    options = tools.Options(
        flavor="woff", layout_features=[], hinting=False, notdef_outline=True, recalc_timestamp=False
    )
    chosen = tools.Subsetter(options)
    chosen.populate(text=text)
    out = io.BytesIO()
    with tools.load_font(str(folder("report_templates") / "fonts" / font), options) as made:
        chosen.subset(made)
        tools.save_font(made, out, options)
    return out.getvalue()


def _composed(text: str) -> str:
    """Write each letter and its accent as one character, and leave out what asks for another look of it."""
    return unicodedata.normalize("NFC", _VARIANTS.sub("", text))


def _is_control(character: str) -> bool:
    """Tell whether a character has no shape: directions, joiners, bells."""
    return unicodedata.category(character) in ("Cc", "Cf")


@cache
def _shown_as(character: str) -> str:
    """Give what stands for a character: itself, a space, nothing for a control or a mark on a letter, else a box."""
    if character in characters() or character in _KEPT:
        return character
    kind = unicodedata.category(character)[0]
    if kind == "Z":
        return " "
    return "" if kind == "M" or _is_control(character) else SUBSTITUTE


def printable(text: str) -> str:
    """Write a text with the typeface's characters alone; a text that has no others comes back as it was."""
    composed = _composed(text)
    return composed.translate({ord(c): _shown_as(c) for c in set(composed)})


def missing_characters(texts: Iterable[str]) -> str:
    """Give the characters of some texts that a reader would miss, each once, in the order of their codes."""
    absent = set(_composed("\n".join(texts))) - characters() - _KEPT
    return "".join(sorted(c for c in absent if unicodedata.category(c)[0] != "Z" and not _is_control(c)))
