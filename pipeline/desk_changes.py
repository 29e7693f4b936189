"""All fields of the form about one visit, and the form back into its visit.toml: who, clubs, shots, words."""

import tomllib
from collections.abc import Iterable, Mapping

from pipeline import desk_builds, desk_facts, desk_overrules
from pipeline.desk_report import Club, Report, Shot
from pipeline.errors import SettingsError

_OF_CLUBS_AND_SHOTS = tuple(f"{part}-" for part in (*desk_builds.PARTS, "shot", "why"))


class FaultyFieldsError(SettingsError):
    """Some fields cannot be kept as they are; faults says why, by the field's name."""

    def __init__(self, faults: Mapping[str, str]) -> None:
        super().__init__(" ".join(faults.values()))
        self.faults = dict(faults)


def _parts(report: Report | None) -> tuple[tuple[Club, ...], tuple[Shot, ...]]:
    return (report.clubs, report.shots) if report else ((), ())


def shown(content: bytes, report: Report | None) -> dict[str, str]:
    """Write what is kept about a visit as fields; those of clubs and shots only when its report can be read."""
    fields = desk_facts.shown(content)
    if report is None:
        return fields
    try:
        found = desk_facts.document(content)
    except SettingsError:  # a damaged file: the button says so
        found = {}
    clubs, shots = _parts(report)
    return {**fields, **desk_builds.shown(found, clubs), **desk_overrules.shown(found, shots)}


def named_own(content: bytes) -> str:
    """Give the label that is kept as the customer's own club."""
    try:
        return desk_builds.named_own(desk_facts.document(content))
    except SettingsError:
        return ""


def strays(names: Iterable[str], known: Mapping[str, str]) -> bool:
    """Tell whether a form asks about clubs or shots this visit has not, or no longer."""
    return any(name.startswith(_OF_CLUBS_AND_SHOTS) and name not in known for name in names)


def rebased(
    typed: Mapping[str, str], former: bytes | None, now: Mapping[str, str], report: Report | None
) -> dict[str, str]:
    """Give what somebody changed in a form over what is kept by now: fields they left alone take that over.

    former: the facts the form was made from; None when nobody knows them, and then all that was sent stands.
    """
    if former is None:
        return dict(typed)
    before = shown(former, report)
    return {name: now[name] if name in now and text == before.get(name) else text for name, text in typed.items()}


def is_kept(content: bytes, typed: Mapping[str, str], known: Mapping[str, str], report: Report | None) -> bool:
    """Tell whether just what was typed is kept already: somebody pressed the button twice."""
    try:
        return not strays(typed, known) and says_the_same(written(content, {**known, **typed}, report), content)
    except SettingsError:
        return False


def says_the_same(one: bytes, other: bytes) -> bool:
    """Tell whether two visit.toml say the same, however it is written."""
    return tomllib.loads(one.decode("utf-8-sig")) == tomllib.loads(other.decode("utf-8-sig"))


def written(before: bytes, given: Mapping[str, str], report: Report | None) -> bytes:
    """Put all fields into a visit.toml; all else in it stays.

    Raises FaultyFieldsError with everything that is wrong, and SettingsError when it cannot be kept for another reason.
    """
    found = desk_facts.document(before)
    clubs, shots = _parts(report)
    faults = desk_facts.put(found, given)
    if report:
        faults |= desk_builds.put(found, given, clubs)
        faults |= desk_overrules.put(found, given, shots)
    if faults:
        raise FaultyFieldsError(faults)
    return desk_facts.dumped(found)
