"""The manager's page as PDF and as one HTML file: nothing fetched, nothing but our script, hostile names stay names."""

import datetime as dt
import io
import re
import string
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pikepdf
import polars as pl
import pytest

from pipeline import models_report, models_words, pdf_writer, settings, svg
from pipeline.rollup_records import GROUP_SEPARATOR, ModelsFound, Part, RollUpRules
from pipeline.vocabulary import words
from tests.report import svg_checks
from tests.report.model_cases import alarm, category, effect, found, found_of, gains, row, season, steady
from tests.report.pdf_checks import off_the_page, problems
from tests.test_vocabulary import ENGLISH, flat

DAY = dt.date(2026, 11, 25)
GERMAN = settings.load('language = "de"\nunits_shown = "metres"\nname = "Studio Beispiel"')
HOSTILE = (
    '=HYPERLINK("http://x.invalid","y")', "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>',
    "</title></svg><b>", "</style><i>", "{{ 7*7 }}", "\x1b[31mred\x00", "a\r\nb", "\u202eevil", "x" * 5000, "x" * 5001,
    "&lt;u&gt;", "]]>", "+1", "-2", "@cmd", "\t=1+1", "🏌 Köpfe", " ",
)  # fmt: skip


@pytest.fixture(scope="module")
def whole() -> ModelsFound:
    pieces = pl.concat([season(8, 64, 3, apart=3), season(3, 40, 3, category="iron 7", seed=2)])
    return found_of(pieces, RollUpRules(old_before="2025-11"), watches=(alarm(), steady(), steady("3", 23)))


def hostile() -> ModelsFound:
    parts = tuple(Part("shaft", name, False, 9, 70, gains(), "shown") for name in HOSTILE)
    rows = [row(effect(name, 9 - i, 1, "better"), gains=gains()) for i, name in enumerate(HOSTILE)]
    rows[0] = replace(rows[0], parts=parts, caveats=tuple(words("de").get("models.mind")))
    rules = RollUpRules(old_before="2025-11")
    return found(category(*rows), rules=rules, watches=(replace(steady(), bay="</td><script>x"),))


class Page(HTMLParser):
    """Collects what a browser would make of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.texts: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def text_of(page: str) -> str:
    body = re.sub(r"<(style|script)>.*?</\1>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", body)).replace("\u00a0", " "))


# --- one HTML file ------------------------------------------------------------------------------------------------
def test_the_html_file_fetches_nothing_and_runs_our_script_alone(whole: ModelsFound) -> None:
    page = models_report.screen(whole, settings.load(), DAY)
    read = Page(page)
    assert read.tags.count("script") == read.tags.count("style") == 1
    fetching = {"src", "href", "srcset", "data", "action", "formaction", "poster", "background", "style"}
    assert [pair for pair in read.attributes if pair[0] in fetching or pair[0].startswith("on")] == []
    assert {"link", "img", "iframe", "object", "embed", "form", "base", "a"} & set(read.tags) == set()
    assert set(re.findall(r"url\((.{15})", page)) == {"data:font/woff;"}
    assert "@import" not in page
    [policy] = [value for name, value in read.attributes if value.startswith("default-src")]
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy
    for tag in ("style", "script"):
        [content] = re.findall(f"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        assert f"{tag}-src {models_report._hash(content)};" in policy


def test_the_html_file_works_without_its_script(whole: ModelsFound) -> None:
    """The longest model stands first, that is said, and no button is there that would do nothing."""
    page = models_report.screen(whole, settings.load(), DAY)
    [table, *_] = re.findall(r'<table class="tight sortable effects">.*?</table>', page, re.DOTALL)
    assert "<button" not in page.split("<script>")[0]
    assert re.findall(r"<th[^>]*aria-sort=\"(\w+)\"[^>]*>([^<]*)<", table) == [
        ("descending", "Against the average,\u00a0yd")
    ]
    keys = [float(k) for k in re.findall(r'<tr><th.*?</th>(?:<td.*?</td>){2}<td class="n" data-sort="(.*?)"', table)]
    assert len(keys) == 5
    assert keys == sorted(keys, reverse=True)


def test_hostile_names_stay_names_on_the_screen() -> None:
    page = models_report.screen(hostile(), settings.load('name = "</p><script>x"'), DAY)
    read = Page(page)
    assert read.tags.count("script") == 1
    assert {"img", "b", "i", "u"} & set(read.tags) <= {"b"}
    assert read.tags.count("b") == read.texts.count("How to read it.")
    joined = "".join(read.texts)
    for name in ('=HYPERLINK("http://x.invalid","y")', "<script>alert(1)</script>", "{{ 7*7 }}", "&lt;u&gt;", "a b"):
        assert name in joined
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e]", page.replace("\r", ""))
    assert page.count("x" * 59 + "…") >= 2
    assert "x" * 60 not in page
    assert "x" * 59 + "… (2)" in page


def test_names_that_look_alike_get_a_number() -> None:
    of = found(category(*(row(effect(name)) for name in ("A b", "A  b", "A\tb", " ", "\x00"))))
    labels = models_words.page_of(of, settings.load(), DAY).labels
    assert len(set(labels.values())) == len(labels) == 5
    assert {labels[name] for name in ("A b", "A  b", "A\tb")} == {"A b", "A b (2)", "A b (3)"}
    assert all(label.strip() for label in labels.values())


def test_the_same_input_gives_the_same_page_and_the_day_counts(whole: ModelsFound) -> None:
    for make in (models_report.paper, models_report.screen):
        assert make(whole, settings.load(), DAY) == make(whole, settings.load(), DAY)
        assert make(whole, settings.load(), DAY) != make(whole, settings.load(), DAY + dt.timedelta(1))


# --- pictures -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("models", "pictures"), [(16, 1), (17, 2), (33, 3)])
def test_a_long_picture_is_parted_on_one_scale(models: int, pictures: int) -> None:
    rows = [row(effect(f"M{i:02}", 9 - i / 4, 1, "better")) for i in range(models)]
    page = models_report.paper(found(category(*rows)), settings.load(), DAY)
    drawn = re.findall(r"<svg.*?</svg>", page, re.DOTALL)
    assert len(drawn) == pictures
    bands = {re.search(r'<rect x="([\d.]+)"[^>]*width="([\d.]+)"', one).groups() for one in drawn}  # type: ignore[union-attr]
    assert len(bands) == 1
    spoken = " ".join(re.findall(r"<title>(.*?)</title>", " ".join(drawn)))
    assert all(f"M{i:02}: " in spoken for i in range(models))


@pytest.mark.parametrize(("verdict", "mark"), [("better", 1), ("worse", 2), ("average", 3), ("not_settled", 3)])
def test_what_is_settled_has_a_colour(verdict: str, mark: int) -> None:
    page = models_report.paper(found(category(row(effect("A", 3, 1, verdict)))), settings.load(), DAY)
    [colour] = re.findall(r'<circle[^>]*stroke="(#\w+)"', page)
    assert colour == (*(colour for colour, _ in svg.MARKS[:3]), svg.QUIET)[mark]


def test_pictures_hold_together_with_names_of_any_length() -> None:
    page = models_report.paper(hostile(), GERMAN, DAY)
    for drawn in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        assert svg_checks.faults(svg_checks.read(drawn)) == []


# --- German -------------------------------------------------------------------------------------------------------
def english_pieces() -> Iterator[str]:
    german = " ".join(str(value) for _, value in flat(words("de").get("models")))
    for _, value in flat(words("en").get("models")):
        for piece, *_ in string.Formatter().parse(str(value)):
            plain = piece.replace("\u00a0", " ").strip(" .,;:()“”")
            if " " in plain and plain not in german:
                yield plain


def test_the_german_page_has_no_english_and_no_decimal_point(whole: ModelsFound) -> None:
    text = re.sub(r"Head \d+ with shaft \w", "", text_of(models_report.paper(whole, GERMAN, DAY)))
    assert [piece for piece in english_pieces() if piece in text] + ENGLISH.findall(text) == []
    assert re.findall(r".{9}\d\.\d.{9}", text) == []
    assert len(re.findall(r"\d,\d", text)) > 50
    assert (
        len([piece for piece in english_pieces() if piece in text_of(models_report.paper(whole, settings.load(), DAY))])
        > 20
    )


# --- PDF ----------------------------------------------------------------------------------------------------------
def test_the_pdf_keeps_to_the_structure(whole: ModelsFound, tmp_path: Path) -> None:
    made = pdf_writer.write(models_report.paper(whole, GERMAN, DAY), "models")
    assert problems(made) == []
    assert off_the_page(made, tmp_path) == []
    with pikepdf.open(io.BytesIO(made)) as pdf:
        assert str(pdf.Root.Lang) == "de-DE"
        assert str(pdf.docinfo.Title) == "Schlägermodelle, Januar\u00a02026 bis November\u00a02026"


def test_hostile_names_make_a_pdf_all_the_same(tmp_path: Path) -> None:
    page = models_report.paper(hostile(), settings.load('paper = "letter"'), DAY)
    made = pdf_writer.write(page, "models")
    assert problems(made) == []
    assert off_the_page(made, tmp_path) == []


@pytest.mark.parametrize("by", [("loft",), ("loft", "shaft"), ("month",), ("studio",)])
def test_one_kind_of_clubs_may_be_divided_as_well(by: tuple[str, ...]) -> None:
    pieces = season(3, 40)
    values = {"loft": "10.5", "shaft": "S", "month": "2026-03", "studio": "s1"}
    divided = pieces.with_columns(
        pl.lit(GROUP_SEPARATOR.join(["driver", *(values[one] for one in by)])).alias("category")
    )
    page = models_report.paper(found_of(divided, by=by, kind="driver", studio="s1"), settings.load(), DAY)
    assert "Driver" in page
    assert all(part in page for one, part in (("loft", "10.5"), ("month", "March 2026"), ("shaft", "S")) if one in by)
