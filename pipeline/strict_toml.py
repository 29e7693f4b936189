"""TOML written by people: a wrong key or value is named with its line and the nearest right one."""

import datetime as dt
import difflib
import re
import tomllib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from pipeline import addresses
from pipeline.errors import SettingsError

LONGEST_TEXT = 2_000
_LONGEST_SHOWN = 60
_MOST_DAYS = 100
_WANTED = {
    "text": f"a text in quotes, of at most {LONGEST_TEXT} characters, is wanted",
    "address": "one plain e-mail address in quotes is wanted, such as desk@studio.example",
    "colour": 'a colour in quotes is wanted, such as "#1E2730"',
    "number": "a number without quotes is wanted, decimals with a dot",
    "whole number": "a whole number without quotes is wanted",
    "yes or no": "true or false is wanted, without quotes",
    "date": "a date without quotes is wanted, such as 2026-11-25",
    "days": 'names with a date each are wanted, such as { "2" = 2026-11-25 }',
}
_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}")
# where a key may stand: at the start of a line, in a table's brackets or an inline table
_LONG_KEY = re.compile(r"""(?:^|[\[{,])[ \t]*+(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')\s*+\.\s*+){50}""", re.MULTILINE)
_TABLE = re.compile(r"\s*\[+\s*([\w.-]+)\s*\]")


@dataclass(frozen=True, slots=True)
class Place:
    """A table of a TOML text, for messages: `where` names the file, number counts the [[tables]] of one name."""

    where: str
    text: str
    table: str = ""
    number: int = 1

    def line(self, key: str = "") -> str:
        """Give `where, line N` of the key in this table, else of where the table is opened, else `where` alone."""
        current, seen, opened = "", Counter[str](), 0
        name = self.table or key
        for number, line in enumerate(self.text.splitlines(), 1):
            head = _TABLE.match(line)
            if head:
                current = head[1]
                seen[current] += 1
                opens = current == name and seen[name] == self.number
            else:
                here = current == self.table and seen[current] in (0, self.number)
                if key and here and _sets(line, key):
                    return f"{self.where}, line {number}"
                opens = not current and _sets(line, name)
            opened = number if opens and not opened else opened
        return f"{self.where}, line {opened}" if opened else self.where


def _sets(line: str, key: str) -> bool:
    """Tell whether a line of TOML gives that key a value."""
    return re.match(rf"\s*[\"']?{re.escape(key)}[\"']?\s*[=.]", line) is not None


def decode(content: bytes, where: str) -> str:
    """Decode a text people saved, with or without a byte order mark; raises SettingsError unless it is UTF-8."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = content[: fault.start].count(b"\n") + 1
        msg = f"{where}, line {line}: a character there is not UTF-8. Save the file as UTF-8 text."
        raise SettingsError(msg) from fault


def parse(text: str, where: str) -> dict[str, Any]:
    """Parse TOML; raises SettingsError with the place of a fault."""
    if _LONG_KEY.search(text):  # the library takes the square of its length
        msg = f"{where}: not readable as TOML: a key has far too many dots."
        raise SettingsError(msg)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as fault:  # more digits than Python reads, or tables too deep in each other
        msg = f'{where}: not readable as TOML: {fault}. Text stands in quotes, as in name = "…".'
        raise SettingsError(msg) from fault


def check_keys(given: Iterable[str], known: Iterable[str], place: Place) -> None:
    """Refuse the first unknown key, naming the nearest known one."""
    names = list(known)
    for key in given:
        if key not in names:
            near = difflib.get_close_matches(key.lower(), names, 1, 0.5)
            hint = f"Did you mean '{near[0]}'?" if near else f"Known here: {', '.join(names)}."
            msg = f"{place.line(key)}: unknown key '{key[:_LONGEST_SHOWN]}'. {hint}"
            raise SettingsError(msg)


def _as_number(value: Any) -> Any:  # noqa: ANN401 - any TOML value comes in
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if not isinstance(value, int) or abs(value) < 1e15 else None  # a larger one may fit no float


def _as_text(value: Any, kind: str) -> Any:  # noqa: ANN401 - any TOML value comes in
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        return None
    if kind == "colour":
        return value if _COLOUR.fullmatch(value) else None
    return addresses.address(value) if value and kind == "address" else value


def typed(value: Any, kind: str) -> Any:  # noqa: ANN401 - any TOML value goes through
    """Give the value if it is of that kind (see schemas/visit.toml), else None."""
    if kind in ("text", "address", "colour"):
        return _as_text(value, kind)
    if kind == "number":
        number = _as_number(value)
        return number if number is not None and abs(number) < 1e9 else None
    if kind == "whole number":
        return value if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 1e9 else None
    if kind == "yes or no":
        return value if isinstance(value, bool) else None
    if kind in ("date", "days"):
        return _as_day(value) if kind == "date" else _as_days(value)
    return value if value in kind.split(" | ") else None


def _as_day(value: Any) -> dt.date | None:  # noqa: ANN401 - as above
    """Give a day; a time of day beside it is left out."""
    day = value.date() if isinstance(value, dt.datetime) else value
    return day if isinstance(day, dt.date) else None


def _as_days(value: Any) -> dict[str, str] | None:  # noqa: ANN401 - as above
    """Read a table of names with a day each; gives the days as text."""
    if not isinstance(value, dict) or len(value) > _MOST_DAYS:
        return None
    days = {name: _as_day(day) for name, day in value.items()}
    known = {name: day.isoformat() for name, day in days.items() if day}
    return known if len(known) == len(days) else None


def wanted(kind: str) -> str:
    """Say in plain words what a value of that kind looks like."""
    return _WANTED.get(kind) or "one of " + ", ".join(f'"{choice}"' for choice in kind.split(" | ")) + " is wanted"


def _shown(value: object) -> str:
    """Write a value as it stands in the file, cut to a length one can read."""
    if isinstance(value, int) and abs(value) >= 10**_LONGEST_SHOWN:  # Python refuses to write very long ones
        return "a number of many digits"
    text = str(value).lower() if isinstance(value, bool) else str(value)
    cut = text[:_LONGEST_SHOWN] + "…" * (len(text) > _LONGEST_SHOWN)
    return f'"{cut}"' if isinstance(value, str) else cut


def refuse_value(place: Place, key: str, value: object, why: str) -> SettingsError:
    """Build the error for a value of the wrong kind."""
    return SettingsError(f"{place.line(key)}: {key} = {_shown(value)} is not right: {why}.")
