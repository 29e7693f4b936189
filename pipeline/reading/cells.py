"""One cell of a measured column: number, unit, side words, or the reason why it is none of them."""

import re
from dataclasses import dataclass

from pipeline.reading.mending import mended
from pipeline.reading.numerals import LONGEST_CELL, Numeral, mark_proven, numeral, tidy, to_number
from pipeline.schema import Measurement
from pipeline.trade_words import (
    golfer_words,
    is_infinite_word,
    is_null_word,
    is_spreadsheet_error,
    months,
    plain,
    side_words,
)
from pipeline.units import Unit, spelled, unit

FEET_INCHES = "ft-in"
_QUOTED_LITERAL = re.compile(r'="([^"]*)"')
_FEET_INCHES = re.compile(
    r"(?P<before>(?:[^\W\d_][^\d]*?)?)\s*(?P<sign>[+-]?)\s*(?P<feet>\d{1,4})\s*(?P<mark>'|[^\W\d_]+\.?)\s*"
    r"(?P<inches>\d{1,2}(?:[.,]\d*)?)(?!\d)\s*(?P<after>\D*)"
)
_SYMBOL_THEN_LETTER = re.compile(r"([°º˚'\"%])(?=[^\W\d_])")
_NUMERIC_DATE = re.compile(
    r"(?:\d{1,2}([./-])\d{1,2}\1(?:\d{4}|\d{2})|\d{4}([./-])\d{1,2}\2\d{1,2})(?:[ T]\d{1,2}:\d{2}.*)?"
)
_DATE_PARTS = re.compile(r"[^\W\d_]+|\d+")


@dataclass(frozen=True, slots=True)
class CellReading:
    """What a cell says: a bare number, or a value in the stored unit with the unit it states; or why it says neither."""

    bare: float | None = None
    stored: float | None = None
    unit: str | None = None
    reason: str | None = None
    golfer: bool = False  # it uses a word that depends on the golfer's hand
    repaired: bool = False


@dataclass(frozen=True, slots=True)
class CellRules:
    """How the cells of one column are to be read."""

    measurement: Measurement
    decimal: str | None
    hand: str | None
    doubtful: str | None = None  # where both marks are used: the mark in cells that may be read both ways


def unwrapped(text: str) -> str:
    """Take the text out of ="…", the way spreadsheets protect digits."""
    match = _QUOTED_LITERAL.fullmatch(text) if text.startswith("=") else None
    return match.group(1).strip() if match else text


def read_cell(text: str, rules: CellRules) -> CellReading:
    """Read one stripped cell of a measured column."""
    text = unwrapped(text)
    fixed = mended(text)
    clean = tidy(fixed).strip()
    if not clean or is_null_word(text):
        return CellReading()
    reason = _known_reason(clean)
    if reason:
        return CellReading(reason=reason)
    read = _feet_and_inches(clean, rules) if rules.measurement.dimension == "length" else None
    read = read or _number(clean, rules) or CellReading(reason="date_in_number" if _is_date(clean) else "not_a_number")
    if fixed != text and read.reason is None:
        return CellReading(read.bare, read.stored, read.unit, read.reason, read.golfer, repaired=True)
    return read


def _known_reason(text: str) -> str | None:
    if is_spreadsheet_error(text):
        return "spreadsheet_error"
    if is_infinite_word(text):
        return "not_finite"
    return "not_a_number" if text.startswith("=") or len(text) > LONGEST_CELL else None


def _number(text: str, rules: CellRules) -> CellReading | None:
    found = numeral(text)
    value = _value(found.body, found.exponent, rules) if found else None
    if found is None or value is None:
        return None
    understood = _unit_and_side(found.after, rules.measurement)
    if understood is None:
        return None
    stated, side = understood
    if found.before:
        before = _side(found.before, rules.measurement)
        if before is None or side is not None:
            return None
        side = before
    return _directed(value, found.sign, side, rules, stated, stated.name if stated else None)


def _value(body: str, exponent: str, rules: CellRules) -> float | None:
    """Read the digits by the file's decimal mark; where both are used each cell by its only sensible reading."""
    if rules.decimal != "mixed":
        return to_number(body, exponent, rules.decimal)
    proven = mark_proven(body, exponent)
    return to_number(body, exponent, rules.doubtful if proven == "?" else proven)


def _feet_and_inches(text: str, rules: CellRules) -> CellReading | None:
    match = _FEET_INCHES.fullmatch(text)
    if match is None or _length(match["mark"]) != "ft":
        return None
    after = match["after"].strip()
    sign, rest = (after[:1], after[1:]) if after.startswith('"') else (after.partition(" ")[0], after.partition(" ")[2])
    if _length(sign) != "in":
        if match["mark"] != "'":
            return None
        rest = after
    inches = _value(match["inches"], "", rules)
    if inches is None or inches > 12:
        return None
    value = float(match["feet"]) + unit("length", "in").to_stored(inches) / unit("length", "ft").factor
    whole = Numeral(match["before"].strip(), match["sign"], "", "", rest.strip())
    side = _only_side(whole, rules.measurement)
    return _directed(value, whole.sign, side, rules, unit("length", "ft"), FEET_INCHES) if side is not False else None


def _length(text: str) -> str | None:
    found = spelled(text, "length") if text else None
    return found.name if found else None


def _only_side(whole: Numeral, measurement: Measurement) -> "tuple[bool, int] | None | bool":
    """Give the side word before or after, None without one, False when the words are not understood."""
    words = [word for word in (whole.before, whole.after) if word]
    if not words:
        return None
    side = _side(words[0], measurement)
    return side if len(words) == 1 and side is not None else False


def _side(word: str, measurement: Measurement) -> tuple[bool, int] | None:
    """Give whether a word depends on the golfer's hand and its sign, or None for another word."""
    folded = plain(word.replace(">", " ").replace("→", " "))
    if folded in side_words(measurement.positive):
        return False, side_words(measurement.positive)[folded]
    if folded in golfer_words(measurement.golfer):
        return True, golfer_words(measurement.golfer)[folded]
    return None


def _unit_and_side(after: str, measurement: Measurement) -> tuple[Unit | None, tuple[bool, int] | None] | None:
    """Understand what follows a number: a unit, a side word, or both in either order."""
    if not after:
        return None, None
    words = _SYMBOL_THEN_LETTER.sub(r"\1 ", after).split()
    if len(words) > 8:
        return None
    for cut in range(len(words), -1, -1):
        first, second = " ".join(words[:cut]), " ".join(words[cut:])
        for unit_text, side_text in ((first, second), (second, first)):
            stated = spelled(unit_text, measurement.dimension) if unit_text else None
            side = _side(side_text, measurement) if side_text else None
            if (stated or not unit_text) and (side or not side_text):
                return stated, side
    return None


def _directed(  # noqa: PLR0913, PLR0917 - the six things a cell can say
    value: float, sign: str, side: tuple[bool, int] | None, rules: CellRules, stated: Unit | None, name: str | None
) -> CellReading:
    """Give the value its sign; a sign beside a side word is never guessed, zero with a side is zero."""
    golfer = side is not None and side[0]
    if golfer and rules.hand is None:
        return CellReading(golfer=True)
    if side is not None and sign:
        return CellReading(reason="sign_and_side", golfer=golfer)
    direction = -1.0 if sign == "-" else 1.0
    if side is not None:
        direction = side[1] * (-1.0 if golfer and rules.hand == "left" else 1.0)
    signed = value * direction + 0.0  # adding zero turns -0.0 into 0.0
    if stated is None:
        return CellReading(bare=signed, golfer=golfer)
    return CellReading(stored=stated.to_stored(signed), unit=name, golfer=golfer)


def _is_date(text: str) -> bool:
    if _NUMERIC_DATE.fullmatch(text):
        return True
    parts = _DATE_PARTS.findall(text)
    words = [part for part in parts if not part.isdigit()]
    return len(words) == 1 and 2 <= len(parts) <= 3 and plain(words[0]) in months()
