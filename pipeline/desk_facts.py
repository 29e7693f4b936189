"""One visit on the desk: what its visit.toml says as a form, and that form back into a visit.toml."""

import datetime as dt
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomli_w

from pipeline import strict_toml, visit_facts
from pipeline.addresses import address
from pipeline.errors import SettingsError
from pipeline.ledger import Entry
from pipeline.studio import Studio

_TEXTS = ("customer", "email", "own_club", "notes", "bay")
_NUMBERS = {"altitude_m": "height of the home course", "temperature_c": "temperature there"}
FIELDS = (*_TEXTS, "date", "hand", *_NUMBERS)
_LONGEST = 4_000
HEAD = "# What staff said about this visit on the desk; may be edited, and `baywright report --facts` takes it.\n"


@dataclass(frozen=True, slots=True)
class KeptFacts:
    """The facts of a visit as they are kept; mark tells one state of them from another."""

    content: bytes
    mark: str


def kept(place: Studio, entry: Entry) -> KeptFacts:
    """Read the visit.toml kept for a visit; empty when it has none."""
    stored = next((path for name, path in entry.originals if name.lower() == visit_facts.FILE_NAME), "")
    return KeptFacts((place.accepted / stored).read_bytes() if stored else b"", stored.partition(".")[0])


def shown(content: bytes) -> dict[str, str]:
    """Write the facts as the fields of the form."""
    try:
        document = tomllib.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError):  # such a visit has no report, so nobody comes here but by a damaged file
        return dict.fromkeys(FIELDS, "")
    home = document.get("home_course", {})
    flat = {**document, **(home if isinstance(home, dict) else {})}
    return {key: _text(flat.get(key)) for key in FIELDS}


def _text(value: object) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return "" if value is None else str(value)


def written(before: bytes, given: Mapping[str, str]) -> bytes:
    """Put the form's fields into a visit.toml; all else in it stays. Raises SettingsError that says what is wrong."""
    document: dict[str, Any] = tomllib.loads(before.decode("utf-8-sig"))
    _set(document, {key: _plain(given.get(key, ""), lines=key == "notes") for key in _TEXTS})
    if document.get("email") and address(document["email"]) is None:
        msg = f"“{document['email']}” is no e-mail address."
        raise SettingsError(msg)
    _set(document, {"hand": _hand(given.get("hand", "")), "date": _day(given.get("date", ""))})
    home = dict(document.pop("home_course", {}))
    _set(home, {key: _number(given.get(key, ""), what) for key, what in _NUMBERS.items()})
    if home:
        document["home_course"] = home
    content = (HEAD + tomli_w.dumps(document, multiline_strings=True)).encode()
    if len(content) > visit_facts.LARGEST:
        msg = "That is more than can be kept about one visit."
        raise SettingsError(msg)
    visit_facts.read(strict_toml.decode(content, visit_facts.FILE_NAME))
    return content


def _set(document: dict[str, Any], values: Mapping[str, Any]) -> None:
    """Set what is said, and take away what is not."""
    for key, value in values.items():
        if value in (None, ""):
            document.pop(key, None)
        else:
            document[key] = value


def _plain(text: str, *, lines: bool) -> str:
    """Take a text as typed: no control characters, and lines only where they have a meaning."""
    cleaned = "".join(c if c.isprintable() or (lines and c == "\n") else " " for c in text.replace("\r\n", "\n"))
    return cleaned.strip()[:_LONGEST]


def _hand(text: str) -> str:
    if text not in ("", "right", "left"):
        msg = "The hand is right or left."
        raise SettingsError(msg)
    return text


def _day(text: str) -> dt.date | None:
    if not text.strip():
        return None
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError as fault:
        msg = f"“{text[:20]}” is no day such as 2026-11-25."
        raise SettingsError(msg) from fault


def _number(text: str, what: str) -> float | None:
    if not text.strip():
        return None
    try:
        return float(text.strip().replace("−", "-"))
    except ValueError as fault:
        msg = f"“{text[:20]}” is no number ({what}). Write decimals with a dot."
        raise SettingsError(msg) from fault
