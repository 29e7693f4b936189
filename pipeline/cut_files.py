"""A shot file that holds two visits, cut in two: each half has all that stands above the shots, and its own shots."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from pipeline.work_messages import shot_mark

Told = tuple[str, int, Mapping[str, float]]  # a shot: its file, its line there, what was measured


@dataclass(frozen=True, slots=True)
class Cut:
    """Where a file is cut: first is the line of its first shot, line that of the first one of the other visit."""

    file: str
    first: int
    line: int

    def is_second(self, line: int) -> bool:
        """Tell whether what stands on a line goes to the other visit."""
        return line >= self.line

    def moved(self, line: int) -> int:
        """Give the line on which something stands after the cut."""
        return line - self.line + self.first if self.is_second(line) else line


def cut_at(told: Iterable[Told], file: str, line: int) -> Cut | None:
    """Say where a file is cut so that a shot on a line is the first of the other visit; None when it cannot be."""
    lines = sorted(at for name, at, _ in told if name == file)
    return Cut(file, lines[0], line) if line in lines[1:] else None


def halves(content: bytes, cut: Cut) -> tuple[bytes, bytes] | None:
    """Cut a text of lines; None when it is none (a workbook, a text of wide characters, JSON on one line)."""
    end = b"\n" if b"\n" in content else b"\r"
    lines = content.split(end)
    if b"\0" in content or not cut.first < cut.line <= len(lines):
        return None
    kept, top, away = lines[: cut.line - 1], lines[: cut.first - 1], lines[cut.line - 1 :]
    return end.join([*kept, b""]), end.join([*top, *away])


def marks(told: Iterable[Told], away: Iterable[str], cut: Cut | None) -> tuple[frozenset[str], frozenset[str]]:
    """Give the marks of the shots that each of the two visits must have then; away are files of the second one."""
    others = set(away)
    both: tuple[set[str], set[str]] = (set(), set())
    for file, line, measured in told:
        is_cut = cut is not None and file == cut.file
        second = cut.is_second(line) if cut and is_cut else file in others
        both[second].add(shot_mark(file, cut.moved(line) if cut and is_cut else line, measured))
    return frozenset(both[0]), frozenset(both[1])
