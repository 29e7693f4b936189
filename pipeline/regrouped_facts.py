"""What the visit.toml of a split or joined visit says: each fact goes where it belongs, and none is made up."""

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from typing import Any

import tomli_w

from pipeline import strict_toml, visit_facts
from pipeline.cut_files import Cut

_HEAD = "# Made on the desk from what was said about the visit before; may be edited.\n"
_SHOWN = {
    "customer": "Customer", "email": "E-mail address", "date": "Day", "hand": "Playing hand",
    "own_club": "Own club", "bay": "Bay", "notes": "Words for the customer",
    "recommendation": "What you recommend",
}  # fmt: skip
ASKED_ABOUT = ("customer", "email", "hand")  # where these differ it may be another person


def first(before: bytes, files: Collection[str], day: dt.date, cut: Cut | None = None) -> bytes:
    """Give what stays with the first visit: all that was said, but words on shots only of its files."""
    said = _read(before)
    return _written({**said, "date": said.get("date", day), "shot": _of(said, files, cut, second=False)})


def second(before: bytes, files: Collection[str], day: dt.date, cut: Cut | None = None) -> bytes:
    """Give what goes along with the files split off: day, clubs and words on their shots; nothing of the customer."""
    said, shots = _read(before), {"shot": _of(_read(before), files, cut, second=True)}
    return _written({"date": said.get("date", day), "build": said.get("build", []), **shots})


def joined(mine: bytes, other: bytes, renamed: Mapping[str, str], day: dt.date) -> bytes:
    """Give what is known of both: mine holds, and the other's stands where mine says nothing.

    But for the address of a customer who is called otherwise.

    renamed: names of the other's files before and now.
    """
    here, there = _read(mine), _read(other)
    if here.get("customer") and there.get("customer") not in (None, here["customer"]):
        there.pop("email", None)  # no letter about one customer goes to another one
    labels = {row.get("label") for row in here.get("build", [])}
    shots = [{**row, "file": renamed[row["file"]]} for row in there.get("shot", []) if row.get("file") in renamed]
    more = {
        "date": here.get("date", there.get("date", day)),
        "home_course": {**there.get("home_course", {}), **here.get("home_course", {})},
        "build": [*here.get("build", []), *(row for row in there.get("build", []) if row.get("label") not in labels)],
        "shot": [*shots, *here.get("shot", [])],  # of two words on one shot the last holds
    }
    return _written({**there, **here, **more})


def differing(mine: bytes, other: bytes) -> list[tuple[str, str, str, bool]]:
    """Give what is said otherwise of two visits: what it is, both values, and whether it may be another person."""
    here, there = _read(mine), _read(other)
    rows = [(key, words, str(here.get(key, "")), str(there.get(key, ""))) for key, words in _SHOWN.items()]
    return [
        (words, one, two, key in ASKED_ABOUT and bool(one) and bool(two)) for key, words, one, two in rows if one != two
    ]


def _read(content: bytes) -> dict[str, Any]:
    return strict_toml.parse(strict_toml.decode(content, visit_facts.FILE_NAME), visit_facts.FILE_NAME)


def _of(
    said: Mapping[str, Any], files: Collection[str], cut: Cut | None, *, second: bool
) -> Sequence[Mapping[str, Any]]:
    """Give the words on shots of some files; of a file that is cut those on its half, where they then stand."""
    found = []
    for row in said.get("shot", []):
        if cut is None or row.get("file") != cut.file:
            found += [row] if row.get("file") in files else []
        elif cut.is_second(row["line"]) == second:
            found.append({**row, "line": cut.moved(row["line"])})
    return found


def _written(said: Mapping[str, Any]) -> bytes:
    """Write it, tables last; raises SettingsError when it is no visit.toml."""
    plain = {key: value for key, value in said.items() if value not in ([], {}, "")}
    content = (_HEAD + tomli_w.dumps(plain, multiline_strings=True)).encode()
    visit_facts.read(strict_toml.decode(content, visit_facts.FILE_NAME))
    return content
