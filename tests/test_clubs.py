"""Kind and owner of a club from its label. Labels are invented from trade words."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.clubs import category_of, parts_of, same_job, says_own, told_apart
from pipeline.records import Build
from pipeline.resources import table

CATEGORIES = ["wedge", "hybrid", "driver", "wood", "iron"]


@pytest.mark.parametrize("category", CATEGORIES)
def test_every_word_of_the_file_tells_its_kind(category: str) -> None:
    for word in table("clubs")["category"][category]["words"]:
        found = category_of(f"Red {word.upper()} 2")
        # a word may be part of one that stands earlier in the file, never of a later one
        assert found == category, word


@pytest.mark.parametrize(
    ("label", "category"),
    [
        ("Driver 10.5°", "driver"),
        ("Driver, lie 57°", "driver"),
        ("1-wood", "driver"),
        ("11-wood", "wood"),
        ("3 Wood", "wood"),
        ("3w", "wood"),
        ("6W", "wood"),
        ("7 w", "wood"),
        ("3-w", "wood"),
        ("2w", None),
        ("4h", "hybrid"),
        ("4 hy", "hybrid"),
        ("2H", "hybrid"),
        ("7h", "hybrid"),
        ("1h", None),
        ("8h", None),
        ("7i", "iron"),
        ("7 i", "iron"),
        ("7-i", "iron"),
        ("(7i)", "iron"),
        ("red,7i,stiff", "iron"),
        ("1i", "iron"),
        ("9i", "iron"),
        ("0i", None),
        ("17i", None),
        ("7in", None),
        ("7 iron", "iron"),
        ("Eisen 7", "iron"),
        ("45°", None),
        ("46°", "wedge"),
        ("49°", "wedge"),
        ("50°", "wedge"),
        ("56 °", "wedge"),
        ("56deg", "wedge"),
        ("56 deg", "wedge"),
        ("64°", "wedge"),
        ("65°", None),
        ("10.56°", None),
        ("156°", None),
        ("56", None),
        ("PW", "wedge"),
        ("cuña 56", "wedge"),
        ("utility iron", "hybrid"),
        ("fairway 3", "wood"),
        ("  DRIVER  ", "driver"),
        ("drivers", None),
        ("woody", None),
        ("swing", None),
        ("club 7", None),
        ("", None),
    ],
)
def test_category(label: str, category: str | None) -> None:
    assert category_of(label) == category


@pytest.mark.parametrize(
    ("label", "own"),
    [
        ("own", True),
        ("My OWN driver", True),
        ("own-driver", True),
        ("current 7 iron", True),
        ("(eigener) Driver", True),
        ("driver actuel", True),
        ("unknown", False),
        ("owner", False),
        ("own2", False),
        ("currently", False),
        ("driver", False),
        ("", False),
    ],
)
def test_own(label: str, own: bool) -> None:  # noqa: FBT001
    assert says_own(label) is own


def test_every_own_word_of_the_file_is_found() -> None:
    assert [word for word in table("clubs")["own"]["words"] if not says_own(f"7 iron {word}")] == []


@settings(deadline=None)
@given(label=st.text(max_size=40))
def test_any_label_is_answered_alike_in_any_case(label: str) -> None:
    assert category_of(label) in {None, *CATEGORIES}
    assert category_of(label) == category_of(label.lower())
    assert says_own(label) == says_own(label.lower())


@settings(deadline=None)
@given(label=st.text(alphabet="abcdefghijklmnopqrstuvwxyz ", max_size=20), word=st.sampled_from(["own", "current"]))
def test_an_own_word_stands_alone(label: str, word: str) -> None:
    """Against another way of cutting words: letters only, cut at spaces."""
    assert says_own(f"{label}{word}") == bool(
        set(re.split(" ", f"{label}{word}")) & set(table("clubs")["own"]["words"])
    )


@pytest.mark.parametrize(
    ("label", "number", "loft", "words"),
    [
        ("7 iron", 7, None, None),
        ("7i", 7, None, None),
        ("Eisen 7", 7, None, None),
        ("7-iron, build 2", 7, None, "build 2"),
        ("3W Head C", 3, None, "Head C"),
        ("11-wood", 11, None, None),
        ("4 hy", 4, None, None),
        ("hybrid 22°", None, 22.0, None),
        ("Driver 10.5° Head B", None, 10.5, "Head B"),
        ("Own driver 9,5 deg", None, 9.5, None),
        ("Driver 2", None, None, "2"),
        ("iron, build 2", None, None, "build 2"),
        ("Build 2, 7 iron", 7, None, "Build 2"),
        ("wedge 56", None, 56.0, None),
        ("SW 56°", None, 56.0, None),
        ("wedge 5", None, None, "5"),
        ("12 iron", None, None, "12"),
        ("Club 3", None, None, "Club 3"),
        ("", None, None, None),
    ],
)
def test_a_label_is_taken_apart(label: str, number: int | None, loft: float | None, words: str | None) -> None:
    found = parts_of(label, category_of(label))
    assert (found.number, found.loft_deg, found.words) == (number, loft, words)


def test_what_staff_say_of_the_kind_decides_whether_a_figure_is_a_number() -> None:
    assert parts_of("Red 7", "iron").number == 7
    assert parts_of("Red 7", None).number is None


@given(st.text(max_size=80), st.sampled_from([None, *CATEGORIES]))
def test_any_label_can_be_taken_apart(label: str, category: str | None) -> None:
    found = parts_of(label, category)
    assert found.number is None or 0 < found.number <= 11
    assert found.loft_deg is None or 0 <= found.loft_deg < 100


def build(label: str) -> Build:
    category = category_of(label)
    parts = parts_of(label, category)
    return Build(label, category, loft_deg=parts.loft_deg, number=parts.number)


@pytest.mark.parametrize(
    ("a", "b", "same"),
    [
        ("Own driver 9.5°", "Driver 12°, head B", True),
        ("7 iron", "7 iron, build 2", True),
        ("7 iron", "8 iron", False),
        ("7 iron", "iron, build 2", True),
        ("7 iron", "7 wood", False),
        ("3 wood", "5 wood", False),
        ("PW", "pitching wedge 46°", True),
        ("PW", "SW", False),
        ("gap wedge 50°", "AW 52°", True),
        ("wedge 52", "wedge 54", True),
        ("wedge 52", "wedge 56", False),
        ("sand wedge 54°", "lob wedge 54°", False),
        ("PW", "52 wedge", False),
        ("PW", "wedge 46", True),
        ("wedge 49°", "pw", True),
        ("GW", "52 wedge", True),
        ("SW", "wedge 60", False),
        ("pitching wedge 48°", "wedge 50", True),
        ("wedge, build 2", "wedge 56", True),
        ("Club 3", "Club 4", True),
        ("Club 3", "Driver 2", False),
    ],
)
def test_clubs_that_do_the_same_job(a: str, b: str, same: bool) -> None:  # noqa: FBT001
    assert same_job(build(a), build(b)) is same
    assert same_job(build(b), build(a)) is same


@pytest.mark.parametrize(
    ("named", "told"),
    [([("a", "a"), ("b", "b")], ["a", "b"]),
     ([("a", "New"), ("b", "b"), ("a", "New")], ["New", "b", "New"]),
     ([("a", "New"), ("b", "new")], ["a (New)", "b (new)"]),
     ([("a", "b"), ("b", "b")], ["a (b)", "b"]),
     ([("a", "b"), ("b", "a")], ["b", "a"]),
     ([("a", "A"), ("A", "A")], ["a (A)", "A"]),
     ([], [])],
)  # fmt: skip
def test_two_clubs_never_have_one_name(named: list[tuple[str, str]], told: list[str]) -> None:
    assert told_apart(named) == told
