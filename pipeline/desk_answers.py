"""What staff answered about layouts of shot files, as a list to read, and one of them moved aside."""

import datetime as dt
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline import answers, studio
from pipeline.errors import SettingsError
from pipeline.records import Given
from pipeline.schema import measurements
from pipeline.studio import Studio

FORGOTTEN = "forgotten"  # folder beside the answers that hold
_DATE_ORDERS = {"dmy": "the day stands first", "mdy": "the month stands first"}


@dataclass(frozen=True, slots=True)
class Answered:
    """One file of answers; fault says why it is not understood, and then it is passed over."""

    file: str
    name: str
    since: str
    says: tuple[tuple[str, str], ...]  # what was asked about, and what was answered
    fault: str
    mark: str


def listed(place: Studio) -> list[Answered]:
    """List the answers that lie there."""
    return [_of(path) for path in sorted(place.profiles.glob("*.toml")) if path.is_file()]


def _of(path: Path) -> Answered:
    day, mark = dt.datetime.fromtimestamp(path.stat().st_mtime, dt.UTC).astimezone().date().isoformat(), ""
    try:
        mark = hashlib.sha256(path.read_bytes()).hexdigest()[:16]
        found = answers.load(path)
    except (SettingsError, OSError) as fault:
        said = str(fault).replace(str(path), path.name)
        return Answered(path.name, path.stem, day, (), said, mark)
    return Answered(path.name, found.name, day, tuple(_says(found.given)), "", mark)


def _says(given: Given) -> Iterator[tuple[str, str]]:
    """Write answers column by column, then those about the whole file."""
    for heading in dict.fromkeys([*given.columns, *given.column_units, *given.column_signs]):
        meaning = given.columns.get(heading)
        parts = [] if meaning is None else [_meaning(meaning)]
        parts += [f"in {given.column_units[heading]}"] if heading in given.column_units else []
        parts += [f"+ means {given.column_signs[heading]}"] if heading in given.column_signs else []
        yield f"Column “{heading}”", ", ".join(parts)
    for kind, unit in given.units.items():
        yield f"Every {kind} without a unit", f"in {unit}"
    if given.handed:
        yield "Playing hand", given.handed
    if given.decimal:
        yield "Decimal mark", "the comma" if given.decimal == "," else "the dot"
    if given.date_order:
        yield "Dates", _DATE_ORDERS.get(given.date_order, given.date_order)


def _meaning(name: str) -> str:
    known = measurements().get(name)
    return known.said if known else name.replace("_", " ") or "kept aside"


def forget(place: Studio, answered: Answered, today: dt.date) -> None:
    """Move an answer aside, where no file is read by it; it can be put back by hand."""
    aside = place.profiles / FORGOTTEN
    aside.mkdir(mode=0o700, exist_ok=True)
    stem = studio.safe_name(f"{Path(answered.file).stem} {today.isoformat()}")
    (place.profiles / answered.file).rename(studio.free_place(aside, stem, ".toml"))
