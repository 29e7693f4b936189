"""`baywright init DIR`."""

import argparse

from pipeline.commands.console import add_folder, typed_in


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.epilog = "example:\n  baywright init ~/fitting-studio"


def run(given: argparse.Namespace) -> int:
    """Make the folders; what is there stays as it is."""
    from pipeline.studio import create

    studio = create(given.folder)
    print(f"Studio folder: {studio.root.resolve()}")
    print("  studio.toml  your name, units, paper: open it in a text editor")
    print("  inbox/       drop shot files here")
    print("  outbox/      one folder a visit")
    print("  set-back/    files that could not be used, each with a note")
    print(f"Next: baywright watch {typed_in(given.folder)}")
    return 0
