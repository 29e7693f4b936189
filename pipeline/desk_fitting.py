"""What the desk's page about one visit shows of the fitting itself: the form with its steps, and a shot's picture."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pipeline import (
    desk_builds,
    desk_changes,
    desk_facts,
    desk_flights,
    desk_overrules,
    desk_report,
    desk_shots,
    desk_steps,
)
from pipeline.desk_builds import ClubRow
from pipeline.desk_report import Report
from pipeline.desk_room import Room
from pipeline.desk_shots import Row, Shots
from pipeline.desk_steps import Step
from pipeline.ledger import Entry

_NO_FLIGHT = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 470 40" width="470" height="40" role="img" '
    'font-family="sans-serif"><title>No flight can be worked out from these figures.</title>'
    '<text x="0" y="24" font-size="13" fill="#1E2730">No flight can be worked out from these figures.</text></svg>'
)


@dataclass(frozen=True, slots=True)
class Form:
    """The form about a visit: its fields as shown and as kept, what is wrong with some, and the steps it is parted in.

    kept is None unless somebody else may have changed it. own_names and choices: what the values of the own club's and
    a shot's choice say. opened: keys of the shots, and of their clubs, that are shown opened.
    """

    fields: Mapping[str, str]
    kept: Mapping[str, str] | None
    faults: Mapping[str, str]
    mark: str
    clubs: tuple[ClubRow, ...]
    kinds: tuple[str, ...]
    own_names: Mapping[str, str]
    shots: Shots | None
    choices: Mapping[str, str]
    opened: frozenset[str]
    steps: Mapping[str, Step]


def form(
    room: Room, entry: Entry, found: Report | None, typed: Mapping[str, str] | None, faults: Mapping[str, str]
) -> Form:
    """Put the form together: as it is kept, and over that what was typed; found is what the report says."""
    kept = desk_facts.kept(room.place, entry)
    now = desk_changes.shown(kept.content, found)
    clubs = desk_builds.rows(found.clubs) if found else ()
    shots = desk_shots.told(found, desk_shots.english(room.settings.units_shown)) if found else None
    steps = desk_steps.steps(now, clubs, shots, found.own_from if found else "")
    names = {club.key: club.label for club in clubs}
    names |= {"": "nothing", desk_builds.OTHER: desk_changes.named_own(kept.content)}
    fields = {**now, **(typed or {})}
    return Form(
        fields, now if typed and not faults else None, faults, kept.mark, clubs, desk_builds.kinds(), names, shots,
        dict(desk_overrules.CHOICES), _opened(shots, fields, now, faults), steps,
    )  # fmt: skip


def _opened(
    shots: Shots | None, fields: Mapping[str, str], now: Mapping[str, str], faults: Mapping[str, str]
) -> frozenset[str]:
    """Give the keys of shots with something wrong or typed and not kept, and of the clubs they are listed under."""
    if shots is None:
        return frozenset()

    def is_open(row: Row) -> bool:
        names = desk_overrules.choice(row.key), desk_overrules.reason(row.key)
        return any(name in faults or fields[name] != now[name] for name in names)

    rows = [row for group in shots.groups for row in group.rows]
    keys = [row.key for row in (*shots.to_look_at, *rows) if is_open(row)]
    return frozenset([*keys, *(group.key for group in shots.groups if any(row.key in keys for row in group.rows))])


def report(room: Room, folder: Path | None) -> Report | None:
    """Read what the newest report in a folder of outbox/ says; None when it cannot be read."""
    found = content(room, folder / "fitting.json", desk_report.LARGEST) if folder else None
    return desk_report.read(found) if found else None


def content(room: Room, path: Path, most: int) -> bytes | None:
    """Read a file of a report's folder; None when it is gone, too large, or a link out of outbox/."""
    with suppress(OSError):
        inside = path.resolve(strict=True).is_relative_to(room.place.outbox.resolve())
        if inside and path.is_file() and path.stat().st_size <= most:
            return path.read_bytes()
    return None


def flight(room: Room, folder: Path | None, key: str) -> str | None:
    """Draw the flight of one shot, or the words that it cannot be drawn; None when there is no such shot."""
    found = report(room, folder)
    shot = next((one for one in found.shots if one.key == key), None) if found else None
    if found is None or shot is None:
        return None
    return desk_flights.picture(found, shot, desk_shots.english(room.settings.units_shown)) or _NO_FLIGHT
