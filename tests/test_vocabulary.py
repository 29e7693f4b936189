"""Every word the report may need is there, in every language, with the same places to fill."""

import datetime as dt
import re
import shutil
import string
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline import resources, settings, typeface
from pipeline.analysis.attribution import LEVERS
from pipeline.analysis.delivery import NEEDS
from pipeline.analysis.mishits import _CHANNELS
from pipeline.errors import SettingsError
from pipeline.resources import folder, table
from pipeline.schema import measurements
from pipeline.shown import Shown
from pipeline.vocabulary import languages, words


def flat(tree: dict[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for key, value in tree.items():
        if isinstance(value, dict):
            yield from flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", value


def places(text: object) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(str(text)) if name}


@pytest.mark.parametrize("language", languages())
def test_languages_have_the_same_entries_and_places(language: str) -> None:
    english, other = dict(flat(words("en").tree)), dict(flat(words(language).tree))
    assert other.keys() == english.keys()
    assert {k: places(v) for k, v in other.items()} == {k: places(v) for k, v in english.items()}
    assert [key for key, value in other.items() if not value and key != "document.breaks"] == []


def test_languages_are_those_of_the_setting() -> None:
    assert settings.choices(table("settings")["language"]) == languages()
    assert {"de", "en"} <= set(languages())


def test_a_language_is_added_by_a_file_alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match='one of "de", "en"'):
        settings.load('language = "xx"')
    shutil.copytree(folder("schemas"), tmp_path / "schemas")
    english = (folder("schemas") / "vocabulary" / "en.toml").read_text(encoding="utf-8")
    changed = english.replace('hello = "Hello,"', 'hello = "Ahoy,"').replace('decimal_mark = "."', 'decimal_mark = "’"')
    (tmp_path / "schemas" / "vocabulary" / "xx.toml").write_text(changed, encoding="utf-8")
    monkeypatch.setattr(resources, "_PACKAGE", tmp_path / "pipeline")
    chosen = settings.load('language = "xx"').language
    assert "(de | en | xx)" in settings.template()
    assert words(chosen).get("letter.hello") == "Ahoy,"
    assert Shown("yards", words(chosen)).plain(1.444, "smash_factor") == "1’44"


# --- what a translation must not leave behind --------------------------------------------------------------------
ALIKE = {
    "kind.driver", "kind.hybrid", "kind.wedge", "quantity.spin_rate_rpm", "quantity.carry_m",
    "figures.carry_m", "table.carry", "worth.loft", "worth.spin",
}  # fmt: skip
ENGLISH = re.compile(
    r"\b(the|and|of|with|from|than|are|is|not|your|you|to|for|by|no|shots?|clubs?|balls|speed|about|or)\b",
    re.IGNORECASE,
)


def bare(value: object) -> str:
    return re.sub(r"\{\w+\}|[^\w/]", "", str(value))


def test_every_german_value_is_german() -> None:
    english, german = dict(flat(words("en").tree)), dict(flat(words("de").tree))
    same = {k for k, v in german.items() if v == english[k] and bare(v) and not k.startswith(("units.", "list."))}
    assert same == ALIKE
    assert {k: v for k, v in german.items() if ENGLISH.search(re.sub(r"\{\w+\}", "", str(v)))} == {}


@pytest.mark.parametrize("language", languages())
def test_every_word_is_in_the_reports_typeface(language: str) -> None:
    texts = [str(value) for _, value in flat(words(language).tree)]
    assert typeface.missing_characters(texts) == ""


def test_one_german_word_a_quantity_and_none_for_two() -> None:
    names = words("de").get("quantity")
    assert len(set(names.values())) == len(names)
    assert names["attack_angle_deg"] != names["descent_angle_deg"]
    text = " ".join(str(value) for _, value in flat(words("de").tree))
    assert "Eintreffwinkel" not in text  # the trade says it of both angles


# --- numbers and lists --------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [(3.4, 0, "+3"), (-3.6, 0, "−4"), (0.4, 0, "0"), (-0.4, 0, "0"), (1.25, 1, "+1,2"), (-1234.5, 1, "−1234,5")],
)
def test_differences_carry_their_sign_and_the_languages_mark(value: float, digits: int, text: str) -> None:
    assert words("de").signed(value, digits) == text
    assert words("en").signed(value, digits) == text.replace(",", ".")


def test_lists_and_names_inside_a_sentence() -> None:
    assert words("de").listed(["eng", "weit"], "or") == "eng oder weit"
    assert words("en").listed(f"{n}" for n in range(3)) == "0, 1, 2"
    assert words("en").inside("Ball speed") == "ball speed"
    assert words("de").inside("Ballgeschwindigkeit") == "Ballgeschwindigkeit"


@pytest.mark.parametrize("language", languages())
def test_words_that_may_be_divided_are_words_of_ours(language: str) -> None:
    known = words(language)
    heads = " ".join((*known.get("quantity").values(), *known.get("lever").values()))
    for word in known.get("document.breaks"):
        assert word.replace("|", "") in heads
        assert known.breakable(word.replace("|", "")) == word.replace("|", "\u00ad")
    assert known.breakable("Driver 2") == "Driver 2"


def test_a_date_in_german() -> None:
    assert words("de").day(dt.date(2026, 11, 25)) == "25. November 2026"


@pytest.mark.parametrize("language", languages())
def test_everything_that_can_be_said_has_words(language: str) -> None:
    tree = words(language).tree
    assert set(measurements()) - {"backspin_rpm", "sidespin_rpm"} <= tree["quantity"].keys()
    flight = {"flight_carry", "flight_apex", "flight_flight_time", "flight_descent_angle"}
    codes = (set(table("flags")) - {"flight_disagrees"}) | flight | {code for *_, code in _CHANNELS} | {"staff"}
    assert codes <= tree["reason"].keys()
    assert len(tree["document"]["months"]) == 12
    faults = table("faults")
    assert tree["row_reason"].keys() == faults["row"].keys() | faults["cell"].keys()


def test_every_caution_code_has_words() -> None:
    source = (folder("schemas").parent / "pipeline/analysis/cautions.py").read_text(encoding="utf-8")
    codes = set(re.findall(r'^        "(\w+)":', source, re.MULTILINE))
    assert len(codes) >= 10
    assert codes <= words("en").get("caution").keys()


def test_a_missing_word_is_a_fault_of_ours() -> None:
    with pytest.raises(KeyError):
        words("en").get("answer.no_such_sentence")


@pytest.mark.parametrize("language", languages())
def test_every_lever_way_and_caution_has_words(language: str) -> None:
    tree, advice = words(language).tree, table("lever_advice")
    ways = {way for row in advice.values() for way in (*row["ways"], *row.get("turf", ()))}
    assert ways <= tree["way"].keys()
    assert {code for row in advice.values() for code in row["cautions"]} <= tree["way_caution"].keys()
    levers = {lever for names in LEVERS.values() for lever in names}
    assert levers | {"attack_and_fit", "modelled", "unexplained", "measured"} <= tree["lever"].keys()
    assert set(NEEDS) - {"full"} <= tree["lever_tier"].keys()
    assert {"club_speed", "strike", "attack", "loft", "spin"} <= tree["worth"].keys()


@pytest.mark.parametrize("language", languages())
def test_no_club_is_said_to_be_near_a_legal_limit(language: str) -> None:
    """A device's club speed is not that of the mechanics a limit is written for, so a share of it would be false."""
    near = re.compile(r"(limit|legal|allow|erlaubt|zulässig|grenzwert)", re.IGNORECASE)
    said = [str(value) for _, value in flat(words(language).tree)]
    assert not [text for text in said if near.search(text) and re.search(r"%|per ?cent|Prozent|\{.*ratio.*\}", text)]
