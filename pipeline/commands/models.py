"""`baywright models DIR [--out FILE]`."""

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.commands.console import add_folder, plain_ledger, printable
from pipeline.errors import FolderError, SettingsError, TooFewShotsError

if TYPE_CHECKING:
    import datetime as dt

    import polars as pl

    from pipeline.model_sums import Wanted
    from pipeline.rollup_records import ArchiveManifest, ModelsFound, RollUpRules
    from pipeline.settings import Settings
    from pipeline.studio import Studio

BY = ("loft", "shaft", "month", "studio")
_ENDINGS = (".pdf", ".html", ".xlsx", ".csv", ".parquet")
_KINDS = "driver, wood, hybrid, iron or wedge, or one club of these such as “iron 7”"
_OLD_MONTHS = 12  # a model nobody hit in so many months is marked (own judgement)


def configure(parser: argparse.ArgumentParser) -> None:
    """Describe the command."""
    add_folder(parser)
    parser.add_argument("--since", type=_month, metavar="YYYY-MM", help="from this month on")
    parser.add_argument("--until", type=_month, metavar="YYYY-MM", help="to this month, the month included")
    parser.add_argument("--category", metavar="KIND", help=f"one kind of clubs alone: {_KINDS}")
    parser.add_argument(
        "--by", action="append", choices=BY, default=[], help="compare within each of these alone; may be repeated"
    )
    parser.add_argument(
        "--out", type=_target, metavar="FILE", help="write a file: its ending says which, of " + ", ".join(_ENDINGS)
    )
    parser.add_argument(
        "--engine", choices=("polars", "spark"), default="polars", help="spark: for chains, on their own cluster"
    )
    parser.epilog = (
        "Says which club models go farther or shorter than the average of those compared, what they brought over\n"
        "the customers' own clubs, what is not known, and whether the bays' devices are steady. Nobody is named.\n"
        "Without --out a summary is shown. Only reads, and may be asked while a watcher runs.\n"
        "example:\n  baywright models ~/fitting-studio --since 2026-01 --category driver --out models.pdf"
    )


def _month(text: str) -> str:
    """Read a month."""
    if not re.fullmatch(r"[0-9]{4}-(0[1-9]|1[0-2])", text):
        msg = f"{printable(text)!r} is no month such as 2026-03"
        raise argparse.ArgumentTypeError(msg)
    return text


def _target(text: str) -> Path:
    """Read the name of the file to write; its ending says what it becomes."""
    path = Path(text)
    if path.suffix.lower() not in _ENDINGS:
        msg = f"{printable(text)!r} must end in {', '.join(_ENDINGS[:-1])} or {_ENDINGS[-1]}"
        raise argparse.ArgumentTypeError(msg)
    return path


def run(given: argparse.Namespace) -> int:
    """Work it out, and show or write it."""
    import datetime as dt

    from pipeline.commands.models_summary import lines
    from pipeline.model_sums import Wanted
    from pipeline.workshop import SHARED

    target = _checked(given)
    if target and target.suffix.lower() == ".pdf":
        SHARED.prepare()  # it loads while we work out the rest
    by = tuple(name for name in BY if name in given.by)
    wanted = Wanted(given.since, given.until, given.category, by)
    settings, found = _found(given.folder, wanted, given.engine)
    day = dt.datetime.now().astimezone().date()
    if target is None:
        for line in lines(found, settings, day):
            print(printable(line.replace("\u00a0", " ")))
        return 0
    _write(target, found, settings, day)
    print(printable(f"models shown: {sum(len(one.models) for one in found.categories)} → {target}"))
    return 0


def _checked(given: argparse.Namespace) -> Path | None:
    """Refuse what cannot come to an end, before anything is worked out."""
    if given.since and given.until and given.since > given.until:
        msg = f"--since {given.since} lies after --until {given.until}: no month is between them."
        raise SettingsError(msg)
    target: Path | None = given.out
    if target and (target.is_dir() or not target.parent.is_dir()):
        why = "is a folder" if target.is_dir() else f"cannot be written: there is no folder {target.parent}"
        msg = f"--out {target} {why}. Name a file in a folder that is there."
        raise FolderError(msg)
    return target


# --- from the archive -------------------------------------------------------------------------------------------------
def _found(root: Path, wanted: "Wanted", engine: str) -> "tuple[Settings, ModelsFound]":
    """Open the studio for reading and work out all that is said."""
    import polars as pl

    from pipeline import archive, month_sums
    from pipeline.studio import Studio, settings_of

    studio = Studio(root)
    if not (studio.outbox.is_dir() or studio.inbox.is_dir()):
        msg = f'{root} is no studio folder. Make one with: baywright init "{root}"'
        raise FolderError(msg)
    settings = settings_of(studio)
    if not (studio.work / ("studio-id" if settings.ledger else "ledger.sqlite3")).exists():
        raise TooFewShotsError(_nothing_kept(root))
    ledger = plain_ledger(studio, settings, alone=False)
    try:
        found = month_sums.with_newest(
            lambda: archive.manifest(studio, settings, ledger),
            lambda manifest: _rolled(manifest, wanted, engine, settings, studio),
        )
    except (OSError, pl.exceptions.PolarsError) as fault:
        said = getattr(fault, "strerror", None) or type(fault).__name__
        msg = (
            f"{archive.root(studio, settings)}: what is kept of the shots cannot be read ({said}). Is its disk "
            "connected? Files that were taken away the watcher makes again when it starts, and once a day."
        )
        raise FolderError(msg) from fault
    finally:
        ledger.close()
    return settings, found


def _nothing_kept(root: Path) -> str:
    return (
        f"{root}: no shots are kept yet. They are from the first visit that gets its report; those of earlier visits "
        f'with: baywright process "{root}" --backlog'
    )


def _rolled(
    manifest: "ArchiveManifest", wanted: "Wanted", engine: str, settings: "Settings", studio: "Studio"
) -> "ModelsFound":
    import polars as pl

    from pipeline import bay_sessions, model_sums
    from pipeline.analysis.rollup import roll_up
    from pipeline.rollup_records import CarrySpread, ModelsFound

    if not manifest.paths:
        raise TooFewShotsError(_nothing_kept(studio.root))
    pieces = model_sums.pieces(manifest, wanted, engine)
    if not pieces.height:
        raise TooFewShotsError(_none_of_these(wanted, model_sums.pieces(manifest, engine=engine)))
    first, last = str(pieces["period"].min()), str(pieces["period"].max())
    rules = rules_of(settings, last)
    categories = roll_up(pieces, rules)
    spreads = model_sums.quantiles(manifest, wanted, engine).filter(~pl.col("own"))
    carries = {
        (row["category"], row["model"]): CarrySpread(row["n"], row["p10_m"], row["p50_m"], row["p90_m"])
        for row in spreads.iter_rows(named=True)
    }
    unknown = sorted(set(pieces["category"]) - {one.category for one in categories})
    path = studio.work / "studio-id"
    mine = path.read_text(encoding="utf-8").strip() if path.exists() else ""
    set_up = {(mine, bay): day for bay, day in settings.bays_set_up.items()}
    return ModelsFound(
        categories, tuple(unknown), carries, bay_sessions.watches(manifest, set_up), rules,
        customers=pieces["customer"].n_unique(), shots=int(pieces["n"].sum()), first_month=first, last_month=last,
        since=wanted.since or "", until=wanted.until or "", kind=wanted.category or "", by=wanted.by,
        studio=mine,
    )  # fmt: skip


def rules_of(settings: "Settings", last_month: str) -> "RollUpRules":
    """Give the minimums of a studio; one above ours for a place, or for what is not early, raises these too."""
    from pipeline.rollup_records import RollUpRules

    plain, fewest = RollUpRules(), settings.fewest_customers
    return RollUpRules(
        fewest_customers=fewest,
        rank_customers=max(plain.rank_customers, fewest),
        early_customers=max(plain.early_customers, fewest),
        worth=settings.smallest_difference_m,
        old_before=months_before(last_month, _OLD_MONTHS),
    )


def _none_of_these(wanted: "Wanted", kept: "pl.DataFrame") -> str:
    """Say that nothing is kept of what was asked for, and what is."""
    asked = [f"--category {printable(wanted.category)}"] if wanted.category else []
    asked += [f"--{name} {value}" for name, value in (("since", wanted.since), ("until", wanted.until)) if value]
    said = f"No shot that counts is kept{' for ' if asked else ''}{' '.join(asked)}."
    if not kept.height:
        return f"{said} Nothing else is kept either of clubs whose kind is known."
    kinds = ", ".join(sorted(set(kept["category"])))
    first, last = str(kept["period"].min()), str(kept["period"].max())
    return f"{said} Kept are {printable(kinds)}, from {first} to {last}."


def months_before(month: str, count: int) -> str:
    """Give the month so many months before one."""
    year, number = (int(part) for part in month.split("-"))
    place = 12 * year + number - 1 - count
    return f"{place // 12:04}-{place % 12 + 1:02}"


# --- the file ---------------------------------------------------------------------------------------------------------
def _write(target: Path, found: "ModelsFound", settings: "Settings", day: "dt.date") -> None:
    """Write the file whole: aside, then renamed."""
    from pipeline.studio import write_file

    content = _content(target.suffix.lower(), found, settings, day)
    try:
        write_file(target, content)
    except OSError as fault:
        msg = f"--out {target} cannot be written ({fault.strerror or fault}). Name a file in a folder you may write to."
        raise FolderError(msg) from fault


def _content(ending: str, found: "ModelsFound", settings: "Settings", day: "dt.date") -> bytes:
    from pipeline import models_files, models_report
    from pipeline.workshop import SHARED

    if ending == ".pdf":
        return SHARED.draw(models_report.paper(found, settings, day), f"models {found.first_month} {found.last_month}")
    if ending == ".html":
        return models_report.screen(found, settings, day).encode()
    if ending == ".xlsx":
        return models_files.workbook(found, settings, day)
    return models_files.comma_separated(found) if ending == ".csv" else models_files.parquet(found)
