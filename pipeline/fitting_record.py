"""fitting.json back into the record a report was written from, as far as its comparison and its levers need it.

So the same words can be made of it again. Left out: readings of files, flights, what shots were, staff's notes.
"""

import dataclasses
import datetime as dt
import math
import types
from collections.abc import Hashable, Iterable, Mapping
from functools import cache
from typing import Any, TypeVar, cast, get_args, get_origin, get_type_hints

from pipeline.fitting_file import document, number, understood
from pipeline.judgements import Bag, BagClub, Expectation, Gap, Judged
from pipeline.lever_records import LeverStory, VisitLevers
from pipeline.records import (
    AirUsed,
    Average,
    Build,
    Comparison,
    Fate,
    Fitting,
    SetResult,
    ShotResult,
    ShotSet,
    VisitFacts,
)
from pipeline.room_records import Outlook

_T = TypeVar("_T")
Places = Mapping[str, int]


def read(content: bytes, where: str) -> Fitting:
    """Read it; raises FolderError when it is damaged or of another schema."""
    found = document(content, where)
    with understood(where):
        sets = tuple(_set(given, index) for index, given in enumerate(found["sets"]))
        places = {result.set.letter: result.set.index for result in sets}
        if len(places) != len(sets) or sum(result.set.is_own for result in sets) != 1:
            msg = "letters twice, or not one own club"
            raise ValueError(msg)
        return _fitting(found, sets, places)


def _fitting(found: dict[str, Any], sets: tuple[SetResult, ...], places: Places) -> Fitting:
    visit, levers = found["visit"], found["levers"]
    return Fitting(
        visit_id=_text(visit["id"]),
        name=_text(visit["name"]),
        date=dt.date.fromisoformat(visit["date"]),
        facts=VisitFacts(customer=_back(str | None, visit["customer"]), hand=_back(str | None, visit["hand"])),
        files=(),
        own_club_from=_text(visit["own_club_from"]),
        air=record(AirUsed, found["air"]),
        sets=sets,
        shots=tuple(_shot(given, places) for given in found["shots"]),
        sources=_back(dict[str, str], found["sources"]),
        comparisons=_between(Comparison, found["comparison"], places),
        smallest_difference_m=_back(float, found["smallest_difference_m"]),
        device_check=(),
        home=None,
        cautions=(),
        judged=Judged(
            expectations=_between(Expectation, found["expectation"], places),
            bag=_bag(found["gapping"], places) if found["gapping"] else None,
        ),
        levers=VisitLevers(*(_between(LeverStory, levers[which], places) for which in ("from_own", "steps"))),
        outlooks=tuple(record(Outlook, _of_set(given, places)) for given in found["outlook"]),
        version=_back(int, visit["version"]),
        version_date=dt.date.fromisoformat(visit["version_date"]) if visit["version_date"] else None,
    )


# --- parts ------------------------------------------------------------------------------------------------------------
def _set(given: dict[str, Any], index: int) -> SetResult:
    """Read a set; a mean that was too uneven to be written is not known."""
    averages = {
        name: record(Average, {**average, "quantity": name, "all_valid_mean": given["all_valid"][name]})
        for name, average in given["averages"].items()
    }
    build, own = record(Build, given["build"]), _back(bool, given["own_club"])
    letter, label, phase = (_text(given[name]) for name in ("letter", "label", "phase"))
    counted, mishit, misread, asked = (
        _back(int, given[name]) for name in ("n_counted", "n_mishit", "n_bad_read", "n_asked")
    )
    which = ShotSet(index, letter, label, phase, build, own)
    return SetResult(which, counted, mishit, misread, asked, averages, None, None, _back(bool, given["uneven"]))


def _shot(given: dict[str, Any], places: Places) -> ShotResult:
    """Read what became of a shot; its figures stay where they are."""
    fate = Fate(_text(given["fate"]), given["code"] or "", by=_text(given["decided_by"]))
    line, shot = (_back(int, given[name]) for name in ("line", "number"))
    return ShotResult(shot, _text(given["file"]), line, places[given["set"]], fate, {}, {})


def _between(kind: type[_T], all_given: Iterable[dict[str, Any]], places: Places) -> tuple[_T, ...]:
    """Read what is said of builds against others, with numbers for the letters of the sets."""
    return tuple(
        record(kind, {**given, "build": places[given["build"]], "against": places[given["against"]]})
        for given in all_given
    )


def _of_set(given: dict[str, Any], places: Places) -> dict[str, Any]:
    return {**given, "set_index": places[given["set"]]}


def _bag(given: dict[str, Any], places: Places) -> Bag:
    gaps = ({**gap, "longer": places[gap["longer"]], "shorter": places[gap["shorter"]]} for gap in given["gaps"])
    return Bag(
        tuple(record(BagClub, _of_set(club, places)) for club in given["clubs"]),
        tuple(record(Gap, gap) for gap in gaps),
        tuple(places[letter] for letter in given["left_out"]),
    )


# --- records by their types -------------------------------------------------------------------------------------------
@cache
def _hints(kind: Hashable) -> dict[str, Any]:
    return get_type_hints(kind)


def record(kind: type[_T], given: Mapping[str, Any]) -> _T:
    """Make a record of a kind from values by name; raises ValueError or TypeError for what its types do not allow.

    What is written beside it by another version is passed over, and what that left out has its default.
    """
    return kind(
        **{name: _back(hint, given[name]) for name, hint in _hints(cast("Hashable", kind)).items() if name in given}
    )


def _back(kind: Any, value: Any) -> Any:  # noqa: ANN401 - any type, and whatever the file holds
    """Turn what JSON holds into a value of a type; a number that was none (null) is NaN."""
    if isinstance(kind, types.UnionType):
        [inside] = (one for one in get_args(kind) if one is not types.NoneType)
        return None if value is None else _back(inside, value)
    if dataclasses.is_dataclass(kind):
        return record(cast("type", kind), value)
    if get_origin(kind) is tuple:
        return tuple(_back(get_args(kind)[0], item) for item in value)
    if get_origin(kind) is dict:
        return {_text(name): _back(get_args(kind)[1], item) for name, item in value.items()}
    if kind is float and not isinstance(value, bool):
        found = number(value)
        return math.nan if found is None else float(found)
    if type(value) is not kind or (kind is int and number(value) is None):
        msg = "another type"
        raise ValueError(msg)
    return value


def _text(value: object) -> str:
    return cast("str", _back(str, value))
