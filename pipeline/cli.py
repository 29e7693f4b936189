"""The command `baywright`: words in, exit code out; libraries are imported only by the command that needs them."""

import argparse
import io
import os
import re
import sys
from importlib import import_module
from typing import NoReturn

from pipeline import __version__
from pipeline.errors import INTERNAL_EXIT_CODE, USAGE_EXIT_CODE, PipelineError

COMMANDS = {
    "demo": "make an example studio and its reports, from start to finish",
    "init": "make a studio folder",
    "watch": "watch a studio's drop folder and make a report of whatever comes",
    "desk": "open the staff's desk in the browser, and watch",
    "process": "work off a studio's drop folder once",
    "status": "say how a studio is: what waits, what needs you",
    "check": "show how a shot file is read, without making anything",
    "answer": "answer what a held file asks, once for all files of its layout",
    "report": "make a report anew and keep the former version",
    "letter": "show the letter of a report, or send it",
    "forget": "erase a customer's data, and search for what is left",
    "whatif": "say what would become of a golfer's shot if one thing changed",
    "models": "say which club models perform over all customers",
    "fly": "fly a ball through air and over ground",
    "doctor": "say what is missing on this machine and how to get it",
}
EXIT_CODES = """exit codes:
  0 done   2 file unreadable   3 an answer is needed   4 too few shots   5 report not made   6 setting not understood
  7 folder missing or in use   8 part missing on this machine   9 letter not sent   10 not all erased
  64 command not understood   70 a fault of ours"""


class _Parser(argparse.ArgumentParser):
    """A parser whose usage faults have an exit code of their own."""

    def error(self, message: str) -> NoReturn:
        """Say what was not understood."""
        self.print_usage(sys.stderr)
        self.exit(USAGE_EXIT_CODE, f"{self.prog}: {message}. See {self.prog} --help\n")


def _parser(wanted: str | None) -> argparse.ArgumentParser:
    """Build the parser; only the wanted command's module is imported."""
    parser = _Parser(
        prog="baywright",
        description="From a folder of shot files to a fitting report.",
        epilog=f"example:\n  baywright demo\n\n{EXIT_CODES}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"baywright {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="command", required=True)
    for name, text in COMMANDS.items():
        command = commands.add_parser(
            name, help=text, description=text[0].upper() + text[1:] + ".", formatter_class=argparse.RawTextHelpFormatter
        )
        if name == wanted:
            import_module(f"pipeline.commands.{name}").configure(command)
    return parser


def _joined(words: list[str]) -> list[str]:
    """Join an option and a negative quantity (--wind -3m/s), which would look like another option."""
    out: list[str] = []
    for word in words:
        if out and out[-1].startswith("--") and re.match(r"-\.?\d", word):
            out[-1] += f"={word}"
        else:
            out.append(word)
    return out


def _print_anything() -> None:
    """Let a console that lacks a character show a mark in its place, rather than stop the program."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def main(arguments: list[str] | None = None) -> int:
    """Run a command and give its exit code."""
    _print_anything()
    words = _joined(sys.argv[1:] if arguments is None else arguments)
    wanted = next((word for word in words if word in COMMANDS), None)
    given = _parser(wanted).parse_args(words)
    try:
        code = int(import_module(f"pipeline.commands.{given.command}").run(given))
        sys.stdout.flush()
    except PipelineError as fault:
        print(f"baywright: {fault}", file=sys.stderr)
        return fault.exit_code
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of our output has gone: what is left in the buffer goes nowhere
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception:  # noqa: BLE001 - the last net: a plain sentence for staff, the traceback for us
        import traceback

        traceback.print_exc()
        print("baywright: a fault of ours, not of your files. Please pass on the lines above.", file=sys.stderr)
        return INTERNAL_EXIT_CODE
    return code
