"""What kind of file the bytes are, before any decoding."""

import io
import re
import zipfile

from pipeline.trade_words import magic_bytes

_BLANK = b"\xef\xbb\xbf \t\r\n\x0b\x0c"
_HTML = re.compile(rb"\s*<(?:!doctype|html|head|body|table|meta|style|div|!--)", re.IGNORECASE)
_MOST_ENTRIES = 2_000  # of an archive; a workbook has some dozens
_XML = re.compile(rb"\s*<\?xml", re.IGNORECASE)


def kind_of(content: bytes) -> str:
    """Give `empty`, `text`, `xlsx`, `incomplete`, or the kind of a file that is no table (`html`, `xls`, `pdf`, …)."""
    start = content[:1024].lstrip(_BLANK)
    if not start and not content.strip(_BLANK):
        return "empty"
    if content.startswith(b"PK\x03\x04"):
        return _zip_kind(content)
    for magic, kind in magic_bytes().items():
        if content.startswith(magic):
            return kind
    narrow = start.replace(b"\0", b"")  # so that a web page in UTF-16 is seen too
    if _HTML.match(narrow) or (_XML.match(narrow) and b"<html" in narrow.lower()):
        return "html"
    if _XML.match(narrow):
        return "xml"
    return "text"


def _zip_kind(content: bytes) -> str:
    """Tell a workbook from other archives; the directory of an archive is at its end, so a cut one has none."""
    if content.count(b"PK\x01\x02") > _MOST_ENTRIES:
        return "zip"
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            names = archive.namelist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        return "incomplete"
    return "xlsx" if any(name.startswith("xl/") for name in names) else "zip"
