"""How often the levers' ranges hold the truth, on invented golfers whose truth is known; run it as a file: tables.

Every golf constant below is invented: the figures catch a range gone wrong, they say nothing of golf. No mishits are
in it. Each table has its own seed, so all figures but the times are the same on every run. `python levers_bench.py 0.2`
runs a fifth.
"""

import math
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.analysis.attribution import (
    LEVERS,
    asking_levers,
    attribute,
    shapley,
    speed_mixtures,
    struck_mixtures,
)
from pipeline.analysis.ball_flight import FlightModel
from pipeline.analysis.delivery import USUAL, Middle, shots_of
from pipeline.analysis.distances import distances, finished
from pipeline.analysis.ranges import RESAMPLES
from pipeline.lever_records import Attribution
from pipeline.physics.atmosphere import Air
from pipeline.physics.strike import Launched, launch
from pipeline.records import Build, Fate, ShotSet

Floats = NDArray[np.float64]
MODEL: Final = FlightModel(Air(1.225, 1.789e-5, within_range=True))
FLOWN: Final = distances(MODEL)
YARD: Final = 0.9144
MPH: Final = 0.44704
RPM: Final = math.pi / 30
# club speed [m/s], attack and delivered loft [deg], efficiency, grip: a golfer's own club, and its spread over golfers
CLUBS: Final = {
    "driver": ((45.0, -1.0, 13.5, 1.44, 0.23), (3.5, 2.0, 1.2, 0.02, 0.02)),
    "iron": ((37.0, -3.5, 24.0, 1.40, 0.33), (2.5, 1.5, 1.5, 0.02, 0.02)),
}
# what the final set differs by: club speed [m/s], attack [deg], static loft [deg], efficiency, grip
MOVED: Final = (0.8, 1.5, 1.0, 0.02, 0.012)
SCATTER: Final = (0.6, 1.1, 0.9, 0.025, 0.014)  # of a golfer's shots, same order; loft beyond what follows the attack
NOISE: Final = {"club_speed_mps": 0.4, "attack_angle_deg": 0.5, "ball_speed_mps": 0.25, "launch_angle_deg": 0.25}
SPIN_NOISE: Final = 0.03
CARRY_NOISE: Final = 0.012
ROUNDED: Final = {"club_speed_mps": 0.1 * MPH, "ball_speed_mps": 0.1 * MPH, "spin_rate_rpm": 1.0}


@dataclass(frozen=True, slots=True)
class Plan:
    """Visits of two sets of n shots; null: nothing changed; lofts: both static lofts are known; missing: no column."""

    kind: str
    n: int
    visits: int
    seed: int
    null: bool = False
    lofts: bool = True
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Truth:
    """Two deliveries, (5,) each as in CLUBS, the change of static loft [deg], and how far the loft follows."""

    base: Floats
    final: Floats
    loft_change: float
    follow: float


def truth(plan: Plan, generator: np.random.Generator) -> Truth:
    """Draw a golfer and what the fitting changes; where lofts are unknown, how far the loft follows differs."""
    centre, spread = CLUBS[plan.kind]
    base = generator.normal(centre, spread)
    change = np.zeros(5) if plan.null else generator.normal(0.0, MOVED)
    follow = generator.normal(1.0, 0.5)
    final = base + change
    final[2] += follow * change[1]
    return Truth(base, final, float(change[2]), float(follow))


def middle(delivery: Floats) -> Middle:
    """The ball a delivery gives, without scatter."""
    speed, attack, loft, efficiency, grip = delivery
    balls = launch(speed, np.radians(attack), np.radians(loft), efficiency, grip)
    return Middle(*(np.atleast_1d(x) for x in (speed, np.radians(attack), *balls)))


def true_gains(plan: Plan, known: Truth) -> dict[str, float]:
    """What each lever brings in carry when nothing scatters [m]."""
    pair = middle(known.base), middle(known.final)
    if "attack_angle_deg" in plan.missing:
        balls: Launched = speed_mixtures(*pair, club="club_speed_mps" not in plan.missing)
    else:
        change = math.radians(known.loft_change) if plan.lofts else None
        balls = struck_mixtures(*pair, np.array([known.follow]), change)
    shares = shapley(FLOWN(balls)[0, :, 0])
    gains = dict(zip(LEVERS[len(shares)], shares.tolist(), strict=True))
    if "fit" in gains:
        gains["attack_and_fit"] = gains["attack"] + gains["fit"]
    return gains | {"modelled": float(shares.sum())}


def struck(delivery: Floats, follow: float, n: int, generator: np.random.Generator) -> dict[str, Floats]:
    """Hit n shots around a delivery and read them with a device's error."""
    scatter = generator.normal(0.0, SCATTER, (n, 5))
    scatter[:, 2] += follow * scatter[:, 1]
    speed, attack, loft, efficiency, grip = (delivery + scatter).T
    balls = launch(speed, np.radians(attack), np.radians(loft), efficiency, grip)
    carry, total = FLOWN(balls)[:2]
    true = {
        "club_speed_mps": speed,
        "attack_angle_deg": attack,
        "ball_speed_mps": balls.ball_speed_mps,
        "launch_angle_deg": np.degrees(balls.launch_rad),
    }
    read = {name: values + generator.normal(0.0, NOISE[name], n) for name, values in true.items()}
    read["spin_rate_rpm"] = balls.spin_radps / RPM * (1 + generator.normal(0.0, SPIN_NOISE, n))
    rounded = {name: np.round(v / ROUNDED.get(name, 0.1)) * ROUNDED.get(name, 0.1) for name, v in read.items()}
    off = 1 + generator.normal(0.0, CARRY_NOISE, n)
    return {**rounded, "used_carry_m": carry * off, "used_total_m": total * off}


def frame_of(columns: dict[str, Floats], missing: tuple[str, ...] = ()) -> pl.DataFrame:
    """Shots as the stages after reading see them."""
    gone = {name: np.full(len(values), np.nan) for name, values in columns.items() if name in missing}
    plain = pl.DataFrame({**columns, **gone})
    return plain.with_columns(pl.lit("a.csv").alias("file"), pl.lit(None, pl.String).alias("time"))


def visits(plan: Plan) -> Iterator[tuple[Truth, Attribution]]:
    """Give each visit's truth and what is said of its carry."""
    generator = np.random.default_rng(plan.seed)
    for _ in range(plan.visits):
        known = truth(plan, generator)
        base, final = (
            shots_of(frame_of(struck(delivery, known.follow, plan.n, generator), plan.missing))
            for delivery in (known.base, known.final)
        )
        found = attribute(base, final, FLOWN, USUAL[plan.kind], math.radians(known.loft_change) if plan.lofts else None)
        if found:
            yield known, found[1]


@dataclass(frozen=True, slots=True)
class Rates:
    """Of so many visits: how often the range held the truth, how often a sentence was allowed, mean width [m]."""

    visits: int
    held: float
    sayable: float
    width_m: float


def rates(plan: Plan) -> tuple[dict[str, Rates], float]:
    """Sum up a plan lever by lever; and the share of visits with any of the separate levers sayable."""
    held: Counter[str] = Counter()
    said: Counter[str] = Counter()
    width: defaultdict[str, float] = defaultdict(float)
    done = any_said = 0
    for known, carry in visits(plan):
        done += 1
        true = true_gains(plan, known)
        any_said += any(gain.sayable for gain in carry.levers)
        for gain in (*carry.levers, *(g for g in (carry.attack_and_fit, carry.modelled) if g)):
            held[gain.lever] += gain.low_m <= true[gain.lever] <= gain.high_m
            said[gain.lever] += gain.sayable
            width[gain.lever] += gain.high_m - gain.low_m
    return {k: Rates(done, held[k] / done, said[k] / done, width[k] / done) for k in held}, any_said / done


def error(share: float, count: int) -> float:
    """Binomial standard error of a share."""
    return math.sqrt(share * (1 - share) / count)


PLANS: Final = {
    "driver, lofts known": ("driver", True, ()),
    "driver, lofts unknown": ("driver", False, ()),
    "iron, lofts known": ("iron", True, ()),
    "iron, lofts unknown": ("iron", False, ()),
    "driver, no attack": ("driver", True, ("attack_angle_deg",)),
    "driver, ball alone": ("driver", True, ("attack_angle_deg", "club_speed_mps")),
    "driver, no spin": ("driver", True, ("spin_rate_rpm",)),
}
SHOTS: Final = (6, 10, 20)


def plans(scale: float, *, null: bool) -> Iterator[tuple[str, Plan]]:
    """List what is simulated."""
    for number, (name, (kind, lofts, missing)) in enumerate(PLANS.items()):
        for n in SHOTS:
            yield name, Plan(kind, n, int(400 * scale), 100 * number + n, null=null, lofts=lofts, missing=missing)


def print_rates(scale: float) -> None:
    """Print how often the 80 % ranges hold the truth, and how often nothing is called something."""
    for null in (False, True):
        print(
            "nothing changed: sayable (10 % wanted)" if null else "cover of the 80 % range, its width [yd] in brackets"
        )
        for name, plan in plans(scale, null=null):
            found, any_said = rates(plan)
            wanted = 0.10 if null else 0.80
            cells = (
                f"{k} {r.sayable:.3f}" if null else f"{k} {r.held:.3f} ({r.width_m / YARD:.1f})"
                for k, r in found.items()
            )
            tail = f"  any {any_said:.3f}" if null else ""
            print(f"  {name:22} n={plan.n:2} ±{error(wanted, plan.visits):.3f}  {'  '.join(cells)}{tail}")


# --- the cost -----------------------------------------------------------------------------------------------------
def visit(builds: int, n: int, seed: int = 1) -> tuple[list[ShotSet], pl.DataFrame, list[Fate]]:
    """One visit of an own club and so many builds, n shots each."""
    generator = np.random.default_rng(seed)
    plan = Plan("driver", n, 1, seed)
    parts = [
        frame_of(struck(truth(plan, generator).final, 1.0, n, generator)).with_columns(pl.lit(i).alias("set"))
        for i in range(builds + 1)
    ]
    sets = [
        ShotSet(i, "ABCDEFGHIJ"[i], f"club {i}", "", Build(f"club {i}", "driver"), i == 0) for i in range(builds + 1)
    ]
    return sets, pl.concat(parts), [Fate("counted")] * (n * (builds + 1))


def seconds(builds: int, n: int, times: int = 5) -> tuple[float, float, int]:
    """Least seconds of all levers of a visit, of as many bare flights, and how many those are."""
    given = visit(builds, n)
    flights = (2 * builds - 1) * 16 * (1 + RESAMPLES + 2 * n)
    balls = launch(np.full(flights, 45.0), 0.0, 0.24, 1.44, np.linspace(0.2, 0.26, flights))
    took: list[list[float]] = [[], []]
    for _ in range(times):
        start = time.perf_counter()
        finished(asking_levers(*given), FLOWN)
        between = time.perf_counter()
        FLOWN(balls)
        took[0].append(between - start)
        took[1].append(time.perf_counter() - between)
    return min(took[0]), min(took[1]), flights


def print_cost() -> None:
    """Print what a large visit costs, beside the bare flights in the same run."""
    whole, bare, flights = seconds(6, 12)
    print(f"own club and 6 builds of 12 shots: {whole:.2f} s, {whole / bare:.2f} times its {flights} bare flights")


def main() -> None:
    """Print all tables."""
    print_cost()
    print_rates(float(sys.argv[1]) if len(sys.argv) > 1 else 1.0)


if __name__ == "__main__":
    main()
