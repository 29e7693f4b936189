"""The report: what it says, what it never does, and the PDF itself."""

import datetime as dt
import io
import re
from collections.abc import Callable
from pathlib import Path

import pikepdf
import pypdf
import pytest

from pipeline import pdf, report, session, settings
from pipeline.errors import ReportError
from pipeline.records import Fitting, ShotFile, VisitFacts
from pipeline.shown import NBSP

DRIVER_FILE = Path(__file__).resolve().parent.parent.parent / "inbox_example/customer 0142/driver shots.csv"
FitFiles = Callable[..., Fitting]
MakeFile = Callable[..., ShotFile]


def html(fitting: Fitting, studio: str = "") -> str:
    return report.render(fitting, settings.load(studio)).replace(NBSP, " ")


def text_of(content: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages).replace(NBSP, " "))


@pytest.fixture(scope="module")
def driver_pdf(driver_fitting: Fitting) -> bytes:
    return pdf.make(report.render(driver_fitting, settings.load()), driver_fitting.visit_id)


def test_page_one_answers(driver_fitting: Fitting) -> None:
    page = html(driver_fitting)
    lead = re.search(r'<p class="lead">(.*?)</p>', page)
    under = re.search(r'<p class="under">(.*?)</p>', page)
    assert lead
    assert under
    assert re.fullmatch(r"Driver 3 carried (about )?\d+ yards farther than your own club\.", lead.group(1))
    assert "You hit 33 balls and 27 of them counted." in under.group(1)


def test_shown_figures_subtract_or_say_about(driver_fitting: Fitting) -> None:
    page = html(driver_fitting)
    value = int(re.search(r'<p class="value">(\d+) <small>yd', page).group(1))  # type: ignore[union-attr]
    own = int(re.search(r"your own club: (\d+) yd", page).group(1))  # type: ignore[union-attr]
    said = re.search(r"carried (about )?(\d+) yards", page)
    assert said
    assert said.group(1) or value - own == int(said.group(2))


def test_units_and_paper_follow_the_studio(driver_fitting: Fitting) -> None:
    page = html(driver_fitting, 'units_shown = "metres"\npaper = "letter"')
    assert "metres farther" in page
    assert "km/h" in page
    assert "size: letter" in page
    assert " yd" not in page
    assert "mph" not in page


def test_every_shot_set_aside_is_listed_with_its_reason(driver_fitting: Fitting) -> None:
    page = html(driver_fitting)
    table = page[page.index('<table class="aside') :].split("</table>")[0]
    numbers = [int(n) for n in re.findall(r'<th scope="row" class="n">(\d+)</th>', table)]
    assert numbers == [s.number for s in driver_fitting.shots if s.fate.fate != "counted"]
    assert "but ball speed, launch and spin give about" in table
    assert "the same reading as shot 19" in table


def test_lines_that_could_not_be_read_are_listed(fit_files: FitFiles) -> None:
    rows = ["Club,Carry (yd)", *(f"Driver,{200 + i}" for i in range(6)), "Driver,9999", "Driver,200,3,4"]
    page = html(fit_files([ShotFile("invented.csv", "\n".join([*rows, ""]).encode())]))
    assert "the line could not be read (no believable value under “Carry (yd)”)" in page
    assert "the line could not be read (more cells than headings)" in page


def test_modelled_quantities_are_marked(iron_fitting: Fitting) -> None:
    page = html(iron_fitting)
    assert "yd, modelled" in page
    assert "Worked out by our flight model, because the file does not give it: carry" in page


def test_a_studios_calibration_is_said(driver_fitting: Fitting) -> None:
    file = ShotFile("driver shots.csv", DRIVER_FILE.read_bytes())
    studio = settings.load("drag_multiplier = 1.05")
    made = session.fit("v", [file], VisitFacts(), studio, driver_fitting.date, "id")
    assert isinstance(made, Fitting)
    assert "drag × 1.050, lift × 1.000" in html(made)
    assert "calibrated to this studio" not in html(driver_fitting)
    assert made.device_check[0].centre > driver_fitting.device_check[0].centre + 0.01


def test_a_device_far_off_is_said(fit_files: FitFiles) -> None:
    rows = DRIVER_FILE.read_text(encoding="utf-8").replace("Carry (yd)", "Carry (m)")
    made = fit_files([ShotFile("invented.csv", rows.encode())])
    assert made.device_check[0].far_off
    assert "lies far from what ball speed, launch and spin give" in html(made)


def test_a_change_of_way_is_not_called_a_club(phases_fitting: Fitting) -> None:
    page = html(phases_fitting)
    assert "than with “Ball wie immer”" in page
    assert "before you buy" not in page


@pytest.mark.parametrize(
    "caution", ["Rules of Golf", "one person hits", "estimates for the stated air", "erased when you ask"]
)
def test_the_usual_cautions_are_there(driver_fitting: Fitting, caution: str) -> None:
    assert caution in html(driver_fitting)


HOSTILE = [
    "<script>alert(1)</script>",
    "<img src=http://127.0.0.1:9/x.png>",
    "{{ 7*7 }}{% raw %}",
    "&lt;b&gt; \" ' `",
    "\u202edriver\u202c",
    "Ω Łukasz ñ 7 iron",
    "x" * 300,
]


@pytest.mark.parametrize("label", HOSTILE)
def test_hostile_labels_are_text_and_nothing_else(label: str, make_file: MakeFile, fit_files: FitFiles) -> None:
    facts = VisitFacts(customer=label, notes=label)
    made = fit_files([make_file(["Own driver", label])], facts)
    page = html(made)
    assert "<script" not in page
    assert "<img" not in page
    assert "49" not in re.findall(r'<p class="notes">(.*?)</p>', page, re.DOTALL)[0]
    assert "x" * 90 not in re.sub(r'<p class="notes">.*?</p>', "", page)


SHAPES: dict[str, Callable[[MakeFile], ShotFile]] = {
    "one club": lambda make: make(["Own driver"]),
    "one shot": lambda make: make(["Own driver"], shots=1),
    "two shots each": lambda make: make(["Own driver", "Driver 2"], shots=2),
    "carry alone": lambda make: make(["Own driver", "Driver 2"], carry_only=True),
    "fourteen clubs": lambda make: make([f"Club {i}" for i in range(14)]),
    "a bag": lambda make: make(["Driver", "5 wood", "7 iron", "Sand wedge"]),
    "no carry": lambda _: ShotFile("x.csv", b"Club,Ball speed (mph)\nDriver,140\nDriver,141\nDriver,142\n"),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_any_shape_of_visit_gives_a_page(shape: str, make_file: MakeFile, fit_files: FitFiles) -> None:
    page = html(fit_files([SHAPES[shape](make_file)]))
    assert page.count("<h1>") == 1
    assert "nan" not in re.sub(r"<[^>]+>", " ", page).lower().split()
    assert "None" not in page
    for drawing in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        assert "nan" not in drawing
        assert "<title>" in drawing


def test_the_pdf_says_what_the_page_says(driver_pdf: bytes) -> None:
    text = text_of(driver_pdf)
    for wanted in (
        "Driver fitting, Customer 0142, 25 November 2026",
        "What we suggest",
        "page 1 of",
        "Please mind",
    ):
        assert wanted in text


def test_the_pdf_is_tagged_titled_and_spoken(driver_pdf: bytes) -> None:
    with pikepdf.open(io.BytesIO(driver_pdf)) as made:
        assert str(made.Root.Lang) == "en-GB"
        assert bool(made.Root.MarkInfo.Marked)
        assert str(made.docinfo.Title) == "Fitting report for Customer 0142, 25 November 2026"
        tags = [o for o in made.objects if isinstance(o, pikepdf.Dictionary) and o.get("/S") == "/Figure"]
        alts = [str(tag.get("/Alt", "")) for tag in tags]
        assert len(alts) == 4
        assert all(len(alt) > 40 for alt in alts)
        assert any("Driver 3: +" in alt for alt in alts)
        assert not {"/JavaScript", "/OpenAction", "/AA"} & set(made.Root.keys())


def test_the_pdf_uses_our_font_alone(driver_pdf: bytes) -> None:
    with pikepdf.open(io.BytesIO(driver_pdf)) as made:
        fonts = {
            str(f.BaseFont).split("+")[-1] for page in made.pages for f in page.Resources.get("/Font", {}).values()
        }
    assert fonts
    assert all("Source-Sans" in font or "SourceSans" in font for font in fonts), fonts


def test_the_same_fitting_gives_the_same_bytes(driver_fitting: Fitting, driver_pdf: bytes) -> None:
    assert pdf.make(report.render(driver_fitting, settings.load()), driver_fitting.visit_id) == driver_pdf


def test_the_renderer_fetches_nothing_from_outside(tmp_path: object) -> None:
    secret = f"{tmp_path}/secret.txt"
    with open(secret, "w", encoding="utf-8") as out:  # noqa: PTH123
        out.write("SECRET")
    page = (
        f"<!DOCTYPE html><html lang='en'><title>t</title><body><img src='file://{secret}' alt='x'>"
        f"<a rel='attachment' href='file://{secret}'>a</a><img src='http://127.0.0.1:9/x' alt='y'><p>text</p>"
    )
    made = pdf.make(page, "id")
    assert b"SECRET" not in made
    with pikepdf.open(io.BytesIO(made)) as opened:
        assert len(opened.attachments) == 0


def test_a_renderer_fault_is_a_report_error(monkeypatch: pytest.MonkeyPatch) -> None:
    class Broken:
        class urls:  # noqa: N801
            URLFetcher = object

        @staticmethod
        def HTML(**_: object) -> None:  # noqa: N802
            message = "no memory"
            raise MemoryError(message)

    monkeypatch.setattr(pdf, "load", lambda: Broken)
    with pytest.raises(ReportError, match="no memory"):
        pdf.make("<p>", "id")


def test_nothing_runs_off_the_page(driver_pdf: bytes) -> None:
    for page in pypdf.PdfReader(io.BytesIO(driver_pdf)).pages:
        starts: list[float] = []

        def note(text: str, cm: list[float], tm: list[float], *_: object, out: list[float] = starts) -> None:
            out += [tm[4] * cm[0] + tm[5] * cm[2] + cm[4]] if text.strip() else []

        page.extract_text(visitor_text=note)
        assert starts
        assert max(starts) < float(page.mediabox.width) - 40


def test_the_home_course_is_explained() -> None:
    file = ShotFile("driver shots.csv", DRIVER_FILE.read_bytes())
    facts = VisitFacts(home_altitude_m=1609.0, own_club="Own driver")
    made = session.fit("v", [file], facts, settings.load(), dt.date(2026, 11, 25), "id")
    assert isinstance(made, Fitting)
    assert made.home is not None
    page = html(made)
    assert "On your home course (5279 ft above the sea, 68 °F) the air is 18 % thinner" in page
    own, there = made.sets[0].averages["carry_m"].mean, made.home.sets[0].carry_m
    assert 1.02 < there / own < 1.08
    assert f"A {there / 0.9144:.0f} yd instead of {own / 0.9144:.0f} yd" in page


def test_nothing_is_said_of_a_home_course_nobody_named(driver_fitting: Fitting) -> None:
    assert driver_fitting.home is None
    assert "home course" not in html(driver_fitting)


def test_a_device_that_states_another_air_is_restated_and_said_so() -> None:
    file = ShotFile("driver shots.csv", DRIVER_FILE.read_bytes())
    studio = settings.load("device_altitude_m = 1500")
    made = session.fit("v", [file], VisitFacts(), studio, dt.date(2026, 11, 25), "id")
    assert isinstance(made, Fitting)
    assert made.sources["carry_m"] == "restated"
    assert made.shots[0].used["carry_m"] < made.shots[0].measured["carry_m"]
    assert "Measured by the device for air at 68 °F, 4921 ft above the sea" in html(made)


def test_the_leading_build_is_not_promised_its_luck(driver_fitting: Fitting) -> None:
    [lead] = [e for e in driver_fitting.expectations if driver_fitting.sets[e.build].set.label == "Driver 3"]
    assert 0 < lead.expected < lead.measured
    page = html(driver_fitting)
    assert f"In the long run expect about {lead.expected / 0.9144:.0f} yards: a measured best is partly luck." in page
    assert f"Ball against ball it flies farther about {10 * lead.farther:.0f} times in 10." in page


def test_nothing_is_expected_where_nothing_leads(make_file: MakeFile, fit_files: FitFiles) -> None:
    assert "In the long run" not in html(fit_files([make_file(["Own driver"])]))
    longest = fit_files([make_file(["Driver 1", "Own driver"])])
    assert longest.expectations[0].measured < 0
    assert "In the long run" not in html(longest)
