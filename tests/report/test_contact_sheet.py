"""Every picture with every extreme, judged by its geometry, and all on one sheet for the eyes.

`pytest -s tests/report/test_contact_sheet.py` says where the sheet lies; CONTACT_SHEET=FILE puts it there.
"""

import os
import re
import sys
from dataclasses import replace
from html import escape
from pathlib import Path

import pytest

from pipeline import pictures, settings, svg
from pipeline.records import Fitting
from pipeline.shown import NBSP
from pipeline.vocabulary import languages
from pipeline.wording import page_of
from tests.report import svg_checks
from tests.report.chart_cases import CASES, chart_words
from tests.report.conftest import FitFiles, MakeFile

KINDS = sorted({name.partition(":")[0] for name in CASES})


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", CASES)
def test_a_picture_bears_its_extremes(name: str, language: str) -> None:
    picture = svg_checks.read(CASES[name](chart_words(language)))
    assert svg_checks.faults(picture) == []
    assert picture.points or picture.discs
    assert any(character.isdigit() for text in picture.texts for character in text.words)
    assert picture.title == "A spoken sentence with 12 and 3."


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_picture_has_a_dozen_extremes(kind: str) -> None:
    assert sum(name.startswith(f"{kind}:") for name in CASES) >= 12


def test_the_same_picture_has_the_same_bytes() -> None:
    words = chart_words()
    assert [draw(words) for draw in CASES.values()] == [draw(words) for draw in CASES.values()]


def test_all_that_is_drawn_has_contrast() -> None:
    """WCAG 2.2, 1.4.3 and 1.4.11: 4.5 to 1 for text, 3 to 1 for marks, on white or, of letters, on their disc."""
    pictures = [svg_checks.read(draw(chart_words())) for draw in CASES.values()]
    assert {t.colour for p in pictures for t in p.texts if svg_checks.contrast(t.colour) < 4.5} == set()
    assert {colour for p in pictures for colour in p.colours if svg_checks.contrast(colour) < 3} == set()
    assert [colour for colour, _ in (*svg.MARKS, svg.OTHER_MARK) if svg_checks.contrast(colour) < 4.5] == []


@pytest.mark.parametrize("visit", ["driver_fitting", "iron_fitting", "phases_fitting"])
def test_every_picture_of_a_visit_speaks_its_figures(visit: str, request: pytest.FixtureRequest) -> None:
    page = page_of(request.getfixturevalue(visit), settings.load(""))
    drawn = {name: str(drawing) for name, drawing in pictures.all_pictures(page).items() if isinstance(drawing, str)}
    assert {"differences", "levers", "flights", "every_shot"} <= drawn.keys()
    read = {name: svg_checks.read(source) for name, source in drawn.items()}
    assert {name: svg_checks.faults(picture) for name, picture in read.items()} == {name: [] for name in read}
    for result in page.fitting.sets:
        carry = page.shown.full(result.typical("carry_m"), "carry_m")
        if "landing" in read:
            assert f"{result.set.letter}, {page.label(result)}: {carry}" in read["landing"].title
        assert f"{result.n_counted} counted" in read["every_shot"].title
    assert {"All of them, by the model", "Difference of the averages"} <= {t.words for t in read["levers"].texts}
    for name in ("differences", "levers"):
        figures = {t.words for t in read[name].texts if t.words.endswith(f"{NBSP}yd")}
        assert figures
        assert all(figure in read[name].title for figure in figures)


def test_a_bag_speaks_its_steps(fit_files: FitFiles, make_file: MakeFile) -> None:
    page = page_of(fit_files([make_file(["9 iron", "8 iron", "7 iron", "Driver"])]), settings.load(""))
    bag = page.fitting.judged.bag
    assert bag
    gaps = [replace(gap, gap_m=30.0, looks="hole", settled=i == 0) for i, gap in enumerate(bag.gaps)]
    judged = replace(page.fitting.judged, bag=replace(bag, gaps=tuple(gaps)))
    picture = svg_checks.read(
        str(pictures.all_pictures(replace(page, fitting=replace(page.fitting, judged=judged)))["bag"])
    )
    assert svg_checks.faults(picture) == []
    told = [t.words for t in picture.texts if ": " in t.words]
    assert told == [f"33{NBSP}yd: far apart", *[f"33{NBSP}yd: not settled"] * (len(gaps) - 1)]
    assert {t.colour for t in picture.texts if t.words == told[0]} == {svg.WARN}
    assert {t.colour for t in picture.texts if t.words == told[1]} == {svg.QUIET}
    assert told[0] in picture.title
    assert all(page.shown.full(club.carry_m, "carry_m") in picture.title for club in bag.clubs)


def test_a_launch_window_speaks_its_bounds(driver_fitting: Fitting) -> None:
    page = page_of(driver_fitting, settings.load(""))
    drawing = str(pictures.all_pictures(page)["window"])
    picture = svg_checks.read(drawing)
    [ahead] = [each.window for each in page.fitting.outlooks if each.set_index == page.finding.subject.set.index]
    assert ahead
    assert ahead.by_carry
    for value, name in (
        (ahead.by_carry.launch_low_deg, "launch_angle_deg"),
        (ahead.by_carry.spin_high_rpm, "spin_rate_rpm"),
        (page.finding.subject.typical("spin_rate_rpm"), "spin_rate_rpm"),
    ):
        assert page.shown.full(value, name) in picture.title
    assert ahead.by_carry.place == "in"
    left, wide = map(float, re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', drawing)[0])
    assert left < picture.discs[0][0] < left + wide


def sheet() -> str:
    """Put every case on one page after another."""
    words = chart_words()
    shown = [f"<div><p>{escape(name)}</p>{draw(words)}</div>" for name, draw in CASES.items()]
    fonts = Path(__file__).parents[2] / "report_templates/fonts"
    family = 'font-family: "Source Sans 3"'
    faces = [
        f"@font-face {{ {family}; src: url({(fonts / f'SourceSans3-{name}.ttf').as_uri()}); font-weight: {weight} }}"
        for name, weight in {"Regular": 400, "Semibold": 600, "Bold": 700}.items()
    ]
    blocks = f"@page {{ size: A4; margin: 18mm }} div {{ break-inside: avoid; margin-bottom: 8mm }} p {{ {family} }}"
    head = f'<meta charset="utf-8"><title>Contact sheet</title><style>{" ".join(faces)} {blocks}</style>'
    return f'<!DOCTYPE html><html lang="en"><head>{head}</head><body>{"".join(shown)}</body></html>'


def test_the_sheet_holds_every_case(tmp_path: Path) -> None:
    place = Path(os.environ.get("CONTACT_SHEET") or tmp_path / "contact-sheet.html")
    place.write_text(sheet(), encoding="utf-8")
    sys.stdout.write(f"\ncontact sheet: {place}\n")  # seen with -s
    assert place.read_text(encoding="utf-8").count("<svg") == len(CASES)
