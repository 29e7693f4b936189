"""What the report's typeface can draw, read from the font files, and what stands for the rest."""

import io
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

from pipeline import typeface
from pipeline.resources import folder

FONTS = sorted((folder("report_templates") / "fonts").glob("*.ttf"))


@pytest.mark.parametrize("path", FONTS, ids=lambda path: path.stem)
def test_a_font_is_read_as_another_program_reads_it(path: Path) -> None:
    with TTFont(path) as font:
        glyphs, widths, em = font.getBestCmap(), font["hmtx"], font["head"].unitsPerEm
        expected = {chr(code): widths[name][0] / em for code, name in glyphs.items()}
    assert typeface.advances(path.read_bytes()) == expected


def test_there_are_three_weights_and_the_box_is_in_each() -> None:
    assert len(FONTS) == 3
    assert typeface.SUBSTITUTE in typeface.characters()
    assert {"é", "Ł", "ő", "Ω", "Я", "−", "≈", "→", "\u00a0", "\u202f"} <= typeface.characters()


@pytest.mark.parametrize(
    ("text", "shown", "missing"),
    [
        ("Łąka Åkerbär, 7 iron – 10.5°", "Łąka Åkerbär, 7 iron – 10.5°", ""),
        ("A\u030akerba\u0308r", "Åkerbär", ""),
        ("竹林", "□□", "林竹"),
        ("Oak 😀👍🏽", "Oak □□", "👍😀"),
        ("☺\ufe0f 1\ufe0f\u20e3", "☺ 1" if "☺" in typeface.characters() else "□ 1", None),
        ("\u202edriver\u202c\u200f\u2066", "driver", ""),
        ("a\u200db\ufeffc\u0007d\u061ce", "abcde", ""),
        ("a\u3000b\u2028c", "a b c", ""),
        ("line\nand\ttab\r", "line\nand\ttab\r", ""),
        ("\ud800\uffff\ue000\U0010ffff", "□□□□", "\ud800\ue000\uffff\U0010ffff"),
        ("", "", ""),
    ],
)
def test_what_is_shown_and_what_a_reader_would_miss(text: str, shown: str, missing: str | None) -> None:
    assert typeface.printable(text) == shown
    assert missing is None or typeface.missing_characters([text]) == missing


def test_each_missing_character_is_named_once_over_all_texts() -> None:
    assert typeface.missing_characters(["竹 Oak 竹", "Elm", "林 竹"]) == "林竹"
    assert typeface.missing_characters([]) == ""


@given(st.text())
def test_whatever_comes_only_our_characters_are_printed(text: str) -> None:
    shown = typeface.printable(text)
    assert set(shown) <= typeface.characters() | set("\n\r\t")
    assert typeface.printable(shown) == shown
    assert typeface.missing_characters([shown]) == ""
    assert bool(typeface.missing_characters([text])) >= (shown.count("□") > text.count("□"))


def test_every_word_of_ours_can_be_printed() -> None:
    for path in (folder("schemas") / "vocabulary").glob("*.toml"):
        assert typeface.printable(path.read_text(encoding="utf-8")) == path.read_text(encoding="utf-8")
    for path in folder("report_templates").glob("*.*"):
        assert typeface.printable(path.read_text(encoding="utf-8")) == path.read_text(encoding="utf-8")


def test_width_is_that_of_the_widest_weight_and_never_too_small() -> None:
    with TTFont(next(path for path in FONTS if "Bold" in path.stem)) as bold:
        glyphs, widths, em = bold.getBestCmap(), bold["hmtx"], bold["head"].unitsPerEm
        wide = sum(widths[glyphs[ord(c)]][0] for c in "Wide wedge 60°") / em
    assert typeface.width("Wide wedge 60°") == pytest.approx(wide, rel=0.02)
    assert typeface.width("Wide wedge 60°") >= wide
    assert typeface.width("李") == typeface.width("□")


def test_a_page_for_the_screen_gets_the_letters_it_needs_and_no_others() -> None:
    made = typeface.subset("SourceSans3-Bold.ttf", "Aé−")
    assert made[:4] == b"wOFF"
    assert len(made) < 10_000
    with TTFont(io.BytesIO(made)) as read:
        assert set(read.getBestCmap()) == {ord(c) for c in "Aé−"}
    assert made == typeface.subset("SourceSans3-Bold.ttf", "é−AA")
