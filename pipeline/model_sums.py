"""From the archive to what the roll-up of club models takes, and quantiles of carry over all customers."""

from dataclasses import dataclass

import polars as pl

from pipeline import month_sums
from pipeline.rollup_records import GROUP_SEPARATOR, ArchiveManifest
from pipeline.shot_sums import BIN_CM, CARRIES, CARRY, SPEEDS, SUMS

UNKNOWN = "unknown"  # the job of a club of which nobody said what it is
_TENTHS = (1, 5, 9)  # quantiles
_PIECE = ("customer", "model", "category", "loft", "shaft", "period", "studio", "own", "sitting")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What of the archive is wanted.

    since, until: months YYYY-MM, both included. category: driver, wood, hybrid, iron or wedge, or one job of these
    (iron 7). by: what else divides the clubs, of loft, shaft, month and studio; in this order it follows the job.
    """

    since: str | None = None
    until: str | None = None
    category: str | None = None
    by: tuple[str, ...] = ()


def pieces(manifest: ArchiveManifest, wanted: Wanted | None = None, engine: str = "polars") -> pl.DataFrame:
    """Sum the archive up to what `analysis.rollup.roll_up` takes: total in m, squares in m².

    category: the job, and what `by` divides by, in its order, between them GROUP_SEPARATOR, which no text of the
    archive holds; a loft as "10.5", "" for a loft or shaft nobody stated. Clubs of an unknown job compare nothing and
    are left out, unless they are asked for by that name. Models (and shafts) written alike but for capitals, width of
    letters and spaces are one: it bears the spelling of most shots, of several such the first one in the order of text.
    model "": nobody said. speed_mps: mean club speed of these shots, if in every piece of that job most shots have one;
    else mean ball speed; the same kind in all pieces of a job (speed_kind says which), null where a piece has none.
    Raises FileNotFoundError where a file of the manifest has gone (month_sums.with_newest asks anew), FolderError and
    MissingPartError as `engines.collected`.
    """
    wanted = wanted or Wanted()
    found = _of_jobs(month_sums.gathered(manifest, (wanted.since, wanted.until), SUMS, engine), wanted)
    named = _named(found, f"n_{CARRY}", wanted).with_columns(
        pl.col("month").alias("period"), pl.col("visit").alias("sitting")
    )
    summed = named.group_by("job", *_PIECE).agg(pl.col("^(n|sum|squares)_.*$").sum())
    return summed.select(
        *_PIECE,
        pl.col(f"n_{CARRY}").alias("n"),
        (pl.col(f"sum_{CARRY}") / 100).alias("total"),
        (pl.col(f"squares_{CARRY}") / 10_000).alias("squares"),
        pl.when(_CLUB_SPEED).then(_mean(SPEEDS[0])).otherwise(_mean(SPEEDS[1])).alias("speed_mps"),
        pl.when(_CLUB_SPEED).then(pl.lit("club_speed_mps")).otherwise(pl.lit("ball_speed_mps")).alias("speed_kind"),
    ).sort(_PIECE)


def _mean(name: str) -> pl.Expr:
    return pl.when(pl.col(f"n_{name}") > 0).then(pl.col(f"sum_{name}") / pl.col(f"n_{name}") / 100)


_CLUB_SPEED = (2 * pl.col(f"n_{SPEEDS[0]}") > pl.col(f"n_{CARRY}")).all().over("job")


def quantiles(manifest: ArchiveManifest, wanted: Wanted | None = None, engine: str = "polars") -> pl.DataFrame:
    """Give quantiles of the carry of all counted shots: category, model, own, n, p10_m, p50_m, p90_m.

    Of the same shots as `pieces`, with category and model as there. From the merged histogram of bins of 0.5 m,
    straight within the bin: at most one bin off the shot at that place (the smallest carry that so many tenths of the
    shots do not exceed). Raises what `pieces` raises.
    """
    wanted = wanted or Wanted()
    found = _of_jobs(month_sums.gathered(manifest, (wanted.since, wanted.until), CARRIES, engine), wanted)
    keys = ("category", "model", "own")
    merged = _named(found, "n", wanted).group_by(*keys, "bin").agg(pl.col("n").sum()).sort(*keys, "bin")
    counted = merged.with_columns(
        pl.col("n").cum_sum().over(keys).alias("up_to"), pl.col("n").sum().over(keys).alias("of")
    )
    out = counted.group_by(keys, maintain_order=True).agg(
        pl.col("n").sum(),
        *(_quantile(tenths).alias(f"p{10 * tenths}_m") for tenths in _TENTHS),
    )
    return out.sort(keys)


def _quantile(tenths: int) -> pl.Expr:
    """Find the bin that holds a quantile, and the place in it."""
    reached = 10 * pl.col("up_to") >= tenths * pl.col("of")
    into = (tenths * pl.col("of") / 10 - pl.col("up_to") + pl.col("n")) / pl.col("n")
    return ((pl.col("bin") + into) * BIN_CM / 100).filter(reached).first()


# --- keys -------------------------------------------------------------------------------------------------------------
def _of_jobs(sums: pl.LazyFrame, wanted: Wanted) -> pl.DataFrame:
    """Keep the jobs that are wanted."""
    job = pl.col("job")
    if wanted.category is None:
        kept = job != UNKNOWN
    else:
        kept = (job == wanted.category) | job.str.starts_with(f"{wanted.category} ")
    return sums.filter(kept).collect(engine="streaming").rechunk()  # a piece of each month would cost time below


def _named(found: pl.DataFrame, shots: str, wanted: Wanted) -> pl.DataFrame:
    """Bring models and shafts to one spelling, lofts to text, and make the category of them."""
    for name in ("model", "shaft"):
        found = found.with_columns(pl.col(name).fill_null(""))
        spelt = _spelt(found.group_by(name).agg(pl.col(shots).sum()), name, shots)
        found = found.with_columns(
            pl.col(name).replace_strict(spelt, return_dtype=pl.String) if spelt else pl.col(name)
        )
    found = found.with_columns(_loft().alias("loft"))
    said = [pl.col("job"), *(pl.col(name).fill_null("") for name in wanted.by)]
    return found.with_columns(pl.concat_str(said, separator=GROUP_SEPARATOR).alias("category"))


def _spelt(spellings: pl.DataFrame, name: str, shots: str) -> dict[str, str]:
    """Say which spelling stands for each one."""
    clean = pl.col(name).str.replace_all(r"[\s\p{Cc}]+", " ").str.strip_chars()
    like = clean.str.normalize("NFKC").str.to_lowercase()
    marked = spellings.with_columns(clean.alias("clean"), like.alias("like"))
    liked = marked.group_by("like", "clean").agg(pl.col(shots).sum()).sort(pl.col(shots).neg(), "clean")
    best = liked.group_by("like", maintain_order=True).agg(pl.col("clean").first().alias("best"))
    return dict(marked.join(best, on="like").select(name, "best").iter_rows())


def _loft() -> pl.Expr:
    """Write a loft as text: 10.5, or 9."""
    degrees = pl.col("loft_cdeg")
    return (degrees / 100).cast(pl.String).str.strip_suffix(".0")
