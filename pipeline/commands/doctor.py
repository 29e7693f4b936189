"""`baywright doctor [DIR]`."""

import argparse
import sys
from pathlib import Path

from pipeline.errors import FolderError, MissingPartError, PipelineError


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
    for name in ("polars", "pandera", "numpy", "scipy", "jinja2", "sqlalchemy", "watchdog", "filelock"):
        try:
            import_module(name)
            versions.append(f"{name} {metadata.version(name)}")
        except ImportError as fault:
            msg = f"the package {name} is missing ({fault}). Install again: pip install --force-reinstall baywright"
            raise MissingPartError(msg) from fault
    return ", ".join(versions)


def _pdf() -> str:
    from pipeline import pdf

    made = pdf.make("<!DOCTYPE html><html lang='en'><title>doctor</title><body><p>doctor</p></body></html>", "doctor")
    return f"a test page of {len(made)} bytes was made (renderer {pdf.load()})"


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
    return f"{settings.name}: folders there and writable, {free:.0f} GB free"


def _events(root: Path) -> str:
    import threading

    from pipeline.watcher import start_hints

    stop = start_hints(root, threading.Event())
    if stop is None:
        return "no file events to be had; the folder is looked at every scan_seconds instead, nothing is lost"
    stop()
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
