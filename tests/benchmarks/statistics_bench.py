"""How often the statistics are right, on invented golfers whose truth is known; run it as a file: it prints tables.

Every golf constant below is invented: the figures rank rules and catch a rule gone wrong, they say nothing of golf.
Each table has its own seed, so the figures are the same on every run. `python statistics_bench.py 0.2` runs a fifth.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pipeline.analysis.ball_flight import FlightModel, add_model, add_used, column
from pipeline.analysis.comparison import compare
from pipeline.analysis.expectation import expect
from pipeline.analysis.fates import COUNTING, fates
from pipeline.physics.atmosphere import Air
from pipeline.records import Fate
from pipeline.schema import measurements

Floats = NDArray[np.float64]
Columns = dict[str, Floats]
MODEL: Final = FlightModel(Air(1.225, 1.789e-5, within_range=True))
YARD: Final = 0.9144
MPH: Final = 0.44704
FLOWN: Final = ("carry_m", "apex_m", "flight_time_s", "descent_angle_deg", "offline_m", "total_m")
# ball over club speed, launch [deg], spin [rpm], club speed [m/s] and its spread between golfers
CLUBS: Final = {"driver": (1.46, 13.0, 2700.0, 45.0, 4.0), "iron": (1.34, 18.0, 6300.0, 37.0, 3.0)}
MISHITS: Final = ("thin", "fat", "toe", "wild")


@dataclass(frozen=True, slots=True)
class Shots:
    """Many visits' shots one after the other: what the device prints, and what each shot was meant to be."""

    frame: pl.DataFrame
    meant: list[str]  # "" for a good shot
    per_visit: int

    def visits(self) -> Iterator[tuple[pl.DataFrame, list[str]]]:
        for start in range(0, self.frame.height, self.per_visit):
            yield self.frame[start : start + self.per_visit], self.meant[start : start + self.per_visit]


@dataclass(frozen=True, slots=True)
class Plan:
    """What is simulated: visits of `sets` sets of `n` shots with one kind of club, with this planted in each set."""

    kind: str
    visits: int
    sets: int
    n: int
    planted: str = ""  # planted in the third shot of every set, or of the first alone
    every_set: bool = True
    mishit_share: float = 0.0
    seed: int = 1
    axis: bool = True  # does the device print a spin axis?
    computed: bool = False  # does it compute the flight from what it printed, faults and all?
    curve: float = 4.0  # spread of the spin axis [deg]
    missing: tuple[str, ...] = field(default=())
    golfer: int | None = None  # the same golfer in every visit


def strikes(plan: Plan, generator: np.random.Generator, count: int) -> Columns:
    """Strike `count` good shots; off-centre strikes lose ball speed, high ones launch higher with less spin."""
    ratio, launch, spin, club, between = CLUBS[plan.kind]
    per_visit = plan.sets * plan.n
    chooser = generator if plan.golfer is None else np.random.default_rng(plan.golfer)
    golfers = -(-count // per_visit) if plan.golfer is None else 1
    speed = np.resize(np.repeat(chooser.normal(club, between, golfers), per_visit), count)
    skill = np.resize(np.repeat(chooser.uniform(0.7, 1.4, golfers), per_visit), count)
    up, across = generator.normal(size=(2, count)) * skill
    club_speed = speed * (1 + 0.013 * skill * generator.normal(size=count))
    smash = ratio * (1 - 0.004 * (up**2 + across**2)) * (1 + 0.004 * generator.normal(size=count))
    return {
        "club_speed_mps": club_speed,
        "ball_speed_mps": club_speed * smash,
        "launch_angle_deg": launch + 0.9 * up + 0.9 * skill * generator.normal(size=count),
        "spin_rate_rpm": spin * np.exp(-0.05 * up + 0.05 * generator.normal(size=count)),
        "launch_direction_deg": 1.8 * skill * generator.normal(size=count),
        "spin_axis_deg": 2.0 * across + plan.curve * skill * generator.normal(size=count),
    }


def mishit(columns: Columns, places: NDArray[np.intp], kind: str, generator: np.random.Generator) -> None:
    """Turn some shots into mishits of one kind."""
    much = generator.uniform(0.5, 1.0, len(places))
    side = generator.choice([-1.0, 1.0], len(places))
    lost = {"thin": 0.14, "fat": 0.22, "toe": 0.10, "wild": 0.02}[kind]
    columns["ball_speed_mps"][places] *= 1 - lost * much
    if kind == "thin":
        columns["launch_angle_deg"][places] -= 6.0 * much
        columns["spin_rate_rpm"][places] *= 1 + 0.3 * much
    elif kind == "fat":
        columns["club_speed_mps"][places] *= 1 - 0.10 * much
        columns["launch_angle_deg"][places] += 2.0 * much
    elif kind == "toe":
        columns["spin_axis_deg"][places] += 14.0 * much * side
        columns["launch_direction_deg"][places] -= 2.0 * much * side
    else:
        columns["launch_direction_deg"][places] += 20.0 * much * side
        columns["spin_axis_deg"][places] += 12.0 * much * side


def _fault(printed: Columns, places: NDArray[np.intp], kind: str, generator: np.random.Generator) -> None:
    """Put one fault into what the device prints."""
    if kind == "spin doubled":
        printed["spin_rate_rpm"][places] *= 2
    elif kind.startswith("ball speed"):
        printed["ball_speed_mps"][places] *= 1 + float(kind.split("+")[1]) / 100
    elif kind == "carry off":
        printed["carry_m"][places] += generator.choice([-1, 1], len(places)) * generator.uniform(
            15 * YARD, 30 * YARD, len(places)
        )
    elif kind == "duplicate":
        for name in printed:
            printed[name][places] = printed[name][places - 1]


def _flown(columns: Columns, generator: np.random.Generator) -> Columns:
    """Fly the balls with the model, and read the flight with a device's error."""
    count = len(columns["ball_speed_mps"])
    blank = {name: np.full(count, np.nan) for name in measurements()}
    true = add_model(pl.DataFrame({**blank, **columns}), MODEL)
    error = {"carry_m": 0.012, "apex_m": 0.025, "flight_time_s": 0.012, "descent_angle_deg": 0.025, "total_m": 0.012}
    read = {n: true[f"model_{n}"].to_numpy() * (1 + error.get(n, 0.0) * generator.normal(size=count)) for n in FLOWN}
    read["offline_m"] = read["offline_m"] + generator.normal(0, 1.0, count)
    read["total_m"] = np.maximum(read["total_m"], read["carry_m"])
    return read


def _rounded(printed: Columns) -> Columns:
    steps = {"club_speed_mps": 0.1 * MPH, "ball_speed_mps": 0.1 * MPH, "spin_rate_rpm": 1.0}
    return {name: np.round(v / steps.get(name, 0.1)) * steps.get(name, 0.1) for name, v in printed.items()}


def shots(plan: Plan) -> Shots:
    """Make the visits of a plan as the stages after reading see them."""
    generator = np.random.default_rng(plan.seed)
    count, per_visit = plan.visits * plan.sets * plan.n, plan.sets * plan.n
    struck = strikes(plan, generator, count)
    step = plan.n if plan.every_set else per_visit
    places = np.arange(2, count, step)
    meant = np.full(count, "", dtype=object)
    if plan.planted in MISHITS:
        mishit(struck, places, plan.planted, generator)
        meant[places] = plan.planted
    chance = generator.random(count) < plan.mishit_share
    kinds = generator.choice(MISHITS, count)
    for kind in MISHITS:
        here = np.flatnonzero(chance & (kinds == kind))
        mishit(struck, here, kind, generator)
        meant[here] = kind
    fault = plan.planted if plan.planted not in MISHITS else ""
    meant[places] = fault or meant[places]
    if plan.computed:
        _fault(struck, places, fault, generator) if fault != "carry off" else None
        printed = _rounded({**struck, **_flown(struck, generator)})
    else:
        printed = {**struck, **_flown(struck, generator)}
        _fault(printed, places, fault, generator)
        printed = _rounded(printed)
    return Shots(_frame(printed, plan), meant.tolist(), per_visit)


def _frame(printed: Columns, plan: Plan) -> pl.DataFrame:
    count = plan.visits * plan.sets * plan.n
    hidden = {*plan.missing} | (set() if plan.axis else {"spin_axis_deg"})
    blank = {name: np.full(count, np.nan) for name in measurements()}
    plain: dict[str, Any] = {**blank, **{name: v for name, v in printed.items() if name not in hidden}}
    ratio = plain["ball_speed_mps"] / plain["club_speed_mps"]
    number = np.arange(count)
    frame = pl.DataFrame({**plain, "smash_factor": ratio}).with_columns(
        pl.lit("a.csv").alias("file"),
        pl.Series("line", number + 2),
        pl.Series("number", number % (plan.sets * plan.n) + 1),
        pl.Series("set", number // plan.n % plan.sets),
        pl.lit(plan.kind).alias("category"),
    )
    return add_model(frame, MODEL)


def decided(plan: Plan) -> Iterator[tuple[pl.DataFrame, list[str], list[Fate]]]:
    """Give each visit with what its shots were meant to be and what the rules made of them."""
    for frame, meant in shots(plan).visits():
        used, _ = add_used(frame)
        yield used, meant, fates(used, ())


# --- the tables ---------------------------------------------------------------------------------------------------
def found_and_lost(plan: Plan) -> tuple[float, float, float]:
    """Share of planted shots set aside, of planted faults called bad reads, and of good shots wrongly set aside."""
    planted = aside = bad = good = lost = 0
    for _, meant, verdicts in decided(plan):
        for what, fate in zip(meant, verdicts, strict=True):
            out = fate.fate not in COUNTING
            planted += bool(what)
            aside += bool(what) and out
            bad += bool(what) and fate.fate == "bad_read"
            good += not what
            lost += not what and out
    return aside / max(planted, 1), bad / max(planted, 1), lost / max(good, 1)


FAULTS: Final = ("spin doubled", "carry off", "duplicate", "ball speed +6", "ball speed +15")


def print_found(scale: float) -> None:
    """Print how many planted faults and mishits are set aside, and how many good shots with them."""
    print("set aside of those planted, called bad reads, good shots lost (3 sets, one planted in the first)")
    for kind in CLUBS:
        for what in (*FAULTS, *MISHITS, ""):
            for n in (8, 12):
                plan = Plan(kind, int(300 * scale), 3, n, what, every_set=False, seed=len(what) + n)
                aside, bad, lost = found_and_lost(plan)
                print(f"  {kind:7} {what or 'nothing':15} n={n:2}  {aside:5.2f} {bad:5.2f} {lost:6.3f}")


def false_claims(builds: int, n: int, visits: int) -> tuple[float, float]:
    """Share of visits of one club hit `builds` + 1 times that claim a difference, and of intervals that hold 0."""
    plan = Plan("driver", visits, builds + 1, n, mishit_share=0.08, seed=100 * builds + n)
    claims = held = intervals = 0
    for frame, _, verdicts in decided(plan):
        counts = np.array([fate.fate in COUNTING for fate in verdicts])
        carry, index = column(frame, "used_carry_m"), frame["set"].to_numpy()
        samples = [carry[counts & (index == k) & np.isfinite(carry)] for k in range(builds + 1)]
        found = compare("carry_m", 0, samples[0], list(enumerate(samples[1:], 1)), 5 * YARD)
        claims += any(c.verdict == "likely_real" for c in found)
        held += sum(c.low <= 0 <= c.high for c in found)
        intervals += len(found)
    return claims / visits, held / max(intervals, 1)


def print_claims(scale: float) -> None:
    """Print how often equal clubs are called different, with 8 % mishits among the shots."""
    print("equal builds: reports with a false claim (5 % at most wanted), intervals that hold the truth")
    for builds in (1, 3, 6):
        for n in (6, 8, 12):
            claimed, held = false_claims(builds, n, int(400 * scale))
            print(f"  builds {builds}  n={n:2}  {claimed:6.3f}  {held:6.3f}")


def luck(builds: int, n: int, visits: int, seed: int) -> tuple[float, float, float, float]:
    """True, measured and expected gain of the build that looked best [yd], and how often the range held the truth."""
    generator = np.random.default_rng(seed)
    true, shots_sd = generator.normal(0, 3 * YARD, (visits, builds + 1)), 10 * YARD
    sums = np.zeros(4)
    for visit in range(visits):
        clubs = [true[visit, k] + 220 + shots_sd * generator.standard_normal(n) for k in range(builds + 1)]
        best = max(expect(0, clubs[0], list(enumerate(clubs[1:], 1))), key=lambda e: e.measured)
        gain = true[visit, best.build] - true[visit, 0]
        sums += (gain, best.measured, best.expected, best.low <= gain <= best.high)
    gain, measured, expected, held = sums / visits
    return gain / YARD, measured / YARD, expected / YARD, held


def print_luck(scale: float) -> None:
    """Print the winner's curse and what is left of it."""
    print("the build that looked best: true gain, measured, expected [yd], 95 % range holds the truth")
    for builds in (1, 2, 4, 7):
        for n in (6, 12):
            print(
                "  builds {}  n={:2}  {:5.2f} {:5.2f} {:5.2f} {:6.3f}".format(
                    builds, n, *luck(builds, n, int(1500 * scale), n)
                )
            )


def main() -> None:
    """Print all tables."""
    scale = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    for table in (print_found, print_claims, print_luck):
        table(scale)


if __name__ == "__main__":
    main()
