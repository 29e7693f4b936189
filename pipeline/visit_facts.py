"""visit.toml → VisitFacts: what staff know about a visit beyond the shot files."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from pipeline import clubs, strict_toml, units
from pipeline.errors import SettingsError
from pipeline.records import Build, Overrule, ShotFile, VisitFacts
from pipeline.resources import table
from pipeline.strict_toml import Place

FILE_NAME = "visit.toml"
LARGEST = 200_000  # bytes


def parted(files: Sequence[ShotFile]) -> tuple[list[ShotFile], bytes]:
    """Part a visit's files into shot files and the content of visit.toml."""
    shots = [file for file in files if file.name.lower() != FILE_NAME]
    facts = [file.content for file in files if file.name.lower() == FILE_NAME]
    return shots, facts[0] if facts else b""


def _checked(given: dict[str, Any], kinds: str, place: Place) -> dict[str, Any]:
    """Check the keys and kinds of one table of visit.toml."""
    rows = table("visit")[kinds]
    strict_toml.check_keys(given, rows, place)
    out = {}
    for key, value in given.items():
        kind, _ = rows[key]
        out[key] = strict_toml.typed(value, kind)
        if out[key] is None:
            raise strict_toml.refuse_value(place, key, value, strict_toml.wanted(kind))
    return out


def _tables(given: dict[str, Any], key: str, top: Place) -> list[tuple[dict[str, Any], Place]]:
    """Give the [[key]] tables, checked, each with its place."""
    value = given.get(key, [])
    if not isinstance(value, list) or not all(isinstance(row, dict) for row in value):
        msg = f"{top.line(key)}: write [[{key}]] in double brackets, once for each {key}."
        raise SettingsError(msg)
    places = [replace(top, table=key, number=number) for number in range(1, len(value) + 1)]
    return [(_checked(row, key, place), place) for row, place in zip(value, places, strict=True)]


def _need(row: dict[str, Any], keys: tuple[str, ...], place: Place) -> None:
    missing = [key for key in keys if row.get(key) in (None, "")]
    if missing:
        msg = f"{place.line()}: this [[{place.table}]] lacks {' and '.join(missing)}."
        raise SettingsError(msg)


def _build(row: dict[str, Any], place: Place) -> Build:
    _need(row, ("label",), place)
    row = {key: value for key, value in row.items() if key != "order"}
    if "name" in row:
        row["name"] = _one_line(row["name"]) or None
    if "length_in" in row:
        if "length_m" in row:
            raise strict_toml.refuse_value(place, "length_m", row["length_m"], "give length_in or length_m, not both")
        row["length_m"] = units.unit("length", "in").to_stored(row.pop("length_in"))
    return Build(**row)


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _check_names(rows: Sequence[tuple[dict[str, Any], Place]]) -> None:
    """Refuse two clubs that the report would call the same."""
    called = [_one_line(row.get("name", "")) or _one_line(row["label"]) for row, _ in rows]
    told = clubs.told_apart([(row["label"].strip().lower(), name) for (row, _), name in zip(rows, called, strict=True)])
    for (row, place), name, apart in zip(rows, called, told, strict=True):
        if "name" in row and name != apart:
            raise strict_toml.refuse_value(place, "name", row["name"], "another club is called that, too")


def _overrule(row: dict[str, Any], place: Place) -> Overrule:
    _need(row, ("file", "line", "counts", "reason"), place)
    return Overrule(**row)


def read(text: str, where: str = FILE_NAME) -> VisitFacts:
    """Read visit.toml; raises SettingsError naming the line, the key and the nearest known one."""
    top = Place(where, text)
    given = strict_toml.parse(text, where)
    nested = {"home_course", "build", "shot"}
    strict_toml.check_keys(given, [*table("visit")["visit"], *sorted(nested)], top)
    flat = _checked({k: v for k, v in given.items() if k not in nested}, "visit", top)
    home = given.get("home_course", {})
    if not isinstance(home, dict):
        msg = f"{top.line('home_course')}: write home_course as a table: [home_course] on a line of its own."
        raise SettingsError(msg)
    home = _checked(home, "home_course", replace(top, table="home_course"))
    rows = _tables(given, "build", top)
    builds = tuple(_build(*found) for found in rows)
    _check_names(rows)
    return VisitFacts(
        **flat,
        home_altitude_m=home.get("altitude_m"),
        home_temperature_c=home.get("temperature_c"),
        builds=builds,
        order=tuple((row["label"].strip().lower(), row["order"]) for row, _ in rows if "order" in row),
        overrules=tuple(_overrule(*found) for found in _tables(given, "shot", top)),
    )
