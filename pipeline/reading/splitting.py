"""Text → lines → records: quote-aware, one pass, never more than twice over a line."""

from dataclasses import dataclass

from pipeline.reading.parts import MAX_COLUMNS, Record


@dataclass(frozen=True, slots=True)
class Lines:
    """The physical lines of a text; a carriage return before a line feed still ends the line's text."""

    texts: list[str]
    terminated: bool  # the last line has its line end


def lines_of(text: str) -> Lines:
    """Split at line feeds, or at carriage returns in a text that has no line feed at all."""
    texts = text.split("\n" if "\n" in text else "\r")
    terminated = not texts[-1]
    if terminated:
        texts.pop()
    return Lines(texts, terminated)


def record_at(lines: list[str], index: int, delimiter: str, width: int | None = None) -> Record:
    """Give the record that starts on that line (counted from 0); what follows the last column allowed stays one cell.

    A width is the heading's: with it a quote that would swallow whole rows is taken for one that never closes.
    """
    text = lines[index]
    if '"' not in text:
        return Record(index + 1, tuple(cell.strip() for cell in text.split(delimiter, MAX_COLUMNS)), None, index + 1)
    cells, last = _quoted_cells(lines, index, delimiter)
    if last is None or (
        width is not None and last > index and not _believable(lines[index + 1 : last], cells, delimiter, width)
    ):
        return Record(index + 1, (text.strip(),), "unclosed_quote", index + 1)
    return Record(index + 1, tuple(cells), None, last + 1)


def records(lines: list[str], delimiter: str, start: int, count: int) -> tuple[Record, ...]:
    """Give the first records from a line on."""
    found: list[Record] = []
    index = start
    while index < len(lines) and len(found) < count:
        record = record_at(lines, index, delimiter)
        found.append(record)
        index = record.following
    return tuple(found)


def _believable(inner: list[str], cells: list[str], delimiter: str, width: int) -> bool:
    """Doubt a record over several lines when it is too wide, or too narrow with a whole row inside."""
    filled = len(cells)
    while filled and not cells[filled - 1]:
        filled -= 1
    if filled > width:
        return False
    return len(cells) == width or not any(line.count(delimiter) >= width - 1 for line in inner)


def _quoted_cells(lines: list[str], index: int, delimiter: str) -> tuple[list[str], int | None]:
    """Split a record with quotes; give its cells and its last line, None when a quote never closes."""
    cells: list[str] = []
    text, position, row = lines[index], 0, index
    while True:
        start = _skip_blanks(text, position, delimiter)
        if text[start : start + 1] != '"':
            end = text.find(delimiter, position) if len(cells) < MAX_COLUMNS else -1
            cells.append((text[position:] if end < 0 else text[position:end]).strip())
        else:
            closed = _quoted_cell(lines, row, start + 1)
            if closed is None:
                return cells, None
            content, last, after = closed
            text = lines[last]
            end = text.find(delimiter, after)
            rest = (text[after:] if end < 0 else text[after:end]).rstrip()
            if rest.strip() and last > row:  # text right after the closing quote: over lines that is no field of ours
                return cells, None
            row = last
            cells.append((content + rest if rest.strip() else content).strip())
        if end < 0:
            return cells, row
        position = end + len(delimiter)


def _skip_blanks(text: str, position: int, delimiter: str) -> int:
    while position < len(text) and text[position].isspace() and text[position] != delimiter:
        position += 1
    return position


def _quoted_cell(lines: list[str], row: int, position: int) -> tuple[str, int, int] | None:
    """Read on behind an opening quote; give the content, the line and the place behind the closing quote."""
    pieces: list[str] = []
    text = lines[row]
    while True:
        end = text.find('"', position)
        if end < 0:
            row += 1
            if row >= len(lines):
                return None
            pieces.append(text[position:] + "\n")
            text, position = lines[row], 0
        elif text[end + 1 : end + 2] == '"':
            pieces.append(text[position : end + 1])
            position = end + 2
        else:
            pieces.append(text[position:end])
            return "".join(pieces), row, end + 1
