"""Who was fitted, when and where, and the words for the customer: visit.toml as fields of a form, and back."""

import datetime as dt
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomli_w

from pipeline import strict_toml, visit_facts
from pipeline.addresses import address
from pipeline.errors import SettingsError
from pipeline.ledger import Entry
from pipeline.studio import Studio

_TEXTS = {
    "customer": "Customer",
    "email": "E-mail address",
    "notes": "Your words",
    "recommendation": "What you recommend",
    "bay": "Bay",
    "consent": "Agreed with the customer",
}
_LINES = ("notes", "recommendation")
# own judgement: from the lowest to the highest course with some room, and what anybody plays in
_NUMBERS = {
    "altitude_m": (-500.0, 6_000.0, "Height of the home course", "metres"),
    "temperature_c": (-40.0, 60.0, "Usual temperature there", "degrees Celsius"),
}
FIELDS = (*_TEXTS, "date", "hand", *_NUMBERS)
_MARK = re.compile(r"[0-9a-f]{64}")
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


def former(place: Studio, mark: str) -> bytes | None:
    """Read the facts a form was made from; None when no copy of them is kept any more."""
    if not mark:
        return b""
    if not _MARK.fullmatch(mark):
        return None
    path = place.accepted / f"{mark}{Path(visit_facts.FILE_NAME).suffix}"
    return path.read_bytes() if path.is_file() and path.stat().st_size <= visit_facts.LARGEST else None


def document(content: bytes) -> dict[str, Any]:
    """Read a visit.toml as it stands; raises SettingsError when it is damaged."""
    text = strict_toml.decode(content, visit_facts.FILE_NAME)
    visit_facts.read(text)
    return tomllib.loads(text)


def shown(content: bytes) -> dict[str, str]:
    """Write the facts as the fields of the form."""
    try:
        found = tomllib.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError):  # such a visit has no report, so nobody comes here but by a damaged file
        return dict.fromkeys(FIELDS, "")
    home = found.get("home_course", {})
    flat = {**found, **(home if isinstance(home, dict) else {})}
    return {key: _text(flat.get(key)) for key in FIELDS}


def _text(value: object) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    return "" if value is None else str(value)


def written(before: bytes, given: Mapping[str, str]) -> bytes:
    """Put the fields into a visit.toml; all else in it stays. Raises SettingsError that says what is wrong."""
    found = document(before)
    faults = put(found, given)
    if faults:
        raise SettingsError(" ".join(faults.values()))
    return dumped(found)


def dumped(found: Mapping[str, Any]) -> bytes:
    """Write a visit.toml; raises SettingsError for one that could not be read again."""
    content = (HEAD + tomli_w.dumps(found, multiline_strings=True)).encode()
    if len(content) > visit_facts.LARGEST:
        msg = "That is more than can be kept about one visit."
        raise SettingsError(msg)
    visit_facts.read(strict_toml.decode(content, visit_facts.FILE_NAME))
    return content


def put(found: dict[str, Any], given: Mapping[str, str]) -> dict[str, str]:
    """Put the fields into a visit.toml that was read. Gives what is wrong, by field."""
    values: dict[str, Any] = {key: _plain(given.get(key, ""), lines=key in _LINES) for key in _TEXTS}
    most = f"at most {strict_toml.LONGEST_TEXT:,} characters can be kept"
    faults = {key: f"{_TEXTS[key]}: {most}." for key, text in values.items() if len(text) > strict_toml.LONGEST_TEXT}
    if values["email"] and address(values["email"]) is None:
        faults["email"] = f"“{values['email'][:60]}” is no e-mail address such as customer@example.org."
    values |= {"hand": given.get("hand", ""), "date": _day(given.get("date", ""))}
    if values["hand"] not in ("", "right", "left"):
        faults["hand"] = "The hand is right or left."
    if values["date"] is False:
        faults["date"] = f"Day of the visit: “{given['date'][:20]}” is no day such as 2026-11-25."
    _set(found, values)
    home = dict(found.pop("home_course", {}))
    for key, (low, high, name, unit) in _NUMBERS.items():
        number = _number(given.get(key, ""))
        if number is not None and not low <= number <= high:
            what = f"Write {unit} from {low:,.0f} to {high:,.0f}, decimals with a dot."
            faults[key] = f"{name}: “{given[key][:20]}” is not right. {what}"
        _set(home, {key: number})
    if home:
        found["home_course"] = home
    return faults


def _set(found: dict[str, Any], values: Mapping[str, Any]) -> None:
    """Set what is said, and take away what is not."""
    for key, value in values.items():
        if value in (None, ""):
            found.pop(key, None)
        else:
            found[key] = value


def _plain(text: str, *, lines: bool) -> str:
    """Take a text as typed: no control characters, and lines only where they have a meaning."""
    cleaned = "".join(c if c.isprintable() or (lines and c == "\n") else " " for c in text.replace("\r\n", "\n"))
    return cleaned.strip()


def _day(text: str) -> dt.date | bool | None:
    """Read a day; False when it is none."""
    if not text.strip():
        return None
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError:
        return False


def _number(text: str) -> float | None:
    """Read a number; not a number when it is none."""
    if not text.strip():
        return None
    try:
        return float(text.strip().replace("−", "-"))
    except ValueError:
        return math.nan
