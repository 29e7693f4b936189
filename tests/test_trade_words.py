"""The word lists are complete, and no word means something nobody meant."""

import pytest

from pipeline.resources import table
from pipeline.schema import measurements, text_fields
from pipeline.trade_words import (
    golfer_words,
    is_infinite_word,
    is_null_word,
    is_spreadsheet_error,
    is_summary_label,
    measurements_called,
    months,
    names_a_unit,
    plain,
    quantity_called,
    side_words,
)
from pipeline.units import spelled

LANGUAGES = ("en", "de", "fr", "es")  # complete; the others hold what is sure


def test_every_column_has_words() -> None:
    for name in (*measurements(), *text_fields()):
        for language in LANGUAGES:
            assert table("aliases")[name].get(language), (name, language)


def test_no_words_for_columns_we_do_not_have() -> None:
    assert set(table("aliases")) - {"shared"} == {*measurements(), *text_fields()}


def test_every_word_means_its_column_and_nothing_else() -> None:
    for name, languages in table("aliases").items():
        if name != "shared":
            for word in (word for words in languages.values() for word in words):
                assert measurements_called(word) == (name,), word


def test_shared_words_are_ambiguous() -> None:
    for word, names in table("aliases")["shared"].items():
        assert measurements_called(word) == tuple(sorted(names)), word
        assert len(names) > 1


def test_no_word_is_a_unit() -> None:
    for name in measurements():
        for words in table("aliases")[name].values():
            assert not [word for word in words if spelled(word, measurements()[name].dimension)]


@pytest.mark.parametrize(
    ("heading", "name"),
    [
        ("BALL_SPEED", "ball_speed_mps"),
        ("Ball-Speed", "ball_speed_mps"),
        ("ballspeed", "ball_speed_mps"),
        ("Schlaegerkopfgeschwindigkeit", "club_speed_mps"),
        ("SCHLÄGERKOPFGESCHWINDIGKEIT", "club_speed_mps"),
        ("angulo de ataque", "attack_angle_deg"),
        ("Ball Carry", "carry_m"),
        ("Shot #", "shot"),
        ("#", "shot"),
    ],
)
def test_spelling_does_not_matter(heading: str, name: str) -> None:
    assert measurements_called(heading) == (name,)


@pytest.mark.parametrize("heading", ["", "Turn", "Cycle", "Min", "Club,Ball Speed", "***"])
def test_unknown_words(heading: str) -> None:
    assert measurements_called(heading) == ()


def test_every_summary_word_is_found_alone_and_before_more() -> None:
    for word in (word for words in table("reading_words")["summary"].values() for word in words):
        for label in (word, word.upper(), f"{word}:", f"{word} (3)", f"{word} 7"):
            assert is_summary_label(label), label


@pytest.mark.parametrize("label", ["", "7I", "Totally", "Maximal", "Max-7", "Meanwhile", "Counter", "Driver"])
def test_no_summary(label: str) -> None:
    assert not is_summary_label(label)


def test_months() -> None:
    for words in table("reading_words")["months"].values():
        assert [months()[plain(word)] for word in words] == list(range(1, 13))


def test_side_words_have_one_meaning() -> None:
    for words in (
        side_words("right"),
        side_words("up"),
        golfer_words("path"),
        golfer_words("face"),
        golfer_words("curve"),
    ):
        assert set(words.values()) == {1, -1}
    kinds = {measurement.golfer for measurement in measurements().values()} - {""}
    assert kinds == set(table("reading_words")["golfer"])
    assert side_words("") == {}


def test_units_in_keys() -> None:
    assert quantity_called(names_a_unit("Speed unit") or "") == "speed"
    assert quantity_called(names_a_unit("Unit of distance") or "") == "length"
    assert quantity_called(names_a_unit("Geschwindigkeitseinheit") or "") == "speed"
    assert quantity_called(names_a_unit("Unité de distance") or "") == "length"
    assert names_a_unit("Units") == ""
    assert names_a_unit("Speed") is None


def test_small_words() -> None:
    assert all(map(is_null_word, ("-", "--", "–", "—", "NA", "n/a", "NaN", "NULL", "None")))
    assert not is_null_word("")
    assert all(map(is_infinite_word, ("inf", "-Infinity", "+INF")))
    assert all(map(is_spreadsheet_error, ("#N/A", "#DIV/0!", "#num!", "#WERT!", "####")))
    assert not is_spreadsheet_error("#1")
