"""What the archive says of club models and of the bays' devices, worked out for whoever shows it."""

from pathlib import Path

import polars as pl

from pipeline import archive, bay_sessions, model_sums, month_sums
from pipeline.analysis.rollup import roll_up
from pipeline.errors import FolderError, TooFewShotsError
from pipeline.ledger import Ledger
from pipeline.model_sums import Wanted
from pipeline.rollup_records import ArchiveManifest, CarrySpread, ModelsFound, RollUpRules
from pipeline.settings import Settings
from pipeline.studio import Studio

OLD_MONTHS = 12  # a model nobody hit in so many months is marked (own judgement)


def found(studio: Studio, settings: Settings, ledger: Ledger, wanted: Wanted, engine: str = "polars") -> ModelsFound:
    """Work out all that is said; raises TooFewShotsError where nothing is kept of what is wanted."""
    try:
        return month_sums.with_newest(
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


def nothing_kept(root: Path) -> str:
    """Say that there are no shots yet."""
    return (
        f"{root}: no shots are kept yet. They are from the first visit that gets its report; those of earlier visits "
        f'with: baywright process "{root}" --backlog'
    )


def _rolled(manifest: ArchiveManifest, wanted: Wanted, engine: str, settings: Settings, studio: Studio) -> ModelsFound:
    if not manifest.paths:
        raise TooFewShotsError(nothing_kept(studio.root))
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


def rules_of(settings: Settings, last_month: str) -> RollUpRules:
    """Give the minimums of a studio; one above ours for a place, or for what is not early, raises these too."""
    plain, fewest = RollUpRules(), settings.fewest_customers
    return RollUpRules(
        fewest_customers=fewest,
        rank_customers=max(plain.rank_customers, fewest),
        early_customers=max(plain.early_customers, fewest),
        worth=settings.smallest_difference_m,
        old_before=months_before(last_month, OLD_MONTHS),
    )


def _none_of_these(wanted: Wanted, kept: pl.DataFrame) -> str:
    """Say that nothing is kept of what was asked for, and what is."""
    asked = [f"--category {wanted.category}"] if wanted.category else []
    asked += [f"--{name} {value}" for name, value in (("since", wanted.since), ("until", wanted.until)) if value]
    said = f"No shot that counts is kept{' for ' if asked else ''}{' '.join(asked)}."
    if not kept.height:
        return f"{said} Nothing else is kept either of clubs whose kind is known."
    kinds = ", ".join(sorted(set(kept["category"])))
    first, last = str(kept["period"].min()), str(kept["period"].max())
    return f"{said} Kept are {kinds}, from {first} to {last}."


def months_before(month: str, count: int) -> str:
    """Give the month so many months before one."""
    year, number = (int(part) for part in month.split("-"))
    place = 12 * year + number - 1 - count
    return f"{place // 12:04}-{place % 12 + 1:02}"
