"""A file's bytes → a source of records, or why it is none."""

from dataclasses import dataclass

from pipeline.reading.bodies import TextSource
from pipeline.reading.decoding import decode, empty_file
from pipeline.reading.delimiters import choose
from pipeline.reading.json_records import json_source, looks_like_json
from pipeline.reading.kinds import kind_of
from pipeline.reading.parts import Decoded, Refused, Source
from pipeline.reading.splitting import lines_of
from pipeline.reading.workbooks import workbook_source
from pipeline.records import Dialect, Fault, ShotFile


@dataclass(frozen=True, slots=True)
class Opened:
    """A source and what was noticed on the way."""

    source: Source
    warnings: frozenset[str] = frozenset()


def open_source(file: ShotFile, profile: frozenset[str]) -> Opened | Refused:
    """Open a file of any kind; profile holds headings that are known beforehand."""
    kind = kind_of(file.content)
    if kind == "empty":
        return empty_file(file.content)
    if kind == "incomplete":
        return Refused(Fault("incomplete_file"))
    if kind == "xlsx":
        workbook = workbook_source(file.content, profile)
        return workbook if isinstance(workbook, Refused) else Opened(workbook)
    if kind != "text":
        return Refused(Fault("not_tabular", {"detected": kind}))
    decoded = decode(file.content)
    if isinstance(decoded, Refused):
        return decoded
    if looks_like_json(decoded.text, file.name):
        found = json_source(decoded.text)
        if found is not None:
            return found if isinstance(found, Refused) else Opened(found.source, found.warnings)
    return _text(decoded, profile)


def _text(decoded: Decoded, profile: frozenset[str]) -> Opened | Refused:
    lines = lines_of(decoded.text)
    choice = choose(lines.texts, profile)
    if choice is None:
        detected = TextSource(decoded.encoding, None, lines, 0, quoted=True).kind
        return Refused(Fault("not_tabular", {"detected": detected}), Dialect(), {}, decoded.warnings)
    source = TextSource(decoded.encoding, choice.delimiter, lines, choice.start, quoted='"' in decoded.text)
    return Opened(source, decoded.warnings)
