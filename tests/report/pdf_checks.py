"""What every PDF of ours must be, looked up in its structure: fast, and without the validator of test_standards.

Each check is a function PDF → the faults it found; test_pdf plants a fault for each.
"""

import io
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pikepdf

FONTS = re.compile(r"/[A-Z]{6}\+Source-?Sans-?3")
MARGIN = 51.0  # 18 mm in points
EMPTY: Any = pikepdf.Dictionary()
EDGE = 11.0  # head and foot lie in the margins above and below; nearer to the edge many printers do not print


def blank(*sizes: tuple[int, int]) -> bytes:
    """Make a PDF of empty pages, sizes in points."""
    made, written = pikepdf.new(), io.BytesIO()
    for size in sizes:
        made.add_blank_page(page_size=size)
    made.save(written)
    return written.getvalue()


def _elements(item: Any, above: tuple[str, ...] = ()) -> Iterator[tuple[Any, tuple[str, ...]]]:  # noqa: ANN401
    """Walk the structure tree in reading order: each element, with the kinds of those above it."""
    if isinstance(item, pikepdf.Array):
        for one in item:
            yield from _elements(one, above)
    elif isinstance(item, pikepdf.Dictionary) and "/S" in item:
        yield item, above
        yield from _elements(item.get("/K", pikepdf.Array()), (*above, str(item.S)))


def _structure(made: pikepdf.Pdf) -> list[tuple[Any, str, tuple[str, ...]]]:
    tree = made.Root.get("/StructTreeRoot", EMPTY)
    return [(one, str(one.S), above) for one, above in _elements(tree.get("/K", pikepdf.Array()))]


def tagged(made: pikepdf.Pdf) -> Iterator[str]:
    if not made.Root.get("/MarkInfo", EMPTY).get("/Marked", False):
        yield "it is not marked as tagged"
    if not _structure(made):
        yield "it has no structure"


def language_and_title(made: pikepdf.Pdf) -> Iterator[str]:
    if not re.fullmatch(r"[a-z]{2}(-[A-Z]{2})?", str(made.Root.get("/Lang", ""))):
        yield "it has no language"
    if not made.Root.get("/ViewerPreferences", EMPTY).get("/DisplayDocTitle", False):
        yield "its title is not shown"
    with made.open_metadata() as about:
        if not about.get("dc:title") or about["dc:title"] != str(made.docinfo.get("/Title", "")):
            yield "it has no title"


def marks(made: pikepdf.Pdf) -> Iterator[str]:
    if made.Root.Metadata.read_bytes().count(b"<rdf:RDF") != 1:
        yield "its metadata is in several pieces"
    with made.open_metadata() as about:
        if about.get("pdfuaid:part") != "1":
            yield "it has no PDF/UA mark"
        if (about.get("pdfaid:part"), about.get("pdfaid:conformance")) != ("3", "A"):
            yield "it has no PDF/A-3a mark"
    intents = made.Root.get("/OutputIntents", pikepdf.Array())
    if not any(one.get("/S") == "/GTS_PDFA1" and "/DestOutputProfile" in one for one in intents):
        yield "it has no output intent"
    if "/ID" not in made.trailer:
        yield "it has no identifier"
    if made.is_encrypted:
        yield "it is encrypted"


def headings(made: pikepdf.Pdf) -> Iterator[str]:
    before = 0
    levels = [int(kind[2]) for _, kind, _ in _structure(made) if re.fullmatch(r"/H[1-6]", kind)]
    if not levels:
        yield "it has no headings"
    for level in levels:
        if level > before + 1:
            yield f"a heading of level {level} follows level {before}"
        before = level
    with made.open_outline() as outline:
        titles = [item.title for item in outline.root] + [item.title for one in outline.root for item in one.children]
    if len(titles) < min(2, len(levels)):
        yield "it has no bookmarks"


def pictures(made: pikepdf.Pdf) -> Iterator[str]:
    """Look for pictures that say nothing; the logo says whose it is, and no more."""
    whose = str(made.docinfo.get("/Author", ""))
    for one, kind, _ in _structure(made):
        words = str(one.get("/Alt", ""))
        if kind == "/Figure" and len(words) < 20 and (not words or words != whose):
            yield "a picture has no words"


def images(made: pikepdf.Pdf) -> Iterator[str]:
    """Look for pictures of dots that ask to be smoothed: PDF/A forbids it (ISO 19005-3, 6.2.8)."""
    for one in made.objects:
        if isinstance(one, pikepdf.Stream) and one.get("/Subtype") == "/Image" and one.get("/Interpolate", False):
            yield "a picture asks to be smoothed"


def tables(made: pikepdf.Pdf) -> Iterator[str]:
    structure = _structure(made)
    known = {str(one.ID) for one, kind, _ in structure if kind == "/TH" and "/ID" in one}
    for table in [one for one, kind, _ in structure if kind == "/Table"]:
        cells = [one for one, _ in _elements(table)]
        heads = [one for one in cells if one.S == "/TH"]
        if not heads:
            yield "a table has no headings"
        if any(one.get("/A", EMPTY).get("/Scope") not in ("/Column", "/Row") for one in heads):
            yield "a heading cell does not say what it heads"
        pointed = [one.get("/A", EMPTY).get("/Headers", []) for one in cells if one.S == "/TD"]
        if any(not names or not {str(name) for name in names} <= known for names in pointed):
            yield "a cell has no headings"


def _fonts(made: pikepdf.Pdf) -> dict[str, Any]:
    return {name: font for page in made.pages for name, font in page.Resources.get("/Font", EMPTY).items()}


def fonts(made: pikepdf.Pdf) -> Iterator[str]:
    for font in _fonts(made).values():
        inner = font.get("/DescendantFonts", [font])[0]
        if not FONTS.match(str(font.get("/BaseFont"))):
            yield f"a font is not ours: {font.get('/BaseFont')}"
        if not {"/FontFile", "/FontFile2", "/FontFile3"} & set(inner.get("/FontDescriptor", EMPTY).keys()):
            yield "a font is not embedded"
        if "/ToUnicode" not in font:
            yield "a font's text cannot be read out"


def glyphs(made: pikepdf.Pdf) -> Iterator[str]:
    """Look for glyph 0, which a renderer draws where the font has no such character."""
    for page in made.pages:
        for shown in pikepdf.parse_content_stream(page, "Tj TJ"):
            parts: Any = shown.operands[0] if str(shown.operator) == "TJ" else shown.operands
            codes = b"".join(bytes(part) for part in parts if isinstance(part, pikepdf.String))
            if any(codes[i : i + 2] == b"\0\0" for i in range(0, len(codes), 2)):
                yield "a character could not be drawn"


def activity(made: pikepdf.Pdf) -> Iterator[str]:
    """Look for anything that does something, or leads out of the file."""
    places = (made.Root, made.Root.get("/Names", EMPTY), *(page.obj for page in made.pages))
    for key in ("/JavaScript", "/OpenAction", "/AA", "/AcroForm"):
        if any(key in place for place in places):
            yield f"it acts by itself: {key}"
    outward = {"/URI", "/GoToR", "/GoToE", "/Launch", "/SubmitForm", "/ImportData", "/JavaScript"}
    for one in made.objects:
        if isinstance(one, pikepdf.Dictionary) and str(one.get("/S", "")) in outward:
            yield f"it leads outside: {one.S}"
        if isinstance(one, pikepdf.Dictionary) and one.get("/Type") == "/Annot":
            yield "it has something to click on"


def attachments(made: pikepdf.Pdf, shots: bytes | None) -> Iterator[str]:
    wanted = {} if shots is None else {"shots.csv": shots}
    if {name: file.get_file().read_bytes() for name, file in made.attachments.items()} != wanted:
        yield "the attachment is missing or another"
    named = list(made.Root.get("/AF", pikepdf.Array()))
    if len(named) != len(wanted):
        yield "the attachment is not tied to the document"
    for file in named:
        about = file.EF.F.get("/Params", EMPTY)
        if file.get("/AFRelationship") != "/Data" or not str(file.get("/Desc", "")):
            yield "the attachment does not say what it is"
        if {str(about.get(key, "")) for key in ("/CreationDate", "/ModDate")} != {
            str(made.docinfo.get("/CreationDate"))[:10] + "000000Z"
        }:
            yield "the attachment has another date than the report"


CHECKS = (tagged, language_and_title, marks, headings, pictures, images, tables, fonts, glyphs, activity)


def problems(content: bytes, shots: bytes | None = None) -> list[str]:
    """List what is wrong with a PDF, each fault once; `shots` is what must be attached to it."""
    with pikepdf.open(io.BytesIO(content)) as made:
        found = [fault for check in CHECKS for fault in check(made)] + list(attachments(made, shots))
    return list(dict.fromkeys(found))


def off_the_page(content: bytes, folder: Path) -> list[str]:
    """List the words that lie in the margins or past the edge of their page, by the whole width they take up."""
    (folder / "page.pdf").write_bytes(content)
    said = subprocess.run(["pdftotext", "-bbox", folder / "page.pdf", "-"], capture_output=True, check=True)
    outside = []
    for page in said.stdout.decode().split("<page ")[1:]:
        width, height = map(float, re.findall(r'(?:width|height)="([\d.]+)"', page)[:2])
        words = re.findall(r'xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*?)</word>', page)
        assert words, "a page without words"
        for *place, word in words:
            left, top, right, bottom = map(float, place)
            fits = left >= MARGIN - 1 and right <= width - MARGIN + 1
            if not (fits and top >= EDGE and bottom <= height - EDGE):
                outside.append(f"{word[:40]} at {left:.0f} to {right:.0f}, {top:.0f} to {bottom:.0f}")
    return outside
