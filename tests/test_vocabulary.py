"""Every word the report may need is there, in every language, with the same places to fill."""

import re
import string
from collections.abc import Iterator
from typing import Any

import pytest

from pipeline.analysis.attribution import LEVERS
from pipeline.analysis.delivery import NEEDS
from pipeline.analysis.mishits import _CHANNELS
from pipeline.resources import folder, table
from pipeline.schema import measurements
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
    assert [key for key, value in other.items() if not value] == []


def test_languages_are_those_of_the_setting() -> None:
    assert languages() == table("settings")["language"]["choices"]


@pytest.mark.parametrize("language", languages())
def test_everything_that_can_be_said_has_words(language: str) -> None:
    tree = words(language).tree
    assert set(measurements()) - {"backspin_rpm", "sidespin_rpm"} <= tree["quantity"].keys()
    flight = {"flight_carry", "flight_apex", "flight_flight_time", "flight_descent_angle"}
    codes = (set(table("flags")) - {"flight_disagrees"}) | flight | {code for *_, code in _CHANNELS} | {"staff"}
    assert codes <= tree["reason"].keys()
    assert len(tree["document"]["months"]) == 12


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
