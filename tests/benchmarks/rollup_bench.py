"""How often the roll-up and the watch over a bay are right, on invented customers; run it as a file: it prints tables.

Every golf constant here is invented: the figures rank methods and catch one gone wrong, they say nothing of golf.
Each table has its own seed, so the figures are the same on every run. `python rollup_bench.py 0.2` runs a fifth.
test_rollup_bench.py asserts what a small run must give.
"""

import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.analysis.ball_flight import Floats
from pipeline.analysis.drift import QUANTILE_OF, RULES, DriftRules, false_alarm_in_100, run_length
from pipeline.analysis.model_effects import against_average, design, rank_ranges, solved
from pipeline.analysis.own_gains import gains_of, summary
from pipeline.analysis.rollup import roll_up
from pipeline.analysis.rollup_cells import Cells, cells_of, checked, comparing, components
from pipeline.bay_sessions import watches
from pipeline.rollup_records import RollUpRules
from tests.benchmarks import invented_bays
from tests.benchmarks.invented_bays import Bays, filed

YARD: Final = 0.9144
MOST: Final = 12  # shots with a club


@dataclass(frozen=True, slots=True)
class Plan:
    """Invented customers of a season, lengths in yards.

    model_sd, fit_sd, shot_sd: spreads of models, of a model's effect between customers, of shots; uneven: spread of the
    logarithm of a customer's own shot spread; favour: how much better players lean to the first three models;
    own_loss: what own clubs lose on all others, None without own clubs; owned: share of customers who own the first
    model; stops: a club that is behind after 4 shots is laid aside; suits: what the first model gives per spread of
    skill.
    """

    customers: int
    models: int = 8
    tried: int = 3
    model_sd: float = 3.0
    fit_sd: float = 4.0
    shot_sd: float = 12.0
    uneven: float = 0.3
    favour: float = 1.0
    own_loss: float | None = None
    owned: float = 0.0
    stops: bool = False
    suits: float = 0.0


def season(plan: Plan, generator: np.random.Generator) -> tuple[pl.DataFrame, Floats]:
    """Make the pieces of a season and the true effect of each model against their average (models,) [m]."""
    c, tried = plan.customers, plan.tried
    skill = generator.standard_normal(c)
    model = plan.model_sd * generator.standard_normal(plan.models)
    model -= model.mean()
    lean = generator.gumbel(size=(c, plan.models))
    lean[:, :3] += plan.favour * skill[:, None]
    which = np.argsort(-lean, axis=1)[:, :tried]
    own = np.zeros((c, tried), dtype=bool)
    true = model[which] + plan.fit_sd * generator.standard_normal((c, tried))
    true += plan.suits * skill[:, None] * (which == 0)
    if plan.own_loss is not None:
        owned = np.where(generator.random(c) < plan.owned, 0, plan.models + generator.integers(0, 3 * c, c))
        old = np.where(owned == 0, model[0], plan.model_sd * generator.standard_normal(c)) - plan.own_loss
        old += plan.fit_sd * generator.standard_normal(c)
        which = np.column_stack([owned, which])
        true, own = np.column_stack([old, true]), np.column_stack([np.ones(c, dtype=bool), own])
    spread = plan.shot_sd * np.exp(plan.uneven * generator.standard_normal(c))
    shots = 220 + 25 * skill[:, None, None] + true[:, :, None]
    shots = shots + spread[:, None, None] * generator.standard_normal((*true.shape, MOST))
    n = generator.integers(6, MOST + 1, true.shape)
    if plan.stops:
        first = shots[:, :, :4].mean(axis=2)
        n = np.where(first < first.max(axis=1, keepdims=True) - 5, 4, n)
    counted = np.arange(MOST) < n[:, :, None]
    total, squares = ((shots * YARD) ** power for power in (1, 2))
    return pl.DataFrame({
        "customer": np.repeat([f"c{i:05}" for i in range(c)], true.shape[1]),
        "model": [f"m{j:05}" for j in which.ravel()],
        "category": "driver", "loft": "10.5", "shaft": "S", "period": "2026-05", "studio": "s1", "sitting": 1,
        "own": own.ravel(),
        "n": n.ravel(),
        "total": np.where(counted, total, 0).sum(axis=2).ravel(),
        "squares": np.where(counted, squares, 0).sum(axis=2).ravel(),
        "speed_mps": np.repeat(45 + 4 * skill, true.shape[1]),
    }), model * YARD  # fmt: skip


def cells_and_group(table: pl.DataFrame) -> tuple[Cells, Cells]:
    """Give all cells and those that compare."""
    cells = cells_of(checked(table))
    return cells, cells.of(comparing(cells))


# --- effects ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Errors:
    """Of pairs of models [yd]: root mean square error of plain means, of customers fixed without pooling, and as done.

    cover: intervals against the average that hold the truth; favoured: mean error of the three favoured models, of
    plain means and as done; first: the same of the first model as done; better: models called better, and seasons in
    which one is, wrongly; ranked: places within the stated ranges, and their mean width in places.
    """

    plain: float
    unpooled: float
    done: float
    cover: float
    favoured_plain: float
    favoured: float
    first: float
    better: float
    any_better: float
    ranked: float
    width: float


def _centred(values: Floats) -> Floats:
    return np.asarray(values - values.mean())


def errors(plan: Plan, seasons: int, seed: int) -> Errors:
    """Roll seasons up and hold the effects against the truth."""
    generator = np.random.default_rng(seed)
    wrong: dict[str, list[Floats]] = {"plain": [], "unpooled": [], "done": []}
    rows = []
    for _ in range(seasons):
        table, truth = season(plan, generator)
        while table.filter(pl.col("model") < f"m{plan.models:05}")["model"].n_unique() < plan.models:
            table, truth = season(plan, generator)  # each model must have been hit to be compared with the truth
        cells, used = cells_and_group(table)
        chosen = np.array([cells.models.index(f"m{j:05}") for j in range(plan.models)])
        found = against_average(used, chosen, components(used)[chosen])
        effect, low, high = found.effect, found.quantile(0.025), found.quantile(0.975)
        tested = table.filter(pl.col("model") < f"m{plan.models:05}").group_by("model").agg(pl.col("n", "total").sum())
        plain = tested.sort("model").select(pl.col("total") / pl.col("n")).to_series().to_numpy()
        free = design(used, chosen)
        unpooled = solved(free, 1e6, found.fit_sd**2).effects[np.searchsorted(free.model_of, chosen)]
        for name, values in (("plain", plain), ("unpooled", unpooled), ("done", effect)):
            wrong[name].append((_centred(values) - truth) / YARD)
        best, worst = rank_ranges(effect, found.covariance)
        place = 1 + (truth[None, :] > truth[:, None]).sum(axis=1)
        better = (low > 0) & (truth <= 1e-9)
        inside = (best <= place) & (place <= worst)
        rows.append(
            (((low < truth) & (truth < high)).mean(), better.mean(), better.any(), inside.mean(), (worst - best).mean())
        )
    cover, false, any_false, ranked, width = np.array(rows, dtype=np.float64).mean(axis=0)
    off = {name: np.array(values) for name, values in wrong.items()}
    pairs = np.sqrt(2 * plan.models / (plan.models - 1))
    rmse = {name: float(pairs * np.sqrt((values**2).mean())) for name, values in off.items()}
    favoured = [float(off[name][:, :3].mean() - off[name][:, 3:].mean()) for name in ("plain", "done")]
    first = float(off["done"][:, 0].mean())
    return Errors(**rmse, cover=cover, favoured_plain=favoured[0], favoured=favoured[1], first=first, better=false,
                  any_better=any_false, ranked=ranked, width=width)  # fmt: skip


# --- gains over own clubs -----------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class GainErrors:
    """Of the gains over own clubs: intervals of the mean that hold the truth, lift, spread of true gains by quantiles.

    spread and spread_measured: from the 10th to the 90th percentile over the true one.
    """

    cover: float
    lift: float
    spread: float
    spread_measured: float


def gain_errors(plan: Plan, seasons: int, seed: int) -> GainErrors:
    """Hold the gains over own clubs against the truth, model by model; own clubs differ by model_sd, too."""
    generator = np.random.default_rng(seed)
    rows = []
    for _ in range(seasons):
        table, truth = season(plan, generator)
        cells, _ = cells_and_group(table)
        gains = gains_of(cells)
        for j in range(plan.models):
            found = summary(gains.of(cells.models.index(f"m{j:05}")))
            if found is None or found.customers < 5:
                continue
            # the truth over all customers there might be: own clubs are own_loss short on average
            true = truth[j] + (plan.own_loss or 0.0) * YARD
            wide = 2 * 1.2815516 * np.sqrt(2 * plan.fit_sd**2 + plan.model_sd**2) * YARD
            spread = [
                (values[4] - values[0]) / wide if wide else np.nan for values in (found.quantiles, found.measured)
            ]
            rows.append((found.low < true < found.high, found.lift, *spread))
    return GainErrors(*np.array(rows, dtype=np.float64).mean(axis=0).tolist())


# --- drift --------------------------------------------------------------------------------------------------------
def alarms(
    rules: DriftRules, shift: float, odd: float, runs: int, seed: int, sessions: int = 100
) -> tuple[float, float]:
    """Say how often an alarm comes within so many sessions after the reference, and the median session it comes on.

    shift: of the device, in spreads between sessions, from the first session after the reference on; odd: share of
    sessions that are 4 spreads off, to either side.
    """
    generator = np.random.default_rng(seed)
    first = []
    for _ in range(runs):
        values = generator.standard_normal(rules.reference + sessions)
        values += np.where(generator.random(len(values)) < odd, generator.choice([-4, 4], len(values)), 0)
        values[rules.reference :] += shift
        first.append(first_alarm(values, rules))
    found = np.array(first)
    return float((found <= sessions).mean()), float(np.median(found))


def first_alarm(values: Floats, rules: DriftRules) -> float:
    """Give the session after the reference that raises the first alarm, inf if none does; every golfer another.

    drift.watch tells the same of whole sessions, as tests/analysis/test_drift.py holds.
    """
    mean, spread = values[: rules.reference].mean(), values[: rules.reference].std(ddof=1)
    up = down = 0.0
    for k, z in enumerate(np.clip((values[rules.reference :] - mean) / spread, -rules.clip, rules.clip), 1):
        up, down = max(0.0, up + z - rules.step), max(0.0, down - z - rules.step)
        if max(up, down) > rules.limit:
            return float(k)
    return float("inf")


# --- the tables ---------------------------------------------------------------------------------------------------
SEASONS: Final = {
    "better players favour three models": Plan(40),
    "golfers alike in spread": Plan(40, uneven=0.0),
    "golfers very uneven": Plan(40, uneven=0.6),
    "no model differs": Plan(40, model_sd=0.0),
    "no model differs, none suits one more": Plan(40, model_sd=0.0, fit_sd=0.0),
    "models differ much": Plan(40, model_sd=8.0),
    "own clubs 6 yd shorter, many the first": Plan(40, own_loss=6.0, owned=0.4),
    "the club behind is laid aside": Plan(40, stops=True),
    "the first suits better players (3 yd)": Plan(40, suits=3.0),
}


def print_effects(scale: float) -> None:
    """Print errors and covers of the effects."""
    print("effects of 8 models, 3 tried by each: rmse of pairs [yd] of plain means, no pooling, as done; cover;")
    print("  favoured too good: plain, as done; first model off; false better: models, seasons; rank cover, width")
    for name, plan in SEASONS.items():
        for customers in (15, 40, 150):
            one = replace(plan, customers=customers)
            e = errors(one, max(int(300 * scale), 2), 7 + customers)
            print(
                f"  {name:39}{customers:4} {e.plain:5.1f} {e.unpooled:5.2f} {e.done:5.2f}  {e.cover:.3f}"
                f"  {e.favoured_plain:+5.1f} {e.favoured:+5.2f} {e.first:+5.2f}  {e.better:.3f} {e.any_better:.3f}"
                f"  {e.ranked:.3f} {e.width:4.1f}"
            )


def print_gains(scale: float) -> None:
    """Print covers of the gains over own clubs."""
    print("gains over own clubs: cover of the mean, lift, 10 to 90 % of the gains over the truth: shown, measured")
    for name, plan in {
        "own 6 yd shorter": Plan(40, own_loss=6.0),
        "nothing differs": Plan(40, own_loss=0.0, model_sd=0.0, fit_sd=0.0),
        "own 6 yd shorter, 150 customers": Plan(150, own_loss=6.0),
    }.items():
        g = gain_errors(plan, max(int(200 * scale), 2), 5)
        print(f"  {name:33} {g.cover:.3f} {g.lift:+.3f}  {g.spread:.2f} {g.spread_measured:.2f}")


def print_drift(scale: float) -> None:
    """Print how often and how late the watch over a bay raises an alarm."""
    print("a bay: false alarm in 100 sessions computed, simulated, and with 3 % odd; median session that sees")
    print("  0.5, 1, 2 spreads; average run length with the reference known: steady, 1 spread, 2 spreads")
    runs = max(int(4000 * scale), 50)
    for rules in (DriftRules(30, limit=5.0), DriftRules(30), DriftRules(60, limit=5.0), RULES):
        false = [alarms(rules, 0.0, odd, runs, 11)[0] for odd in (0.0, 0.03)]
        late = [alarms(rules, shift, 0.03, runs, 13)[1] for shift in (0.5, 1.0, 2.0)]
        length = [run_length(shift, rules) for shift in (0.0, 1.0, 2.0)]
        print(
            f"  reference {rules.reference} limit {rules.limit:g}  {false_alarm_in_100(rules):.3f} {false[0]:.3f}"
            f" {false[1]:.3f}  {late[0]:4.0f} {late[1]:4.0f} {late[2]:4.0f}"
            f"  {length[0]:6.0f} {length[1]:5.1f} {length[2]:5.1f}"
        )


def print_bays(scale: float) -> None:
    """Print what the whole path, from the archive's rows to alarms, makes of bays whose ball speed reads off."""
    print(
        "bays of the archive, 60 visits and 100 more: off by, alarms standing at the end, median visit that raised one"
    )
    many = max(int(200 * scale), 10)
    for drift in (0.0, 0.005, 0.01, 0.02, -0.01):
        with tempfile.TemporaryDirectory() as folder:
            found = watches(filed(Path(folder) / "rows.parquet", invented_bays.rows(Bays(many, 160, drift), 1)), {})
        for quantity in QUANTILE_OF:
            alarms = [one.watch.alarm for one in found if one.watch.quantity == quantity]
            seen = [alarm.seen - 59 for alarm in alarms if alarm]
            late = f"{np.median(seen):3.0f}" if seen else "  -"
            print(f"  {drift:+.1%} {quantity:20} {len(seen) / len(alarms):.3f}  {late}")


def print_speed(_: float) -> None:
    """Print how long a roll-up takes, the quickest of three."""
    for customers, models in ((1000, 50), (5000, 80)):
        plan = Plan(customers, models, own_loss=6.0, owned=0.1)
        table, _truth = season(plan, np.random.default_rng(1))
        spent = []
        for _round in range(3):
            start = time.perf_counter()
            roll_up(table, RollUpRules())
            spent.append(time.perf_counter() - start)
        print(f"{customers} customers, {models} models, {table.height} pieces with bands: {min(spent):.2f} s")


def main() -> None:
    """Print all tables."""
    scale = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    for table in (print_effects, print_gains, print_drift, print_bays, print_speed):
        table(scale)


if __name__ == "__main__":
    main()
