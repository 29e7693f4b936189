"""Who the visits are of, by what their visit.toml says: for the search, and for a customer's other visits.

Kept in memory alone and never on disk, so that erasing a visit leaves no name here. The copies of visit.toml are named
by their content: what was read of one stays right, and a correction is another one.
"""

import threading
import tomllib
from collections.abc import Collection, Mapping
from contextlib import suppress
from dataclasses import dataclass, field

from pipeline.studio import Studio
from pipeline.visit_facts import LARGEST
from pipeline.visit_words import folded


@dataclass(frozen=True, slots=True)
class Person:
    """A customer's name and e-mail address as they are compared: spaces and case do not count."""

    name: str = ""
    address: str = ""


@dataclass(slots=True)
class People:
    """What was read so far, by the name of the copy in work/accepted."""

    _known: dict[str, Person] = field(default_factory=dict)
    _looking: threading.Lock = field(default_factory=threading.Lock)

    def all_of(self, place: Studio, kept: Collection[str]) -> Mapping[str, Person]:
        """Say who these copies speak of; what is none of them is forgotten."""
        with self._looking:
            self._known = {stored: self._known.get(stored) or _read(place, stored) for stored in kept if stored}
            return self._known


def _read(place: Studio, stored: str) -> Person:
    """Read one copy; nobody when it is gone or cannot be understood."""
    with suppress(OSError, ValueError, RecursionError):
        path = place.accepted / stored
        if path.stat().st_size <= LARGEST:
            return of(path.read_bytes())
    return Person()


def of(content: bytes) -> Person:
    """Say who a visit.toml speaks of; raises ValueError when it is none."""
    said = tomllib.loads(content.decode("utf-8-sig"))
    name, address = said.get("customer"), said.get("email")
    return Person(folded(name) if isinstance(name, str) else "", folded(address) if isinstance(address, str) else "")
