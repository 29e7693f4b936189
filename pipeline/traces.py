"""What of a person can still be found: every byte of every file in a folder is searched for their words."""

import email
import html
import json
import os
import re
import stat
import unicodedata
import zipfile
import zlib
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from email import policy
from functools import cache
from io import BytesIO
from pathlib import Path

from pipeline.resources import folder as data_folder

SHORTEST_WORD, SHORTEST_NUMBER = 4, 6  # letters and digits; anything shorter stands by chance in any file of numbers
_CHUNK = 64_000_000  # bytes read at once
_MOST_UNPACKED = 200_000_000  # bytes out of one packed file
_ENCODINGS = ("utf-8", "utf-16-le", "utf-16-be", "cp1252")
_LETTERS = frozenset(b"abcdefghijklmnopqrstuvwxyz0123456789")
_PDF_STREAM = re.compile(rb"stream\r?\n")


Patterns = dict[str, tuple[tuple[bytes, ...], bool]]  # word → how it may be written, and whether it must stand alone


@dataclass(frozen=True, slots=True)
class Words:
    """What is searched for, and what is not with the reason: a word that stands everywhere proves nothing."""

    searched: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]  # (word, why)
    alone: frozenset[str] = frozenset()  # those that are a part of a longer word of what stays


@dataclass(frozen=True, slots=True)
class Trace:
    """A word found in a file, or the reason why a file could not be searched."""

    path: Path
    found: str


@dataclass(frozen=True, slots=True)
class Search:
    """How a search ended."""

    n_files: int
    traces: tuple[Trace, ...]


# --- which words ------------------------------------------------------------------------------------------------------
def worth_searching(words: Iterable[str], others: Iterable[str]) -> Words:
    """Part words into those worth searching and the rest; others are the words of what stays.

    A text of several lines is searched line by line: programs write the ends of lines in many ways.
    """
    lines = {" ".join(line.split()).casefold(): line.strip() for word in words for line in word.splitlines()}
    staying, searched, left_out = "\n".join(others).casefold(), [], []
    alone: set[str] = set()
    for folded, line in lines.items():
        why = _why_not(folded, staying)
        if why:
            left_out.append((line, why))
        elif folded:
            searched.append(line)
            alone.update({line} if folded in staying else ())
    return Words(tuple(searched), tuple(left_out), frozenset(alone))


def _why_not(folded: str, staying: str) -> str:
    marks = sum(c.isalnum() for c in folded)
    if folded and (marks < SHORTEST_WORD or (marks < SHORTEST_NUMBER and not any(c.isalpha() for c in folded))):
        return "too short"
    if folded and _stands_in(folded, staying):
        return "a visit that stays has it as well"
    if folded and _stands_in(folded, _own_words()):
        return "a word of the program itself"
    return ""


def _stands_in(folded: str, text: str) -> bool:
    return re.search(rf"(?<![^\W_]){re.escape(folded)}(?![^\W_])", text) is not None


@cache
def _own_words() -> str:
    """Give the text of our own tables and templates: headings, clubs and sentences stand in every report."""
    files = [*data_folder("schemas").rglob("*.toml"), *data_folder("report_templates").rglob("*.html")]
    return "\n".join(path.read_text(encoding="utf-8") for path in sorted(files)).casefold()


# --- the search -------------------------------------------------------------------------------------------------------
def search(folder: Path, words: Words, skipped: Collection[Path] = ()) -> Search:
    """Search names and contents of all that lies in a folder; links are not followed, skipped folders not entered."""
    patterns = _all_patterns(words)
    n_files, traces = 0, []
    for path in _everything(folder, skipped):
        n_files += 1
        name = os.fsencode(path.relative_to(folder)).lower()
        try:
            found = _in(name, patterns) or _in_file(path, patterns)
        except FileNotFoundError:  # a file that has gone holds nothing
            continue
        except OSError as fault:
            found = f"it cannot be read ({fault.strerror})"
        if found:
            traces.append(Trace(path.relative_to(folder), found))
    return Search(n_files, tuple(traces))


def _everything(folder: Path, skipped: Collection[Path]) -> Iterator[Path]:
    for place, folders, files in os.walk(folder):
        folders[:] = sorted(name for name in folders if Path(place, name) not in skipped)
        yield from (Path(place, name) for name in [*folders, *sorted(files)])


def _all_patterns(words: Words) -> Patterns:
    """Give the patterns to look for; a word that has another one whole in it is found with that one."""
    found = {}
    for word in words.searched:
        others = [other for other in words.searched if other != word and other not in words.alone]
        if not any(_stands_in(other.casefold(), word.casefold()) for other in others):
            found[word] = (_patterns(word), word in words.alone)
    return found


def _patterns(word: str) -> tuple[bytes, ...]:
    """Give the ways a word may stand in a file; in small letters, as far as they are those of ASCII."""
    shapes = {word, unicodedata.normalize("NFC", word), unicodedata.normalize("NFD", word)}
    shapes |= {shape for known in list(shapes) for shape in (known.lower(), known.upper(), known.casefold())}
    shapes |= {
        json.dumps(shape, ensure_ascii=ascii_only)[1:-1] for shape in list(shapes) for ascii_only in (True, False)
    }
    shapes |= {html.escape(shape) for shape in list(shapes)}
    found = set()
    for shape in shapes:
        for encoding in _ENCODINGS:
            try:
                found.add(shape.encode(encoding).lower())
            except UnicodeEncodeError:
                continue
    return tuple(sorted(found))


def _in(content: bytes, patterns: Patterns) -> str:
    """Give the first word that stands in a content in small letters; empty when there is none."""
    # in a table of a database words stand without anything between them; and in UTF-16 there are always zeros
    is_text = b"\0" not in content
    for word, (shapes, alone) in patterns.items():
        narrow_or_all = (shape for shape in shapes if not (is_text and b"\0" in shape))
        if any(_holds(content, shape, whole=is_text or alone) for shape in narrow_or_all):
            return word
    return ""


def found_in(texts: Iterable[str], words: Words) -> str:
    """Give the first of the words that stands in a text; empty when there is none."""
    patterns = _all_patterns(words)
    return next((found for text in texts if (found := _in(text.encode(errors="replace").lower(), patterns))), "")


def found_in_file(path: Path, words: Words) -> str:
    """Give the first of the words that stands in a file; empty when there is none."""
    return _in_file(path, _all_patterns(words))


def _holds(content: bytes, shape: bytes, *, whole: bool) -> bool:
    """Tell whether a shape stands in a content; a whole word is no part of a longer one."""
    at = content.find(shape)
    while at >= 0:
        before, after = content[max(at - 1, 0) : at], content[at + len(shape) : at + len(shape) + 1]
        if not (whole and (_joins(before, shape[:1]) or _joins(shape[-1:], after))):
            return True
        at = content.find(shape, at + 1)
    return False


def _joins(left: bytes, right: bytes) -> bool:
    return bool(left and right) and left[0] in _LETTERS and right[0] in _LETTERS


def _in_file(path: Path, patterns: Patterns) -> str:
    status = path.lstat()
    if stat.S_ISLNK(status.st_mode):
        return _in(os.fsencode(path.readlink()).lower(), patterns)
    if not stat.S_ISREG(status.st_mode):
        return ""
    overlap = max([len(shape) for shapes, _ in patterns.values() for shape in shapes], default=0) + 1
    with path.open("rb") as source:
        content = source.read(_CHUNK)
        for part in _unpacked(path, content) if status.st_size <= _CHUNK else ():
            if found := _in(part.lower(), patterns):
                return found
        while content:
            if found := _in(content.lower(), patterns):
                return found
            new = source.read(_CHUNK)
            content = content[-overlap:] + new if new else b""
    return ""


# --- packed files -----------------------------------------------------------------------------------------------------
def _unpacked(path: Path, content: bytes) -> Iterator[bytes]:
    """Give what is packed in a workbook, a PDF or a letter; a damaged one has been searched as it lies there."""
    try:
        if content.startswith(b"PK"):
            yield from _members(content)
        elif b"%PDF-" in content[:1024]:
            yield from _streams(content)
        elif path.suffix.lower() == ".eml":
            yield _letter(content)
    except (zipfile.BadZipFile, zlib.error, ValueError, LookupError, RuntimeError, NotImplementedError, EOFError):
        return


def _members(content: bytes) -> Iterator[bytes]:
    left = _MOST_UNPACKED
    with zipfile.ZipFile(BytesIO(content)) as packed:
        for member in packed.infolist():
            yield member.filename.encode(errors="replace")
            with packed.open(member) as source:
                part = source.read(left)
            left -= len(part)
            yield part


def _streams(content: bytes) -> Iterator[bytes]:
    left = _MOST_UNPACKED
    for start in _PDF_STREAM.finditer(content):
        if left <= 0:
            return
        try:
            end = content.find(b"endstream", start.end())
            part = zlib.decompressobj().decompress(content[start.end() : end], left)
        except zlib.error:  # a picture, or the word itself in a text
            continue
        left -= len(part)
        yield part


def _letter(content: bytes) -> bytes:
    """Give the headers and texts of a letter; the report it carries lies beside it as well."""
    letter = email.message_from_bytes(content, policy=policy.default)
    texts = [part.get_content() for part in letter.walk() if part.get_content_maintype() == "text"]
    return "\n".join([*(str(value) for value in letter.values()), *texts]).encode(errors="replace")
