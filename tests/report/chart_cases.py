"""The extremes every picture must bear: a name → the function that draws it with a language's words."""

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from functools import partial
from typing import TypeVar

from pipeline import ball_charts, charts, flight_charts, model_charts
from pipeline.ball_charts import LandingSet, Oval, StripRow
from pipeline.chart_parts import Words
from pipeline.charts import ClubRow, ClubStep, DifferenceRow, LeverRow
from pipeline.flight_charts import FlightCurve, LaunchBox, LaunchPlace
from pipeline.model_charts import EffectRow
from pipeline.vocabulary import words

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
WIDE = "W" * 40
LONG = "Own driver 9.5° with the long soft shaft"
Draw = Callable[[Words], str]


def chart_words(language: str = "en") -> Words:
    """Give the words of pictures in a language."""
    known = words(language)
    names = [field.name for field in fields(Words) if field.name not in ("number", "signed")]
    long = known.get("units.yards.length_long")
    said = {name: known.say(f"picture.{name}", length_long=long, height_long=long) for name in names}
    return Words(known.number, known.signed, **said)


# --- differences, levers, bag -------------------------------------------------------------------------------------
def difference(index: int, middle: float, half: float, label: str = "Driver with another shaft") -> DifferenceRow:
    text = f"{middle:+.0f} yd", f"{middle - half:+.0f} to {middle + half:+.0f}"
    thin, thick = (middle - half, middle + half), (middle - half / 3, middle + half / 3)
    return DifferenceRow(index, LETTERS[index], label, middle, thin, thick, *text)


def lever(label: str, middle: float, ends: tuple[float, float] | None, *, is_sum: bool = False) -> LeverRow:
    span = "" if ends is None else f"{ends[0]:+.0f} to {ends[1]:+.0f}"
    return LeverRow(label, middle, ends, is_sum, f"{middle:+.0f} yd", span)


def lever_rows(gains: Sequence[tuple[float, float]], measured: float | None) -> list[LeverRow]:
    names = [words("en").get(f"lever.{key}") for key in ("club_speed", "strike", "attack", "fit", "attack_and_fit")]
    rows = [lever(name, m, (m - half, m + half)) for name, (m, half) in zip(names, gains, strict=False)]
    whole = sum(m for m, _ in gains)
    rows.append(lever("All of them, by the model", whole, (whole - 4, whole + 4), is_sum=True))
    return rows if measured is None else [*rows, lever("Measured", measured, None, is_sum=True)]


def clubs(carries: Sequence[float], half: float = 3, label: str = "Iron", step: str = "a usual step") -> list[ClubRow]:
    rows = []
    for i, carry in enumerate(carries):
        gap = carry - carries[i + 1] if i + 1 < len(carries) else None
        odd = gap is not None and not 6 < gap < 20
        said = "far apart" if gap and gap > 20 else "close together" if odd else step
        next_one = None if gap is None else ClubStep(f"{gap:.0f} yd: {said}", odd)
        text = f"{carry:.0f} yd", f"{carry - half:.0f} to {carry + half:.0f}"
        rows.append(ClubRow(i, LETTERS[i], f"{label} {i + 1}", carry, (carry - half, carry + half), *text, next_one))
    return rows


DIFFERENCES: dict[str, list[DifferenceRow]] = {
    "one build": [difference(1, 8, 5)],
    "thirteen builds": [difference(i, 3 * i - 18, 4 + i) for i in range(1, 14)],
    "a huge and a tiny range": [difference(1, 6, 0.1), difference(2, 0, 160), difference(3, -0.2, 0.2)],
    "zero far outside": [difference(1, -80, 3), difference(2, -86, 4)],
    "zero far outside on the other side": [difference(1, 80, 3), difference(2, 86, 4)],
    "forty wide letters": [difference(1, 8, 5, WIDE), difference(2, -8, 5, LONG), difference(3, 1, 9, "W W " * 10)],
    "no range at all": [difference(1, 4, 0), difference(2, 0, 0)],
    "all the same": [difference(i, 0, 0) for i in range(1, 4)],
    "three digits": [difference(1, -142, 33), difference(2, 136, 41)],
    "just beside zero": [difference(1, 0.4, 0.3), difference(2, -0.4, 0.3)],
    "hair-thin beside wide": [difference(1, 20, 0.6), difference(2, 21, 30)],
    "an endless own word": [difference(1, 8, 5, "Ł" * 300)],
}

LEVERS: dict[str, list[LeverRow]] = {
    "usual": lever_rows([(3, 2), (6, 3), (-1, 2), (4, 4)], 14),
    "ranges narrower than the ring": lever_rows([(3, 0.1), (40, 0.2), (-6, 0.1), (0, 0.05)], 36),
    "one dwarfs the others": lever_rows([(120, 15), (0.6, 0.5), (-0.4, 0.6), (1, 0.5)], 122),
    "all cost": lever_rows([(-12, 3), (-4, 2), (-2, 2), (-9, 5)], -30),
    "two levers alone": lever_rows([(5, 3), (2, 3)], 9),
    "nothing measured": lever_rows([(5, 3), (2, 3)], None),
    "all zero": lever_rows([(0, 0), (0, 0), (0, 0), (0, 0)], 0),
    "five rows": lever_rows([(1, 2), (2, 3), (3, 3), (4, 2), (5, 9)], -14),
    "measured far from the model": lever_rows([(1, 1), (2, 1)], 70),
    "ranges far wider than the gains": lever_rows([(1, 60), (-2, 80), (0.4, 45)], 3),
    "no sum": [lever("Ball speed", 4, (1, 9)), lever("Measured", 5, None, is_sum=True)],
    "wide names": [lever(WIDE, 4, (1, 9)), lever(LONG, -4, (-9, -1)), lever("W W " * 12, 5, None, is_sum=True)],
}

BAGS: dict[str, list[ClubRow]] = {
    "three clubs": clubs([180, 167, 154]),
    "fourteen clubs": clubs([240, 222, 208, 196, 190, 178, 165, 160, 147, 134, 121, 100, 88, 60]),
    "two alike": clubs([180, 179.8, 150]),
    "all alike": clubs([150, 150, 150, 150], 0.2),
    "a hole": clubs([240, 120, 110]),
    "wide ranges": clubs([200, 190, 180], 60),
    "no ranges": clubs([200, 188, 176], 0),
    "long words": clubs([200, 188, 176], 3, LONG, "close together or a usual step or far apart"),
    "wide letters": clubs([200, 188, 176], 3, WIDE),
    "one far wider": [*clubs([200, 188], 2), *clubs([150], 80)],
    "two clubs": clubs([200, 188]),
    "one club": clubs([200]),
}


# --- balls --------------------------------------------------------------------------------------------------------
def landing(
    index: int, balls: Sequence[tuple[float, float]], label: str = "Driver", *, oval: bool | None = None
) -> LandingSet:
    n = len(balls)
    middle = sum(b[0] for b in balls) / n, sum(b[1] for b in balls) / n
    spread = max((math.dist(b, middle) for b in balls), default=0.0)
    around = Oval(middle, spread * 1.1, spread * 0.6, 0.4) if (n >= 5 if oval is None else oval) else None
    return LandingSet(index, LETTERS[index], f"{label} {index}", tuple(balls), middle, around)


def scattered(
    seed: int, n: int = 9, near: float = 200, along: float = 7, across: float = 9
) -> list[tuple[float, float]]:
    dice = random.Random(seed)  # noqa: S311 - invented shots
    return [(near + dice.gauss(0, along), dice.gauss(0, across)) for _ in range(n)]


LANDINGS: dict[str, list[LandingSet]] = {
    "one ball": [landing(0, [(200.0, -3.0)])],
    "three balls": [landing(0, [(200.0, -3.0), (204.0, 8.0), (190.0, 2.0)])],
    "all balls on one spot": [landing(0, [(200.0, 4.0)] * 9, oval=False)],
    "two sets on one spot": [landing(0, [(200.0, 4.0)] * 9), landing(1, [(200.0, 4.0)] * 9)],
    "one ball 80 yards off": [landing(0, [*scattered(1), (190.0, 80.0)]), landing(1, scattered(2, near=210))],
    "all far left": [landing(0, [(x, y - 60) for x, y in scattered(3)])],
    "two sets": [landing(0, scattered(1)), landing(1, scattered(2, near=216))],
    "forty balls each": [landing(0, scattered(1, 40)), landing(1, scattered(2, 40, near=205))],
    "wedges at 30": [landing(0, scattered(1, near=30, along=2, across=1)), landing(1, scattered(2, near=35, along=2))],
    "one topped": [landing(0, [*scattered(1, 4), (15.0, 0.0)]), landing(1, scattered(2))],
    "very wide, very flat": [landing(0, [(200.0, -90.0), (201.0, 90.0), (199.0, 0.0)])],
    "very long, very narrow": [landing(0, [(20.0, 0.0), (260.0, 1.0), (240.0, 0.0)])],
}

PANELS: dict[str, tuple[list[LandingSet], bool]] = {
    "three": ([landing(i, scattered(i, near=200 + 6 * i)) for i in range(3)], True),
    "four": ([landing(i, scattered(i, near=200 + 6 * i)) for i in range(4)], True),
    "five": ([landing(i, scattered(i, near=200 + 6 * i)) for i in range(5)], True),
    "fourteen": ([landing(i, scattered(i, near=240 - 13 * i)) for i in range(14)], False),
    "fourteen on one ground": ([landing(i, scattered(i, near=210 + 2 * i)) for i in range(14)], True),
    "long names": ([landing(i, scattered(i), WIDE if i else LONG) for i in range(5)], True),
    "one ball each": ([landing(i, [(200.0 + i, 2.0 * i)]) for i in range(6)], True),
    "one spot each": ([landing(i, [(200.0, 0.0)] * 8, oval=False) for i in range(3)], True),
    "one ball 80 yards off": ([landing(i, [*scattered(i), (195.0, 80.0 if i == 1 else 0.0)]) for i in range(4)], True),
    "one topped": ([landing(i, [*scattered(i, 4), (10.0 if i == 1 else 200.0, 0.0)]) for i in range(4)], True),
    "drivers and wedges": ([landing(i, scattered(i, near=(240.0, 90.0, 40.0)[i])) for i in range(3)], False),
    "forty balls": ([landing(i, scattered(i, 40)) for i in range(8)], True),
    "very long, very narrow": ([landing(i, [(5.0, 0.0), (330.0, 1.0)]) for i in range(4)], True),
}


def strip(
    index: int, counted: Sequence[float], aside: Sequence[tuple[float, int]] = (), label: str = "Club"
) -> StripRow:
    return StripRow(index, LETTERS[index], f"{label} {index}", tuple(counted), tuple(aside))


def carries(seed: int, n: int, near: float = 200) -> list[float]:
    return [carry for carry, _ in scattered(seed, n, near)]


STRIPS: dict[str, list[StripRow]] = {
    "usual": [strip(0, carries(1, 9), [(150.0, 7)]), strip(1, carries(2, 9)), strip(2, carries(3, 9), [(170.0, 31)])],
    "fourteen sets": [strip(i, carries(i, 8, 230 - 12 * i), [(200.0 - 12 * i, 10 * i)]) for i in range(14)],
    "forty balls": [strip(i, carries(i, 40)) for i in range(3)],
    "crosses close together": [strip(0, carries(1, 9), [(180 + 0.2 * i, 100 + i) for i in range(12)])],
    "crosses on one spot": [strip(0, carries(1, 9), [(180.0, 95 + i) for i in range(9)])],
    "forty crosses": [strip(0, carries(1, 9), [(150 + (i * 37) % 60, 980 + i) for i in range(40)])],
    "two hundred crosses": [strip(0, carries(1, 9), [(150 + (i * 37) % 60, 980 + i) for i in range(200)])],
    "nothing counted": [strip(0, (), [(150.0, 7), (151.0, 8)]), strip(1, carries(2, 5))],
    "one ball": [strip(0, [200.0])],
    "one cross": [strip(0, (), [(200.0, 1)])],
    "crosses at both ends": [strip(0, carries(1, 5), [(20.0, 1), (20.0, 2), (20.0, 3), (320.0, 1004), (320.0, 1005)])],
    "long names, crosses in every row": [
        strip(i, carries(i, 9), [(190 + j, 200 + 10 * i + j) for j in range(5)], LONG) for i in range(6)
    ],
}


# --- flight and launch --------------------------------------------------------------------------------------------
def curve(index: int, far: float = 200, high: float = 30, points: int = 41) -> FlightCurve:
    steps = [i / (points - 1) for i in range(points)]
    return FlightCurve(index, LETTERS[index], tuple((far * s, high * math.sin(math.pi * s**1.2)) for s in steps))


FLIGHTS: dict[str, list[FlightCurve]] = {
    "one": [curve(0)],
    "three": [curve(0), curve(1, 212, 33), curve(2, 221, 27)],
    "fourteen": [curve(i, 240 - 13 * i, 28 + (i % 3)) for i in range(14)],
    "fourteen equal": [curve(i) for i in range(14)],
    "four equal": [curve(i) for i in range(4)],
    "very high": [curve(0, 60, 70), curve(1, 40, 90)],
    "very flat": [curve(0, 240, 1), curve(1, 200, 0.4)],
    "a topped ball": [curve(0, 240, 30), curve(1, 8, 0.5)],
    "short of points": [curve(0, points=3), curve(1, points=2), curve(2, points=4)],
    "nearly equal": [curve(i, 220 + i / 3, 30 + i / 5) for i in range(6)],
    "tiny": [curve(0, 3, 0.5)],
    "drivers and wedges": [curve(0, 250, 30), curve(1, 60, 24), curve(2, 40, 20), curve(3, 20, 12)],
}


def box(key: str, launch: tuple[float, float], spin: tuple[float, float]) -> LaunchBox:
    said = f"Window for {key}", f"{launch[0]:.1f}° to {launch[1]:.1f}°", f"{spin[0]:.0f} rpm to {spin[1]:.0f} rpm"
    best = launch[0] * 0.55 + launch[1] * 0.45, spin[0] * 0.6 + spin[1] * 0.4
    return LaunchBox(f"for {key}", said, launch, spin, best)


def place(launch: float, spin: float, label: str = "Driver 3", index: int = 2) -> LaunchPlace:
    return LaunchPlace(index, LETTERS[index], (launch, spin), (label, f"{launch:.1f}°", f"{spin:.0f} rpm"))


_USUAL = box("carry", (11.5, 14.6), (2300, 2900)), box("total", (9.2, 12.4), (1900, 2450))
WINDOWS: dict[str, tuple[Sequence[LaunchBox], LaunchPlace | None]] = {
    "usual": (_USUAL, place(9.9, 2650)),
    "in it": (_USUAL, place(12.0, 2400)),
    "far below": (_USUAL, place(2.0, 6800)),
    "far above": (_USUAL, place(24.0, 900)),
    "no spin known": (_USUAL, None),
    "one window": (_USUAL[:1], place(10, 2600)),
    "the same window twice": (
        (box("carry", (11, 14), (2300, 2900)), box("total", (11, 14), (2300, 2900))),
        place(12, 2500),
    ),
    "one in the other": (
        (box("carry", (8, 18), (1500, 4200)), box("total", (12, 13), (2600, 2800))),
        place(12.5, 2700),
    ),
    "narrow as a hair": (
        (box("carry", (11, 11.05), (2300, 2302)), box("total", (10, 10.02), (2100, 2101))),
        place(10.5, 2200),
    ),
    "no width at all": ((box("carry", (11, 11), (2300, 2300)), box("total", (11, 11), (2300, 2300))), place(11, 2300)),
    "long name": (_USUAL, place(11.9, 2400, LONG)),
    "wide letters": (_USUAL, place(11.9, 2400, WIDE, 7)),
    "edges close together": (
        (box("carry", (8, 18), (1500, 4200)), box("total", (9, 12), (2000, 4150))),
        place(12.5, 2700),
    ),
    "an iron": ((box("carry", (16, 21), (5200, 7900)), box("total", (13, 17.5), (4300, 6100))), place(19.2, 7100)),
    "corner to corner": ((box("carry", (9, 11), (2000, 2400)), box("total", (11, 13), (2400, 2800))), place(11, 2400)),
}


# --- club models --------------------------------------------------------------------------------------------------
def model(middle: float, half: float, label: str = "Head with shaft") -> EffectRow:
    verdict = "better" if middle > half else "worse" if middle < -half else "not_settled"
    text = f"{middle:+.1f} yd", f"{middle - half:+.1f} to {middle + half:+.1f}"
    return EffectRow(label, verdict, middle, (middle - half, middle + half), *text)


Effects = tuple[tuple[EffectRow, ...], float, tuple[EffectRow, ...]]
EFFECTS: dict[str, Effects] = {
    "a few": ((model(4, 2), model(0, 1), model(-4, 2)), 5, ()),
    "one": ((model(0, 1),), 5, ()),
    "as many as fit": (tuple(model(8 - i, 2) for i in range(16)), 5, ()),
    "far apart": ((model(60, 3), model(-60, 3)), 5, ()),
    "wide ranges": ((model(2, 40), model(-2, 40)), 5, ()),
    "nothing between them": ((model(0, 0), model(0, 0)), 5, ()),
    "nearly no difference": ((model(0.02, 0.01), model(-0.02, 0.01)), 0.5, ()),
    "much must matter": ((model(4, 2), model(-4, 2)), 50, ()),
    "little must matter": ((model(40, 12), model(-40, 12)), 0.5, ()),
    "long names": ((model(4, 2, LONG), model(0, 1, f"{LONG} and more"), model(-4, 2)), 5, ()),
    "wide letters": ((model(4, 2, WIDE), model(-4, 2, "i")), 5, ()),
    "all on one side": ((model(9, 1), model(8, 1), model(7, 1)), 5, ()),
    "a part of a long picture": ((model(4, 2), model(3, 2)), 5, (model(-30, 12, LONG),)),
}

TITLE = "A spoken sentence with 12 and 3."
T = TypeVar("T")


def _cases(kind: str, extremes: Mapping[str, T], draw: Callable[[T, Words], str]) -> dict[str, Draw]:
    return {f"{kind}: {name}": partial(draw, extreme) for name, extreme in extremes.items()}


CASES: dict[str, Draw] = {
    **_cases("differences", DIFFERENCES, lambda rows, w: charts.differences(rows, w, TITLE)),
    **_cases("levers", LEVERS, lambda rows, w: charts.levers(rows, 2, w, TITLE)),
    **_cases("bag", BAGS, lambda rows, w: charts.bag(rows, w, TITLE)),
    **_cases("landing", LANDINGS, lambda sets, w: ball_charts.landing_plan(sets, w, TITLE)),
    **_cases("panels", PANELS, lambda case, w: ball_charts.landing_panels(case[0], w, TITLE, same_ground=case[1])),
    **_cases("strip", STRIPS, lambda rows, w: ball_charts.every_shot(rows, w, TITLE)),
    **_cases("flights", FLIGHTS, lambda curves, w: flight_charts.flights(curves, w, TITLE)),
    **_cases("effects", EFFECTS, lambda case, w: model_charts.effects(case[0], case[1], w, TITLE, case[2])),
    **_cases("window", WINDOWS, lambda case, w: flight_charts.launch_window(*case, w, TITLE)),
}
