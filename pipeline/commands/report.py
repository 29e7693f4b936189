"""`baywright report DIR VISIT [--facts FILE]`."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.commands.console import add_folder, lock_for_now, open_ledger, open_logo, printable
from pipeline.errors import FolderError, SettingsError

if TYPE_CHECKING:
    from pipeline.archive import Archive
    from pipeline.issuing import Again
    from pipeline.records import Refusal
    from pipeline.settings import Settings
    from pipeline.studio import Studio


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.add_argument("visit", metavar="VISIT", help="name of the report's folder in outbox/, or a part only it has")
    parser.add_argument(
        "--facts", type=Path, metavar="FILE", help="a corrected visit.toml, used from now on instead of the one before"
    )
    parser.epilog = (
        "Works from the kept copies of what was dropped, with studio.toml and the answers as they are today.\n"
        "The new version takes the former one's place in outbox/; the former one is kept in earlier/, whole.\n"
        "When nothing in the report would change, no version is made.\n"
        'example:\n  baywright report ~/fitting-studio "customer 0142" --facts visit.toml'
    )


def run(given: argparse.Namespace) -> int:
    """Make the report again; say which version came of it."""
    from pipeline.studio import opened
    from pipeline.workshop import SHARED

    SHARED.prepare()  # it loads while we load the rest
    studio, settings = opened(given.folder)
    facts = _facts(given.facts)
    SHARED.version()
    held = lock_for_now(studio)
    try:
        return _issue(studio, settings, given.visit, facts)
    except OSError as fault:
        msg = f"{studio.root}: the disk or a folder refused: {fault.strerror or fault}. No new version was made."
        raise FolderError(msg) from fault
    finally:
        held.release()


def _facts(path: Path | None) -> bytes | None:
    """Read and check a corrected visit.toml, before anything is done with it."""
    from pipeline import strict_toml, visit_facts
    from pipeline.commands.check import bytes_of

    if path is None:
        return None
    content = bytes_of(path)
    if len(content) > visit_facts.LARGEST:
        msg = f"{path}: too large for a {visit_facts.FILE_NAME}."
        raise SettingsError(msg)
    visit_facts.read(strict_toml.decode(content, str(path)), str(path))
    return content


def _issue(studio: "Studio", settings: "Settings", visit: str, facts: bytes | None) -> int:
    import datetime as dt

    from pipeline import issuing
    from pipeline.answers import Answers
    from pipeline.archive import Archive
    from pipeline.commands.report_folder import find
    from pipeline.records import Refusal
    from pipeline.studio import sweep
    from pipeline.workshop import SHARED

    sweep(studio)
    place = find(studio, visit)
    answers = Answers()
    for fault in answers.look(studio.profiles):
        raise SettingsError(fault)
    ledger = open_ledger(studio, settings, alone=True)
    try:
        outcome = issuing.again(
            studio, ledger, place, settings=settings, logo=open_logo(studio, settings),
            answers=answers.by_layout, today=dt.datetime.now().astimezone().date(), facts=facts, workshop=SHARED,
        )  # fmt: skip
        if isinstance(outcome, issuing.Again) and (outcome.new or outcome.kept):
            _file(Archive(studio, settings, ledger, SHARED), place)
    finally:
        ledger.close()
    if isinstance(outcome, Refusal):
        return _refused(outcome)
    _say(place, outcome)
    return 0


def _file(archive: "Archive", place: Path) -> None:
    """File the shots as they now are; what fails is made up for by the daily upkeep."""
    from contextlib import suppress

    from pipeline import issuing
    from pipeline.errors import ReportError

    known = issuing.issued(place)
    if known:
        with suppress(OSError, ReportError):
            archive.file_last(known.visit_id)


def _refused(refusal: "Refusal") -> int:
    said = " ".join(part for part in (refusal.where + ":", refusal.what, refusal.to_do) if part)
    print(f"baywright: {printable(said)} No new version was made.", file=sys.stderr)
    return refusal.exit_code


def _say(place: Path, outcome: "Again") -> None:
    from pipeline.studio import EARLIER

    report = place / "report.pdf"
    if outcome.new:
        former = outcome.version - 1
        lines = [
            f"version {outcome.version} → {report}",
            f"version {former} is kept in {place / EARLIER / f'version {former}'}",
        ]
        lines += [f"({outcome.message})"]
    else:
        what = (
            "the facts are kept, and the report says nothing of what changed" if outcome.kept else "nothing has changed"
        )
        lines = [f"{what}: version {outcome.version} stands → {report}"]
        if outcome.letter_differs:
            lines += ["letter.eml beside it is not what would be made now; delete it and run this again to get it anew"]
    for line in lines:
        print(printable(line))
