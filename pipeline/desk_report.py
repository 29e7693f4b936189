"""What the newest report of a visit says club by club and shot by shot, read from its fitting.json with suspicion."""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pipeline.analysis.ball_flight import FlightModel, model_of
from pipeline.analysis.fates import COUNTING
from pipeline.exports import SCHEMA_VERSION
from pipeline.records import AirUsed, Fate
from pipeline.schema import measurements

LARGEST = 20_000_000  # bytes; 2,000 shots make three million
_MOST_SHOTS = 10_000
_LONGEST_TEXT = 2_000
_FARTHEST = 1e9  # no quantity of a shot comes near it
_FATES = (*COUNTING, "mishit", "bad_read")
_BY = ("rule", "statistics", "staff")


@dataclass(frozen=True, slots=True)
class Club:
    """A club of the visit; key stands for its label in the names of fields, case and outer blanks aside."""

    key: str
    label: str


@dataclass(frozen=True, slots=True)
class Shot:
    """One shot of the report; key stands for its place in the files."""

    key: str
    number: int
    file: str
    line: int
    club: Club
    phase: str
    fate: Fate
    measured: dict[str, float]
    used: dict[str, float]


@dataclass(frozen=True, slots=True)
class Report:
    """What a report says; own_from says why it took a club for the customer's own; unreadable counts lines of files."""

    clubs: tuple[Club, ...]
    shots: tuple[Shot, ...]
    files: tuple[str, ...]
    model: FlightModel
    own_from: str
    unreadable: int


def key_of(text: str) -> str:
    """Give a short name for a text that may hold anything."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]


def club_key(label: str) -> str:
    """Give the key of a club: labels that visit.toml takes for the same one share it."""
    return key_of(label.strip().lower())


def shot_key(file: str, line: int) -> str:
    """Give the key of a shot."""
    return f"{key_of(file)}-{line}"


def read(content: bytes) -> Report | None:
    """Read a fitting.json; None when it is damaged, was edited to nonsense, or is of another schema."""
    try:
        document = json.loads(content)
        if document["schema"] != SCHEMA_VERSION:
            return None
        sets = {_text(one["letter"]): one for one in document["sets"]}
        clubs = {letter: Club(club_key(_text(one["label"])), _text(one["label"])) for letter, one in sets.items()}
        phases = {letter: _text(one["phase"]) for letter, one in sets.items()}
        shots = tuple(_shot(one, clubs, phases) for one in document["shots"][:_MOST_SHOTS])
        if len({shot.key for shot in shots}) != len(shots) or not shots:
            return None
        files = tuple(dict.fromkeys(shot.file for shot in shots))
        own_from = _text(document["visit"]["own_club_from"])
        model = model_of(_air(document["air"]))
        return Report(_unlike(clubs.values()), shots, files, model, own_from, len(document["unreadable_rows"]))
    except (ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError):
        return None


def _unlike(clubs: Iterable[Club]) -> tuple[Club, ...]:
    """Give each club once, in the order of the report, with its first label."""
    found: dict[str, Club] = {}
    for club in clubs:
        found.setdefault(club.key, club)
    return tuple(found.values())


def _shot(given: dict[str, Any], clubs: dict[str, Club], phases: dict[str, str]) -> Shot:
    file, line, letter = _text(given["file"]), _whole(given["line"]), _text(given["set"])
    fate, by = given["fate"], given["decided_by"]
    if fate not in _FATES or by not in _BY:
        msg = "no fate of a shot"
        raise ValueError(msg)
    decided = Fate(fate, _text(given["code"] or ""), _numbers(given["figures"]), _text(given["reason"] or ""), by)
    known = measurements()
    measured, used = (
        {name: value for name, value in _numbers(given[part]).items() if name in known} for part in ("measured", "used")
    )
    key = shot_key(file, line)
    return Shot(key, _whole(given["number"]), file, line, clubs[letter], phases[letter], decided, measured, used)


def _text(value: Any) -> str:  # noqa: ANN401 - whatever stands there
    if not isinstance(value, str) or len(value) > _LONGEST_TEXT:
        msg = "no text"
        raise ValueError(msg)
    return value


def _whole(value: Any) -> int:  # noqa: ANN401 - as above
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 1_000_000_000:
        msg = "no whole number"
        raise ValueError(msg)
    return value


def _number(value: Any) -> float:  # noqa: ANN401 - as above
    if not isinstance(value, int | float) or isinstance(value, bool) or not abs(value) < _FARTHEST:
        msg = "no number"
        raise ValueError(msg)
    return float(value)


def _numbers(value: dict[str, Any]) -> dict[str, float]:
    """Read numbers by name; null is for what nobody knows."""
    return {_text(name): _number(number) for name, number in value.items() if number is not None}


def _air(value: dict[str, Any]) -> AirUsed:
    firmness = _text(value["firmness"])
    rest = {name: None if number is None else _number(number) for name, number in value.items() if name != "firmness"}
    return AirUsed(firmness=firmness, **rest)  # type: ignore[arg-type] # a null where none may be is found by its use
