"""Which letters have gone out, and which not: the ledger's notes, held against the reports as they lie in outbox/."""

import threading
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from pipeline import letter
from pipeline.desk_pages import local
from pipeline.ledger_letters import Sending

NOT_SENT, OPEN, SENT = "not_sent", "open", "sent"
_WORDS = {
    "sent": "Sent from here on {at}",
    "marked": "Noted as sent on {at}",
    "unknown": "It may have been sent: the ledger was lost before {at}",
    "sending": "It may have been sent: sending began on {at} and never ended",
}


@dataclass(frozen=True, slots=True)
class Gone:
    """Whether the letter of a report went out: not_sent, open (nobody knows) or sent; note is what the ledger has."""

    state: str
    note: Sending | None = None

    @property
    def words(self) -> str:
        """Say it."""
        if self.note is None:
            return "Not sent yet"
        return _WORDS.get(self.note.state, _WORDS["sending"]).format(at=local(self.note.at))

    @property
    def short(self) -> str:
        """Say it in a list."""
        if self.note is None:
            return "letter not sent yet"
        day = local(self.note.at)[:10]
        return f"letter sent {day}" if self.state == SENT else "letter may have been sent"

    @property
    def number(self) -> int:
        """Give the number of the note: who acts on it says which one they saw."""
        return self.note.number if self.note else 0


@dataclass(slots=True)
class SentLetters:
    """Versions of reports by the folder they lie in, read anew when a file changed."""

    _known: dict[Path, tuple[tuple[int, int, int], str]] = field(default_factory=dict)
    _looking: threading.Lock = field(default_factory=threading.Lock)

    def gone(self, folder: Path, notes: Mapping[str, Sending] | None) -> Gone:
        """Tell whether the letter of the report that lies in a folder now went out, by the notes on its visit."""
        note = notes.get(self.version(folder)) if notes else None  # without a note nothing has to be read
        if note is None:
            return Gone(NOT_SENT)
        return Gone(SENT if note.state in ("sent", "marked") else OPEN, note)

    def version(self, folder: Path) -> str:
        """Name the version of the report in a folder by its bytes; empty when there is none."""
        with suppress(OSError):
            pdf = folder / "report.pdf"
            found = pdf.stat()
            signature = (found.st_mtime_ns, found.st_size, found.st_ino)
            with self._looking:
                known = self._known.get(folder)
            if known is None or known[0] != signature:
                known = signature, letter.version_of(pdf.read_bytes())
                with self._looking:
                    self._known[folder] = known
            return known[1]
        return ""

    def keep_only(self, names: Iterable[str]) -> None:
        """Forget the folders that are there no more: their names may be customers'."""
        there = set(names)
        with self._looking:
            self._known = {folder: known for folder, known in self._known.items() if folder.name in there}
