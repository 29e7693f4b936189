"""Mapping profiles: what staff answered once about a layout of shot files, kept as TOML and found by its headings."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import tomli_w

from pipeline import strict_toml, units
from pipeline.errors import SettingsError
from pipeline.records import Given
from pipeline.resources import table
from pipeline.schema import measurements, text_fields
from pipeline.strict_toml import Place

_TOP = "*top*"


@dataclass(frozen=True, slots=True)
class Profile:
    """One layout's answers."""

    name: str
    fingerprint: str
    given: Given


def fingerprint(header: Sequence[str]) -> str:
    """Name a layout by its headings: same words in the same order, whatever their case and spaces."""
    folded = "\x1f".join(" ".join(text.split()).casefold() for text in header)
    return "sha256:" + hashlib.sha256(folded.encode("utf-8", "surrogatepass")).hexdigest()


def _value(kind: str, key: str, value: object, place: Place) -> Any:  # noqa: ANN401 - of several kinds
    """Check one value of a profile."""
    found = strict_toml.typed(value, "text" if kind in ("unit", "measurement") else kind)
    if found is not None and kind == "unit":
        known = units.spelled(found)
        found = known.name if known else None
    if found is not None and kind == "measurement":
        strict_toml.check_keys([found] if found else [], (*measurements(), *sorted(text_fields())), place)
    if found is None:
        why = "a unit such as mph, m/s, yd or m is wanted" if kind == "unit" else strict_toml.wanted(kind)
        raise strict_toml.refuse_value(place, key, value, why)
    return found


def _checked(given: Mapping[str, object], place: Place) -> dict[str, Any]:
    """Check one table of a profile; tables keyed by headings take any key."""
    rows = table("profile")[place.table or _TOP]
    if "*" in rows:
        return {key: _value(rows["*"][0], key, value, place) for key, value in given.items()}
    strict_toml.check_keys(given, rows, place)
    return {key: _value(rows[key][0], key, value, place) for key, value in given.items()}


def parse(text: str, where: str) -> Profile:
    """Read a profile; raises SettingsError naming file, line and the nearest known key."""
    document, top_place = strict_toml.parse(text, where), Place(where, text)
    tables = [name for name in table("profile") if name != _TOP]
    strict_toml.check_keys(document, [*table("profile")[_TOP], *tables], top_place)
    parts: dict[str, dict[str, Any]] = {}
    for name in tables:
        inside = document.get(name, {})
        if not isinstance(inside, dict):
            msg = f"{top_place.line(name)}: write [{name}] as a table."
            raise SettingsError(msg)
        parts[name] = _checked(inside, Place(where, text, name))
    top = _checked({key: value for key, value in document.items() if key not in tables}, top_place)
    if not top.get("fingerprint"):
        msg = f"{where}: fingerprint is missing: it says which headings the profile is for."
        raise SettingsError(msg)
    given = Given(
        handed=top.get("hand"),
        units=parts["units"],
        columns=parts["columns"],
        column_units=parts["columns_unit"],
        column_signs=parts["columns_sign"],
        decimal=top.get("decimal"),
        date_order=top.get("date_order"),
    )
    return Profile(top.get("name", where), top["fingerprint"], given)


def written(profile: Profile) -> str:
    """Write a profile as people can read and edit it."""
    given = profile.given
    answers = {"hand": given.handed, "decimal": given.decimal, "date_order": given.date_order}
    document: dict[str, Any] = {"name": profile.name, "fingerprint": profile.fingerprint}
    document |= {key: value for key, value in answers.items() if value is not None}
    tables = {"units": given.units, "columns": given.columns}
    tables |= {"columns_unit": given.column_units, "columns_sign": given.column_signs}
    document |= {key: dict(value) for key, value in tables.items() if value}
    return "# What staff answered about one layout of shot files; may be edited.\n" + tomli_w.dumps(document)


def joined(first: Given, then: Given) -> Given:
    """Put later answers over earlier ones."""
    return Given(
        handed=then.handed or first.handed,
        units={**first.units, **then.units},
        columns={**first.columns, **then.columns},
        column_units={**first.column_units, **then.column_units},
        column_signs={**first.column_signs, **then.column_signs},
        decimal=then.decimal or first.decimal,
        date_order=then.date_order or first.date_order,
    )


def with_hand(given: Given, hand: str | None) -> Given:
    """Put the visit's own hand over the profile's."""
    return replace(given, handed=hand or given.handed)
