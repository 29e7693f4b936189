"""A page of HTML → the bytes of a PDF/A-3a and PDF/UA-1 file; it fetches nothing but our own templates and fonts."""

import datetime as dt
import io
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from urllib.request import url2pathname

from pipeline import typeface
from pipeline.errors import MissingPartError
from pipeline.resources import folder

HOW_TO_GET_PANGO = (
    "The PDF needs the system library Pango. Debian or Ubuntu: "
    "sudo apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0. macOS: brew install pango. "
    "Windows: install Pango with MSYS2 (pacman -S mingw-w64-x86_64-pango) and put its bin folder on PATH. "
    "Then run: baywright doctor."
)
_HELD = ("data:image/svg+xml;base64,", "data:image/png;base64,")
_UA = "http://www.aiim.org/pdfua/ns/id/"
_EXTENSION = "http://www.aiim.org/pdfa/ns"
# PDF/UA's mark, and its description: PDF/A allows no property that it does not know without one (ISO 19005-3, 6.6.2.3)
_UA_MARK = f"""
<rdf:Description rdf:about="" xmlns:pdfuaid="{_UA}"><pdfuaid:part>1</pdfuaid:part></rdf:Description>
<rdf:Description rdf:about="" xmlns:pdfaExtension="{_EXTENSION}/extension/"
    xmlns:pdfaSchema="{_EXTENSION}/schema#" xmlns:pdfaProperty="{_EXTENSION}/property#">
  <pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
    <pdfaSchema:schema>PDF/UA identification</pdfaSchema:schema>
    <pdfaSchema:namespaceURI>{_UA}</pdfaSchema:namespaceURI>
    <pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
    <pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
      <pdfaProperty:name>part</pdfaProperty:name>
      <pdfaProperty:valueType>Integer</pdfaProperty:valueType>
      <pdfaProperty:category>internal</pdfaProperty:category>
      <pdfaProperty:description>the part of ISO 14289 the file keeps to</pdfaProperty:description>
    </rdf:li></rdf:Seq></pdfaSchema:property>
  </rdf:li></rdf:Bag></pdfaExtension:schemas>
</rdf:Description>
"""


@dataclass(frozen=True, slots=True)
class Attached:
    """A file that travels inside the PDF; the day stands for the hour it was made, which would change the bytes."""

    name: str
    description: str
    content: bytes
    day: dt.date


def load() -> Any:  # noqa: ANN401 - the renderer's module
    """Import the renderer; raises MissingPartError that says exactly what to install."""
    try:
        import weasyprint  # noqa: PLC0415 - half a second and system libraries, needed for a PDF only
    except (ImportError, OSError) as fault:
        msg = f"{HOW_TO_GET_PANGO} (The machine said: {(str(fault).splitlines() or ['nothing'])[0][:200]})"
        raise MissingPartError(msg) from fault
    for name in ("weasyprint", "fontTools"):
        logging.getLogger(name).setLevel(logging.ERROR)
    return weasyprint


def _own_files_only(weasyprint: Any) -> Any:  # noqa: ANN401
    """Build the fetcher: files of report_templates, and nothing else on disk or network."""
    allowed = folder("report_templates").resolve()

    class OwnFiles(weasyprint.urls.URLFetcher):  # type: ignore[misc]
        """Refuse every address but our own files, and what an address holds in itself: the studio's logo."""

        def fetch(self, url: str, headers: Any = None) -> Any:  # noqa: ANN401
            if url.startswith(_HELD):
                return super().fetch(url, headers)
            parts = urlsplit(url)
            path = Path(url2pathname(parts.path)).resolve() if (parts.scheme, parts.netloc) == ("file", "") else None
            if path is None or not path.is_relative_to(allowed):
                msg = f"the report may not fetch {url[:80]!r}"
                raise ValueError(msg)
            return super().fetch(path.as_uri(), headers)

    return OwnFiles()


def _object(pdf: Any, reference: Any) -> Any:  # noqa: ANN401
    """Find the object a reference like "12 0 R" points to."""
    return pdf.objects[int(reference.split()[0])]


def _finish(_document: Any, pdf: Any) -> None:  # noqa: ANN401
    """Add what the renderer leaves out: PDF/UA's mark inside the one rdf:RDF, and what each heading cell heads."""
    metadata, end = _object(pdf, pdf.catalog["Metadata"]), b"</rdf:RDF>"
    written = b"".join(metadata.stream)
    if written.count(end) != 1:
        msg = "the renderer writes its metadata in another way than before; the PDF/UA mark has no place"
        raise ValueError(msg)
    metadata.stream = [written.replace(end, _UA_MARK.encode() + end)]
    cells = [item for item in pdf.objects if isinstance(item, dict) and item.get("S") == "/TH" and "A" in item]
    for cell in cells:
        group = _object(pdf, _object(pdf, cell["P"])["P"])
        cell["A"]["Scope"] = "/Column" if group["S"] == "/THead" else "/Row"
    if "AF" in pdf.catalog:
        pdf.catalog["AF"][:] = dict.fromkeys(pdf.catalog["AF"])  # each file once


def write(html: str, identifier: str, attached: Attached | None = None) -> bytes:
    """Turn a page into a PDF; the same input always gives the same bytes on one machine.

    Characters the typeface lacks are replaced. Raises MissingPartError when the renderer is missing.
    """
    weasyprint = load()
    files = []
    if attached:
        hour = dt.datetime.combine(attached.day, dt.time(), dt.UTC)
        files = [
            weasyprint.Attachment(
                file_obj=io.BytesIO(attached.content), name=attached.name, description=attached.description,
                created=hour, modified=hour, relationship="Data",
            )
        ]  # fmt: skip
    base = folder("report_templates").resolve().as_uri() + "/"
    page = weasyprint.HTML(string=typeface.printable(html), base_url=base, url_fetcher=_own_files_only(weasyprint))
    with _no_picture_missing():
        made: bytes = page.write_pdf(
            pdf_variant="pdf/a-3a", pdf_identifier=identifier.encode(), attachments=files, finisher=_finish
        )
    return made


@contextmanager
def _no_picture_missing() -> Iterator[None]:
    """Refuse a page on which a drawing failed: the renderer only logs it, and what follows may lie askew."""
    heard: list[str] = []
    listener = logging.Handler(logging.ERROR)
    listener.emit = lambda record: heard.append(str(record.msg))  # type: ignore[method-assign]
    log = logging.getLogger("weasyprint")
    log.addHandler(listener)
    try:
        yield
    finally:
        log.removeHandler(listener)
    if any("render SVG" in message for message in heard):
        msg = "a picture in it cannot be drawn"
        raise ValueError(msg)
