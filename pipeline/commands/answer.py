"""`baywright answer FILE`."""

import argparse
import difflib
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import FolderError, MappingError, SettingsError, UnreadableFileError

if TYPE_CHECKING:
    from pipeline.records import FileReading, Given
    from pipeline.studio import Studio

_ASIDE = "aside"
_PER_COLUMN = (
    ("--unit", "HEADING=UNIT", "unit of a column, such as 'Carry=yd'"),
    (
        "--column",
        "HEADING=NAME",
        "what a column is, such as 'Speed=ball_speed_mps',\nor 'Speed=aside' to leave it aside",
    ),
    ("--sign", "HEADING=WORD", "what + means in a column: right, left, up, down,\nin-out, out-in, open, closed"),
)


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    parser.add_argument("file", type=Path, metavar="FILE", help="a held file: its copy in set-back/, or that in inbox/")
    for option, shape, text in _PER_COLUMN:
        parser.add_argument(option, action="append", default=[], metavar=shape, help=text)
    parser.add_argument("--hand", choices=("right", "left"), help="playing hand the words of the file are for")
    parser.add_argument("--decimal", choices=("dot", "comma"), help="which mark is the decimal mark")
    parser.add_argument("--dates", choices=("day-first", "month-first"), help="order of day and month")
    parser.add_argument("--name", help="name of the layout, for people (default: that of the file)")
    parser.epilog = (
        "The answers are kept in work/profiles and hold for every file with the same headings, also later ones.\n"
        "All held files with the same headings are tried again.\n"
        'example:\n  baywright answer ~/studio/set-back/tuesday.csv --unit "Ball speed=mph" --unit "Carry=yd"'
    )


def run(given: argparse.Namespace) -> int:
    """Keep the answers, and try the held files again."""
    from pipeline import answers, profiles
    from pipeline.commands.check import lines

    studio = _studio_of(given.file)
    reading = _read(given.file)
    answered = _given(given, reading)
    layout = profiles.Profile(given.name or given.file.stem, profiles.fingerprint(reading.header), answered)
    checked = profiles.parse(profiles.written(layout), "answer")  # the same checks as for a profile edited by hand
    place = answers.save(studio.profiles, checked)
    print(f"kept in {place}")
    again = _read(given.file, answers.load(place).given)
    print("\n".join(lines(again)))
    _work_off(studio)
    return 0 if again.outcome == "ok" else MappingError.exit_code


def _studio_of(file: Path) -> "Studio":
    """Find the studio a file lies in."""
    from pipeline.studio import Studio

    for folder in file.resolve().parents:
        if (folder / "inbox").is_dir() and (folder / "outbox").is_dir():
            return Studio(folder)
    msg = f"{file}: it does not lie in a studio folder. Name the copy in set-back/, or the file in inbox/."
    raise FolderError(msg)


def _read(file: Path, given: "Given | None" = None) -> "FileReading":
    from pipeline.commands.check import bytes_of
    from pipeline.reading import read_shot_file
    from pipeline.records import Given, ShotFile

    reading = read_shot_file(ShotFile(file.name, bytes_of(file)), given or Given())
    if not reading.header:
        msg = f"{file}: no headings were found in it, so there is nothing to answer."
        raise UnreadableFileError(msg)
    return reading


def _pairs(texts: Sequence[str], option: str, header: Sequence[str]) -> dict[str, str]:
    """Split HEADING=ANSWER; raises SettingsError naming the nearest heading."""
    found = {}
    for text in texts:
        heading, equals, answer = text.rpartition("=")
        heading = " ".join(heading.split())
        if not equals or not heading:
            msg = f"{option} {text!r}: write HEADING=ANSWER."
            raise SettingsError(msg)
        if heading not in header:
            near = difflib.get_close_matches(heading, header, 1, 0.5)
            hint = f"Did you mean {near[0]!r}?" if near else f"The headings are: {', '.join(header)}."
            msg = f"{option} {text!r}: the file has no heading {heading!r}. {hint}"
            raise SettingsError(msg)
        found[heading] = answer.strip()
    return found


def _given(given: argparse.Namespace, reading: "FileReading") -> "Given":
    from pipeline.records import Given

    columns = _pairs(given.column, "--column", reading.header)
    answered = Given(
        handed=given.hand,
        columns={heading: "" if name == _ASIDE else name for heading, name in columns.items()},
        column_units=_pairs(given.unit, "--unit", reading.header),
        column_signs=_pairs(given.sign, "--sign", reading.header),
        decimal={"dot": ".", "comma": ",", None: None}[given.decimal],
        date_order={"day-first": "dmy", "month-first": "mdy", None: None}[given.dates],
    )
    if answered == Given():
        msg = "nothing was answered. Name at least one of --unit, --column, --sign, --hand, --decimal, --dates."
        raise SettingsError(msg)
    return answered


def _work_off(studio: "Studio") -> None:
    """Try the held files again, unless a running watcher will."""
    from pipeline.commands.process import work_off
    from pipeline.studio import lock, opened

    opened_studio, settings = opened(studio.root)
    try:
        held = lock(opened_studio)
    except FolderError:
        print("the running watcher takes the held files up by itself")
        return
    try:
        work_off(opened_studio, settings, files=[])
    finally:
        held.release()
