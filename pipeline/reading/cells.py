"""One cell of a measured column: number, unit, side words, or the reason why it is none of them."""

import re
from dataclasses import dataclass, replace
from typing import NamedTuple

from pipeline.reading.mending import mended
from pipeline.reading.numerals import FEET_AND_INCHES, LONGEST_CELL, mark_proven, numeral, tidy, to_number
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
_SYMBOL_THEN_LETTER = re.compile(r"([°º˚'\"%])(?=[^\W\d_])")
_NUMERIC_DATE = re.compile(
    r"(?:\d{1,2}([./-])\d{1,2}\1(?:\d{4}|\d{2})|\d{4}([./-])\d{1,2}\2\d{1,2})(?:[ T]\d{1,2}:\d{2}.*)?"
)
_SHORT_DATE = re.compile(r"\d{1,2}/\d{1,2}|\d{1,2}\.\d{1,2}\.")
_DATE_PARTS = re.compile(r"[^\W\d_]+|\d+")


class Side(NamedTuple):
    """What a side word says: the sign, and whether it is a right-handed golfer's."""

    sign: int
    golfer: bool = False


@dataclass(frozen=True, slots=True)
class CellReading:
    """What a cell says: a bare number, or a value in the stored unit and the unit it states; or why it says neither."""

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
    typed: bool = False  # numbers arrived as numbers: a point in them is the decimal mark
    turned: bool = False  # + in the file means the other side; side words are not touched by it


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
    return replace(read, repaired=True) if fixed != text and read.reason is None else read


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
        before = side_of(found.before, rules.measurement)
        if before is None or side is not None:
            return None
        side = before
    read = _directed(value, found.sign, side, rules)
    return read if stated is None else _in_unit(read, stated, stated.name)


def _value(body: str, exponent: str, rules: CellRules) -> float | None:
    """Read the digits by the file's decimal mark; where both are used each cell by its only sensible reading."""
    if rules.decimal != "mixed":
        return to_number(body, exponent, rules.decimal)
    mark = mark_proven(body, exponent)
    if mark == "?":
        mark = "." if rules.typed and "." in body else rules.doubtful
    return to_number(body, exponent, mark)


def _feet_and_inches(text: str, rules: CellRules) -> CellReading | None:
    """Read 5' 6" and its relatives; a sign or side word holds for the whole."""
    match = FEET_AND_INCHES.fullmatch(text)
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
    sides = [side_of(word, rules.measurement) for word in (match["before"].strip(), rest.strip()) if word]
    if len(sides) > 1 or None in sides:
        return None
    feet = float(match["feet"]) + unit("length", "in").to_stored(inches) / unit("length", "ft").factor
    read = _directed(feet, match["sign"], sides[0] if sides else None, rules)
    return _in_unit(read, unit("length", "ft"), FEET_INCHES)


def _length(text: str) -> str | None:
    found = spelled(text, "length") if text else None
    return found.name if found else None


def side_of(word: str, measurement: Measurement) -> Side | None:
    """Give what a side word says, or None for another word."""
    folded = plain(word.replace(">", " ").replace("→", " "))
    if folded in side_words(measurement.positive):
        return Side(side_words(measurement.positive)[folded])
    if folded in golfer_words(measurement.golfer):
        return Side(golfer_words(measurement.golfer)[folded], golfer=True)
    return None


def _unit_and_side(after: str, measurement: Measurement) -> tuple[Unit | None, Side | None] | None:
    """Understand what follows a number: a unit, a side word, or both in either order."""
    if not after:
        return None, None
    words = _SYMBOL_THEN_LETTER.sub(r"\1 ", after).split()
    if len(words) == 1 and words[0][-1] in "LRlr" and spelled(words[0][:-1], measurement.dimension):
        words = [words[0][:-1], words[0][-1]]  # 14ftL
    if len(words) > 8:
        return None
    for cut in range(len(words), -1, -1):
        first, second = " ".join(words[:cut]), " ".join(words[cut:])
        for unit_text, side_text in ((first, second), (second, first)):
            stated = spelled(unit_text, measurement.dimension) if unit_text else None
            side = side_of(side_text, measurement) if side_text else None
            if (stated or not unit_text) and (side or not side_text):
                return stated, side
    return None


def _directed(value: float, sign: str, side: Side | None, rules: CellRules) -> CellReading:
    """Give the value its sign; a sign beside a side word is never guessed, zero with a side is zero."""
    if side is None:
        return CellReading(bare=(-value if (sign == "-") != rules.turned else value) + 0.0)  # + 0.0: no -0.0
    if side.golfer and rules.hand is None:
        return CellReading(golfer=True)
    if sign:
        return CellReading(reason="sign_and_side", golfer=side.golfer)
    turned = side.golfer and rules.hand == "left"
    return CellReading(bare=value * (-side.sign if turned else side.sign) + 0.0, golfer=side.golfer)


def _in_unit(read: CellReading, stated: Unit, name: str) -> CellReading:
    """Convert a value that states its unit."""
    if read.bare is None:
        return read
    return replace(read, bare=None, stored=stated.to_stored(read.bare), unit=name)


def _is_date(text: str) -> bool:
    if _NUMERIC_DATE.fullmatch(text) or _SHORT_DATE.fullmatch(text):
        return True
    parts = _DATE_PARTS.findall(text)
    words = [part for part in parts if not part.isdigit()]
    return len(words) == 1 and 2 <= len(parts) <= 3 and plain(words[0]) in months()
