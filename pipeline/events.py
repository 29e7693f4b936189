"""What staff may want to know of the intake, and what the surroundings refused: told once for as long as it lasts."""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.errors import FolderError

PAUSE_AFTER_TROUBLE_S = 30.0
_LOG = logging.getLogger("baywright")


@dataclass(frozen=True, slots=True)
class Event:
    """Something staff may want to know.

    kind: reported | held | set_back | waiting | known | erased | drift | trouble.
    """

    kind: str
    name: str
    message: str
    exit_code: int = 0
    place: Path | None = None
    seconds: dict[str, float] = field(default_factory=dict)


@dataclass(slots=True)
class Troubles:
    """What disk, folders or ledger refused; no file is blamed for it."""

    hear: Callable[[Event], None]
    clock: Callable[[], float]
    every_s: float  # between two tries
    _said: set[tuple[str, str]] = field(default_factory=set)
    _at: dict[str, float] = field(default_factory=dict)  # what was refused → when last

    def tell(self, name: str, fault: OSError) -> None:
        """Tell what was refused, once for as long as it lasts."""
        refused = fault.strerror or type(fault).__name__  # the text of others may name a file
        if refused not in self.lately():
            _LOG.error("The disk or a folder refused: %s. It is tried again.", refused)
        self._at[refused] = self.clock()
        why = f"the disk or a folder refused: {fault.strerror or fault}. It is tried again by itself."
        if (name, why) not in self._said:
            self._said.add((name, why))
            self.hear(Event("trouble", name, why, FolderError.exit_code))

    def lately(self) -> list[str]:
        """Give what was refused lately: what is over is not heard of again at the next try."""
        oldest = self.clock() - 1.5 * max(PAUSE_AFTER_TROUBLE_S, self.every_s)
        return [refused for refused, at in self._at.items() if at >= oldest]
