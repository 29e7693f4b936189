"""studio.toml changed from the desk: what was meant is said afterwards, and what people wrote beside it stays."""

import datetime as dt
import tomllib

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from pipeline import settings as settings_module
from pipeline.settings_text import rewritten

BY_HAND = """# ours
name = "A # B"   # the sign says so
footnote = '''two
[lines]'''
paper = "letter"
#paper was A4 before
[bays_set_up]
# the net was new
"2" = 2026-03-10
"""


def made(text: str, **changes: object) -> str:
    found, kept = rewritten(text, changes)
    assert kept
    return found


def test_only_the_line_of_the_setting_changes() -> None:
    assert made(BY_HAND, name='C "D"') == BY_HAND.replace('"A # B"', '"C \\"D\\""')
    assert made(BY_HAND, footnote="one") == BY_HAND.replace("'''two\n[lines]'''", '"one"')


def test_what_is_taken_away_leaves_the_remark_of_its_default() -> None:
    assert made(BY_HAND, paper=None) == BY_HAND.replace('paper = "letter"', '# paper = "A4"')


def test_a_new_setting_stands_before_the_first_table() -> None:
    found = made(BY_HAND, tidy="move")
    assert found.index('tidy = "move"\n[bays_set_up]')
    assert tomllib.loads(found) == {**tomllib.loads(BY_HAND), "tidy": "move"}


def test_in_the_file_of_a_new_studio_the_remark_becomes_the_setting_and_back() -> None:
    template = settings_module.template()
    found = made(template, smtp_port=465)
    assert found == template.replace("# smtp_port = 587", "smtp_port = 465")
    assert made(found, smtp_port=None) == template


def test_a_table_becomes_a_line_and_keeps_its_remarks() -> None:
    found = made(BY_HAND, bays_set_up={"2": dt.date(2026, 4, 1), "bay 3": dt.date(2026, 5, 1)})
    assert 'bays_set_up = { 2 = 2026-04-01, "bay 3" = 2026-05-01 }' in found
    assert "# the net was new" in found
    assert made("bays_set_up.2 = 2026-03-10\nname = 'A'\n", bays_set_up=None) == "name = 'A'\n"


def test_ends_of_lines_stay_and_a_file_without_one_gets_it() -> None:
    assert made('name = "A"\r\n# b\r\n', name="C") == 'name = "C"\r\n# b\r\n'
    assert made("# b", name="C") == '# b\nname = "C"'
    assert made("", name="C") == 'name = "C"\n'


def test_what_looks_like_the_setting_inside_a_text_stays() -> None:
    text = 'footnote = """\nname = "B"\n"""\nname = "A"\n'
    assert made(text, name="C") == text.replace('"A"', '"C"')


@pytest.mark.parametrize("text", ["\"na\\u006de\" = 'A'\n", "# a\n'bays_set_up'.2 = 2026-03-10\nname = 'A'"])
def test_what_cannot_be_changed_in_its_place_is_written_whole(text: str) -> None:
    found, kept = rewritten(text, {"name": "C", "bays_set_up": None})
    assert not kept
    assert tomllib.loads(found) == {"name": "C"}


@settings(max_examples=40)
@given(
    st.dictionaries(st.sampled_from(["name", "footnote", "paper", "bays_set_up", "tidy"]), st.none() | st.text()),
    st.sampled_from([BY_HAND, settings_module.template(), "", 'name = """\n# x\n"""#y\n']),
)
def test_whatever_is_typed_the_file_says_what_was_meant(changes: dict[str, str | None], text: str) -> None:
    found, _ = rewritten(text, changes)
    meant = {**tomllib.loads(text), **changes}
    assert tomllib.loads(found) == {key: value for key, value in meant.items() if value is not None}
