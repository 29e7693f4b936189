"""The clubs of one visit on the desk: the [[build]] tables of visit.toml and the own club as fields, and back."""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline import clubs, units
from pipeline.desk_report import Club, club_key
from pipeline.resources import table
from pipeline.strict_toml import LONGEST_TEXT

_WORDS = {
    "name": "name in the report",
    "category": "kind", "loft_deg": "loft", "length_in": "length", "head": "head", "shaft": "shaft", "order": "order",
}  # fmt: skip
PARTS = tuple(_WORDS)
_ORDER = re.compile("[1-9][0-9]?")
OWN = "own_club"
OTHER = "other"  # the own club visit.toml names is none of this visit's
# own judgement: beyond these somebody typed another unit
_NUMBERS = {"loft_deg": (0.0, 80.0, "degrees, such as 9.5"), "length_in": (20.0, 60.0, "inches, such as 45.5")}


@dataclass(frozen=True, slots=True)
class ClubRow:
    """A club as the page asks about it: what its label tells by itself, empty where it does not."""

    key: str
    label: str
    says_kind: str
    says_loft: str
    says_own: bool


def kinds() -> tuple[str, ...]:
    """Name the kinds of clubs visit.toml knows."""
    return tuple(table("visit")["build"]["category"][0].split(" | "))


def rows(found: Sequence[Club]) -> tuple[ClubRow, ...]:
    """Say what each label tells."""
    told = []
    for club in found:
        kind = clubs.category_of(club.label)
        loft = clubs.parts_of(club.label, kind).loft_deg
        says_loft = "" if loft is None else f"{loft:g}"
        told.append(ClubRow(club.key, club.label, kind or "", says_loft, clubs.says_own(club.label)))
    return tuple(told)


def name(part: str, key: str) -> str:
    """Name the field of a part of a club."""
    return f"{part}-{key}"


# --- from visit.toml --------------------------------------------------------------------------------------------------
def shown(document: Mapping[str, Any], found: Sequence[Club]) -> dict[str, str]:
    """Write what staff said of the clubs as fields; the own club by its key, OTHER when it is none of them."""
    fields: dict[str, str] = {}
    for club in found:
        kept = next(_of(document, club.key), {})
        fields |= {name(part, club.key): _shown(kept, part) for part in PARTS}
    own = named_own(document)
    key = next((club.key for club in found if club.key == club_key(own)), OTHER if own else "")
    return {**fields, OWN: key}


def named_own(document: Mapping[str, Any]) -> str:
    """Give the label that visit.toml says is the customer's own club."""
    own = document.get(OWN)
    return own if isinstance(own, str) else ""


def _of(document: Mapping[str, Any], key: str) -> Iterator[dict[str, Any]]:
    """Give the tables about a club; the first one counts."""
    tables = document.get("build", [])
    for one in tables if isinstance(tables, list) else []:
        if isinstance(one, dict) and isinstance(one.get("label"), str) and club_key(one["label"]) == key:
            yield one


def _shown(kept: Mapping[str, Any], part: str) -> str:
    value = kept.get(part)
    if part == "length_in" and value is None and isinstance(kept.get("length_m"), int | float):
        value = units.unit("length", "in").from_stored(kept["length_m"])
    if isinstance(value, float):
        return f"{value:.6g}"
    return "" if value is None else _plain(str(value))


def _plain(text: str) -> str:
    """Take a text as a field of one line has it."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


# --- into visit.toml --------------------------------------------------------------------------------------------------
def put(document: dict[str, Any], given: Mapping[str, str], found: Sequence[Club]) -> dict[str, str]:
    """Put what has changed into a visit.toml; all else in it stays. Gives what is wrong, by field."""
    before = shown(document, found)
    faults: dict[str, str] = {}
    for club in found:
        changed = {part: _plain(given[name(part, club.key)]) for part in PARTS}
        changed = {part: text for part, text in changed.items() if text != before[name(part, club.key)]}
        read = {part: _read(part, text) for part, text in changed.items()}
        faults |= {
            name(part, club.key): f"{club.label[:40]}, {_WORDS[part]}: {value.what}"
            for part, value in read.items()
            if isinstance(value, _Fault)
        }
        values = {part: value for part, value in read.items() if not isinstance(value, _Fault)}
        if values:
            _change(document, club, values)
    faults |= _same_names(given, found)
    if given[OWN] != before[OWN]:
        own = next((club.label for club in found if club.key == given[OWN]), "")
        if given[OWN] and not own:
            faults[OWN] = "Choose one of the clubs of this visit."
        elif own:
            document[OWN] = own
        else:
            document.pop(OWN, None)
    return faults


def _same_names(given: Mapping[str, str], found: Sequence[Club]) -> dict[str, str]:
    """Find names that another club has, too, or is labelled with."""
    typed = [_plain(given[name("name", club.key)]) for club in found]
    called = [text or _plain(club.label) for text, club in zip(typed, found, strict=True)]
    told = clubs.told_apart([(club.key, text) for club, text in zip(found, called, strict=True)])
    return {
        name("name", club.key): f"{club.label[:40]}: another club is called that, too. Give it a name of its own."
        for club, text, one, apart in zip(found, typed, called, told, strict=True)
        if text and one != apart
    }


@dataclass(frozen=True, slots=True)
class _Fault:
    what: str


def _read(part: str, text: str) -> str | float | int | _Fault | None:
    """Read a field; None when it is empty."""
    if not text:
        return None
    if part == "order":
        return int(text) if _ORDER.fullmatch(text) else _Fault("write a whole number from 1 to 99, or leave it empty.")
    if part in _NUMBERS:
        return _number(text, *_NUMBERS[part])
    if part == "category" and text not in kinds():
        return _Fault("choose one in the list.")
    return text if len(text) <= LONGEST_TEXT else _Fault(f"at most {LONGEST_TEXT:,} characters can be kept here.")


def _number(text: str, low: float, high: float, what: str) -> float | _Fault:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        return _Fault(f"“{text[:20]}” is not right. Write {what}, from {low:g} to {high:g}, decimals with a dot.")
    return value


def _change(document: dict[str, Any], club: Club, values: Mapping[str, str | float | None]) -> None:
    """Change a club's first table, or give it one; a table that says nothing any more goes away."""
    tables = document.setdefault("build", [])
    kept = next(_of(document, club.key), None)
    if kept is None:
        kept = {"label": club.label}
        tables.append(kept)
    if "length_in" in values:
        kept.pop("length_m", None)
    for part, value in values.items():
        if value is None:
            kept.pop(part, None)
        else:
            kept[part] = value
    if kept.keys() == {"label"}:
        tables.remove(kept)
    if not tables:
        del document["build"]
