"""Bytes → text: byte order mark, else the pattern of UTF-16, else strict UTF-8, else by line with an old code page.

Statistical guessing is left out on purpose: a wrong guess decodes without an error and then changes names and units.
"""

import codecs

from pipeline.reading.parts import Decoded, Refused
from pipeline.records import Dialect, Fault

_MARKS = (  # the UTF-32 marks start with those of UTF-16, so they come first
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
LEGACY_PAGE = "cp1252"


def decode(content: bytes) -> Decoded | Refused:
    """Give the text of a file that is not empty, or why it cannot be text yet."""
    encoding = _wide_encoding(content)
    if encoding:
        text = content.decode(encoding, "replace")
        return _incomplete() if text.endswith("\0") else _unless_blank(Decoded(text, encoding))
    if content.endswith(b"\0"):  # room was set aside, the rest is not written yet
        return _incomplete()
    marked = content.startswith(codecs.BOM_UTF8)
    payload = content[len(codecs.BOM_UTF8) :] if marked else content
    try:
        decoded = Decoded(payload.decode("utf-8"), "utf-8-sig" if marked else "utf-8")
    except UnicodeDecodeError:
        decoded = _line_by_line(payload, marked=marked)
    return _unless_blank(decoded)


def _incomplete() -> Refused:
    return Refused(Fault("incomplete_file"))


def _unless_blank(decoded: Decoded) -> Decoded | Refused:
    return decoded if decoded.text[:512].strip() or decoded.text.strip() else Refused(Fault("empty_file"))


def empty_file(content: bytes) -> Refused:
    """Refuse a file with nothing in it; a byte order mark is all that can be told about its encoding."""
    return Refused(Fault("empty_file"), Dialect("utf-8-sig" if content.startswith(codecs.BOM_UTF8) else None))


def _wide_encoding(content: bytes) -> str | None:
    for mark, encoding in _MARKS:
        if content.startswith(mark):
            return encoding
    if b"\0" not in content[:4096]:
        return None
    sample = content[:4096]
    half = max(1, len(sample) // 2)
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    if odd > 0.6 * half and even < 0.05 * half:
        return "utf-16-le"
    if even > 0.6 * half and odd < 0.05 * half:
        return "utf-16-be"
    return None


def _line_by_line(payload: bytes, *, marked: bool) -> Decoded:
    """Decode each line as UTF-8 if it can be, else as the old code page; a mark on top promised UTF-8."""
    lines = payload.split(b"\n" if b"\n" in payload else b"\r")
    parts: list[str] = []
    modern = marked
    for line in lines:
        if line.isascii():
            parts.append(line.decode("ascii"))
            continue
        try:
            parts.append(line.decode("utf-8"))
            modern = True
        except UnicodeDecodeError:
            parts.append(line.decode(LEGACY_PAGE, "replace"))
    text = ("\n" if b"\n" in payload else "\r").join(parts)
    if modern:
        return Decoded(text, "utf-8", frozenset({"mixed_encoding"}))
    return Decoded(text, LEGACY_PAGE, frozenset({"legacy_encoding"}))
