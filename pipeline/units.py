"""Units of schemas/units.toml: the only module that multiplies by a factor."""

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

from pipeline.errors import SettingsError
from pipeline.resources import table

if TYPE_CHECKING:
    import polars as pl


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of one dimension; stored = (value + offset) * factor."""

    dimension: str
    name: str
    factor: float
    offset: float
    spellings: tuple[str, ...]

    def to_stored(self, value: float) -> float:
        """Convert a value in this unit to the stored unit of its dimension."""
        return (value + self.offset) * self.factor

    def column_to_stored(self, values: "pl.Expr") -> "pl.Expr":
        """Convert a column in this unit to the stored unit of its dimension."""
        return (values + self.offset) * self.factor if self.offset else values * self.factor

    def from_stored(self, value: float) -> float:
        """Convert a value in the stored unit to this unit."""
        return value / self.factor - self.offset


def _exact(text: str) -> float:
    numerator, _, denominator = text.partition("/")
    return float(Fraction(numerator) / Fraction(denominator or "1"))


@cache
def units() -> dict[str, dict[str, Unit]]:
    """Give every unit as dimension → name → Unit."""
    return {
        dimension: {
            name: Unit(dimension, name, _exact(row["factor"]), _exact(row.get("offset", "0")), tuple(row["spellings"]))
            for name, row in rows.items()
        }
        for dimension, rows in table("units").items()
    }


@cache
def _by_spelling() -> dict[str, dict[str, Unit]]:
    """Map dimension → spelling → Unit."""
    return {d: {s: u for u in rows.values() for s in u.spellings} for d, rows in units().items()}


def unit(dimension: str, name: str) -> Unit:
    """Give the unit of that exact name."""
    return units()[dimension][name]


def spelled(text: str, dimension: str | None = None) -> Unit | None:
    """Give the unit a text spells (any case, white space folded, outer brackets ignored), or None.

    Without a dimension the first one that knows the spelling wins, in the order of units.toml.
    """
    folded = re.sub(r"\s+", " ", text).strip().strip("()[]{}").strip().lower()
    for known in (dimension,) if dimension else tuple(_by_spelling()):
        names = _by_spelling().get(known, {})
        found = names.get(folded) or names.get(folded.replace(" ", ""))
        if found:
            return found
    return None


_QUANTITY = re.compile(r"\s*([+-]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*")


def quantity(text: str, dimension: str) -> float:
    """Read a number with its unit, such as `160mph` or `11 deg`, into the stored unit.

    Raises SettingsError when the number or the unit is not understood; a bare number needs a dimension of one
    natural unit (angle: degrees, spin: rpm, time: s, ratio: 1).
    """
    match = _QUANTITY.fullmatch(text)
    known = ", ".join(units()[dimension])
    if "," in text or match is None or math.isinf(float(match[1])):
        msg = f"'{text}' is no number with a unit. Write a number, decimals with a dot, and one of: {known}."
        raise SettingsError(msg)
    number, name = match.groups()
    bare = {"angle": "deg", "spin": "rpm", "time": "s", "ratio": "one"}.get(dimension)
    found = spelled(name, dimension) if name else (unit(dimension, bare) if bare else None)
    if found is None:
        msg = f"'{text}' needs a unit: write the number with one of: {known}."
        raise SettingsError(msg)
    return found.to_stored(float(number))
