"""Numbers as people and devices write them: signs, group marks, decimal marks, exponents."""

import re
from dataclasses import dataclass

LONGEST_CELL = 100  # a longer cell in a measured column is no number
_MINUS = re.compile("\u2212(?=[\\d.,])|\u2013(?=[\\d.,])")
_TYPOGRAPHIC = str.maketrans(
    {
        **dict.fromkeys("’‘′´", "'"),
        **dict.fromkeys("″“”„", '"'),
        **dict.fromkeys("\u200b\u200e\u200f\ufeff"),  # marks without width
    }
)
_SPACES = "'\u0020\u00a0\u202f\u2009"
_NUMERAL = re.compile(
    rf"""(?P<before>(?:[^\W\d_][^\d]*?)?)\s*
    (?P<sign>[+-]?)\s*
    (?P<body>\d{{1,3}}(?:(?P<space>[{_SPACES}])\d{{3}}(?:(?P=space)\d{{3}})*)(?!\d)(?:[.,]\d*)?|\d[\d.,]*|[.,]\d+)
    (?P<exponent>[eE][+-]?\d{{1,4}}(?!\d))?
    (?P<after>.*)""",
    re.VERBOSE | re.DOTALL,
)
FEET_AND_INCHES = re.compile(
    r"(?P<before>(?:[^\W\d_][^\d]*?)?)\s*(?P<sign>[+-]?)\s*(?P<feet>\d{1,4})\s*(?P<mark>'|[^\W\d_]+\.?)\s*"
    r"(?P<inches>\d{1,2}(?:[.,]\d*)?)(?!\d)\s*(?P<after>\D*)"
)
_GROUPED = {mark: re.compile(rf"[1-9]\d{{0,2}}(?:{re.escape(mark)}\d{{3}})+") for mark in ".,"}
_GROUP_SPACE = re.compile(f"[{_SPACES}]")
_DIGIT = re.compile("[0-9]")
_OTHER = {".": ",", ",": "."}


def has_figure(text: str) -> bool:
    """Tell whether a cell holds a digit."""
    return _DIGIT.search(text) is not None


@dataclass(frozen=True, slots=True)
class Numeral:
    """A cell taken apart around its number."""

    before: str
    sign: str
    body: str
    exponent: str
    after: str


def tidy(text: str) -> str:
    """Unify minus signs and typographic quotation marks; signs without width go."""
    if text.isascii():
        return text.replace("''", '"')
    return _MINUS.sub("-", text.translate(_TYPOGRAPHIC)).replace("''", '"').strip()


def numeral(text: str) -> Numeral | None:
    """Take a tidied cell apart, or None when there is no number in it."""
    if len(text) > LONGEST_CELL:
        return None
    match = _NUMERAL.fullmatch(text)
    if match is None:
        return None
    before, sign, body, exponent, after = match.group("before", "sign", "body", "exponent", "after")
    return Numeral(before.strip(), sign, body, exponent or "", after.strip())


def mark_proven(body: str, exponent: str = "") -> str | None:
    """Give the decimal mark a number proves, `?` when its one mark may be either, None when it says nothing.

    Proof is: both marks; one mark not followed by exactly three digits; a leading 0; more than three digits before it.
    """
    digits = _without_spaces(body)
    dots, commas = digits.count("."), digits.count(",")
    if dots and commas:
        mark = digits[max(digits.rfind("."), digits.rfind(","))]
        return mark if _GROUPED[_OTHER[mark]].fullmatch(digits.partition(mark)[0]) and digits.count(mark) == 1 else None
    if dots + commas != 1:
        return None
    mark = "." if dots else ","
    whole, fraction = digits.split(mark)
    settled = len(fraction) != 3 or whole == "" or whole.startswith("0") or len(whole) > 3
    return mark if settled or exponent or digits != body else "?"


def _without_spaces(body: str) -> str:
    return body if body.isascii() and "'" not in body and " " not in body else _GROUP_SPACE.sub("", body)


def to_number(body: str, exponent: str, decimal: str | None) -> float | None:
    """Read the digits of a number under a decimal mark; None where no decimals were seen."""
    digits = _without_spaces(body)
    mark = decimal or "."
    whole, _, fraction = digits.partition(mark)
    group = _OTHER[mark]
    if group in whole and digits == body:
        if not _GROUPED[group].fullmatch(whole):
            return None
        whole = whole.replace(group, "")
    if not (whole or fraction) or not (whole or "0").isdigit() or not (fraction or "0").isdigit():
        return None
    return float(f"{whole or '0'}.{fraction or '0'}{exponent}")
