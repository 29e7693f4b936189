"""Kind and owner of a club from its label. Labels are invented from trade words."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.clubs import category_of, says_own
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
