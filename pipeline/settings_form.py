"""studio.toml as a form: what each setting is called, what it is, and what was typed back into values."""

import datetime as dt
import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import settings, settings_text, strict_toml, studio, vocabulary
from pipeline.errors import SettingsError
from pipeline.resources import table
from pipeline.studio import Studio

_SECRET = re.compile(r"://[^/@]*:[^/@]*@|password", re.IGNORECASE)  # in the address of a ledger
_DAY = re.compile(r"(.+?)\s*=\s*(\d{4}-\d\d-\d\d)")


@dataclass(frozen=True, slots=True)
class KeptSettings:
    """The file as it is; mark tells one state of it from another."""

    content: bytes
    mark: str


@dataclass(frozen=True, slots=True)
class Field:
    """One setting on the form; choices are values with the words for them."""

    key: str
    label: str
    hint: str
    kind: str
    choices: tuple[tuple[str, str], ...]
    default: str  # what holds when the field is empty, in words


@dataclass(frozen=True, slots=True)
class Group:
    """Settings that stand together; start says why a change waits for the next start, if it does."""

    title: str
    note: str
    start: str
    fields: tuple[Field, ...]


@dataclass(frozen=True, slots=True)
class Changed:
    """What a form makes of the file; nothing is to be written where a field is at fault."""

    text: str
    faults: Mapping[str, str]
    remarks_kept: bool = True


def groups() -> list[Group]:
    """Give the form."""
    return [
        Group(
            row["title"],
            row.get("note", ""),
            row.get("start", ""),
            tuple(_field(*one) for one in row["labels"].items()),
        )
        for row in table("desk_settings")["group"]
    ]


def at_start() -> tuple[str, ...]:
    """Name the settings that take effect at the next start."""
    return tuple(field.key for group in groups() if group.start for field in group.fields)


def _field(key: str, label: str) -> Field:
    row = table("settings")[key]
    called = vocabulary.own_names() if row.get("choices_in") == "vocabulary" else {}
    choices = {value: called.get(value, value) for value in settings.choices(row)}
    default = f"as “{label_of(row['optional'])}”" if "optional" in row else _text(row["default"])
    hint = re.sub(r"`([^`]*)`", r"“\1”", row["help"])
    hint = hint[:1].upper() + hint[1:] + "."
    return Field(key, label, hint, row["type"], tuple(choices.items()), choices.get(default, default))


def label_of(key: str) -> str:
    """Give what a setting is called on the form."""
    return next(str(row["labels"][key]) for row in table("desk_settings")["group"] if key in row["labels"])


# --- the file ---------------------------------------------------------------------------------------------------------
def path(place: Studio) -> Path:
    """Say where the settings lie; a link is followed, so that it stays one."""
    return (place.root / "studio.toml").resolve()


def kept(place: Studio) -> KeptSettings:
    """Read the file."""
    try:
        content = path(place).read_bytes()
    except FileNotFoundError:
        content = b""
    return KeptSettings(content, hashlib.sha256(content).hexdigest()[:16])


def write(place: Studio, text: str) -> None:
    """Write the file whole, as readable as it was."""
    try:
        mode = path(place).stat().st_mode & 0o777
    except FileNotFoundError:
        mode = studio.SHARED
    studio.write_file(path(place), text.encode(), mode)


def set_aside(place: Studio, content: bytes) -> str:
    """Keep a copy of the file whose remarks cannot be kept; gives its name."""
    aside = studio.free_place(place.root, "studio before", ".toml")
    studio.write_file(aside, content)
    return aside.name


def document(content: bytes) -> dict[str, Any]:
    """Read the file's values as they stand; raises SettingsError when it is no TOML."""
    return strict_toml.parse(strict_toml.decode(content, "studio.toml"), "studio.toml")


def shown(values: Mapping[str, Any]) -> dict[str, str]:
    """Write values as the fields of the form; what the file does not say is empty, and a password is never shown."""
    texts = {key: _text(values[key]) if key in values else "" for key in table("settings")}
    return {key: "" if key == "ledger" and _SECRET.search(text) else text for key, text in texts.items()}


def _text(value: object) -> str:
    if isinstance(value, dict):
        return "\n".join(f"{name} = {day}" for name, day in value.items())
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value)


# --- what was typed ---------------------------------------------------------------------------------------------------
def changed(content: bytes, typed: Mapping[str, str]) -> Changed:
    """Put what was typed into the file: only what differs is changed, and what is empty is taken away.

    Raises SettingsError when the file is no TOML, or another setting in it is wrong.
    """
    text = strict_toml.decode(content, "studio.toml")
    before = shown(document(content))
    changes: dict[str, object] = {}
    faults: dict[str, str] = {}
    for key, words in typed.items():
        plain = _plain(words, lines=table("settings")[key]["type"] == "days")
        if plain != _plain(before[key], lines=True):
            value, why = _value(key, plain)
            changes[key] = value
            if why:
                faults[key] = why
    if faults:
        return Changed(text, faults)
    made, whole = settings_text.rewritten(text, changes)
    try:
        settings.load(made)
    except SettingsError as fault:
        if changes and "give_up_seconds" in str(fault):  # the one that is held against another
            return Changed(text, {"give_up_seconds": _sentence(str(fault).partition(" is not right: ")[2])})
        raise
    return Changed(made, {}, whole)


def is_kept(content: bytes, typed: Mapping[str, str]) -> bool:
    """Tell whether the file says just what was typed."""
    try:
        found = changed(content, typed)
    except SettingsError:
        return False
    return not found.faults and found.text.encode() == content


def _plain(text: str, *, lines: bool) -> str:
    """Take a text as typed, without control characters."""
    kept = "".join(c if c.isprintable() or (lines and c == "\n") else " " for c in text.replace("\r\n", "\n"))
    return "\n".join(line.strip() for line in kept.split("\n")).strip()


def _value(key: str, text: str) -> tuple[object, str]:
    """Give the value typed for a setting, None when that is its default, and what is wrong with it."""
    if not text:
        return None, ""
    value: object = text
    try:
        match table("settings")[key]["type"]:
            case "number":
                value = _number(text)
            case "whole number":
                value = int(text)
            case "days":
                value = _days(text)
    except ValueError:
        return None, _WANTED[table("settings")[key]["type"]]
    return value, _sentence(settings.fault(key, value))


_WANTED = {
    "number": "A number is wanted, decimals with a dot.",
    "whole number": "A whole number is wanted.",
    "days": "A line for each bay is wanted, such as: 2 = 2026-11-25",
}


def _number(text: str) -> float:
    number = float(text.replace("−", "-"))
    return int(number) if number.is_integer() and abs(number) < 1e9 else number


def _days(text: str) -> dict[str, dt.date]:
    """Read a line for each bay; raises ValueError for any other line, or a bay named twice."""
    found: dict[str, dt.date] = {}
    for line in filter(None, text.split("\n")):
        said = _DAY.fullmatch(line)
        name = said[1].strip("\"'") if said else ""
        if said is None or name in found:
            raise ValueError(line)
        found[name] = dt.date.fromisoformat(said[2])
    return found


def _sentence(why: str) -> str:
    """Say it as on a form, where nobody writes quotes."""
    plain = why.replace(" in quotes", "").replace(" without quotes", "").replace("settle_seconds", "“Stand still for”")
    return plain[:1].upper() + plain[1:]
