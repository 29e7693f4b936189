"""HTML → PDF bytes, drawn in a child process: a page that hangs or eats memory ends that process and no other.

The child is another Python (see pdf_process), not a fork or a spawned copy of this program: nothing of ours runs in it
twice, whoever calls us from whatever script.
"""

import atexit

from pipeline import typeface
from pipeline.pdf_process import Renderer
from pipeline.pdf_worker import job
from pipeline.pdf_writer import Attached

__all__ = ["Attached", "close", "load", "make", "prepare"]

_RENDERER = Renderer()
atexit.register(_RENDERER.close)


def prepare() -> None:
    """Start loading the renderer, and do not wait for it."""
    _RENDERER.prepare()


def load() -> str:
    """Wait until the renderer is loaded; gives its version, or raises MissingPartError that says what to install."""
    return _RENDERER.version()


def close() -> None:
    """End the child process now; it is started again when needed."""
    _RENDERER.close()


def make(html: str, identifier: str, attached: Attached | None = None, renderer: Renderer = _RENDERER) -> bytes:
    """Turn a page into a PDF/A-3a and PDF/UA-1 file; the same input always gives the same bytes on one machine.

    Characters the typeface lacks are replaced. Raises ReportError, or MissingPartError when the renderer is missing.
    """
    return renderer.draw(job(typeface.printable(html), identifier, attached))
