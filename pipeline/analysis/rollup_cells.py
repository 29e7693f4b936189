"""From sums per customer, build and day to the cells the roll-up compares: who hit what, how far, how surely."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import sparse, special

from pipeline.analysis.ball_flight import Floats

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

KEYS = ("customer", "model", "category", "loft", "shaft", "period", "studio", "own", "sitting")
SITTING = ("customer", "studio", "sitting")
UNKNOWN = ""  # the model of a club of which nobody said what it is: each such club is another one
_FEWEST_FOR_SPREAD = 4  # degrees of freedom from which a customer's own spread helps to learn how spreads differ
_LEAST_SPREAD = 1e-6  # of the pooled variance: shots that print alike still differ


@dataclass(frozen=True, slots=True)
class Cells:
    """One cell a sitting, model and own-or-not; sitting and model are indices; arrays (k,), sorted by these.

    A sitting is one customer in one visit. n: shots; mean: their mean; noise: variance of that mean that
    comes from the shots; freedom: degrees of freedom behind it. customer_of: each sitting's customer (s,).
    shot_variance: of a customer's shots, over all customers.
    """

    sitting: Ints
    model: Ints
    own: Bools
    n: Floats
    mean: Floats
    noise: Floats
    freedom: Floats
    customer_of: Ints
    models: tuple[str, ...]
    customers: int
    shot_variance: float

    def of(self, kept: Bools) -> "Cells":
        """Give the kept cells (k,), with every index as it was."""
        return Cells(
            self.sitting[kept],
            self.model[kept],
            self.own[kept],
            self.n[kept],
            self.mean[kept],
            self.noise[kept],
            self.freedom[kept],
            self.customer_of,
            self.models,
            self.customers,
            self.shot_variance,
        )


def sums(index: Ints, values: Floats, size: int) -> Floats:
    """Sum values up by their index (size,)."""
    return np.asarray(np.bincount(index, values, size), dtype=np.float64)


def checked(pieces: pl.DataFrame) -> pl.DataFrame:
    """Refuse pieces that no sum of shots can be, and bring the rest into one order.

    pieces: one row a customer, model, category, loft, shaft, period, studio, own-or-not and sitting, with n [1], total
    and squares (sum and sum of squares of the quantity) and speed_mps (mean speed of these shots, or null) [m/s]. Only
    loft, shaft and speed_mps may be null. Raises ValueError for a missing column or value, n below 1, or a sum not
    finite.
    """
    needed = [*KEYS, "n", "total", "squares", "speed_mps"]
    missing = [name for name in needed if name not in pieces.columns]
    if missing:
        message = f"the roll-up lacks the columns {', '.join(missing)}"
        raise ValueError(message)
    must = [name for name in needed if name not in {"loft", "shaft", "speed_mps"}]
    table = pieces.select(
        *(pl.col(name).cast(pl.Boolean if name == "own" else pl.String) for name in KEYS),
        pl.col("n").cast(pl.Int64),
        *(pl.col(name).cast(pl.Float64) for name in ("total", "squares", "speed_mps")),
    )
    endless = [~pl.col(name).is_finite() for name in ("total", "squares")]
    wrong = pl.any_horizontal(pl.col(*must).is_null(), pl.col("n") < 1, *endless)
    if table.filter(wrong).height:
        message = f"{table.filter(wrong).height} pieces of the roll-up lack a key, have no shot, or no finite sum"
        raise ValueError(message)
    return table.sort(table.columns)


def moderated(freedom: Floats, squares: Floats) -> tuple[Floats, Floats, float]:
    """Judge each customer's spread of shots, drawn to that of all as far as few shots demand.

    freedom: degrees of freedom of each customer (c,) [1]; squares: sum of squared deviations from the cell means (c,).
    Returns the variance of each customer's shots (c,), the degrees of freedom behind it (c,), and the variance over
    all customers; without a single degree of freedom ValueError.
    Variances are taken to scatter as scaled inverse chi-square about s0² with nu0 degrees of freedom; both from the
    mean and variance of log s², then s² = (nu0 s0² + SS)/(nu0 + d). Where customers scatter no more than chance does,
    all get the pooled variance. Source: Smyth 2004, "Linear models and empirical Bayes methods for assessing
    differential expression", section 6.2 (equations from memory); recovery of known spreads by simulation in the tests.
    """
    total = float(freedom.sum())
    if total <= 0:
        message = "no build was hit twice by anybody: the spread of shots is not known"
        raise ValueError(message)
    pooled = float(squares.sum()) / total
    known = freedom >= _FEWEST_FOR_SPREAD
    if known.sum() < _FEWEST_FOR_SPREAD:
        return np.full(len(freedom), pooled), np.full(len(freedom), total), pooled
    half = freedom[known] / 2
    logs = np.log(np.maximum(squares[known] / freedom[known], _LEAST_SPREAD * pooled)) - special.digamma(half)
    logs += np.log(half)
    excess = float(logs.var(ddof=1) - special.polygamma(1, half).mean())
    if excess <= special.polygamma(1, 1e4):
        return np.full(len(freedom), pooled), np.full(len(freedom), total), pooled
    low, high = 1e-3, 1e4  # half of nu0, from the trigamma function, which falls
    for _ in range(60):
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if special.polygamma(1, middle) > excess else (low, middle)
    prior = 2 * low
    centre = float(np.exp(logs.mean() + special.digamma(low) - np.log(low)))
    return (prior * centre + squares) / (prior + freedom), prior + freedom, pooled


def luck_is_known(table: pl.DataFrame) -> bool:
    """Say whether any shots of one piece differ (by more than sums in floating point do by themselves)."""
    return bool(
        table.select((pl.col("squares") - pl.col("total") ** 2 / pl.col("n") > 1e-10 * pl.col("squares")).any()).item()
    )


def cells_of(table: pl.DataFrame) -> Cells:
    """Sum the pieces of one category up to cells.

    table: as `checked` gives it, one category, at least one row. Lofts and shafts of a model are put together: their
    shots are weighted alike, so a build cut short because it lost counts little; their spread counts within each piece,
    not between them. Returns the cells, sorted.
    """
    within = (pl.col("squares") - pl.col("total") ** 2 / pl.col("n")).clip(lower_bound=0)
    grouped = (
        table.with_columns(within.alias("within"), (pl.col("n") - 1).alias("freedom"))
        .group_by(*SITTING, "model", "own", maintain_order=True)
        .agg(pl.col("n", "total", "within", "freedom").sum())
        .sort(*SITTING, "model", "own")
    )
    grouped = grouped.with_columns(
        pl.struct(SITTING).rank("dense").cast(pl.Int64).sub(1).alias("sitting"),
        pl.col("model").rank("dense").cast(pl.Int64).sub(1).alias("which"),
        pl.col("customer").rank("dense").cast(pl.Int64).sub(1).alias("who"),
    )
    column = {name: grouped[name].to_numpy() for name in ("sitting", "which", "who", "own")}
    n, total, squares, freedom = (
        grouped[name].cast(pl.Float64).to_numpy() for name in ("n", "total", "within", "freedom")
    )
    customers = int(column["who"].max()) + 1
    who = column["who"]
    variance, behind, pooled = moderated(sums(who, freedom, customers), sums(who, squares, customers))
    _, first = np.unique(column["sitting"], return_index=True)
    return Cells(
        sitting=column["sitting"],
        model=column["which"],
        own=column["own"].astype(np.bool_),
        n=n,
        mean=total / n,
        noise=np.maximum(variance, _LEAST_SPREAD * pooled)[column["who"]] / n,
        freedom=behind[column["who"]],
        customer_of=column["who"][first],
        models=tuple(grouped["model"].unique().sort().to_list()),
        customers=customers,
        shot_variance=pooled,
    )


def comparing(cells: Cells) -> Bools:
    """Mark the cells of sittings in which two models or more were hit (k,): only these compare anything.

    A club of unknown model compares nothing: it is marked nowhere, and makes no second model of a sitting.
    """
    known = np.array([model != UNKNOWN for model in cells.models])[cells.model]
    pairs = np.unique(cells.sitting[known] * len(cells.models) + cells.model[known])
    hit = np.bincount(pairs // len(cells.models), minlength=len(cells.customer_of))
    return np.asarray(known & (hit[cells.sitting] > 1))


def components(cells: Cells) -> Ints:
    """Say which models are linked through sittings in which both were hit: a label for each model (j,)."""
    sittings, models = len(cells.customer_of), len(cells.models)
    ones = np.ones(len(cells.model))
    edges = sparse.coo_array((ones, (cells.sitting, cells.model + sittings)), shape=(sittings + models,) * 2)
    labels = sparse.csgraph.connected_components(edges, directed=False)[1][sittings:]
    return np.unique(labels, return_inverse=True)[1].astype(np.int64)


def customers_by_model(cells: Cells) -> Ints:
    """Count the different customers behind each model (j,)."""
    pairs = np.unique(cells.model * cells.customers + cells.customer_of[cells.sitting])
    return np.bincount(pairs // cells.customers, minlength=len(cells.models)).astype(np.int64)
