"""The form about a visit and its visit.toml: what is typed comes back, what is not on the form stays."""

import datetime as dt
import tomllib

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from pipeline import desk_facts, visit_facts
from pipeline.errors import SettingsError

FULL = b"""# by hand
customer = "Customer 0142"
date = 2026-11-25
hand = "right"
[home_course]
altitude_m = 450
temperature_c = 12.5
[[build]]
label = "Own driver"
loft_deg = 9.5
[[shot]]
file = "a.csv"
line = 17
counts = false
reason = "talked to"
"""


def test_what_is_kept_is_shown() -> None:
    shown = desk_facts.shown(FULL)
    assert shown == {
        "customer": "Customer 0142", "email": "", "notes": "", "recommendation": "", "bay": "", "consent": "",
        "date": "2026-11-25", "hand": "right", "altitude_m": "450", "temperature_c": "12.5",
    }  # fmt: skip


def test_sending_the_form_back_unchanged_changes_nothing() -> None:
    assert tomllib.loads(desk_facts.written(FULL, desk_facts.shown(FULL)).decode()) == tomllib.loads(FULL.decode())
    assert tomllib.loads(desk_facts.written(b"", desk_facts.shown(b"")).decode()) == {}


def test_one_field_changes_and_all_else_stays() -> None:
    fields = {**desk_facts.shown(FULL), "hand": "left", "altitude_m": "", "email": "a@example.org"}
    facts = visit_facts.read(desk_facts.written(FULL, fields).decode())
    assert (facts.hand, facts.home_altitude_m, facts.home_temperature_c) == ("left", None, 12.5)
    assert (facts.email, facts.customer, facts.date) == ("a@example.org", "Customer 0142", dt.date(2026, 11, 25))
    assert [build.loft_deg for build in facts.builds] == [9.5]
    assert [(overrule.line, overrule.counts) for overrule in facts.overrules] == [(17, False)]


def test_what_lies_at_the_border_is_kept() -> None:
    fields = {"altitude_m": "-500", "temperature_c": "60", "notes": "n" * 2000}
    facts = visit_facts.read(desk_facts.written(b"", fields).decode())
    assert (facts.home_altitude_m, facts.home_temperature_c, len(facts.notes or "")) == (-500, 60, 2000)


def test_all_that_is_wrong_is_said_at_once() -> None:
    found = desk_facts.document(FULL)
    assert set(desk_facts.put(found, {"email": "x", "date": "x", "hand": "x", "altitude_m": "x"})) == {
        "email", "date", "hand", "altitude_m",
    }  # fmt: skip


def test_a_damaged_file_is_not_written_over() -> None:
    with pytest.raises(SettingsError):
        desk_facts.written(b"hand = 'both'", {"customer": "Aspen"})


def test_an_empty_home_course_goes_away() -> None:
    fields = {**desk_facts.shown(FULL), "altitude_m": " ", "temperature_c": ""}
    assert b"home_course" not in desk_facts.written(FULL, fields)


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("email", "a@b", "no e-mail address"),
        ("email", "a@example.org, b@example.org", "no e-mail address"),
        ("hand", "both", "right or left"),
        ("date", "25.11.2026", "no day"),
        ("date", "2026-02-30", "no day"),
        ("altitude_m", "12 m", "Height of the home course: “12 m” is not right. Write metres from -500 to 6,000"),
        ("altitude_m", "nan", "Height of the home course"),
        ("altitude_m", "6001", "Height of the home course"),
        ("temperature_c", "1e300", "Usual temperature there"),
        ("temperature_c", "-40.1", "Usual temperature there"),
        ("notes", "n" * 2001, "Your words: at most 2,000 characters"),
        ("customer", "n" * 2001, "Customer: at most 2,000 characters"),
    ],
)
def test_what_is_not_understood_is_said(field: str, typed: str, said: str) -> None:
    with pytest.raises(SettingsError, match=said):
        desk_facts.written(b"", {field: typed})


@settings(max_examples=25)
@given(st.text(max_size=100), st.text(max_size=100))
def test_any_text_typed_comes_back_in_one_line_or_as_notes(customer: str, notes: str) -> None:
    content = desk_facts.written(FULL, {"customer": customer, "notes": notes})
    facts = visit_facts.read(content.decode())
    assert "\n" not in (facts.customer or "")
    assert (facts.customer or "").isprintable()
    again = desk_facts.written(content, desk_facts.shown(content))
    assert tomllib.loads(again.decode()) == tomllib.loads(content.decode())


def test_notes_and_recommendation_keep_their_lines() -> None:
    typed = "one\r\ntwo\r\n\r\nthree\x07"
    facts = visit_facts.read(desk_facts.written(b"", {"notes": typed, "recommendation": typed}).decode())
    assert facts.notes == facts.recommendation == "one\ntwo\n\nthree"


def test_what_is_damaged_is_shown_as_nothing() -> None:
    assert set(desk_facts.shown(b"\xff = ").values()) == {""}
    assert desk_facts.shown(b"home_course = 3\nhand = 'left'")["hand"] == "left"
