"""The PDF itself: both standards at once, the shots inside it, the same bytes every time, nothing off the page."""

import ast
import io
import json
import os
import re
import subprocess
import sys
import textwrap
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pikepdf
import pypdf
import pytest
import tomli_w
from PIL import Image

from pipeline import branding, outputs, pdf_writer, report, settings, workshop
from pipeline.errors import ReportError
from pipeline.records import Fitting, ShotFile, VisitFacts
from pipeline.shown import NBSP
from tests.report import pdf_checks
from tests.report.pdf_checks import CHECKS, off_the_page, problems

ROOT = Path(__file__).resolve().parent.parent.parent
Files = dict[str, bytes]
FitFiles = Callable[..., Fitting]
MakeFile = Callable[..., ShotFile]


@pytest.fixture(scope="module", params=["driver_fitting", "iron_fitting", "phases_fitting"])
def files(request: pytest.FixtureRequest) -> Files:
    return outputs.files(request.getfixturevalue(request.param), settings.load())


@pytest.fixture(scope="module")
def driver(driver_fitting: Fitting) -> Files:
    return outputs.files(driver_fitting, settings.load())


def page_of(fitting: Fitting, paper: str) -> bytes:
    return pdf_writer.write(report.render(fitting, settings.load(f'paper = "{paper}"')), fitting.visit_id)


# --- both standards at once -------------------------------------------------------------------------------------------
def test_every_example_report_keeps_to_the_structure(files: Files) -> None:
    assert problems(files["report.pdf"], files["shots.csv"]) == []


def test_the_shots_travel_inside_the_report(driver: Files) -> None:
    with pikepdf.open(io.BytesIO(driver["report.pdf"])) as made:
        [(name, file)] = made.attachments.items()
        assert (name, file.description) == ("shots.csv", "Every shot: counted or set aside, and why")
        assert file.get_file().read_bytes() == driver["shots.csv"]
        assert file.get_file().mime_type == "text/csv"


def test_title_pictures_and_bookmarks_say_what_is_there(driver: Files) -> None:
    with pikepdf.open(io.BytesIO(driver["report.pdf"])) as made:
        assert str(made.Root.Lang) == "en-GB"
        assert str(made.docinfo.Title) == "Fitting report for Customer 0142, 25 November 2026"
        tags = [o for o in made.objects if isinstance(o, pikepdf.Dictionary) and o.get("/S") == "/Figure"]
        alts = [str(tag.get("/Alt", "")) for tag in tags]
        with made.open_outline() as outline:
            [top] = outline.root
            below = [item.title for item in top.children]
    assert len(alts) == 6
    assert all(len(alt) > 40 for alt in alts)
    assert any("Driver 3: +" in alt for alt in alts)
    assert top.title == "Driver fitting, Customer 0142, 25 November 2026"
    assert {"What we suggest", "Which shots counted, and which did not?"} <= set(below)


def test_the_pdf_says_what_the_page_says(driver: Files) -> None:
    pages = pypdf.PdfReader(io.BytesIO(driver["report.pdf"])).pages
    text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages).replace(NBSP, " "))
    for wanted in ("Driver fitting, Customer 0142, 25 November 2026", "What we suggest", "page 1 of", "Please mind"):
        assert wanted in text


def drop(key: str, *way: str | int) -> Callable[[pikepdf.Pdf], None]:
    """Plant a fault: take a key out of what the way from the root leads to."""

    def plant(made: pikepdf.Pdf) -> None:
        place: Any = made.Root
        for step in way:
            place = place[step]
        del place[key]

    return plant


def each(kind: str, change: Callable[[Any], None]) -> Callable[[pikepdf.Pdf], None]:
    """Plant a fault: change every structure element of a kind."""

    def plant(made: pikepdf.Pdf) -> None:
        elements = [o for o in made.objects if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/StructElem"]
        for one in [one for one in elements if kind == one.S]:
            change(one)

    return plant


def fonts(change: Callable[[Any], None]) -> Callable[[pikepdf.Pdf], None]:
    """Plant a fault: change every font."""

    def plant(made: pikepdf.Pdf) -> None:
        for font in made.pages[0].Resources.Font.values():
            change(font)

    return plant


def about(old: bytes, new: bytes) -> Callable[[pikepdf.Pdf], None]:
    """Plant a fault: write something else into the metadata."""

    def plant(made: pikepdf.Pdf) -> None:
        written = made.Root.Metadata.read_bytes()
        assert old in written
        made.Root.Metadata.write(written.replace(old, new))

    return plant


def attach(change: Callable[[Any], None]) -> Callable[[pikepdf.Pdf], None]:
    return lambda made: change(made.Root.AF[0])


def action(kind: str, **more: str) -> Callable[[pikepdf.Pdf], None]:
    """Plant a link on the first page."""

    def plant(made: pikepdf.Pdf) -> None:
        act = pikepdf.Dictionary({"/S": pikepdf.Name(kind), **{f"/{key}": text for key, text in more.items()}})
        link = pikepdf.Dictionary(Type=pikepdf.Name.Annot, Subtype=pikepdf.Name.Link, Rect=[0, 0, 9, 9], A=act)
        made.pages[0].Annots = pikepdf.Array([made.make_indirect(link)])
        made.make_indirect(act)

    return plant


def no_glyph(made: pikepdf.Pdf) -> None:
    content = made.pages[0].Contents
    font = next(iter(made.pages[0].Resources.Font.keys()))
    content.write(content.read_bytes() + f"\nBT {font} 9 Tf <00000041> Tj ET".encode())


def in_two_pieces(made: pikepdf.Pdf) -> None:
    about(b"</rdf:RDF>", b'</rdf:RDF><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"></rdf:RDF>')(made)


def smoothed(made: pikepdf.Pdf) -> None:
    made.make_indirect(pikepdf.Stream(made, b"", Subtype=pikepdf.Name.Image, Interpolate=True))
    made.Root.Picture = made.objects[-1]


def set_to(key: str, value: object) -> Callable[[Any], None]:
    return lambda item: item.__setitem__(key, value)


def without(key: str) -> Callable[[Any], None]:
    return lambda item: item.__delitem__(key)


FAULTS: dict[str, tuple[Callable[[pikepdf.Pdf], None], str]] = {
    "mark": (drop("/Marked", "/MarkInfo"), "not marked as tagged"),
    "structure": (drop("/StructTreeRoot"), "no structure"),
    "language": (drop("/Lang"), "no language"),
    "title shown": (drop("/DisplayDocTitle", "/ViewerPreferences"), "title is not shown"),
    "title": (lambda made: made.docinfo.__delitem__("/Title"), "no title"),
    "PDF/UA mark": (about(b"<pdfuaid:part>1<", b"<pdfuaid:part>2<"), "no PDF/UA mark"),
    "PDF/A mark": (about(b'pdfaid:conformance="A"', b'pdfaid:conformance="B"'), "no PDF/A-3a mark"),
    "two pieces": (in_two_pieces, "in several pieces"),
    "output intent": (drop("/OutputIntents"), "no output intent"),
    "heading skipped": (each("/H2", set_to("/S", pikepdf.Name.H4)), "level 4 follows level 1"),
    "no headings": (each("/H1", set_to("/S", pikepdf.Name.P)), "level 2 follows level 0"),
    "bookmarks": (drop("/Outlines"), "no bookmarks"),
    "picture": (each("/Figure", without("/Alt")), "picture has no words"),
    "smoothed": (smoothed, "asks to be smoothed"),
    "table": (each("/TH", set_to("/S", pikepdf.Name.TD)), "table has no headings"),
    "scope": (each("/TH", lambda one: one.A.__delitem__("/Scope")), "does not say what it heads"),
    "cell": (each("/TD", lambda one: one.A.__delitem__("/Headers")), "a cell has no headings"),
    "font": (fonts(set_to("/BaseFont", pikepdf.Name("/ABCDEF+Other"))), "a font is not ours: /ABCDEF+Other"),
    "font file": (fonts(lambda font: font.DescendantFonts[0].__delitem__("/FontDescriptor")), "not embedded"),
    "font text": (fonts(without("/ToUnicode")), "cannot be read out"),
    "glyph": (no_glyph, "could not be drawn"),
    "open action": (lambda made: made.Root.__setitem__("/OpenAction", pikepdf.Array()), "by itself: /OpenAction"),
    "page action": (lambda made: made.pages[0].obj.__setitem__("/AA", pikepdf.Dictionary()), "by itself: /AA"),
    "script": (action("/JavaScript", JS="1"), "leads outside: /JavaScript"),
    "link": (action("/URI", URI="http://127.0.0.1/"), "leads outside: /URI"),
    "click": (action("/GoTo"), "something to click on"),
    "attachment": (lambda made: made.attachments.__delitem__("shots.csv"), "the attachment is missing or another"),
    "not tied": (drop("/AF"), "not tied to the document"),
    "relationship": (attach(set_to("/AFRelationship", pikepdf.Name.Source)), "does not say what it is"),
    "date": (attach(lambda file: file.EF.F.Params.__delitem__("/ModDate")), "another date"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_each_check_finds_its_planted_fault(driver: Files, fault: str) -> None:
    plant, wanted = FAULTS[fault]
    with pikepdf.open(io.BytesIO(driver["report.pdf"])) as made:
        plant(made)
        out = io.BytesIO()
        made.save(out)
    found = problems(out.getvalue(), driver["shots.csv"])
    assert any(wanted in line for line in found), found


def test_a_locked_file_and_another_attachment_are_found_and_no_check_is_untried(driver: Files) -> None:
    locked = io.BytesIO()
    with pikepdf.open(io.BytesIO(driver["report.pdf"])) as made:
        made.save(locked, encryption=pikepdf.Encryption(owner="owner", user=""))
    assert "it is encrypted" in problems(locked.getvalue(), driver["shots.csv"])
    assert "the attachment is missing or another" in problems(driver["report.pdf"], b"others")
    source = (ROOT / "tests/report/pdf_checks.py").read_text(encoding="utf-8")
    said = {node.value.value for node in ast.walk(ast.parse(source))
            if isinstance(node, ast.Yield) and isinstance(node.value, ast.Constant)}  # fmt: skip
    planted = [wanted for _, wanted in FAULTS.values()]
    untried = {str(line) for line in said if not any(part in str(line) for part in planted)}
    assert untried == {"it has no identifier", "it is encrypted", "it has no headings"}
    assert len(CHECKS) == 10


def test_a_missing_identifier_and_a_page_without_headings_are_found() -> None:
    made = pikepdf.new()
    made.add_blank_page()
    made.Root.Metadata = made.make_stream(b"<rdf:RDF/>")
    out = io.BytesIO()
    made.save(out, static_id=False)
    content = re.sub(rb"/ID \[.*?\]", b"", out.getvalue())
    assert {"it has no identifier", "it has no headings"} <= set(problems(content))


# --- nothing changes it, nothing gets in ------------------------------------------------------------------------------
SURROUNDINGS = [
    {"PYTHONHASHSEED": "1", "TZ": "Pacific/Auckland", "LANG": "C", "LC_ALL": "C"},
    {"PYTHONHASHSEED": "77", "TZ": "America/New_York", "LANG": "de_DE.UTF-8", "LC_ALL": ""},
    {"PYTHONHASHSEED": "random", "TZ": "UTC", "LANG": "C.UTF-8", "SOURCE_DATE_EPOCH": "1"},
]
FIT = """
    import hashlib, json, sys
    from pathlib import Path
    from pipeline import issuing, outputs, session, settings, visit_facts
    from pipeline.records import ShotFile
    import datetime as dt
    folder = Path(sys.argv[1]) / "inbox_example" / "customer 0142"
    files = [ShotFile("driver shots.csv", (folder / "driver shots.csv").read_bytes())]
    facts = visit_facts.read((folder / "visit.toml").read_text(encoding="utf-8"))
    made = session.fit("customer 0142", files, facts, settings.load(), dt.date(2026, 11, 25), issuing.visit_id(files))
    print(json.dumps({name: hashlib.sha256(content).hexdigest() for name, content in
                      outputs.files(made, settings.load()).items()}))
"""


@pytest.mark.slow
def test_the_same_visit_gives_the_same_bytes_in_any_surroundings(tmp_path: Path) -> None:
    sums = []
    for number, surroundings in enumerate(SURROUNDINGS):
        folder = tmp_path / str(number)
        folder.mkdir()
        made = subprocess.run(
            [sys.executable, "-c", textwrap.dedent(FIT), ROOT], capture_output=True, encoding="utf-8", check=True,
            cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT), **surroundings},
        )  # fmt: skip
        sums.append(json.loads(made.stdout))
    assert len({one["report.pdf"] for one in sums}) == 1
    assert sums[0] == sums[1] == sums[2]


def test_it_is_the_same_made_again_and_another_for_another_visit(driver_fitting: Fitting, driver: Files) -> None:
    assert outputs.files(driver_fitting, settings.load())["report.pdf"] == driver["report.pdf"]
    other = outputs.files(replace(driver_fitting, visit_id="other"), settings.load())
    assert other["report.pdf"] != driver["report.pdf"]


def test_the_renderer_fetches_nothing_from_outside(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("SECRET", encoding="utf-8")
    link = tmp_path / "link"
    link.symlink_to(secret)
    templates = (ROOT / "report_templates").as_uri()
    up = "/".join(["%2e%2e"] * len((ROOT / "report_templates").parts))
    places = [
        secret.as_uri(), link.as_uri(), f"file://localhost{secret}", f"{templates}/../../{secret}", f"file:{secret}",
        f"{templates}/{up}{secret}", f"../../../../../..{secret}", "http://127.0.0.1:9/x", "data:text/plain,SECRET",
    ]  # fmt: skip
    links = "".join(f"<link rel='attachment' href='{place}'><img src='{place}' alt='a picture'>" for place in places)
    made = pdf_writer.write(f"<!DOCTYPE html><html lang='en'><title>t</title><body>{links}<p>text</p>", "id")
    with pikepdf.open(io.BytesIO(made)) as opened:
        assert len(opened.attachments) == 0
    own = f"<link rel='attachment' href='{templates}/fonts/OFL.txt'>"
    made = pdf_writer.write(f"<!DOCTYPE html><html lang='en'><title>t</title><body>{own}<p>text</p>", "id")
    with pikepdf.open(io.BytesIO(made)) as opened:
        assert list(opened.attachments) == ["OFL.txt"]


def test_a_renderer_that_writes_its_metadata_otherwise_is_a_fault_and_no_unmarked_report() -> None:
    class Strange:
        catalog = {"Metadata": "0 0 R"}  # noqa: RUF012
        objects = [type("Stream", (), {"stream": [b"<x:xmpmeta/>"]})()]  # noqa: RUF012

    with pytest.raises(ValueError, match="the PDF/UA mark has no place"):
        pdf_writer._finish(None, Strange())


def test_a_page_that_cannot_be_drawn_is_a_report_error_and_the_next_is_drawn() -> None:
    deep = "<div>" * 3000
    with pytest.raises(ReportError, match=r"The report could not be made: .*tell whoever looks after this program"):
        workshop.SHARED.draw(f"<!DOCTYPE html><html lang='en'><title>t</title><body>{deep}", "id")
    page = "<!DOCTYPE html><html lang='en'><title>t</title><body><p>text</p>"
    assert workshop.SHARED.draw(page, "id").startswith(b"%PDF-1.7")


# --- paper, long names, characters the font lacks ---------------------------------------------------------------------
LONG = {
    "one long word": "W" * 300,
    "words without end": "Wide wedge " * 40,
    "a path": r"C:\clubs\2026\november\driver_with_a_very_long_name_and_no_place_to_break_it.csv",
}


def sizes(content: bytes) -> set[tuple[int, ...]]:
    with pikepdf.open(io.BytesIO(content)) as made:
        return {tuple(round(float(x)) for x in page.mediabox) for page in made.pages}


def test_nothing_runs_off_the_page(files: Files, tmp_path: Path) -> None:
    assert off_the_page(files["report.pdf"], tmp_path) == []
    assert sizes(files["report.pdf"]) == {(0, 0, 595, 842)}


def test_nothing_runs_off_letter_paper(driver_fitting: Fitting, tmp_path: Path) -> None:
    made = page_of(driver_fitting, "letter")
    assert off_the_page(made, tmp_path) == []
    assert sizes(made) == {(0, 0, 612, 792)}


@pytest.mark.parametrize("paper", ["A4", pytest.param("letter", marks=pytest.mark.slow)])
@pytest.mark.parametrize("label", LONG)
def test_long_names_stay_on_the_page(
    make_file: MakeFile, fit_files: FitFiles, label: str, paper: str, tmp_path: Path
) -> None:
    name = LONG[label]
    facts = VisitFacts(customer=name, notes=name)
    made = fit_files([make_file([f"{name} {i}" if " " in name else f"{i}{name}" for i in range(4)])], facts, name=name)
    studio = settings.load(
        f'paper = "{paper}"\nname = "{"W" * 200}"\naddress_line = "{"M" * 200}"\nfootnote = "{"W" * 200}"'
    )
    content = pdf_writer.write(report.render(made, studio), made.visit_id)
    assert off_the_page(content, tmp_path) == []
    assert problems(content) == []


SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 240 80"><linearGradient id="g">
<stop offset="0" stop-color="#0B5D3B"/><stop offset="1" stop-color="#1F8A5B"/></linearGradient><clipPath id="c">
<circle cx="40" cy="40" r="36"/></clipPath><g id="ball"><circle r="6" fill="#fff" fill-opacity=".8"/></g>
<circle cx="40" cy="40" r="38" fill="url(#g)"/><g clip-path="url(#c)"><rect y="52" width="80" height="30"/></g>
<use href="#ball" transform="translate(40 34)"/><path d="M90 60 L130 20 L170 60 Z" style="fill:#0B5D3B"/></svg>"""


def seen_through() -> bytes:
    out = io.BytesIO()
    Image.new("RGBA", (300, 20), (11, 93, 59, 128)).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "paper", "name"),
    [(SVG, "A4", "Ours"), pytest.param(seen_through(), "letter", 'A "quoted" <b>', marks=pytest.mark.slow),
     pytest.param(SVG, "letter", "", marks=pytest.mark.slow)],
)  # fmt: skip
def test_a_logo_is_a_picture_with_the_studio_s_name_and_breaks_nothing(
    driver_fitting: Fitting, content: bytes, paper: str, name: str, tmp_path: Path
) -> None:
    studio = settings.load(tomli_w.dumps({"paper": paper, "name": name, "accent": "#0B5D3B"}))
    logo = branding.checked(content, "logo.svg")
    made = outputs.files(driver_fitting, studio, logo)
    assert problems(made["report.pdf"], made["shots.csv"]) == []
    assert off_the_page(made["report.pdf"], tmp_path) == []
    plain = outputs.files(driver_fitting, studio)["report.pdf"]
    words = [alts(each) for each in (made["report.pdf"], plain)]
    assert words[0] == [name or "Logo of the fitting studio", *words[1]]
    assert outputs.files(driver_fitting, studio, logo) == made


def alts(content: bytes) -> list[str]:
    """Give the words of the pictures, as they come in the report."""
    with pikepdf.open(io.BytesIO(content)) as made:
        return [str(one.get("/Alt", "")) for one, kind, _ in pdf_checks._structure(made) if kind == "/Figure"]


def test_the_accent_is_in_a_few_lines_and_the_ink_stays(driver_fitting: Fitting) -> None:
    ink, green = (report.render(driver_fitting, settings.load(text)) for text in ("", 'accent = "#0B5D3B"'))
    assert "#0B5D3B" not in ink
    assert green.count("#0B5D3B") == 3
    assert green.replace("#0B5D3B", "#1E2730") == ink


def test_a_drawing_that_fails_is_no_silent_gap() -> None:
    bad = branding.checked(SVG.replace(b'opacity=".8"', b'opacity="x"').replace(b"fill-op", b"op"), "logo.svg")
    with pytest.raises(ReportError, match="a picture in it cannot be drawn"):
        workshop.SHARED.draw(branding.page(bad), "id")
    assert workshop.SHARED.draw(branding.page(branding.checked(SVG, "logo.svg")), "id").startswith(b"%PDF-1.7")


def test_words_off_the_page_are_found(tmp_path: Path) -> None:
    page = "<!DOCTYPE html><html lang='en'><title>t</title><body><p style='white-space: nowrap'>" + "wide " * 60
    assert off_the_page(pdf_writer.write(page, "id"), tmp_path)


STRANGE = {
    "Chinese": "竹林",
    "Japanese": "モミジ",
    "Arabic": "شجرة",
    "Hebrew": "שלום",
    "Thai": "กขฃ",
    "emoji": "Oak 😀👍🏽👨‍👩‍👧🏳️‍🌈",
    "directions": "\u202edriver\u202c \u2066x\u2069 \u200fy\u061c",
    "accents": "A\u030akerba\u0308r \u0141\u0105ka \u0110umbir le\u0111 no\u0107 Z\u0338\u20dd",
    "controls": "a\ufeffb\u0007c\u2028d\u3000e",
    "not characters": "\ufffe\U0010ffff\ue000",
}


COMMON = ("Chinese", "Arabic", "accents", "not characters")  # the others take a renderer as long each


@pytest.mark.parametrize(
    "script", [script if script in COMMON else pytest.param(script, marks=pytest.mark.slow) for script in STRANGE]
)
def test_characters_the_font_lacks_leave_the_pdf_valid(make_file: MakeFile, fit_files: FitFiles, script: str) -> None:
    name = STRANGE[script]
    made = fit_files([make_file(["Own driver", f"Driver {name}"])], VisitFacts(customer=name, notes=name))
    content = pdf_writer.write(report.render(made, settings.load()), made.visit_id)
    assert problems(content) == []


def test_a_character_that_is_not_replaced_would_be_found(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.typeface.printable", str)
    page = "<!DOCTYPE html><html lang='en'><title>title</title><style>@font-face { font-family: 'Source Sans 3'; "
    page += "src: url(fonts/SourceSans3-Regular.ttf) } p { font-family: 'Source Sans 3' }</style><h1>h</h1><p>李 😀</p>"
    found = problems(pdf_writer.write(page, "id"))
    assert any("could not be drawn" in line or "not ours" in line for line in found)
