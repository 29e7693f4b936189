"""What a club label tells by itself: kind, number, loft, and whether it is the customer's own (schemas/clubs.toml)."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

from pipeline.records import Build
from pipeline.resources import table


@cache
def _alone(words: tuple[str, ...]) -> re.Pattern[str]:
    any_of = "|".join(re.escape(word) for word in sorted(words, key=len, reverse=True))
    return re.compile(rf"(?<!\w)(?:{any_of})(?!\w)", re.IGNORECASE)


_LOFT = re.compile(r"(?<![\w.,])(\d{1,2}(?:[.,]\d{1,2})?)\s*(?:°|º|deg(?:rees?)?\b)", re.IGNORECASE)
# a number after one of these words counts builds, it does not name the club
_NUMBER = re.compile(
    r"(?<!build )(?<!head )(?<!shaft )(?<!set )(?<!test )(?<![\w.,])(\d{1,2})(?=\s*-?\s*(?:[a-z]{1,2})?(?![\w.,]))",
    re.IGNORECASE,
)
_HIGHEST_NUMBER = 11  # an 11-wood; a larger number alone is a loft
_WEDGES_APART_DEG = 3.0
_REMEMBERED = 2_000  # labels: a bag is hit again and again
_LOFTS = (44, 66)  # whole degrees that stand alone in a wedge's label


@dataclass(frozen=True, slots=True)
class LabelParts:
    """A club label taken apart; None where it does not say."""

    category: str | None
    number: int | None
    loft_deg: float | None
    words: str | None


@lru_cache(_REMEMBERED)
def parts_of(label: str, category: str | None) -> LabelParts:
    """Take a label such as `7 iron`, `Driver 10.5° head B` or `wedge 56` apart: number or loft, other words.

    category: the kind of club, from the label or from staff; only irons, woods and hybrids have numbers.
    """
    text = " ".join(label.split())
    loft = _LOFT.search(text)
    rest = _cut(text, loft)
    number = _NUMBER.search(rest)
    value = int(number[1]) if number else None
    degrees = float(loft[1].replace(",", ".")) if loft else None
    if category == "wedge" and degrees is None and value is not None and _LOFTS[0] <= value <= _LOFTS[1]:
        rest, degrees, value = _cut(rest, number), float(value), None
    elif category in ("iron", "wood", "hybrid") and value is not None and 0 < value <= _HIGHEST_NUMBER:
        rest = _cut(rest, number)
    else:
        value = None
    words = " ".join(_alone(_kind_words()).sub(" ", rest).strip(" ,;-").split())
    return LabelParts(category, value, degrees, words or None)


def _cut(text: str, found: re.Match[str] | None) -> str:
    """Take a match out of a text, with the letters that cling to a number (7i)."""
    if found is None:
        return text
    return f"{text[: found.start()]} {re.sub(r'^-?(?:[A-Za-z]{1,2}(?![A-Za-z]))?', '', text[found.end() :])}"


@cache
def _kind_words() -> tuple[str, ...]:
    """Give every word that names a kind of club or its owner."""
    rows = table("clubs")
    return (*(word for row in rows["category"].values() for word in row["words"]), *rows["own"]["words"])


@lru_cache(_REMEMBERED)
def category_of(label: str) -> str | None:
    """Give driver, wood, hybrid, iron or wedge if a trade word in the label says so, else None.

    Words go before patterns: in "driver, lie 57°" the driver is meant.
    """
    text, rows = label.lower().strip(), table("clubs")["category"]
    for category, row in rows.items():
        if _alone(tuple(row["words"])).search(text):
            return str(category)
    for category, row in rows.items():
        if "pattern" in row and re.search(rf"(?<![\w.])(?:{row['pattern']})(?!\w)", text):
            return str(category)
    return None


def same_job(a: Build, b: Build) -> bool:
    """Tell whether two builds do the same job in a bag, so that one may replace the other.

    The same kind, and the same number where both have one: a 7 iron and an 8 iron do different jobs. Two wedges differ
    by their names (pitching, gap, sand, lob), else by lofts 3° or more apart (own judgement, no source); one with a
    name alone differs from one whose loft is not usual for that name. What is not said does not part them.
    """
    if a.category != b.category or _differ(a.number, b.number):
        return False
    if a.category != "wedge":
        return True
    names = wedge_name(a.label), wedge_name(b.label)
    if None not in names:
        return names[0] == names[1]
    if a.loft_deg is None or b.loft_deg is None:
        return _is_usual(names[0], b.loft_deg) and _is_usual(names[1], a.loft_deg)
    return abs(a.loft_deg - b.loft_deg) < _WEDGES_APART_DEG


def _is_usual(name: str | None, loft_deg: float | None) -> bool:
    """Tell whether a loft is usual for a wedge of that name; what is not said is."""
    if name is None or loft_deg is None:
        return True
    low, high = table("clubs")["wedge_name"][name]["lofts"]
    return bool(low <= loft_deg <= high)


def _differ(a: int | None, b: int | None) -> bool:
    return a is not None and b is not None and a != b


def wedge_name(label: str) -> str | None:
    """Give pw, gw, sw or lw if a wedge's label says so."""
    rows = table("clubs")["wedge_name"]
    return next((name for name, row in rows.items() if _alone(tuple(row["words"])).search(label)), None)


def says_own(label: str) -> bool:
    """Tell whether a word in the label says that the club is the customer's own."""
    return _alone(tuple(table("clubs")["own"]["words"])).search(label.lower()) is not None


def told_apart(named: Sequence[tuple[str, str]]) -> list[str]:
    """Give what people read of the clubs of a visit, each given by its label and what staff call it.

    Where another label is called the same, the label stands first: two clubs never have one name.
    """
    labels: dict[str, set[str]] = {}
    for label, called in named:
        labels.setdefault(called.casefold(), set()).add(label)
    return [
        f"{label} ({called})" if len(labels[called.casefold()]) > 1 and called != label else called
        for label, called in named
    ]
