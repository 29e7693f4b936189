"""The manager's roll-up: which club models really perform over all customers, category by category."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.model_effects import LEVEL, Posterior, against_average, rank_ranges
from pipeline.analysis.own_gains import gains_of, summary
from pipeline.analysis.rollup_cells import (
    UNKNOWN,
    Bools,
    Cells,
    Ints,
    cells_of,
    checked,
    comparing,
    components,
    customers_by_model,
    luck_is_known,
)
from pipeline.rollup_records import (
    CategoryRollUp,
    ModelEffect,
    ModelRow,
    Part,
    RollUpRules,
    SpeedBand,
    Withheld,
)

BANDS = ("slow", "medium", "fast")
_NAMED_FROM = 2  # customers: a label that one alone has may hold a person's name
_NEARLY_ALL = 0.8  # of a model's customers in one band: said to have been tried by these only (own judgement)


# --- effects ------------------------------------------------------------------------------------------------------
def _verdict(low: float, high: float, worth: float) -> str:
    if low > 0:
        return "better"
    if high < 0:
        return "worse"
    return "average" if -worth < low and high < worth else "not_settled"


@dataclass(frozen=True, slots=True)
class _Found:
    """The models that may be shown, by index, what was found of them, and the component of each model."""

    shown: dict[int, ModelEffect]
    label: Ints
    posterior: Posterior | None = None


def _effects(cells: Cells, rules: RollUpRules) -> _Found:
    """Judge the models that enough customers compared with others, each against those it is linked with."""
    used = cells.of(comparing(cells))
    label, compared = components(used), customers_by_model(used)
    tested = customers_by_model(cells.of(~cells.own)) > 0
    may = (compared >= rules.fewest_customers) & tested
    alone = np.bincount(label, may, label.max() + 1) < 2
    chosen = np.flatnonzero(may & ~alone[label])
    if not len(chosen):
        return _Found({}, label)
    found = against_average(used, chosen, label[chosen])
    low, high, effect = found.quantile((1 - LEVEL) / 2), found.quantile((1 + LEVEL) / 2), found.effect
    shown = {}
    for k, j in enumerate(chosen.tolist()):
        about = (float(effect[k]), float(low[k]), float(high[k]))
        shown[j] = ModelEffect(cells.models[j], int(compared[j]), *about, _verdict(about[1], about[2], rules.worth))
    return _Found(shown, label, found)


def _ranked(found: _Found, rules: RollUpRules) -> dict[int, ModelEffect]:
    """Give the models that enough is known of the places they may have among each other."""
    rows = dict(found.shown)
    indices = np.array(list(rows))
    sure = np.array(
        [
            row.compared >= rules.rank_customers and row.high - row.low <= 2 * rules.rank_half_width
            for row in rows.values()
        ]
    )
    for group in np.unique(found.label[indices]):
        at = np.flatnonzero(sure & (found.label[indices] == group))
        if found.posterior is None or len(at) < 2:
            continue
        best, worst = rank_ranges(found.posterior.effect[at], found.posterior.covariance[np.ix_(at, at)])
        for k, first, last in zip(indices[at].tolist(), best, worst, strict=True):
            rows[k] = replace(rows[k], rank_low=int(first), rank_high=int(last), ranked=len(at))
    return rows


def _withheld(cells: Cells, shown: dict[int, ModelEffect], rules: RollUpRules) -> tuple[Withheld, ...]:
    """Name every model that was hit and is not shown, with the reason; those of a single customer stand together."""
    customers, compared = customers_by_model(cells), customers_by_model(cells.of(comparing(cells)))
    tested = customers_by_model(cells.of(~cells.own))
    shots = np.bincount(cells.model, cells.n, len(cells.models))
    found = []
    for j in np.flatnonzero(customers >= _NAMED_FROM):
        if int(j) in shown or cells.models[j] == UNKNOWN:
            continue
        if customers[j] < rules.fewest_customers:
            reason = "few_customers"
        elif not tested[j]:
            reason = "only_own_clubs"
        else:
            reason = "few_customers" if 0 < compared[j] < rules.fewest_customers else "not_connected"
        found.append(Withheld(cells.models[j], reason, int(customers[j]), int(compared[j]), int(shots[j])))
    return (*found, *_nameless(cells, customers < _NAMED_FROM))


def _nameless(cells: Cells, rare: Bools) -> tuple[Withheld, ...]:
    """Put the models together that a single customer hit. rare: marks these, hit or not (j,)."""
    known = np.array([model != UNKNOWN for model in cells.models])
    mine = (rare & known)[cells.model]
    if not mine.any():
        return ()
    people, comparers = (len(np.unique(cells.customer_of[cells.sitting[k]])) for k in (mine, mine & comparing(cells)))
    models = len(np.unique(cells.model[mine]))
    return (Withheld("", "few_customers", people, comparers, int(cells.n[mine].sum()), models),)


# --- speed bands --------------------------------------------------------------------------------------------------
def _speeds(table: pl.DataFrame, customers: int) -> Floats:
    """Give each customer's mean speed, shot by shot (c,), NaN where no speed is known."""
    known = (
        table.with_columns(pl.col("customer").rank("dense").cast(pl.Int64).sub(1).alias("who"))
        .filter(pl.col("speed_mps").is_finite())
        .group_by("who", maintain_order=True)
        .agg((pl.col("speed_mps") * pl.col("n")).sum() / pl.col("n").sum())
    )
    speeds = np.full(customers, np.nan)
    speeds[known["who"].to_numpy()] = known["speed_mps"].to_numpy()
    return speeds


def _limits(speeds: Floats, fewest: int) -> tuple[float, float] | None:
    """Part the customers who compared clubs into thirds by their speed; None where a third would be too few."""
    known = speeds[np.isfinite(speeds)]
    if len(known) < 3 * fewest:
        return None
    low, high = (float(value) for value in np.quantile(known, (1 / 3, 2 / 3)))
    return (low, high) if known.min() < low < high else None


def _banded(
    cells: Cells, speeds: Floats, limits: tuple[float, float], rules: RollUpRules
) -> tuple[tuple[SpeedBand, ...], Ints]:
    """Compare within each third of the customers; gives the bands and each customer's band, -1 where not known."""
    band = np.where(np.isfinite(speeds), np.searchsorted(limits, speeds, side="right"), -1)
    edges = (float("-inf"), *limits, float("inf"))
    found = []
    for k, name in enumerate(BANDS):
        part = cells.of(band[cells.customer_of[cells.sitting]] == k)
        shown = _effects(part, rules).shown
        customers = len(np.unique(part.customer_of[part.sitting]))
        ordered = sorted(shown.values(), key=lambda row: (-row.effect, row.model))
        found.append(SpeedBand(name, edges[k], edges[k + 1], customers, tuple(ordered), _withheld(part, shown, rules)))
    return tuple(found), band


# --- one model ----------------------------------------------------------------------------------------------------
def _parts(table: pl.DataFrame, kind: str, rules: RollUpRules) -> dict[str, list[Part]]:
    """Break each model's tested pieces down by loft or shaft; values too thin to be shown are put together."""
    tested = ~pl.col("own")
    stated = table.with_columns(pl.col(kind).fill_null("").alias("value"))
    people = pl.col("customer").filter(tested).n_unique().over("model", "value")
    key = stated.with_columns((people < rules.fewest_customers).alias("thin")).with_columns(
        pl.when("thin").then(pl.lit("")).otherwise("value").alias("shown")
    )
    key = key.with_columns(pl.struct("model", "shown", "thin").rank("dense").cast(pl.String).alias("part"))
    cells = cells_of(checked(key.with_columns(pl.col("part").alias("model"))))
    gains = gains_of(cells)
    groups = (
        key.filter(tested)
        .group_by("model", "shown", "thin", "part", maintain_order=True)
        .agg(
            pl.col("customer").n_unique(),
            pl.col("n").sum(),
            pl.col("value").n_unique(),
            pl.col("value").first().alias("only"),
        )
        .sort("model", "thin", pl.col("customer").cast(pl.Int64).neg(), "shown")
    )
    found: dict[str, list[Part]] = {}
    for row in groups.iter_rows(named=True):
        several = row["thin"] and (row["value"] > 1 or row["customer"] < _NAMED_FROM)
        enough = row["customer"] >= rules.fewest_customers
        mine = gains.of(cells.models.index(row["part"]))
        over_own = summary(mine) if len(mine.gain) >= rules.fewest_customers else None
        value = str(row["value"]) if several else row["only"]
        reason = "shown" if enough else "few_customers"
        found.setdefault(row["model"], []).append(
            Part(kind, value, several, row["customer"], row["n"], over_own, reason)
        )
    return {model: parts for model, parts in found.items() if any(part.value for part in parts)}


@dataclass(frozen=True, slots=True)
class _Category:
    """One category's pieces and what was found in them.

    used: marks the cells that compare; order: each label's place among the components.
    """

    table: pl.DataFrame
    cells: Cells
    used: Bools
    shown: dict[int, ModelEffect]
    label: Ints
    order: dict[int, int]
    band: Ints
    rules: RollUpRules


def _caveats(of: _Category, j: int, facts: dict[str, Any], component: int) -> tuple[str, ...]:
    """Say in codes what a reader must know before believing a model's row."""
    cells, rules = of.cells, of.rules
    used = of.used & (cells.model == j)
    band = of.band[np.unique(cells.customer_of[cells.sitting[used]])]
    found = []
    if of.shown[j].compared < rules.early_customers or facts["shots"] < rules.early_shots:
        found.append("few_customers")
    found += [f"only_{name}" for k, name in enumerate(BANDS) if np.mean(band == k) >= _NEARLY_ALL]
    if component:
        found.append("not_connected")
    if facts["studios"] == 1 and of.table["studio"].n_unique() > 1:
        found.append("one_studio")
    if 2 * facts["own_customers"] > facts["customers"]:
        found.append("mostly_own_clubs")
    if rules.old_before is not None and facts["last_period"] < rules.old_before:
        found.append("old_data")
    return tuple(found)


def _rows(of: _Category) -> tuple[ModelRow, ...]:
    """Make the rows of the models shown: the largest component first, in it the longest model first."""
    gains = gains_of(of.cells)
    facts = of.table.group_by("model").agg(
        pl.col("customer").n_unique().alias("customers"),
        pl.col("customer").filter("own").n_unique().alias("own_customers"),
        pl.col("n").sum().alias("shots"),
        pl.col("studio").n_unique().alias("studios"),
        pl.col("period").min().alias("first_period"),
        pl.col("period").max().alias("last_period"),
    )
    known = {row.pop("model"): row for row in facts.to_dicts()}
    lofts, shafts = (_parts(of.table, kind, of.rules) for kind in ("loft", "shaft"))
    rows = []
    for j, effect in of.shown.items():
        mine, component = gains.of(j), of.order[int(of.label[j])]
        over_own = summary(mine) if len(mine.gain) >= of.rules.fewest_customers else None
        parts = (*lofts.get(effect.model, ()), *shafts.get(effect.model, ()))
        caveats = _caveats(of, j, known[effect.model], component)
        rows.append(ModelRow(effect, component, **known[effect.model], gains=over_own, parts=parts, caveats=caveats))
    return tuple(sorted(rows, key=lambda row: (row.component, -row.effect.effect, row.effect.model)))


def _components(cells: Cells, shown: dict[int, ModelEffect], label: Ints) -> list[tuple[int, tuple[str, ...]]]:
    """List the components of two models or more with their labels: most models shown first, then most models named."""
    groups = [(int(k), np.flatnonzero(label == k)) for k in np.unique(label)]
    named = customers_by_model(cells) >= _NAMED_FROM
    linked = [(k, group[named[group]]) for k, group in groups if len(group) > 1]
    linked = [(k, group) for k, group in linked if len(group)]
    linked.sort(key=lambda one: (-sum(int(j) in shown for j in one[1]), -len(one[1]), cells.models[one[1][0]]))
    return [(k, tuple(cells.models[j] for j in group)) for k, group in linked]


def _category(name: str, table: pl.DataFrame, unnamed_shots: int, rules: RollUpRules) -> CategoryRollUp:
    cells = cells_of(table)
    found = _effects(cells, rules)
    shown, label = _ranked(found, rules) if found.shown else {}, found.label
    used = comparing(cells)
    speeds = _speeds(table, cells.customers)
    compared = np.unique(cells.customer_of[cells.sitting[used]])
    limits = _limits(speeds[compared], rules.fewest_customers)
    bands, band = _banded(cells.of(used), speeds, limits, rules) if limits else ((), np.full(cells.customers, -1))
    linked = _components(cells, shown, label)
    order = {k: i for i, (k, _) in enumerate(linked)}
    rows = _rows(_Category(table, cells, used, shown, label, order, band, rules)) if shown else ()
    return CategoryRollUp(
        category=name,
        customers=cells.customers,
        shots=int(cells.n.sum()),
        components=tuple(models for _, models in linked),
        models=rows,
        withheld=_withheld(cells, shown, rules),
        bands=bands,
        shot_sd=float(np.sqrt(cells.shot_variance)),
        model_sd=found.posterior.model_sd if found.posterior else float("nan"),
        fit_sd=found.posterior.fit_sd if found.posterior else float("nan"),
        unnamed_shots=unnamed_shots,
    )


def roll_up(pieces: pl.DataFrame, rules: RollUpRules | None = None) -> tuple[CategoryRollUp, ...]:
    """Say of each category which models perform better or worse than its average, and what they brought.

    pieces: one row a (customer, model, category, loft, shaft, period, studio, own, sitting): n [1], total and squares
    (sum and sum of squares of one quantity over the counted shots, carry in m by default), speed_mps (mean club speed
    of these shots, or mean ball speed, the same kind in all rows of a category; null if unknown). period sorts as text
    (2026-11); sitting: the visit. model "": nobody said which. An own club of unknown model is what gains are held
    against, and compares and links nothing; other clubs of unknown model are left out. rules: the minimums.
    Returns the categories by name; one in which no two shots with a build differ is left out, as the luck of a shot is
    not known there. Raises ValueError for pieces that no sum of shots can be (rollup_cells.checked), and for rules by
    which a model of a single customer would be named.
    Customers' levels are fixed, one each sitting, so who tried what and which device measured it does not matter;
    neither do better players who favour a model. What own clubs lose or win on others (old, known to their
    owners) is one effect for all of them, taken out. Models' effects are drawn to each other as far as chance demands.
    A model that truly suits better players cannot be seen in one figure: the speed bands say so, each against the
    average of its own models.
    Not allowed for: clubs hit later in a visit (warm-up), which the own club is not; a fitter who goes on only with
    what looks well (shots are weighted, not clubs, which takes most of it).
    Source: the modules used here, each with its own.
    """
    rules = rules or RollUpRules()
    if rules.fewest_customers < _NAMED_FROM:
        message = f"a model must not be shown from fewer than {_NAMED_FROM} customers on"
        raise ValueError(message)
    table = checked(pieces)
    found = []
    for (name,), part in table.partition_by("category", as_dict=True).items():
        named = part.filter(pl.col("own") | (pl.col("model") != UNKNOWN))
        if named.height and luck_is_known(named):
            unnamed = int(part["n"].sum()) - int(named["n"].sum())
            found.append(_category(str(name), named, unnamed, rules))
    return tuple(sorted(found, key=lambda one: one.category))
