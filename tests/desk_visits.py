"""A studio with visits that nobody worked out: their notes in the ledger and their reports, made by hand."""

import datetime as dt
import hashlib
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline import settings, studio, workshop
from pipeline.desk_room import Room
from pipeline.ledger import Entry, Kept, Ledger

FIRST = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)


def room_in(root: Path) -> Room:
    """Make a studio and the desk's room on it."""
    place = studio.create(root)
    ledger = Ledger(place.work / "ledger.sqlite3")
    return Room(place, settings.load(), ledger, workshop.SHARED, workshop.SHARED)


def identity(name: str) -> str:
    """Give a visit's id."""
    return hashlib.sha256(name.encode()).hexdigest()


def visit(
    room: Room, name: str, facts: str = "", state: str = "reported", fitting: object = None, place: str = ""
) -> Kept:
    """Put a visit's files where they belong; gives what the ledger is to know of it."""
    this = identity(name)
    originals = [("shots.csv", f"{this}.csv")]
    if facts:
        stored = f"{hashlib.sha256(facts.encode()).hexdigest()}.toml"
        (room.place.accepted / stored).write_text(facts)
        originals.append(("visit.toml", stored))
    folder = place or f"2026 {name}" if state == "reported" else None
    if folder:
        where = room.place.outbox / folder
        where.mkdir(exist_ok=True)
        (where / "report.pdf").write_bytes(b"%PDF-" + name.encode())
        (where / "fitting.json").write_text(json.dumps(fitting or fitting_of(this, "2026-01-01", [])))
    return Kept(Entry(this, name, state, 0, folder, tuple(originals)), "", ((f"{name}/", f"signature of {name}"),))


def note(room: Room, visits: Sequence[Kept], unknown: Sequence[tuple[str, str]] = ()) -> None:
    """Note visits in the ledger, a second after one another."""
    noted = [
        Kept(kept.entry, (FIRST + dt.timedelta(seconds=number)).isoformat(), kept.sightings)
        for number, kept in enumerate(visits)
    ]
    room.ledger.adopt(noted, unknown, FIRST.isoformat())


def set_of(  # noqa: PLR0913 - what a test may want of it, each named
    label: str, carries: Sequence[float], *, own: bool = True, category: str | None = "driver",
    number: int | None = None, letter: str = "A", source: str = "measured", uneven: bool = False,
) -> dict[str, Any]:  # fmt: skip
    """Give a set of a fitting.json, with the carries of its shots [m] for `fitting_of`."""
    middle = sum(carries) / len(carries)
    average = {
        "source": source,
        "n": len(carries),
        "mean": middle,
        "median": middle,
        "low": middle - 4,
        "high": middle + 4,
    }
    if uneven:
        average |= {"mean": None, "low": None, "high": None}
    build = {"label": label, "category": category, "number": number}
    return {
        "letter": letter, "label": label, "phase": "", "own_club": own, "build": build, "n_mishit": 0,
        "averages": {"carry_m": average}, "carries": list(carries),
    }  # fmt: skip


def fitting_of(visit_id: str, day: str, sets: Sequence[dict[str, Any]], altitude_m: float = 0.0) -> dict[str, Any]:
    """Give a fitting.json as far as the desk reads it."""
    shots = [
        {"set": one["letter"], "fate": "counted", "measured": {}, "used": {"carry_m": carry}}
        for one in sets
        for carry in one["carries"]
    ]
    return {
        "schema": 1, "visit": {"id": visit_id, "date": day}, "air": {"altitude_m": altitude_m}, "shots": shots,
        "sets": list(sets), "smallest_difference_m": 4.572, "sources": {"carry_m": "measured"},
    }  # fmt: skip
