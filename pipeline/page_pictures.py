"""The pages of a PDF as pictures: a browser may have no viewer of PDFs (those of most tablets have none).

Drawn by PDFium in the child process, for whoever put another PDF in a report's place; it must not be used from two
threads at once. Its drawing is for the eye at the desk only: what customers get is the PDF.
"""

import io
import math
from collections.abc import Sequence

import pypdfium2

from pipeline.work_messages import LARGEST_PICTURE, MOST_PAGES

_PIXELS_PER_POINT = 2.0  # 144 an inch: sharp on a tablet too, and 0.3 MB a page


def sizes(pdf: bytes) -> list[Sequence[int]]:
    """Give width and height of each page's picture in pixels; raises PdfiumError for what is no PDF."""
    with pypdfium2.PdfDocument(pdf) as document:
        return [_size(document[index]) for index in range(min(len(document), MOST_PAGES))]


def picture(pdf: bytes, number: int) -> bytes:
    """Draw one page, the first is 1, as PNG; raises IndexError when there is none, PdfiumError for what is no PDF."""
    with pypdfium2.PdfDocument(pdf) as document:
        if not 1 <= number <= len(document):
            msg = f"there is no page {number}"
            raise IndexError(msg)
        page, drawn = document[number - 1], io.BytesIO()
        page.render(scale=_scale(page), rev_byteorder=True).to_pil().save(drawn, "PNG", compress_level=3)
        return drawn.getvalue()


def _scale(page: pypdfium2.PdfPage) -> float:
    """Give pixels per point; a page no studio prints on is drawn smaller, and not by the wall it would cover."""
    width, height = page.get_size()
    return min(_PIXELS_PER_POINT, (LARGEST_PICTURE - 1) / max(float(width), float(height)))


def _size(page: pypdfium2.PdfPage) -> Sequence[int]:
    """Give the size as the library rounds it: up."""
    return [math.ceil(side * _scale(page)) for side in page.get_size()]
