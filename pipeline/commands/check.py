"""`baywright check FILE`."""

import argparse
import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.commands.console import printable
from pipeline.errors import FolderError, MappingError, SettingsError, TooFewShotsError, UnreadableFileError
from pipeline.plurals import many

if TYPE_CHECKING:
    from pipeline.records import ColumnUse, FileReading, Given

_GIVEN_HELP = """what is known beforehand, as JSON:
{"handed": "left", "units": {"speed": "mph"}, "columns": {"Speed": "ball_speed_mps"}}"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the shot file")
    parser.add_argument("--given", type=Path, metavar="FILE.json", help=_GIVEN_HELP)
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of tables")
    parser.epilog = "Nothing is written.\nexample:\n  baywright check tuesday.csv"


def bytes_of(path: Path) -> bytes:
    """Read a file named on the command line."""
    try:
        return path.read_bytes()
    except OSError as fault:
        msg = f"{path}: cannot be read: {fault.strerror}."
        raise FolderError(msg) from fault


def _given(path: Path | None) -> "Given":
    """Read --given; raises SettingsError for anything that would be passed over in silence."""
    from pipeline.records import Given
    from pipeline.strict_toml import Place, check_keys

    if path is None:
        return Given()
    try:
        known = json.loads(bytes_of(path))
    except ValueError as fault:
        msg = f"{path}: not readable as JSON: {fault}."
        raise SettingsError(msg) from fault
    if not isinstance(known, dict) or not all(isinstance(known.get(key, {}), dict) for key in ("units", "columns")):
        msg = f"{path}: a JSON object is wanted, with handed, units and columns; the last two are objects themselves."
        raise SettingsError(msg)
    check_keys(known, ("handed", "units", "columns"), Place(str(path), ""))
    given = Given(**known)
    _check_given(given, path)
    return given


def _check_given(given: "Given", path: Path) -> None:
    from pipeline.schema import measurements, text_fields
    from pipeline.strict_toml import Place, check_keys
    from pipeline.units import spelled, units

    place = Place(str(path), "")
    if given.handed not in (None, "right", "left"):
        msg = f'{path}: handed must be "right" or "left".'
        raise SettingsError(msg)
    check_keys(given.units, units(), place)
    for dimension, name in given.units.items():
        if spelled(str(name), dimension) is None:
            msg = f"{path}: {name!r} is no unit of {dimension}. Known: {', '.join(units()[dimension])}."
            raise SettingsError(msg)
    check_keys([str(name) for name in given.columns.values() if name], (*measurements(), *sorted(text_fields())), place)


def run(given: argparse.Namespace) -> int:
    """Show what each column became and what each line's fate is."""
    from pipeline.reading import as_json, read_shot_file
    from pipeline.records import ShotFile

    known = _given(given.given)
    reading = read_shot_file(ShotFile(given.file.name, bytes_of(given.file)), known)
    if given.json:
        said = {name: value for name, value in asdict(known).items() if value}
        print(json.dumps({"given": said, **as_json(reading)}, indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(printable(line) for line in lines(reading)))
    return _exit_code(reading)


def _exit_code(reading: "FileReading") -> int:
    if reading.outcome == "ok":
        return 0 if reading.shots.height else TooFewShotsError.exit_code
    return MappingError.exit_code if reading.outcome == "needs_mapping" else UnreadableFileError.exit_code


def lines(reading: "FileReading") -> list[str]:
    """Write the reading as a fitter would want to see it."""
    from pipeline.session import device_check
    from pipeline.settings import load
    from pipeline.staff_words import device_note, explain

    heads = {
        "ok": "read",
        "needs_mapping": "held: a question must be answered first",
        "retry": "waits: looks half-written",
    }
    out = [f"{reading.name}: {heads.get(reading.outcome, 'cannot be used')}"]
    if reading.fault:
        out += [f"  {part}" for part in explain(reading)]
    out += _dialect(reading)
    if reading.columns:
        out += ["", f"  {'column':34} {'became':24} {'unit':6} unit from", *(_column(use) for use in reading.columns)]
    out += [f"  {name[:34]:34} (kept aside, not used)" for name in reading.unmapped]
    if reading.outcome == "ok":
        out += ["", f"  {many(reading.shots.height, 'shot')} can be used"]
        out += [f"  {device_note(check)}" for check in device_check(reading, load())]
    out += [f"  line {row.line}: not used: {_why(row.reason, row.column)}" for row in reading.rejected]
    out += [f"  line {row.line}: one cell left out: {_why(row.reason, row.column)}" for row in reading.bad_cells]
    out += [f"  line {row.line}: no shot: {_why(row.reason, None)}" for row in reading.dropped]
    return out + [f"  note: {_why(warning, None)}" for warning in reading.warnings]


def _dialect(reading: "FileReading") -> list[str]:
    d = reading.dialect
    if d.header_line is None:
        return []
    names = {",": "comma", ";": "semicolon", "\t": "tab", "|": "upright bar", None: "none"}
    marks = {".": "dot", ",": "comma", None: "none seen"}
    units = f", units on line {d.units_line}" if d.units_line else ""
    between = f"columns parted by {names.get(d.delimiter, d.delimiter)}"
    return [
        f"  {d.encoding}, {between}, decimal {marks.get(d.decimal, d.decimal)}, heading on line {d.header_line}{units}"
    ]


def _column(use: "ColumnUse") -> str:
    source = {"header": "heading", "units_row": "units row", "none": "–"}.get(use.unit_from, use.unit_from)
    return f"  {use.header[:34]:34} {use.field:24} {use.unit or '–':6} {source}"


def _why(reason: str, column: str | None) -> str:
    words = reason.replace("_", " ")
    return f"{words} under '{column}'" if column else words
