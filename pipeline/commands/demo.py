"""`baywright demo [DIR]`."""

import argparse
from pathlib import Path

from pipeline.commands.console import typed_in
from pipeline.plurals import many


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    parser.add_argument("folder", type=Path, nargs="?", metavar="DIR", help="a new folder (default: baywright-demo)")
    parser.epilog = "All golfers, clubs and shots of the example are invented.\nexample:\n  baywright demo"


def _new_folder(wanted: Path | None) -> Path:
    """Give the folder asked for, or the first free baywright-demo."""
    from pipeline.errors import FolderError

    if wanted is not None:
        if wanted.exists() and not (wanted.is_dir() and not any(wanted.iterdir())):
            msg = f"{wanted} is there already and is no empty folder. Name a new folder."
            raise FolderError(msg)
        return wanted
    place, number = Path("baywright-demo"), 2
    while place.exists():
        place, number = Path(f"baywright-demo-{number}"), number + 1
    return place


def run(given: argparse.Namespace) -> int:
    """Make a studio, drop the example visits into it, make their reports."""
    import shutil
    import time

    from pipeline.resources import folder
    from pipeline.studio import create, lock, opened
    from pipeline.workshop import SHARED

    place = _new_folder(given.folder)
    start = time.monotonic()
    SHARED.prepare()  # it loads while we load the rest
    print("1 of 3  a studio folder, with three visits of invented golfers dropped into it")
    studio = create(place)
    shutil.copy(folder("inbox_example") / "studio.toml", place / "studio.toml")
    for item in sorted(folder("inbox_example").iterdir()):
        if item.is_dir():
            shutil.copytree(item, studio.inbox / item.name)
        elif item.name not in ("README.md", "studio.toml"):
            shutil.copy(item, studio.inbox / item.name)
    print("2 of 3  reading, checking and working out the visits, making their reports", flush=True)
    import pipeline.inbox  # noqa: F401 - the rest
    from pipeline.commands.process import work_off

    SHARED.version()

    studio, settings = opened(place)
    held = lock(studio)
    try:
        events = work_off(studio, settings, [])
    finally:
        held.release()
    made = [event for event in events if event.kind == "reported"]
    print(f"3 of 3  {many(len(made), 'report')} in {time.monotonic() - start:.1f} s. Open them:")
    for event in made:
        print(f"        {event.place.resolve() if event.place else ''}")
    print(f"Try it yourself: baywright watch {typed_in(place)}   then drop a file into {studio.inbox}")
    return next((event.exit_code for event in events if event.exit_code), 0)
