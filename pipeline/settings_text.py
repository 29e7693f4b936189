"""studio.toml with some settings changed: only their lines are, and all that people wrote beside them stays."""

import re
import tomllib
from collections.abc import Mapping
from typing import Any

import tomli_w

from pipeline import settings

_HEAD = "# The studio's settings, written by the desk.\n"
_TABLE = re.compile(r"\s*\[")


def rewritten(text: str, changes: Mapping[str, object]) -> tuple[str, bool]:
    """Set settings, or take those away that are None; tells whether every remark was kept.

    What comes out is read again: unless it says exactly what was meant, the whole file is written from its values.
    Text must be TOML.
    """
    meant: dict[str, Any] = {**tomllib.loads(text), **changes}
    meant = {key: value for key, value in meant.items() if value is not None}
    lines = text.replace("\r\n", "\n").split("\n")
    for key, value in changes.items():
        lines = _changed(lines, key, value)
    made = ("\r\n" if "\r\n" in text else "\n").join(lines)
    if _read(made) == meant:
        return made, True
    return _HEAD + tomli_w.dumps(meant), False


def _read(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        return None


def _changed(lines: list[str], key: str, value: object) -> list[str]:
    """Change the lines of one setting, or put it where the template has its remark, else before the first table."""
    said = None if value is None else f"{key} = {_toml(value)}"
    top = _first(lines, _TABLE)
    start = _first(lines[:top], re.compile(rf"\s*[\"']?{re.escape(key)}[\"']?\s*="))
    if start < top:
        ends = range(start + 1, len(lines) + 1)  # a text may go on over several lines
        end = next((number for number in ends if _read("\n".join(lines[start:number])) is not None), len(lines))
        return [*lines[:start], (said or settings.remark(key)) + _remark_after(lines[end - 1]), *lines[end:]]
    lines = _without_table(lines, key)
    top = _first(lines, _TABLE)
    if said is None:
        return lines
    if settings.remark(key) in lines[:top]:
        place = lines.index(settings.remark(key))
        return [*lines[:place], said, *lines[place + 1 :]]
    place = top if top < len(lines) or lines[-1:] != [""] else top - 1  # before the last line's end
    return [*lines[:place], said, *lines[place:]]


def _first(lines: list[str], wanted: re.Pattern[str]) -> int:
    """Find the first line of a kind that is no part of a text over several lines; their number where there is none."""
    found = (n for n, line in enumerate(lines) if wanted.match(line) and _read("\n".join(lines[:n])) is not None)
    return next(found, len(lines))


def _remark_after(line: str) -> str:
    """Give the remark at the end of the last line of a value, with the blanks before it."""
    for found in re.finditer(r"\s*#", line):
        if _read(line[: found.start()]) is not None:
            return line[found.start() :]
    return ""


def _without_table(lines: list[str], key: str) -> list[str]:
    """Take a setting away that is written as a table, or with dots; remarks in it stay."""
    kept, inside = [], False
    for line in lines:
        if _TABLE.match(line):
            inside = re.match(rf"\s*\[\s*{re.escape(key)}\s*\]", line) is not None
        dotted = re.match(rf"\s*{re.escape(key)}\s*\.", line) is not None
        if not dotted and (not inside or not line.strip() or line.lstrip().startswith("#")):
            kept.append(line)
    return kept


def _toml(value: object) -> str:
    """Write a value on one line."""
    if isinstance(value, dict):
        parts = [tomli_w.dumps({key: one}).strip() for key, one in value.items()]
        return "{ " + ", ".join(parts) + " }" if parts else "{}"
    return tomli_w.dumps({"x": value}).removeprefix("x = ").strip()
