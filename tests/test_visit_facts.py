"""visit.toml: what staff know about a visit."""

import datetime as dt

import pytest

from pipeline import visit_facts
from pipeline.errors import SettingsError
from pipeline.records import Build, Overrule, VisitFacts
from pipeline.resources import table

FULL = """
customer = "Customer 0142"
email = "customer@example.org"
date = 2026-11-25
hand = "left"
own_club = "Own driver"
notes = "Invented."
recommendation = "Driver 2."
bay = "2"
consent = "report by e-mail"

[home_course]
altitude_m = 300
temperature_c = 12.5

[[build]]
label = "Own driver"
name = "Your old driver"
category = "driver"
head = "Head A"
loft_deg = 10.5
shaft = "Shaft 1"
length_in = 45

[[build]]
label = "Driver 2"
length_m = 1.13
order = 1

[[shot]]
file = "shots.csv"
line = 17
counts = false
reason = "talked to during the swing"
"""


def refusal(text: str) -> str:
    with pytest.raises(SettingsError) as caught:
        visit_facts.read(text, "customer 7/visit.toml")
    return str(caught.value)


def test_the_order_of_clubs_is_of_their_labels_and_no_part_of_a_club() -> None:
    facts = visit_facts.read("[[build]]\nlabel = ' Driver B'\norder = 2\n[[build]]\nlabel = 'A'\nloft_deg = 9\n")
    assert (facts.order, facts.builds) == ((("driver b", 2),), (Build(" Driver B"), Build("A", loft_deg=9.0)))
    assert "whole number" in refusal("[[build]]\nlabel = 'A'\norder = 1.5")
    assert "lacks label" in refusal("[[build]]\norder = 1")


def test_everything_it_may_say_arrives() -> None:
    facts = visit_facts.read(FULL)
    assert facts == VisitFacts(
        customer="Customer 0142",
        email="customer@example.org",
        date=dt.date(2026, 11, 25),
        hand="left",
        own_club="Own driver",
        notes="Invented.",
        recommendation="Driver 2.",
        bay="2",
        consent="report by e-mail",
        home_altitude_m=300.0,
        home_temperature_c=12.5,
        builds=(
            Build("Own driver", "driver", "Head A", 10.5, "Shaft 1", 1.143, name="Your old driver"),
            Build("Driver 2", length_m=1.13),
        ),
        order=(("driver 2", 1),),
        overrules=(Overrule("shots.csv", 17, counts=False, reason="talked to during the swing"),),
    )
    said = {key for rows in table("visit").values() for key in rows}
    assert all(f"{key} = " in FULL for key in said), "the example above must use every key of schemas/visit.toml"


NAMES = "[[build]]\nlabel = 'A'\nname = '%s'\n[[build]]\nlabel = 'B'\n%s"


@pytest.mark.parametrize("second", ["name = ' new  HEAD'", "name = 'New head'"])
def test_two_clubs_are_not_called_the_same(second: str) -> None:
    said = refusal(NAMES % ("New head", second))
    assert said.startswith("customer 7/visit.toml, line 3: name = ")
    assert said.endswith("is not right: another club is called that, too.")
    assert "line 3: name = " in refusal(NAMES % ("b", ""))  # as the other one is labelled
    assert "line 6: name = " in refusal(NAMES.replace("name = '%s'", "") % "name = 'a'")


def test_a_name_is_one_line_and_an_empty_one_is_none() -> None:
    facts = visit_facts.read(NAMES.replace("'%s'", '"""  New\n head """', 1) % "name = ' '")
    assert [build.name for build in facts.builds] == ["New head", None]
    assert [build.called for build in facts.builds] == ["New head", "B"]
    again = NAMES % ("New head", "[[build]]\nlabel = ' a '\nname = 'New head'")  # two tables about one club
    assert len(visit_facts.read(again).builds) == 3


def test_it_may_say_nothing() -> None:
    assert visit_facts.read("") == VisitFacts()


def test_a_time_of_day_beside_the_date_is_left_out() -> None:
    assert visit_facts.read("date = 2026-11-25T10:30:00").date == dt.date(2026, 11, 25)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('hnad = "left"', "customer 7/visit.toml, line 1: unknown key 'hnad'. Did you mean 'hand'?"),
        ('hand = "both"', 'line 1: hand = "both" is not right: one of "right", "left" is wanted.'),
        ('date = "2026-11-25"', 'date = "2026-11-25" is not right: a date without quotes is wanted'),
        ("date = 10:30:00", "date = 10:30:00 is not right: a date without quotes is wanted, such as 2026-11-25."),
        ("date = 2026-02-31", "not readable as TOML"),
        ("customer = 142", "line 1: customer = 142 is not right: a text in quotes"),
        ("home_course = 5", "line 1: write home_course as a table: [home_course] on a line of its own."),
        ("home_course = { altitude = 5 }", "line 1: unknown key 'altitude'. Did you mean 'altitude_m'?"),
        ("\n[home_course]\naltitude = 5", "line 3: unknown key 'altitude'. Did you mean 'altitude_m'?"),
        ('build = "driver"', "line 1: write [[build]] in double brackets, once for each build."),
        ('\n[build]\nlabel = "A"', "line 2: write [[build]] in double brackets, once for each build."),
        ("[[buidl]]\nlabel = 'A'", "line 1: unknown key 'buidl'. Did you mean 'build'?"),
        ("customer = 'A'\n[[build]]\nloft_deg = 9", "line 2: this [[build]] lacks label."),
        ("[[build]]\nlabel = ''", "line 1: this [[build]] lacks label."),
        ("[[shot]]\nfile = 'a.csv'", "line 1: this [[shot]] lacks line and counts and reason."),
        (
            "[[build]]\nlabel='A'\ncategory='putter'",
            'line 3: category = "putter" is not right: one of "driver", "wood"',
        ),
        ("[[build]]\nlabel='A'\nlength_in=45\nlength_m=1.1", "line 4: length_m = 1.1 is not right: give length_in or"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(text: str, message: str) -> None:
    assert message in refusal(text)


def test_the_line_named_is_that_of_the_table_at_fault_not_of_an_earlier_one() -> None:
    builds = "notes = 'a'\n[[build]]\nlabel = 'A'\nloft_deg = 9\n\n[[build]]\nlabel = 'B'\n"
    assert 'line 8: loft_deg = "10" is not right' in refusal(builds + 'loft_deg = "10"')
    assert "line 8: unknown key 'notes'" in refusal(builds + "notes = 'b'")
    assert "line 8: unknown key 'lenght_in'. Did you mean 'length_in'?" in refusal(builds + "lenght_in = 45")


@pytest.mark.parametrize(("counts", "expected"), [("true", True), ("false", False)])
def test_staffs_word_on_a_shot(counts: str, *, expected: bool) -> None:
    shot = f"[[shot]]\nfile = 'a.csv'\nline = 3\ncounts = {counts}\nreason = 'seen'"
    assert visit_facts.read(shot).overrules[0].counts is expected
    assert "true or false is wanted, without quotes" in refusal(shot.replace(counts, f'"{counts}"'))
    assert "a whole number without quotes is wanted" in refusal(shot.replace("3", "3.5"))
