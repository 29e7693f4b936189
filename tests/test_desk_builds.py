"""Clubs as fields and back: what is typed comes into visit.toml, and nothing else of it moves."""

import tomllib
from typing import Any

import pytest

from pipeline import desk_builds, desk_facts, visit_facts
from pipeline.desk_builds import OWN, name
from pipeline.desk_report import Club, club_key

LABELS = ("Own driver", "Driver 10.5°", "Two")
CLUBS = tuple(Club(club_key(label), label) for label in LABELS)
KEYS = [club.key for club in CLUBS]
KEPT = """
own_club = "OWN DRIVER "
[[build]]
label = "own driver"
category = "driver"
loft_deg = 9.5
length_m = 1.1557
[[build]]
label = "Not hit today"
loft_deg = 60.0
[[build]]
label = "Own driver"
head = "a second table about it"
"""


def changed(kept: str = KEPT, **fields: str) -> tuple[dict[str, Any], dict[str, str]]:
    """Put changed fields into a visit.toml; gives it and what is wrong."""
    found = tomllib.loads(kept)
    faults = desk_builds.put(found, {**desk_builds.shown(found, CLUBS), **fields}, CLUBS)
    visit_facts.read(desk_facts.dumped(found).decode())
    return found, faults


def test_what_staff_gave_is_shown() -> None:
    fields = desk_builds.shown(tomllib.loads(KEPT), CLUBS)
    assert [fields[name(part, KEYS[0])] for part in desk_builds.PARTS] == ["", "driver", "9.5", "45.5", "", "", ""]
    assert [fields[name(part, KEYS[1])] for part in desk_builds.PARTS] == [""] * 7
    assert fields[OWN] == KEYS[0]


def test_sent_back_unchanged_nothing_moves() -> None:
    assert changed() == (tomllib.loads(KEPT), {})
    assert changed("") == ({}, {})
    spaced = {name("loft_deg", KEYS[0]): " 9.5 ", name("head", KEYS[1]): " \t"}
    assert changed(**spaced) == (tomllib.loads(KEPT), {})


def test_what_the_label_tells_is_a_hint() -> None:
    own, driver, two = desk_builds.rows(CLUBS)
    assert (own.says_own, own.says_kind, own.says_loft) == (True, "driver", "")
    assert (driver.says_own, driver.says_kind, driver.says_loft) == (False, "driver", "10.5")
    assert (two.says_own, two.says_kind, two.says_loft) == (False, "", "")


def test_one_loft_changes_and_all_else_stays() -> None:
    found, faults = changed(**{name("loft_deg", KEYS[0]): "10"})
    wanted = tomllib.loads(KEPT)
    wanted["build"][0]["loft_deg"] = 10.0
    assert (found, faults) == (wanted, {})


def test_a_length_is_kept_in_inches_and_replaces_metres() -> None:
    found, _ = changed(**{name("length_in", KEYS[0]): "45.25"})
    assert found["build"][0] == {"label": "own driver", "category": "driver", "loft_deg": 9.5, "length_in": 45.25}


def test_a_new_club_gets_a_table_with_its_label_as_in_the_file() -> None:
    found, _ = changed(**{name("head", KEYS[2]): " Head  B\x00", name("category", KEYS[2]): "wood"})
    assert found["build"][3] == {"label": "Two", "category": "wood", "head": "Head B"}


def test_a_club_nothing_is_known_of_any_more_goes_away() -> None:
    emptied = {name(part, KEYS[0]): "" for part in desk_builds.PARTS}
    found, _ = changed(**emptied)
    assert [one["label"] for one in found["build"]] == ["Not hit today", "Own driver"]
    found, _ = changed('[[build]]\nlabel = "Two"\nhead = "x"\n', **{name("head", KEYS[2]): ""})
    assert "build" not in found


def test_a_table_with_a_label_alone_stays_while_nobody_touches_it() -> None:
    kept = '[[build]]\nlabel = "Two"\n'
    assert changed(kept) == (tomllib.loads(kept), {})


def test_the_own_club_is_written_as_the_file_calls_it() -> None:
    assert changed(**{OWN: KEYS[1]})[0][OWN] == "Driver 10.5°"
    assert OWN not in changed(**{OWN: ""})[0]
    assert changed(**{OWN: "nothing"})[1] == {OWN: "Choose one of the clubs of this visit."}


def test_an_own_club_of_no_label_is_kept_until_another_is_chosen() -> None:
    kept = 'own_club = "Left at home"\n'
    assert desk_builds.shown(tomllib.loads(kept), CLUBS)[OWN] == desk_builds.OTHER
    assert changed(kept) == (tomllib.loads(kept), {})
    assert changed(kept, **{OWN: KEYS[2]})[0][OWN] == "Two"


@pytest.mark.parametrize(
    ("part", "typed", "said"),
    [
        ("loft_deg", "9,5", "Two, loft: “9,5” is not right. Write degrees, such as 9.5, from 0 to 80"),
        ("loft_deg", "nan", "not right"),
        ("loft_deg", "-0.1", "not right"),
        ("loft_deg", "80.1", "not right"),
        ("length_in", "1.15", "Two, length: “1.15” is not right. Write inches, such as 45.5, from 20 to 60"),
        ("length_in", "60.1", "not right"),
        ("length_in", "45 1/2", "not right"),
        ("category", "putter", "Two, kind: choose one in the list."),
        ("order", "0", "Two, order: write a whole number from 1 to 99, or leave it empty."),
        ("order", "100", "whole number"),
        ("order", "1.5", "whole number"),
        ("order", "²", "whole number"),
        ("shaft", "s" * 2001, "Two, shaft: at most 2,000 characters"),
    ],
)
def test_what_is_not_understood_is_said_at_its_field(part: str, typed: str, said: str) -> None:
    _, faults = changed(**{name(part, KEYS[2]): typed})
    assert list(faults) == [name(part, KEYS[2])]
    assert said in faults[name(part, KEYS[2])]


@pytest.mark.parametrize(
    ("part", "typed"), [("loft_deg", "0"), ("loft_deg", "80"), ("length_in", "20"), ("order", "1"), ("order", "99")]
)
def test_what_lies_at_the_border_is_kept(part: str, typed: str) -> None:
    found, faults = changed(**{name(part, KEYS[2]): typed})
    assert (found["build"][-1][part], faults) == (float(typed), {})


def test_a_club_is_given_a_name_for_the_report() -> None:
    found, faults = changed(**{name("name", KEYS[2]): " New  head\x00"})
    assert (found["build"][-1], faults) == ({"label": "Two", "name": "New head"}, {})
    assert "build" not in changed('[[build]]\nlabel = "Two"\nname = "x"\n', **{name("name", KEYS[2]): ""})[0]


@pytest.mark.parametrize("typed", ["driver 10.5°", "Called so"])
def test_two_clubs_do_not_get_one_name(typed: str) -> None:
    found = tomllib.loads('[[build]]\nlabel = "Own driver"\nname = "called SO"\n')
    fields = {**desk_builds.shown(found, CLUBS), name("name", KEYS[2]): typed}
    faults = desk_builds.put(found, fields, CLUBS)
    said = "Two: another club is called that, too. Give it a name of its own."
    assert faults.pop(name("name", KEYS[2])) == said
    assert list(faults) == ([name("name", KEYS[0])] if typed == "Called so" else [])
