"""The studio's settings: defaults of schemas/settings.toml, then studio.toml."""

from dataclasses import dataclass
from typing import Any

from pipeline import branding, strict_toml, units
from pipeline.errors import SettingsError
from pipeline.resources import names, table


@dataclass(frozen=True, slots=True)
class Settings:
    """What a studio can choose; names and meaning in schemas/settings.toml, numbers in stored units."""

    name: str
    address_line: str
    footnote: str
    logo: str
    accent: str
    units_shown: str
    paper: str
    language: str
    altitude_m: float
    temperature_c: float
    humidity_percent: float
    device_altitude_m: float
    device_temperature_c: float
    firmness: str
    drag_multiplier: float
    lift_multiplier: float
    smallest_difference_m: float
    fewest_customers: int
    fairway_width_m: float
    hole_m: float
    settle_seconds: float
    scan_seconds: float
    give_up_seconds: float
    largest_file_mb: float
    tidy: str
    keep_days: int
    bays_set_up: dict[str, str]  # bay → day
    archive: str
    mail_from: str
    mail_reply_to: str
    smtp_host: str
    smtp_port: int
    smtp_security: str
    smtp_user: str
    smtp_password_file: str
    ledger: str
    ledger_password_file: str


def choices(row: dict[str, Any]) -> list[str]:
    """Give what may be chosen; empty where a setting is no choice."""
    return names(row["choices_in"]) if "choices_in" in row else row.get("choices", [])


def _value(row: dict[str, Any], value: object, place: strict_toml.Place, key: str) -> object:
    """Check one value against its row of settings.toml and convert it to the stored unit."""
    kind = " | ".join(choices(row)) or row["type"]
    found = strict_toml.typed(value, kind)
    if found is None:
        raise strict_toml.refuse_value(place, key, value, strict_toml.wanted(kind))
    fault = branding.colour_fault(found) if kind == "colour" else ""
    if fault:
        raise strict_toml.refuse_value(place, key, value, fault)
    low, high = row.get("range", (None, None))
    if low is not None and not low <= found <= high:
        raise strict_toml.refuse_value(place, key, value, f"it must lie between {low} and {high}")
    return units.unit(*row["stored"]).to_stored(found) if "stored" in row else found


def load(text: str = "", where: str = "studio.toml") -> Settings:
    """Read studio.toml over the defaults; raises SettingsError naming file, line and the nearest known key."""
    rows = table("settings")
    place = strict_toml.Place(where, text)
    given = strict_toml.parse(text, where)
    strict_toml.check_keys(given, rows, place)
    chosen = {key: given.get(key, row.get("default")) for key, row in rows.items()}
    for key, row in rows.items():
        if "optional" in row and chosen[key] is None:
            chosen[key] = chosen[row["optional"]]
    values = {key: _value(row, chosen[key], place, key) for key, row in rows.items()}
    if values["give_up_seconds"] < values["settle_seconds"]:  # type: ignore[operator]
        why = "it must not be shorter than settle_seconds"
        raise strict_toml.refuse_value(place, "give_up_seconds", values["give_up_seconds"], why)
    for yards in [key for key in values if key.endswith("_yd")]:
        values[yards.removesuffix("_yd") + "_m"] = values.pop(yards)
    return Settings(**values)  # type: ignore[arg-type]


def fault(key: str, value: object) -> str:
    """Say why a setting may not have a value; empty when it may."""
    try:
        _value(table("settings")[key], value, strict_toml.Place("", ""), key)
    except SettingsError as found:
        return str(found).partition(" is not right: ")[2]
    return ""


def template() -> str:
    """Write a studio.toml with every setting, its default and its help."""
    lines = ["# The studio's settings. A line that starts with # is a remark; delete the # to change a setting.", ""]
    for key, row in table("settings").items():
        chosen = f" ({' | '.join(choices(row))})" if row["type"] == "choice" else ""
        lines += [f"# {row['help']}{chosen}", remark(key), ""]
    return "\n".join(lines)


def remark(key: str) -> str:
    """Write the line of the template that stands for a setting's default."""
    rows = table("settings")
    default = rows[key].get("default", rows.get(rows[key].get("optional", ""), {}).get("default"))
    return f"# {key} = " + (f'"{default}"' if isinstance(default, str) else str(default))
