"""The note beside a file in set-back/: for staff, and read back for `baywright status`; one line a thing said."""

from dataclasses import dataclass
from pathlib import Path

from pipeline.ledger import Entry
from pipeline.records import Refusal
from pipeline.staff_words import shell_word

_WHAT, _WHERE, _TO_DO, _COMMAND = "What:       ", "Where:      ", "What to do: ", "    baywright answer "
_LARGEST = 20_000


@dataclass(frozen=True, slots=True)
class Note:
    """What a note says: what is wrong or asked, what to do, and the command that answers it, if there is one."""

    what: str
    to_do: str
    command: str


def mark(entry: Entry) -> str:
    """Give the line by which a note is known to be of a visit."""
    return f"Visit {entry.id[:8]}."


def note_text(entry: Entry, refusal: Refusal, copy: Path) -> str:
    """Write a note: what, where, what to do, and how to answer."""
    head = "waits for an answer" if refusal.outcome == "held" else "could not be used"
    lines = [f"{_line(entry.name)} {head}.", "", f"{_WHAT}{_line(refusal.what)}", f"{_WHERE}{_line(refusal.where)}"]
    lines += [f"{_TO_DO}{_line(refusal.to_do)}"] if refusal.to_do else []
    if refusal.answer:
        lines += ["", "Or answer once for every file of this layout, with your answers in place of …:"]
        lines += [f"{_COMMAND}{_line(shell_word(str(copy.resolve())))} {_line(refusal.answer)}"]
    end = "What was dropped is unchanged. This note, and the copy beside it if there is one, may be deleted."
    return "\n".join([*lines, "", end, mark(entry), ""])


def _line(text: str) -> str:
    """Write a text in one line: no name or cell of a file can add lines to a note that look like ours."""
    return "".join(c if c.isprintable() else " " for c in text)


def read(path: Path) -> Note | None:
    """Read a note back; None when staff took it away."""
    try:
        with path.open("rb") as source:
            lines = source.read(_LARGEST).decode("utf-8", errors="replace").split("\n")
    except (FileNotFoundError, IsADirectoryError, NotADirectoryError):
        return None

    def said(start: str) -> str:
        return next((line.removeprefix(start) for line in lines[1:] if line.startswith(start)), "")

    command = said(_COMMAND)
    return Note(said(_WHAT), said(_TO_DO), f"{_COMMAND.strip()} {command}" if command else "")
