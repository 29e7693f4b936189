"""`baywright forget DIR WHO [--yes]`."""

import argparse
from typing import TYPE_CHECKING

from pipeline.commands.console import add_folder, lock_for_now, open_ledger, printable, typed_in
from pipeline.errors import FolderError, NotErasedError
from pipeline.plurals import many

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from pipeline.forgetting import Plan
    from pipeline.ledger import Ledger
    from pipeline.settings import Settings
    from pipeline.studio import Studio
    from pipeline.traces import Words

_CAUTION = (
    "What must be kept (for taxes, a warranty) and what a customer may ask for is decided by the law where you are.\n"
    "Letters in your mail program, backups and copies elsewhere are yours to delete."
)


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.add_argument(
        "who", metavar="WHO", help="a customer's name, a visit's name, or a report's folder in outbox/ or a part of it"
    )
    parser.add_argument("--yes", action="store_true", help="erase; without this it is only listed")
    parser.add_argument("--inbox", action="store_true", help="erase what was dropped from inbox/ and done/ as well")
    parser.epilog = (
        "Erases reports with all versions, letters, kept originals, notes and every word in the ledger, for good.\n"
        "Then every file of the studio folder is searched for the customer's words; 10 when one is still found.\n"
        f"{_CAUTION}\n"
        'example:\n  baywright forget ~/fitting-studio "Customer 0142"'
    )


def run(given: argparse.Namespace) -> int:
    """List what would be erased; erase it and search for what is left when asked to."""
    from pipeline.studio import opened

    studio, settings = opened(given.folder)
    if not given.yes:
        ledger = open_ledger(studio, settings)
        try:
            _list(given, studio, _plan(studio, ledger, given.who, exactly=False))
        finally:
            ledger.close()
        return 0
    held = lock_for_now(studio)
    try:
        plan, left = _erase(studio, settings, given.who, dropped=given.inbox)
        _prove(studio, plan, left, dropped=given.inbox)
    except OSError as fault:
        msg = (
            f"{studio.root}: the disk or a folder refused: {fault.strerror or fault}. Not all is erased: close what "
            "has a file of it open, then run the same command again."
        )
        raise FolderError(msg) from fault
    finally:
        held.release()
    return 0


# --- which visits -----------------------------------------------------------------------------------------------------
def _plan(studio: "Studio", ledger: "Ledger", who: str, *, exactly: bool) -> "Plan":
    """Find the visits that are meant, with those a killed run had begun to erase, and all that is theirs.

    exactly asks for a whole name: a part of one may fit another visit once the one that was meant is erased.
    """
    from pipeline import forgetting, visit_words
    from pipeline.commands.report_folder import find

    visits = visit_words.visits(studio, ledger)
    begun = {visit.kept.entry.id for visit in visits if visit.kept.entry.state == "forgetting"}
    named = forgetting.named(visits, who)
    if not named and not begun:
        if exactly:
            ledger.close()  # before its file is searched: reading it beside an open ledger would let go of its locks
            raise FolderError(_unknown(studio, who, (word for visit in visits for word in visit.words)))
        named = forgetting.named(visits, find(studio, who).name)
        if not named:
            msg = f"{who!r}: the ledger knows no visit of this folder; delete the folder by hand."
            raise FolderError(msg)
    chosen = forgetting.with_kin(studio, visits, named | begun)
    words = forgetting.words_of(visits, chosen, [who])
    return forgetting.plan(studio, visits, chosen, words, (studio.inbox, studio.done))


def _unknown(studio: "Studio", who: str, others: "Iterable[str]") -> str:
    """Say that nobody is called so, and whether a file still has that name."""
    from pipeline import traces

    msg = f"{who!r}: no customer, visit or report's folder has exactly this name. Nothing was erased."
    words = traces.worth_searching([who], others)
    if not words.searched:
        return msg
    found = traces.search(studio.root, words).traces
    where = "".join(f"\n  {printable(str(trace.path))}" for trace in found)
    return f"{msg} These files have it:{where}" if found else f"{msg} No file of this studio folder has it either."


# --- listing ----------------------------------------------------------------------------------------------------------
def _list(given: argparse.Namespace, studio: "Studio", plan: "Plan") -> None:
    from pipeline.staff_words import shell_word

    print("This would be erased; nothing is erased yet.")
    for line in _lines(studio, plan, dropped=given.inbox):
        print(printable(line))
    for line in _searched(plan.words):
        print(printable(line))
    print(_CAUTION)
    inbox = " --inbox" if given.inbox else ""
    who = shell_word(_whole_name(given.who, plan))
    print(printable(f"To erase it: baywright forget {typed_in(given.folder)} {who}{inbox} --yes"))


def _whole_name(who: str, plan: "Plan") -> str:
    """Give the name to ask for with --yes: that of the folder where a part of it was given."""
    from pipeline.forgetting import named

    return who if named(plan.visits, who) or not plan.folders else plan.folders[0].name


def _lines(studio: "Studio", plan: "Plan", *, dropped: bool) -> "Iterator[str]":
    """Say what goes and what stays, one thing a line."""
    for visit in plan.visits:
        entry = visit.kept.entry
        yield f"visit      {entry.name or entry.id[:8]}, {entry.state.replace('_', ' ')}, {visit.kept.received[:10]}"
    yield from _each(studio, "report", plan.folders, ", with all versions")
    yield from _each(studio, "set back", plan.set_back)
    yield from _each(studio, "original", plan.accepted)
    yield from _each(studio, "answers", (path for path, _ in plan.profiles), ": kept, but no longer called so")
    yield from _each(studio, "stays", plan.shared, ": another visit has the same file")
    yours = "" if dropped else ": stays, it is yours to delete; or add --inbox"
    yield from _each(studio, "dropped", plan.dropped, yours)


def _each(studio: "Studio", head: str, paths: "Iterable[Path]", more: str = "") -> "Iterator[str]":
    yield from (f"{head:10} {path.relative_to(studio.root)}{more}" for path in paths)


def _searched(words: "Words") -> "Iterator[str]":
    if words.searched:
        yield f"search for {', '.join(words.searched)}"
    if words.left_out:
        yield f"not for    {', '.join(f'{word} ({why})' for word, why in words.left_out)}"


# --- erasing ----------------------------------------------------------------------------------------------------------
def _erase(studio: "Studio", settings: "Settings", who: str, *, dropped: bool) -> tuple["Plan", list[str]]:
    """Erase; gives what was to go, and what ledger and archive still have of it."""
    import datetime as dt

    from pipeline import forgetting, regrouping, traces
    from pipeline.archive import Archive
    from pipeline.studio import sweep
    from pipeline.workshop import SHARED

    ledger = open_ledger(studio, settings, alone=True)
    try:
        sweep(studio)
        regrouping.finish(studio, ledger)
        plan = _plan(studio, ledger, who, exactly=True)
        for line in _lines(studio, plan, dropped=dropped):
            print(printable(line))
        archive = Archive(studio, settings, ledger, SHARED)
        forgetting.erase(archive, plan, dt.datetime.now().astimezone().date(), dropped=dropped)
        word = traces.found_in(_texts(ledger), plan.words)
        left = [f"ledger: {word}"] if word else []
        return plan, left + [f"{path}: shots of this customer" for path in archive.left_of(plan.ids)]
    finally:
        ledger.close()  # before its file is searched: reading it beside an open ledger would let go of its locks


def _texts(ledger: "Ledger") -> "Iterator[str]":
    """Give every text of the ledger: a shared one is no file that could be searched."""
    for kept in ledger.all_kept():
        yield from (kept.entry.name, kept.entry.place or "")
        yield from (text for pair in kept.entry.originals for text in pair)
        yield from (place for place, _ in kept.sightings)


def _prove(studio: "Studio", plan: "Plan", also: list[str], *, dropped: bool) -> None:
    """Search the studio folder for what is left; raises NotErasedError that names it."""
    from pipeline import traces

    print(f"erased: {many(len(plan.visits), 'visit')}")
    for line in _searched(plan.words):
        print(printable(line))
    skipped = () if dropped else (studio.inbox, studio.done)
    search = traces.search(studio.root, plan.words, skipped)
    left = [f"{trace.path}: {trace.found}" for trace in search.traces]
    if left := left + also:
        named = "".join(f"\n  {printable(line)}" for line in left)
        msg = (
            f"{studio.root}: erased, but something is still there. Look into it, and delete it by hand if it is of "
            f"this customer:{named}"
        )
        raise NotErasedError(msg)
    where = "" if dropped else ", inbox/ and done/ left out"
    if plan.words.searched:
        print(f"nothing left: none of these words in the name or content of {many(search.n_files, 'file')}{where}")
    else:
        print("nothing was searched for: no word is long or rare enough to prove anything")
