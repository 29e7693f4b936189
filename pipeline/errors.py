"""What can go wrong for a caller, with one exit code a class.

Faults in the data are values (see records.Refusal); these exceptions mean that the job itself cannot be done.
"""

import traceback
from pathlib import Path


class PipelineError(Exception):
    """Base of every fault we expect: says what, where and what to do."""

    exit_code = 1


class UnreadableFileError(PipelineError):
    """The file is no table of shots."""

    exit_code = 2


class MappingError(PipelineError):
    """A column or unit needs an answer from a person."""

    exit_code = 3


class TooFewShotsError(PipelineError):
    """Nothing is left to report on."""

    exit_code = 4


class ReportError(PipelineError):
    """The PDF could not be made."""

    exit_code = 5


class SettingsError(PipelineError):
    """studio.toml or visit.toml says something we do not understand."""

    exit_code = 6


class FolderError(PipelineError):
    """A folder is missing, in use or not writable."""

    exit_code = 7


class MissingPartError(PipelineError):
    """A system library or package is not installed on this machine."""

    exit_code = 8


class LetterError(PipelineError):
    """The letter cannot be sent, or it is not known whether it was."""

    exit_code = 9


class NotErasedError(PipelineError):
    """A word of what was erased is still found somewhere."""

    exit_code = 10


USAGE_EXIT_CODE = 64  # the command line was not understood (EX_USAGE of sysexits)
INTERNAL_EXIT_CODE = 70  # a fault of ours (EX_SOFTWARE of sysexits)


def trail(fault: BaseException) -> str:
    """Say in one line what kind of fault it was and where; not its text, which may hold words of a customer's file."""
    frames = traceback.extract_tb(fault.__traceback__)
    places = [f"{Path(frame.filename).name} line {frame.lineno}" for frame in frames]
    return ", from ".join([type(fault).__name__, *reversed(places)])
