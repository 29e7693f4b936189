"""Signs that an exporter encoded twice (a degree sign that arrives as two characters) put right."""

import re

_TRACE = re.compile("[ÂÃâ][\u0080-\u00ff\u0152-\u02dc\u2013-\u2122]")


def mended(text: str) -> str:
    """Undo one double encoding where the text shows its trace and the way back works; else give the text as it is."""
    if text.isascii() or not _TRACE.search(text):
        return text
    for page in ("cp1252", "latin-1"):
        try:
            return text.encode(page).decode("utf-8")
        except UnicodeError:
            continue
    return text.replace("Â°", "°")
