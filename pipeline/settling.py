"""Which of what lies in the drop folder stands still and was not taken before; the oldest comes first."""

from dataclasses import dataclass, field

from pipeline import arrivals
from pipeline.arrivals import Arrival
from pipeline.ledger import Ledger
from pipeline.studio import Studio


@dataclass(frozen=True, slots=True)
class _Pending:
    signature: str
    since: float


@dataclass(slots=True)
class Settling:
    """What is known of a drop folder from one look to the next; the ledger is asked once about a file."""

    studio: Studio
    ledger: Ledger
    _pending: dict[str, _Pending] = field(default_factory=dict)
    _seen: dict[str, str] = field(default_factory=dict)  # place → signature already in the ledger

    def look(self, now: float, settle_seconds: float) -> list[Arrival]:
        """Look once; give the visits that stood still long enough and were not taken before, oldest first."""
        there = {arrival.place: arrival for arrival in arrivals.look(self.studio.inbox)}
        for places in (self._pending, self._seen):
            for gone in places.keys() - there.keys():
                del places[gone]
        fresh = {place: arrival for place, arrival in there.items() if self._is_news(arrival)}
        known = self.ledger.seen_of([(place, arrival.signature) for place, arrival in fresh.items()])
        for place, signature in known:
            self._seen[place] = signature
            self._pending.pop(place, None)
        for place, arrival in fresh.items():
            if self._seen.get(place) != arrival.signature:
                self._pending[place] = _Pending(arrival.signature, now)
        still = [place for place, pending in self._pending.items() if now - pending.since >= settle_seconds]
        settled = [there[place] for place in still if place not in fresh]
        return sorted(settled, key=lambda one: (self._pending[one.place].since, one.changed_ns, one.place))

    def _is_news(self, arrival: Arrival) -> bool:
        """Tell whether nothing is known yet of a file as it is now."""
        if self._seen.get(arrival.place) == arrival.signature:
            self._pending.pop(arrival.place, None)
            return False
        pending = self._pending.get(arrival.place)
        return pending is None or pending.signature != arrival.signature

    def forget(self, place: str) -> None:
        """Begin from the start with what lies there."""
        self._pending.pop(place, None)

    def due(self, now: float, settle_seconds: float) -> list[float]:
        """Give in how many seconds each file that has not stood still for long enough will have."""
        left = [pending.since + settle_seconds - now for pending in self._pending.values()]
        return [seconds for seconds in left if seconds > 0]
