"""What staff are told about a file that cannot be used: plain sentences from schemas/staff_words.toml."""

import os
import re
import shlex
from typing import Any

from pipeline.judgements import DeviceCheck
from pipeline.records import FileReading
from pipeline.resources import table
from pipeline.schema import measurements

_LONGEST = 300


def _plain(value: Any) -> str:  # noqa: ANN401 - any fact a fault carries
    """Write a fact: lists as a, b or c; questions as 'Column' (m or yd); measurements by name and meaning."""
    if isinstance(value, dict):
        return ", ".join(f"'{column}' ({_plain(options)})" for column, options in value.items())
    if isinstance(value, list | tuple):
        parts = [_plain(part) for part in value]
        return " or ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)
    known = measurements().get(str(value))
    return known.said if known else str(value)


def device_note(check: DeviceCheck) -> str:
    """Say how a file's carry stands to the flight model."""
    words = table("staff_words")["device_check"]
    off = 100 * (check.centre - 1)
    return str(words["far" if check.far_off else "near"]).format(
        percent=f"{abs(off):.1f}",
        side=words["above" if off >= 0 else "below"],
        shots=check.shots,
        spread=f"{100 * check.spread:.1f}",
    )


def ask(reading: FileReading) -> str:
    """Give the options of `baywright answer` that a held file asks for, with … where the answer goes."""
    fault = reading.fault
    if fault is None or reading.outcome != "needs_mapping":
        return ""
    option = table("staff_words").get(fault.kind, {}).get("answer", "")
    columns = fault.facts.get("columns") or [fault.facts.get("column", "")]
    names = [str(name) for name in columns] if "{column}" in option else [""]
    return " ".join(option.replace('"{column}=…"', shell_word(f"{name}=…")) for name in names)


def shell_word(text: str) -> str:
    """Quote a word of a command so that nothing of a file, its name or headings becomes a command when it is typed."""
    if os.name != "posix":
        return '"{}"'.format(text.replace('"', "'"))
    return shlex.quote(text) if re.search(r'["$`\\!\x00-\x1f]', text) else f'"{text}"'


def explain(reading: FileReading) -> tuple[str, str]:
    """Say what is wrong with a file and what to do about it."""
    fault = reading.fault
    if fault is None:
        return "Nothing is wrong with it.", ""
    entry = table("staff_words").get(fault.kind, table("staff_words")["not_in_list"])
    facts = {"kind": fault.kind, **{key: _plain(value)[:_LONGEST] for key, value in fault.facts.items()}}
    return entry["what"].format_map(facts), entry["to_do"].format_map(facts)
