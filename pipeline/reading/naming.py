"""One heading: which measurements its name may mean and which unit it states.

A trailing word counts as a unit only if what remains is a known name and the dimension fits; a name is never used up as
a unit.
"""

import re
from dataclasses import dataclass
from functools import cache, lru_cache

from pipeline.reading.mending import mended
from pipeline.schema import measurements
from pipeline.trade_words import measurements_called, spaced, unit_connectors, without_label_words
from pipeline.units import Unit, spelled

_LONGEST_NAME = 80
_MANY_DIGITS = re.compile(r"(?:\d\D*){4}")  # a date, an identifier, a whole row: no heading
_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_WRAPPED = re.compile(r"\[[^\[\]]*\]|\([^()]*\)|\{[^{}]*\}")
_NUMBER_LIKE = re.compile(r"[+\-\u2212\u2013]?\s?[\d.,]*\d[\d.,'’\u00a0\u202f\u2009 ]*\Z")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")
_GLUED = re.compile(r"(?<=[^\s/])(?=[°º˚%\"']\Z)")
_BREAKS = re.compile(r"\s*[,/:]\s*|\s+-\s+|[\s-]+")
_NO_UNIT = frozenset({"", "1", "-", "x", "none", "ratio"})  # brackets like these state no unit


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading cell understood: its text as reported, what it may mean, the unit it states."""

    text: str
    fields: tuple[str, ...] = ()
    unit: Unit | None = None
    repaired: bool = False


def is_number_like(text: str) -> bool:
    """Tell whether a cell looks like a bare number."""
    return bool(text) and (text[0].isdigit() or text[0] in "+-−–.,") and _NUMBER_LIKE.match(text) is not None


def unit_spelled(text: str, dimension: str | None = None) -> Unit | None:
    """Give the unit a text spells, also with `in` before it or a remark behind a comma."""
    for part in (text, *re.split(r"[,;]", text)):
        first, _, rest = part.strip().partition(" ")
        found = spelled(part, dimension) or (spelled(rest, dimension) if first.lower() in unit_connectors() else None)
        if found:
            return found
    return None


def heading(name: str, label: str = "") -> Heading:
    """Understand a heading, with the group label above it when there is one."""
    text = spaced(f"{label} {name}") if name else ""
    if not text or len(text) > _LONGEST_NAME or _MANY_DIGITS.search(text):
        return Heading(text)
    read = _understood(text)
    if label and len(read.fields) != 1:  # the label may only say which part of the shot this is
        short = without_label_words(label)
        others = (_understood(spaced(words)) for words in (f"{short} {name}", f"{name} {short}", name))
        read = next((other for other in others if len(other.fields) == 1), read)
    return Heading(text, read.fields, read.unit, read.repaired)


@lru_cache(maxsize=8192)
def _understood(text: str) -> Heading:
    repaired = mended(text)
    wrapped = _WRAPPED.fullmatch(repaired)  # [Club] instead of Club
    rest, remarks, unit = _without_brackets(wrapped.group()[1:-1] if wrapped else repaired)
    fields = _called(rest, remarks) or (_called(_without_connector(rest), remarks) if unit else ())
    if unit is None and not fields:
        fields, unit = _with_trailing_unit(rest) or (fields, None)
    return Heading(text, narrowed(fields, unit), unit, repaired != text)


def narrowed(fields: tuple[str, ...], unit: Unit | None) -> tuple[str, ...]:
    """Keep the meanings that fit a stated unit: a `Carry` in seconds is no carry, a `Time` in them no time of day."""
    if unit is None:
        return fields
    kinds = {name: measurements()[name].dimension if name in measurements() else "text" for name in fields}
    return tuple(name for name, kind in kinds.items() if kind == unit.dimension or (kind == "text" and name != "time"))


def _without_brackets(text: str) -> tuple[str, list[str], Unit | None]:
    """Take brackets out of a name: one may hold the unit, the others are remarks."""
    unit: Unit | None = None
    remarks: list[str] = []
    for match in _BRACKETS.finditer(text):
        inner = match.group(1).strip()
        found = None if inner.lower() in _NO_UNIT else unit_spelled(inner)
        if found and unit is None and found.dimension in _dimensions():
            unit = found
        else:
            remarks.append(inner)
    return _BRACKETS.sub(" ", text).strip(), remarks, unit


@cache
def _dimensions() -> frozenset[str]:
    """Give the dimensions a shot has; `(c)` behind a name is no temperature."""
    return frozenset(measurement.dimension for measurement in measurements().values())


def _called(name: str, remarks: list[str]) -> tuple[str, ...]:
    """Look a name up, first with its remarks: `Launch (horizontal)` is another thing than `Launch`."""
    for remark in remarks:
        for whole in (f"{name} {remark}", f"{remark} {name}"):
            fields = measurements_called(whole)
            if len(fields) == 1:
                return fields
    return measurements_called(name) or measurements_called(_CAMEL.sub(" ", name))


def _without_connector(name: str) -> str:
    words = name.replace("_", " ").split()
    return " ".join(words[:-1]) if len(words) > 1 and words[-1].lower() in unit_connectors() else name


def _with_trailing_unit(text: str) -> tuple[tuple[str, ...], Unit] | None:
    """Split `X, u`, `X / u`, `X_u`, `X u`, `X in u` and a sign glued on, the shortest name that works first."""
    for name, unit_text in _cuts(text):
        fields = measurements_called(_without_connector(name))
        for field in fields:
            unit = spelled(unit_text, measurements()[field].dimension) if field in measurements() else None
            if unit:
                return narrowed(fields, unit), unit
    return None


def _cuts(text: str) -> list[tuple[str, str]]:
    """Cut a heading into name and possible unit at each place where a unit of up to four parts may start."""
    spread = _GLUED.sub(" ", _CAMEL.sub(" ", text).replace("_", " "))
    places = [match.span() for match in _BREAKS.finditer(spread)]
    return [(spread[:start], spread[end:]) for start, end in places[-4:] if start]


def unit_stated(text: str, dimension: str) -> Unit | None:
    """Give the unit of that dimension a heading of any name states, for columns a profile names."""
    rest, _, unit = _without_brackets(mended(text))
    if unit is not None:
        return unit if unit.dimension == dimension else None
    return next((unit for _, after in _cuts(rest) if (unit := spelled(after, dimension))), None)
