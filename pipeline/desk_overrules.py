"""Staff's word on single shots of one visit: the [[shot]] tables of visit.toml as fields of a form, and back."""

from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.desk_report import Shot, shot_key
from pipeline.strict_toml import LONGEST_TEXT

RULE, COUNTS, ASIDE = "rule", "counts", "aside"
CHOICES = ((RULE, "as the rules say"), (COUNTS, "it counts"), (ASIDE, "it is set aside"))
_WORD = {True: COUNTS, False: ASIDE}


def choice(key: str) -> str:
    """Name the field of the choice about a shot."""
    return f"shot-{key}"


def reason(key: str) -> str:
    """Name the field of the reason of that choice."""
    return f"why-{key}"


def shown(document: Mapping[str, Any], shots: Sequence[Shot]) -> dict[str, str]:
    """Write what staff said of each shot as fields."""
    said = _said(document)
    fields = {}
    for shot in shots:
        word = said.get(shot.key, {})
        fields[choice(shot.key)] = _WORD[word["counts"]] if word else RULE
        fields[reason(shot.key)] = _plain(str(word.get("reason", "")))
    return fields


def _said(document: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Give staff's word by shot; of two about one shot the last holds."""
    tables = document.get("shot", [])
    found = [one for one in tables if isinstance(one, dict)] if isinstance(tables, list) else []
    return {
        shot_key(one["file"], one["line"]): one
        for one in found
        if isinstance(one.get("file"), str) and isinstance(one.get("line"), int) and isinstance(one.get("counts"), bool)
    }


def put(document: dict[str, Any], given: Mapping[str, str], shots: Sequence[Shot]) -> dict[str, str]:
    """Put what has changed into a visit.toml; words on other shots stay. Gives what is wrong, by field."""
    before = shown(document, shots)
    faults: dict[str, str] = {}
    for shot in shots:
        names = choice(shot.key), reason(shot.key)
        chosen, why = given[names[0]], _plain(given[names[1]])
        if (chosen, why) == (before[names[0]], before[names[1]]):
            continue
        faults |= _faults(shot, chosen, why)
        if not faults:
            _change(document, shot, chosen, why)
    return faults


def _plain(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _faults(shot: Shot, chosen: str, why: str) -> dict[str, str]:
    if chosen not in dict(CHOICES):
        return {choice(shot.key): f"Shot {shot.number}: choose what becomes of it."}
    if chosen == RULE and why:
        what = f"Shot {shot.number}: a reason stands here, but the rules decide. Choose above, or empty this field."
        return {reason(shot.key): what}
    if chosen != RULE and not why:
        return {reason(shot.key): f"Shot {shot.number}: say why in a few words; the report prints it."}
    if len(why) > LONGEST_TEXT:
        return {reason(shot.key): f"Shot {shot.number}: at most {LONGEST_TEXT:,} characters can be kept here."}
    return {}


def _change(document: dict[str, Any], shot: Shot, chosen: str, why: str) -> None:
    """Put staff's word in the place of the one before, or after all others; take it away where the rules decide."""
    tables = document.setdefault("shot", [])
    about = [one for one in tables if one.get("file") == shot.file and one.get("line") == shot.line]
    word = {"file": shot.file, "line": shot.line, "counts": chosen == COUNTS, "reason": why}
    if chosen == RULE:
        document["shot"] = [one for one in tables if one not in about]
    elif about:
        about[-1].update(word)
    else:
        tables.append(word)
    if not document["shot"]:
        del document["shot"]
