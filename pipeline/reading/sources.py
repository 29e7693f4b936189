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
    match kind:
        case "text":
            decoded = decode(file.content)
            return decoded if isinstance(decoded, Refused) else _decoded(decoded, file.name, profile)
        case "xlsx":
            workbook = workbook_source(file.content, profile)
            return workbook if isinstance(workbook, Refused) else Opened(workbook)
        case "empty":
            return empty_file(file.content)
        case "incomplete":
            return Refused(Fault("incomplete_file"))
        case _:
            return Refused(Fault("not_tabular", {"detected": kind}))


def _decoded(decoded: Decoded, name: str, profile: frozenset[str]) -> Opened | Refused:
    if looks_like_json(decoded.text, name):
        found = json_source(decoded.text)
        return found if isinstance(found, Refused) else Opened(found.source, found.warnings)
    return _text(decoded, profile)


def _text(decoded: Decoded, profile: frozenset[str]) -> Opened | Refused:
    lines = lines_of(decoded.text)
    choice = choose(lines.texts, profile)
    if choice is None:
        detected = TextSource(decoded.encoding, None, lines, 0, quoted=True).kind
        return Refused(Fault("not_tabular", {"detected": detected}), Dialect(), {}, decoded.warnings)
    quoted = '"' in decoded.text
    source = TextSource(decoded.encoding, choice.delimiter, lines, choice.start, quoted, choice.sample)
    return Opened(source, decoded.warnings)
