"""A whole report and its letter in German: no English left, decimal commas everywhere, the same structure."""

import email
import io
import re
import string
from collections.abc import Callable, Iterator
from dataclasses import replace
from email import policy
from html import unescape
from pathlib import Path

import pikepdf
import pypdf
import pytest

from pipeline import exports, outputs, report, settings
from pipeline.records import Fitting, ShotFile, VisitFacts
from pipeline.shown import NBSP
from pipeline.vocabulary import words
from tests.report.pdf_checks import off_the_page, problems
from tests.test_vocabulary import ENGLISH, flat

FitFiles = Callable[..., Fitting]
MakeFile = Callable[..., ShotFile]
GERMAN = 'language = "de"\nname = "Studio Beispiel"\nunits_shown = "{units}"\npaper = "{paper}"'
ABOUT_THE_NAMES = re.compile(r"\b(Own driver|Own 7 iron|build \d|driver shots\.csv|shots\.csv)\b")


def studio(units: str = "metres", paper: str = "A4") -> settings.Settings:
    return settings.load(GERMAN.format(units=units, paper=paper))


def text_of(page: str) -> str:
    body = re.sub(r"<style>.*?</style>", " ", page, flags=re.DOTALL)
    spoken = " ".join(re.findall(r"<title>(.*?)</title>", body, re.DOTALL))
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", body) + spoken).replace(NBSP, " "))


def pieces() -> Iterator[str]:
    """Give every run of two words or more that stands between the places of an English text and in no German one."""
    german = " ".join(str(value) for _, value in flat(words("de").tree))
    for _, value in flat(words("en").tree):
        for piece, *_ in string.Formatter().parse(str(value)):
            plain = piece.replace(NBSP, " ").strip(" .,;:()“”")
            if " " in plain and plain not in german:
                yield plain


def english_in(text: str) -> list[str]:
    return [piece for piece in pieces() if piece in text] + ENGLISH.findall(ABOUT_THE_NAMES.sub("", text))


def german_notes(fitting: Fitting) -> Fitting:
    """Take the example's English remarks out: they are staff's words, not ours."""
    return replace(fitting, facts=replace(fitting.facts, notes="Erfundenes Beispiel."))


@pytest.fixture(scope="module")
def files(driver_fitting: Fitting) -> dict[str, bytes]:
    return outputs.files(german_notes(driver_fitting), studio())


@pytest.mark.parametrize("units", ["metres", "yards"])
@pytest.mark.parametrize("visit", ["driver_fitting", "iron_fitting", "phases_fitting"])
def test_no_english_word_and_no_decimal_point_is_left(visit: str, units: str, request: pytest.FixtureRequest) -> None:
    text = text_of(report.render(german_notes(request.getfixturevalue(visit)), studio(units)))
    assert english_in(text) == []
    assert re.findall(r".{9}\d\.\d.{9}", text) == []
    assert len(re.findall(r"\d,\d", text)) > 20


def test_an_english_report_would_be_found_out(driver_fitting: Fitting) -> None:
    assert len(set(english_in(text_of(report.render(driver_fitting, settings.load()))))) > 60


SHAPES: dict[str, Callable[[MakeFile], ShotFile]] = {
    "one club": lambda make: make(["Driver"]),
    "one shot": lambda make: make(["Driver"], shots=1),
    "too few": lambda make: make(["Driver A", "Driver B"], shots=2),
    "carry alone": lambda make: make(["Driver A", "Driver B"], carry_only=True),
    "nine drivers": lambda make: make([f"Driver {i}" for i in range(9)]),
    "a bag": lambda make: make(["Driver", "Holz 5", "Eisen 7", "Sand Wedge"]),
    "no carry": lambda _: ShotFile("x.csv", b"Club,Ball speed (mph)\nDriver,140\nDriver,141\nDriver,142\n"),
    "bad lines": lambda _: ShotFile("x.csv", b"Club,Carry (yd)\nDriver,200\nDriver,9999\nDriver,2,3,4\nDriver,210\n"),
}


@pytest.mark.parametrize("shape", SHAPES)
def test_any_shape_of_visit_is_german(shape: str, make_file: MakeFile, fit_files: FitFiles) -> None:
    facts = VisitFacts(home_altitude_m=1609.0)
    text = text_of(report.render(fit_files([SHAPES[shape](make_file)], facts), studio()))
    assert english_in(text.replace("Carry (yd)", "")) == []
    assert re.findall(r".{9}\d\.\d.{9}", text) == []


def test_page_one_reads_as_german(driver_fitting: Fitting, phases_fitting: Fitting) -> None:
    text = text_of(report.render(driver_fitting, studio()))
    assert re.search(
        r"Driver 3 war im Carry (rund )?\d+ Meter länger als Ihr eigener Schläger\. Sie haben 32 Bälle", text
    )
    assert "gewertet wurden davon 27. Dieser Unterschied ist wahrscheinlich echt" in text
    assert "Vom Gerät gemessen: Carry, Flughöhe, " in text
    assert "bei 20 °C, 0 m über dem Meer und 50 % relativer Luftfeuchte, und für ein übliches Fairway." in text
    assert "Driver-Fitting, Customer 0142, 25. November 2026" in text
    other = text_of(report.render(phases_fitting, studio()))
    assert re.search(r"„Ball höher aufgeteet“ war im Carry (rund )?\d+ Meter länger als „Ball wie immer“\.", other)


@pytest.mark.parametrize(
    ("language", "more", "said"),
    [
        ("en", 1, "hit about 1 ball more with each club"),
        ("en", 12, "hit about 12 balls more with each club"),
        ("de", 1, "mit jedem Schläger etwa 1 Ball mehr"),
        ("de", 12, "mit jedem Schläger etwa 12 Bälle mehr"),
    ],
)
def test_the_balls_still_wanted_are_counted(driver_fitting: Fitting, language: str, more: int, said: str) -> None:
    [*_, last] = driver_fitting.comparisons
    unsettled = replace(last, verdict="not_settled", difference=3.0, low=-9.0, high=15.0, more_shots=more)
    page = report.render(replace(driver_fitting, comparisons=(unsettled,)), settings.load(f'language = "{language}"'))
    assert said in text_of(page)


@pytest.mark.parametrize(
    ("language", "said"),
    [
        ("en", r"“Ball höher aufgeteet” carried (about )?\d+ yards farther than before\. "),
        ("de", r"„Ball höher aufgeteet“ war im Carry (rund )?\d+ Yards länger als vorher\. "),
    ],
)
def test_a_way_without_a_name_is_what_was_before(phases_fitting: Fitting, language: str, said: str) -> None:
    first = phases_fitting.sets[0]
    unnamed = replace(first, set=replace(first.set, phase=""))
    fitting = replace(phases_fitting, sets=(unnamed, *phases_fitting.sets[1:]))
    text = text_of(report.render(fitting, settings.load(f'language = "{language}"')))
    assert re.search(said, text)
    assert re.search({"en": r"compared with before[:;]", "de": r"verglichen mit vorher[:;]"}[language], text)


# --- the files ----------------------------------------------------------------------------------------------------
def test_the_pdf_keeps_to_the_structure_and_names_its_language(files: dict[str, bytes], tmp_path: Path) -> None:
    assert problems(files["report.pdf"], files["shots.csv"]) == []
    assert off_the_page(files["report.pdf"], tmp_path) == []
    with pikepdf.open(io.BytesIO(files["report.pdf"])) as made:
        assert str(made.Root.Lang) == "de-DE"
        assert str(made.docinfo.Title) == "Fitting-Bericht für Customer 0142, 25. November 2026"
        [file] = made.attachments.values()
        assert file.description == "Alle Schläge: gewertet oder aussortiert, und warum"
    pages = pypdf.PdfReader(io.BytesIO(files["report.pdf"])).pages
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages).replace(NBSP, " "))
    assert "Seite 1 von" in text
    assert re.search(r"Schläger[-‐\u00ad ]*kopf[-‐\u00ad ]*geschwin[-‐\u00ad] digkeit", text)  # in its narrow column
    assert english_in(text) == []


def test_programs_get_the_same_numbers_in_every_language(files: dict[str, bytes], driver_fitting: Fitting) -> None:
    english = exports.fitting_json(german_notes(driver_fitting)).encode()
    assert files["fitting.json"] == english
    assert b"Ballgeschwindigkeit" not in files["shots.csv"]


def test_the_letter_is_german_with_its_umlauts(files: dict[str, bytes]) -> None:
    found = email.message_from_bytes(files["letter.eml"], policy=policy.default)
    assert found["Subject"] == "Ihr Fitting-Bericht vom 25. November 2026"
    body = found.get_body()
    assert body is not None
    text = body.get_content().replace("\r\n", "\n")
    assert text.startswith("Guten Tag,\n\nanbei erhalten Sie Ihren Fitting-Bericht vom 25. November 2026.")
    assert "länger als Ihr eigener Schläger. Sie haben 32 Bälle geschlagen" in text
    assert english_in(text) == []
    [pdf] = found.iter_attachments()
    assert pdf.get_filename() == "Fitting-Bericht-2026-11-25.pdf"
    assert pdf.get_content() == files["report.pdf"]
