"""What `baywright process --backlog` says while it works and when it is done."""

import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TextIO

from pipeline.plurals import many

if TYPE_CHECKING:
    from pipeline.backlog import Summary

_PAUSE_S = 10.0  # between two lines; a terminal's line is written anew each time
_MOST_REASONS, _MOST_NAMES = 10, 3


@dataclass(slots=True)
class Progress:
    """How many of how many are done, now and then; clock gives seconds."""

    stream: TextIO = field(default_factory=lambda: sys.stdout)
    clock: Callable[[], float] = time.monotonic
    _began: float | None = None
    _said_at: float = 0.0
    _longest: int = 0

    def tell(self, done: int, of: int) -> None:
        """Hear how far it is; says it at the end, and else when it is time for it."""
        now = self.clock()
        if self._began is None:
            self._began = self._said_at = now
        terminal = self.stream.isatty()
        if of and (done == of or terminal or now - self._said_at >= _PAUSE_S):
            self._say(progress(done, of, now - self._began), terminal=terminal, last=done == of)
            self._said_at = now

    def _say(self, text: str, *, terminal: bool, last: bool) -> None:
        self._longest = max(self._longest, len(text))
        start, end = ("\r", "\n" if last else "") if terminal else ("", "\n")
        print(f"{start}{text.ljust(self._longest if terminal else 0)}", end=end, file=self.stream, flush=True)


def progress(done: int, of: int, seconds: float) -> str:
    """Say how far it is, how fast, and about how long still."""
    said = f"{done:,} of {of:,} old exports"
    if not done or seconds <= 0:
        return said
    speed = done / seconds
    left = (of - done) / speed
    return f"{said}, {speed:,.0f} a second" + (f", about {_span(left)} still" if done < of else "")


def _span(seconds: float) -> str:
    if seconds < 90:
        return f"{max(seconds, 1):.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60} min"


def sentences(found: "Summary") -> Iterator[str]:
    """Say what became of the old exports, the reasons with the most files first."""
    refused = sum(len(names) for names in found.reasons.values())
    yield f"archived: {many(found.archived, 'visit')}, without reports"
    others = {
        "were there before with the same content": found.known,
        "were erased on request and were not taken again": found.erased,
        "have grown since their report was made; baywright watch or process makes the next one": found.with_report,
        "changed, vanished or could not be opened just now; start it again": found.changing,
    }
    yield from (f"{count:,} {what}" for what, count in others.items() if count)
    if not refused:
        return
    yield f"not archived: {many(refused, 'visit')}. set-back/ has one of each kind with a note."
    ordered = sorted(found.reasons.items(), key=lambda reason: (-len(reason[1]), reason[0]))
    for what, names in ordered[:_MOST_REASONS]:
        more = f" and {len(names) - _MOST_NAMES:,} more" if len(names) > _MOST_NAMES else ""
        yield f"  {len(names):,}: {what} ({', '.join(names[:_MOST_NAMES])}{more})"
    left = ordered[_MOST_REASONS:]
    if left:
        yield f"  {sum(len(names) for _, names in left):,}: {len(left)} other reasons"
    yield "When that is settled, start it again with --backlog; what is not archived now is then tried again."
