"""Invented golfers and what a device prints of their shots: visits whose truth is known.

Every golf constant below is invented: it ranks rules and catches a rule gone wrong, it says nothing of golf.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.analysis.ball_flight import FlightModel, add_model, add_used
from pipeline.analysis.fates import fates
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
    faster: float = 0.0  # share by which every set but the first is swung and struck faster
    seed: int = 1
    axis: bool = True  # does the device print a spin axis?
    computed: bool = False  # does it compute the flight from what it printed, faults and all?
    curve: float = 4.0  # spread of the spin axis [deg]
    missing: tuple[str, ...] = field(default=())
    golfer: int | None = None  # the same golfer in every visit


def golfers(plan: Plan, generator: np.random.Generator) -> tuple[Floats, Floats]:
    """Give each visit's club speed [m/s] and its golfer's looseness [1], shape (visits,) each."""
    _, _, _, club, between = CLUBS[plan.kind]
    if plan.golfer is not None:
        speed, skill = golfers(replace(plan, visits=1, golfer=None), np.random.default_rng(plan.golfer))
        return np.repeat(speed, plan.visits), np.repeat(skill, plan.visits)
    return generator.normal(club, between, plan.visits), generator.uniform(0.7, 1.4, plan.visits)


def strikes(plan: Plan, speed: Floats, skill: Floats, generator: np.random.Generator) -> Columns:
    """Strike good shots; off-centre strikes lose ball speed, high ones launch higher with less spin.

    speed, skill: those of each shot's golfer, shape (count,).
    """
    ratio, launch, spin, _, _ = CLUBS[plan.kind]
    count = len(speed)
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


def hasten(columns: Columns, by: Floats | float) -> Columns:
    """Swing and strike faster by a share."""
    return {**columns, **{name: columns[name] * (1 + by) for name in ("club_speed_mps", "ball_speed_mps")}}


def true_gains(plan: Plan, strikes_each: int = 200) -> Floats:
    """Give what the faster sets of each visit carry more in truth, good shots only, shape (visits,) [m].

    The same good strikes of the visit's golfer are flown at both speeds, so that few of them tell the difference.
    """
    if plan.faster == 0:
        return np.zeros(plan.visits)
    speed, skill = (np.repeat(v, strikes_each) for v in golfers(plan, np.random.default_rng(plan.seed)))
    struck = strikes(plan, speed, skill, np.random.default_rng(plan.seed + 1))
    carries = [_modelled(columns)["model_carry_m"].to_numpy() for columns in (struck, hasten(struck, plan.faster))]
    return np.asarray((carries[1] - carries[0]).reshape(plan.visits, strikes_each).mean(axis=1))


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


def _modelled(columns: Columns) -> pl.DataFrame:
    """Fly balls with the model."""
    blank = {name: np.full(len(columns["ball_speed_mps"]), np.nan) for name in measurements()}
    return add_model(pl.DataFrame({**blank, **columns}), MODEL)


def _flown(columns: Columns, generator: np.random.Generator) -> Columns:
    """Fly the balls, and read the flight with a device's error."""
    count = len(columns["ball_speed_mps"])
    true = _modelled(columns)
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
    speed, skill = (np.repeat(values, per_visit) for values in golfers(plan, generator))
    struck = strikes(plan, speed, skill, generator)
    struck = hasten(struck, np.where(np.arange(count) % per_visit < plan.n, 0.0, plan.faster))
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
        pl.lit(None, pl.String).alias("time"),
    )
    return add_model(frame, MODEL)


def decided(plan: Plan) -> Iterator[tuple[pl.DataFrame, list[str], list[Fate]]]:
    """Give each visit with what its shots were meant to be and what the rules made of them."""
    for frame, meant in shots(plan).visits():
        used, _ = add_used(frame)
        yield used, meant, fates(used, ())
