"""`baywright status DIR [--json]`."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.commands.console import add_folder, plain_ledger, printable, typed_in
from pipeline.errors import FolderError, PipelineError
from pipeline.plurals import many

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.ledger import Ledger
    from pipeline.settings import Settings
    from pipeline.status import Held, Status
    from pipeline.studio import Studio

_MOST_NAMED = 10
_LETTERS = {
    "sent": ", letter sent",
    "begun": ", letter: it is not known whether it was sent",
    "not sent": ", letter not sent by this program",
}
_HEADS = {
    "worked on": "Is being worked on",
    "waits": "Waits for its turn",
    "half-written": "Looks half-written and waits for its end",
}
_WATCHER = {
    "busy": "Another baywright command is at work on this folder, or a watcher is starting.",
    "never": "No watcher has run on this folder yet.",
    "stopped": "No watcher runs. It was stopped at {since}.",
    "ended": "No watcher runs. It ended without being stopped (killed, switched off or a fault) after {since}.",
    "running": "A watcher runs since {since}. Its last look was {ago} ago.",
    "silent": "The watcher that started at {since} does not answer: its last look is {ago} old.",
}


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.add_argument("--json", action="store_true", help="the same for other programs, see README")
    parser.epilog = (
        "Changes nothing, and may be asked while a watcher runs.\n"
        "Gives 0 when all is well, else: 7 no watcher runs, or the folder or disk needs you; 6 a setting is not\n"
        "understood; 3 an answer is needed; 2 a visit was set back. The gravest one counts.\n"
        "example:\n  baywright status ~/fitting-studio"
    )


def run(given: argparse.Namespace) -> int:
    """Say how the studio is."""
    import datetime as dt

    from pipeline.status import collect
    from pipeline.studio import Studio

    studio = Studio(given.folder)
    settings, ledger, faults = _opened(studio)
    try:
        found = collect(studio, settings, ledger, tuple(faults), dt.datetime.now(dt.UTC))
    except OSError as fault:
        msg = f"{studio.root}: cannot be looked at ({fault.strerror or fault})."
        raise FolderError(msg) from fault
    finally:
        if ledger:
            ledger.close()
    if given.json:
        _print_json(found)
    else:
        for line in sentences(found):
            print(printable(line))
    return found.exit_code


def _print_json(found: "Status") -> None:
    import json
    from dataclasses import asdict

    print(json.dumps(asdict(found), indent=1, ensure_ascii=True))


def _opened(studio: "Studio") -> "tuple[Settings | None, Ledger | None, list[str]]":
    """Read the settings and open the ledger, without making what is missing; what cannot be read is a fault to tell."""
    from pipeline.studio import settings_of

    try:
        known = studio.outbox.is_dir() or studio.inbox.is_dir()
    except OSError:
        known = True
    if not known:
        msg = f'{studio.root} is no studio folder. Make one with: baywright init "{studio.root}"'
        raise FolderError(msg)
    settings, ledger, faults = None, None, []
    try:
        settings = settings_of(studio)
        if (studio.work / ("studio-id" if settings.ledger else "ledger.sqlite3")).exists():
            ledger = plain_ledger(studio, settings, alone=False)
    except PipelineError as fault:
        faults.append(str(fault))
    return settings, ledger, faults


# --- in words ---------------------------------------------------------------------------------------------------------
def sentences(found: "Status") -> "Iterator[str]":
    """Say it in plain sentences, the health line last."""
    yield f"Studio {found.studio}, {local(found.at)}"
    yield from _watcher(found)
    yield from _folders(found)
    yield from _with_notes("Waits for your answer", found.held)
    yield from _with_notes("Set back", found.set_back)
    if found.archived or found.not_archived:
        left = f"; {found.not_archived:,} could not be read" if found.not_archived else ""
        yield f"Old exports in the archive, without reports: {found.archived:,}{left}."
    if found.backlog:
        command = f"baywright process {typed_in(Path(found.studio))} --backlog"
        yield f"Reading old exports is not at its end; until it is the watcher leaves them alone. Go on with: {command}"
    if found.reports:
        yield "The newest reports:"
        for report in found.reports:
            version = f", version {report.version}" if report.version > 1 else ""
            yield f"  {report.folder}{version}{_LETTERS.get(report.letter, '')}"
    yield from found.drifting
    for fault in found.faults:
        yield f"Not understood: {fault}"
    yield f"Free on the disk: {found.free_bytes / 1e9:.1f} GB."
    yield f"Needs you: {'; '.join(found.needs)}." if found.needs else "All is well."


def _watcher(found: "Status") -> "Iterator[str]":
    watcher = found.watcher
    since, ago = local(watcher.since or found.at), span(watcher.looked_ago_s or 0)
    yield _WATCHER[watcher.state].format(since=since, ago=ago)
    if watcher.working_on and watcher.working_since:
        yield f"It works on visit {watcher.working_on} since {local(watcher.working_since)}."
    if watcher.hints:
        why = f": {watcher.hints_why}" if watcher.hints_why else ""
        events = "File events tell it of new files at once, and it looks by itself as well."
        yield events if watcher.hints == "events" else f"It finds new files by looking alone{why}."
    for trouble in watcher.trouble:
        yield f"Trouble: {trouble}"


def _folders(found: "Status") -> "Iterator[str]":
    if found.not_taken is None:
        yield "The drop folder inbox/ cannot be looked at."
    elif found.not_taken:
        yield f"Lies in inbox/ and is not taken yet: {listed(found.not_taken)}."
    for state, head in _HEADS.items():
        named = [visit.name for visit in found.waiting if visit.state == state]
        if named:
            yield f"{head}: {listed(named)}."
    if found.not_taken == () and not found.waiting:
        yield "Nothing waits in inbox/."


def _with_notes(head: str, visits: "Sequence[Held]") -> "Iterator[str]":
    for visit in visits[:_MOST_NAMED]:
        yield f"{head}: {visit.name}. {visit.what}"
        if visit.command:
            yield f"  Answer, with yours in place of …: {visit.command}"
        elif visit.to_do:
            yield f"  {visit.to_do}"
    if len(visits) > _MOST_NAMED:
        yield f"{head}: {len(visits) - _MOST_NAMED} more, see the notes in set-back/."


def listed(names: "Sequence[str]") -> str:
    """Name the first ones, and count the rest."""
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def local(moment: str) -> str:
    """Write a moment by the clock on the wall."""
    import datetime as dt

    return dt.datetime.fromisoformat(moment).astimezone().strftime("%Y-%m-%d %H:%M")


def span(seconds: float) -> str:
    """Write a length of time in the unit a person would choose."""
    for size, unit in ((86_400, "day"), (3_600, "hour"), (60, "minute")):
        if seconds >= size:
            return many(int(seconds // size), unit)
    return many(round(seconds), "second")
