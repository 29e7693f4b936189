"""Invented archives for the manager's page: pieces of made-up customers and models, rolled up. None of it is golf."""

from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.analysis.rollup import roll_up
from pipeline.rollup_records import (
    BayWatch,
    CarrySpread,
    CategoryRollUp,
    DriftAlarm,
    DriftWatch,
    ModelEffect,
    ModelRow,
    ModelsFound,
    OwnGains,
    RollUpRules,
    Share,
)

YARD = 0.9144
SD = 9.0  # of a customer's shots [m]


def season(
    models: int = 8, customers: int = 120, tried: int = 4, *, category: str = "driver", seed: int = 1, apart: int = 0
) -> pl.DataFrame:
    """Make the pieces of a season: each customer hits the own club and some models; the last `apart` models are hit by
    customers of their own."""
    generator = np.random.default_rng(seed)
    effect = 4 * generator.standard_normal(models)
    names = [f"Head {i + 1:02} with shaft {chr(65 + i % 5)}" for i in range(models)]
    rows = []
    for customer in range(customers):
        skill = generator.standard_normal()
        far = apart and customer % 4 == 0
        pool = np.arange(models - apart, models) if far else np.arange(models - apart)
        chosen = generator.choice(pool, min(tried, len(pool)), replace=False)
        for place in (-1, *chosen.tolist()):
            n = int(generator.integers(6, 13))
            true = 190 + 18 * skill + (effect[place] if place >= 0 else -4) + 3 * generator.standard_normal()
            shots = true + SD * generator.standard_normal(n)
            rows.append({
                "customer": customer + 1, "model": names[place] if place >= 0 else "", "category": category,
                "loft": "" if place < 0 else ("9", "10.5")[customer % 2], "shaft": "" if place % 3 else "S",
                "period": f"2026-{1 + customer % 11:02}", "studio": "s1", "own": place < 0, "sitting": customer + 1,
                "n": n, "total": float(shots.sum()), "squares": float((shots**2).sum()), "speed_mps": 42 + 4 * skill,
            })  # fmt: skip
    return pl.DataFrame(rows)


def found_of(pieces: pl.DataFrame, rules: RollUpRules | None = None, **more: object) -> ModelsFound:
    """Roll pieces up into all that the page says."""
    rules = rules or RollUpRules()
    categories = roll_up(pieces, rules)
    carries = {
        (one.category, row.effect.model): CarrySpread(row.shots, 170.2, 190.4, 211.7)
        for one in categories
        for row in one.models
    }
    plain = ModelsFound(
        categories, (), carries, (), rules, pieces["customer"].n_unique(), int(pieces["n"].sum()),
        str(pieces["period"].min()), str(pieces["period"].max()),
    )  # fmt: skip
    return replace(plain, **more)  # type: ignore[arg-type]


def alarm(bay: str = "2", quantity: str = "smash_factor", size: float = 0.02) -> BayWatch:
    """Make a watch that has raised an alarm."""
    since = DriftAlarm(quantity, 60, "2026-03-03", 70, "2026-03-20", "up" if size > 0 else "down", size, 2.1, 14, 11)
    return BayWatch("s1", bay, "driver", DriftWatch(quantity, "drifting", 74, 2, 1.44, 0.01, 0.06, since))


def steady(bay: str = "1", used: int = 90) -> BayWatch:
    """Make a watch over a bay that is steady, or that still learns."""
    state = "steady" if used >= 60 else "learning"
    return BayWatch("s1", bay, "driver", DriftWatch("spin_rate_rpm", state, used, 0, 2600.0, 90.0, 0.06, None))


# --- records made by hand, for the borders ------------------------------------------------------------------------
def effect(model: str, middle: float = 0.0, half: float = 1.0, verdict: str = "not_settled") -> ModelEffect:
    """Make a model's effect, lengths in yards."""
    return ModelEffect(model, 12, middle * YARD, (middle - half) * YARD, (middle + half) * YARD, verdict)


def gains(mean: float = 4.0) -> OwnGains:
    """Make what a model brought, lengths in yards."""
    spread = tuple((mean + step) * YARD for step in (-6, -3, 0, 3, 6))
    improved, likely = Share(14, 18, 14 / 18, 0.55, 0.91), Share(7, 18, 7 / 18, 0.2, 0.61)
    low, high = (mean - 2) * YARD, (mean + 2) * YARD
    return OwnGains(18, mean * YARD, low, high, spread, spread, improved, likely, likely.share - 0.05)


def row(one: ModelEffect, component: int = 0, **more: object) -> ModelRow:
    """Make a model's row."""
    plain = ModelRow(one, component, 20, 2, 160, 1, "2026-03", "2026-11", None, (), ())
    return replace(plain, **more)  # type: ignore[arg-type]


def category(*rows: ModelRow, name: str = "driver", **more: object) -> CategoryRollUp:
    """Make a category of such rows."""
    models = tuple(sorted(rows, key=lambda each: (each.component, -each.effect.effect)))
    plain = CategoryRollUp(name, 40, 900, (), models, (), (), SD, 2.0, 3.0)
    return replace(plain, **more)  # type: ignore[arg-type]


def found(*categories: CategoryRollUp, **more: object) -> ModelsFound:
    """Make all that the page says."""
    plain = ModelsFound(categories, (), {}, (), RollUpRules(), 40, 900, "2026-03", "2026-11")
    return replace(plain, **more)  # type: ignore[arg-type]
