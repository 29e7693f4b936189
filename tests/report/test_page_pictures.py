"""The pages of a report as pictures: what another program draws of the same PDF, and what no PDF is."""

import io
import subprocess
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from PIL import Image

from pipeline import outputs, page_pictures, settings
from pipeline.errors import ReportError
from pipeline.records import Fitting
from pipeline.work_messages import LARGEST_PICTURE, MOST_PAGES
from pipeline.workshop import Workshop
from tests.report.pdf_checks import blank


@pytest.fixture(scope="module")
def pdf(driver_fitting: Fitting) -> bytes:
    return outputs.files(driver_fitting, settings.load())["report.pdf"]


def opened(drawn: bytes) -> Image.Image:
    return Image.open(io.BytesIO(drawn), formats=["PNG"]).convert("RGB")


@pytest.mark.parametrize("number", [1, 4])
def test_a_page_looks_as_another_program_draws_it(pdf: bytes, number: int, tmp_path: Path) -> None:
    """Against pdftoppm (Poppler), at the same 144 dots an inch, in squares of 8 by 8.

    Tolerance: the two soften edges differently, 255 is the span. Mean of all squares within 3, and 999 of 1,000 within
    60; measured 1.0 to 1.3 and 19 to 28. Another page in a page's place gives 12 to 14 and 125 to 146.
    """
    (tmp_path / "report.pdf").write_bytes(pdf)
    wanted = [*["pdftoppm", "-r", "144", "-png", "-f"], str(number), "-l", str(number), "report.pdf", "page"]
    subprocess.run(wanted, cwd=tmp_path, check=True)
    [theirs] = tmp_path.glob("page*.png")
    ours, other = (squares(opened(drawn)) for drawn in (page_pictures.picture(pdf, number), theirs.read_bytes()))
    apart = np.abs(ours - other)
    assert apart.mean() < 3
    assert np.quantile(apart, 0.999) < 60
    assert ours.std() > 10  # there is something on it


def squares(drawn: Image.Image) -> np.ndarray:
    """Give the means of 8 by 8 pixels and of the three colours."""
    pixels = np.asarray(drawn, float)[: drawn.height // 8 * 8, : drawn.width // 8 * 8]
    return np.asarray(pixels.reshape(drawn.height // 8, 8, drawn.width // 8, 8, 3).mean(axis=(1, 3, 4)))


def test_sizes_are_those_of_the_pictures(pdf: bytes) -> None:
    sizes = page_pictures.sizes(pdf)
    assert len(sizes) >= 4
    assert sizes[0] == [1191, 1684]  # A4 at 144 an inch: 8.27 and 11.69 inches
    assert list(opened(page_pictures.picture(pdf, 1)).size) == sizes[0]


@pytest.mark.parametrize("size", [(612, 792), (333, 777), (14_400, 10), (14_400, 14_400), (3, 3)])
def test_a_page_of_any_size_stays_within_bounds(size: tuple[int, int]) -> None:
    made = blank(size)
    [told] = page_pictures.sizes(made)
    assert list(opened(page_pictures.picture(made, 1)).size) == told
    assert max(told) <= LARGEST_PICTURE
    assert max(told) == min(2 * max(size), LARGEST_PICTURE - 1)


def test_of_very_many_pages_the_first_are_told() -> None:
    assert len(page_pictures.sizes(blank(*[(10, 10)] * (MOST_PAGES + 1)))) == MOST_PAGES


@pytest.mark.parametrize("number", [0, 3])
def test_a_page_there_is_not_is_refused(number: int) -> None:
    with pytest.raises(IndexError, match=f"there is no page {number}"):
        page_pictures.picture(blank((10, 10), (10, 10)), number)


@pytest.mark.parametrize("content", [b"", b"%PDF-", b"no PDF at all", b"%PDF-1.7\n" + b"\xff" * 5000])
def test_what_is_no_pdf_is_refused(content: bytes) -> None:
    with pytest.raises(pypdfium2.PdfiumError):
        page_pictures.sizes(content)
    with pytest.raises(pypdfium2.PdfiumError):
        page_pictures.picture(content, 1)


def test_the_child_process_gives_the_same(pdf: bytes) -> None:
    workshop = Workshop()
    try:
        assert workshop.pages(pdf)[0] == (1191, 1684)
        assert workshop.picture(pdf, 2) == page_pictures.picture(pdf, 2)
        child = workshop.pid
        for asked in (lambda: workshop.pages(b"none"), lambda: workshop.picture(pdf, 99)):
            with pytest.raises(ReportError):
                asked()
        for number in (0, -1, MOST_PAGES + 1, 2**32, 10**20):
            with pytest.raises(ReportError, match=f"There is no page {number}"):
                workshop.picture(pdf, number)
        assert workshop.pid == child
        assert workshop.picture(pdf, 1) == page_pictures.picture(pdf, 1)
    finally:
        workshop.close()
