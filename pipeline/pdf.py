"""HTML → PDF bytes: tagged, reproducible, and fetching nothing but our own templates and fonts."""

import logging
from pathlib import Path
from typing import Any

from pipeline.errors import MissingPartError, ReportError
from pipeline.resources import folder

HOW_TO_GET_PANGO = (
    "The PDF needs the system library Pango. Debian or Ubuntu: "
    "sudo apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0. macOS: brew install pango. "
    "Windows: install Pango with MSYS2 (pacman -S mingw-w64-x86_64-pango) and put its bin folder on PATH. "
    "Then run: baywright doctor."
)


def load() -> Any:  # noqa: ANN401 - the renderer's module
    """Import the renderer; raises MissingPartError that says exactly what to install."""
    try:
        import weasyprint  # noqa: PLC0415 - half a second and system libraries, needed for a PDF only
    except (ImportError, OSError) as fault:
        msg = f"{HOW_TO_GET_PANGO} (The machine said: {str(fault).splitlines()[0][:200]})"
        raise MissingPartError(msg) from fault
    for name in ("weasyprint", "fontTools"):
        logging.getLogger(name).setLevel(logging.ERROR)
    return weasyprint


def _own_files_only(weasyprint: Any) -> Any:  # noqa: ANN401
    """Build the fetcher: files of report_templates, and nothing else on disk or network."""
    allowed = folder("report_templates").resolve()

    class OwnFiles(weasyprint.urls.URLFetcher):  # type: ignore[misc]
        """Refuse every address but our own files."""

        def fetch(self, url: str, headers: Any = None) -> Any:  # noqa: ANN401
            path = Path(url.removeprefix("file://")).resolve() if url.startswith("file://") else None
            if path is None or not path.is_relative_to(allowed):
                msg = f"the report may not fetch {url[:80]!r}"
                raise ValueError(msg)
            return super().fetch(url, headers)

    return OwnFiles()


def make(html: str, identifier: str) -> bytes:
    """Turn a page into a PDF/UA-1 file; the same page and identifier always give the same bytes on one machine."""
    weasyprint = load()
    base = folder("report_templates").resolve().as_uri() + "/"
    try:
        page = weasyprint.HTML(string=html, base_url=base, url_fetcher=_own_files_only(weasyprint))
        made: bytes = page.write_pdf(pdf_variant="pdf/ua-1", pdf_identifier=identifier.encode())
    except Exception as fault:
        msg = f"The PDF could not be made: {type(fault).__name__}: {str(fault)[:200]}"
        raise ReportError(msg) from fault
    return made
