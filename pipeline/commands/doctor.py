"""`baywright doctor [DIR]`."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import FolderError, MissingPartError, PipelineError
from pipeline.plurals import many

if TYPE_CHECKING:
    from pipeline.settings import Settings
    from pipeline.studio import Studio


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    parser.add_argument("folder", type=Path, nargs="?", metavar="DIR", help="a studio folder to look at as well")
    parser.epilog = "example:\n  baywright doctor ~/fitting-studio"


def _python() -> str:
    if sys.version_info < (3, 11):  # noqa: UP036 - a wrong interpreter is one thing to find out here
        msg = f"Python {sys.version.split()[0]} is too old: 3.11 or newer is needed."
        raise MissingPartError(msg)
    return f"Python {sys.version.split()[0]}"


def _packages() -> str:
    from importlib import import_module, metadata

    versions = []
    names = ("polars", "pandera", "numpy", "scipy", "jinja2", "sqlalchemy", "watchdog", "filelock", "xlsxwriter")
    for name in (*names, "starlette", "uvicorn", "python_multipart"):
        try:
            import_module(name)
            versions.append(f"{name} {metadata.version(name)}")
        except ImportError as fault:
            msg = f"the package {name} is missing ({fault}). Install again: pip install --force-reinstall baywright"
            raise MissingPartError(msg) from fault
    return ", ".join(versions)


def _pdf() -> str:
    from pipeline.workshop import SHARED

    made = SHARED.draw(
        "<!DOCTYPE html><html lang='en'><title>doctor</title><body><p>doctor</p></body></html>", "doctor"
    )
    return f"a test page of {len(made)} bytes was made (renderer {SHARED.version()})"


def _studio(root: Path) -> str:
    import shutil

    from pipeline.studio import opened, write_file

    studio, settings = opened(root)
    probe = studio.work / "doctor"
    try:
        write_file(probe, b"doctor")
        probe.unlink()
    except OSError as fault:
        msg = f"{studio.work} cannot be written to: {fault.strerror}."
        raise FolderError(msg) from fault
    free = shutil.disk_usage(studio.work).free / 1e9
    known = f"{free:.0f} GB free, {_visits(studio, settings)}"
    return f"{settings.name}: folders there and writable, {known}{_open_note(studio)}"


def _visits(studio: "Studio", settings: "Settings") -> str:
    """Open the ledger, wherever it lies, and say how much it knows."""
    from pipeline.commands.console import open_ledger

    ledger = open_ledger(studio, settings)
    try:
        count = sum(many for many, _ in ledger.tally().values())
    finally:
        ledger.close()
    return f"the ledger {'in PostgreSQL ' if settings.ledger else ''}knows {many(count, 'visit')}"


def _open_note(studio: "Studio") -> str:
    """Say which folders anyone on this computer may look into; the drop folder is as the device needs it."""
    from pipeline.studio import open_to_others

    places = open_to_others(studio)
    named = ", ".join(f"{place.name}/" for place in places)
    return f"; anyone on this computer may look into {named}: if that is not wanted, chmod o= on it" if places else ""


def _events(root: Path) -> str:
    import threading

    from pipeline.hints import EVENTS, Hints

    hints = Hints(root, threading.Event())
    hints.start()
    found = hints.source
    hints.stop()
    if found != EVENTS:
        return f"{hints.why}; the folder is looked at every scan_seconds instead, nothing is lost"
    return "file events work"


def run(given: argparse.Namespace) -> int:
    """Try each part and say what is missing; the first fault's class is the exit code."""
    checks = [("Python", _python), ("packages", _packages), ("PDF", _pdf)]
    if given.folder:
        checks += [("studio", lambda: _studio(given.folder))]
        checks += [("watching", lambda: _events(given.folder))] if given.folder.is_dir() else []
    worst = 0
    for name, check in checks:
        try:
            print(f"ok       {name:9} {check()}")
        except PipelineError as fault:
            print(f"missing  {name:9} {fault}")
            worst = worst or fault.exit_code
    print("Everything needed is there." if not worst else "Mend what is marked 'missing', then run this again.")
    return worst
