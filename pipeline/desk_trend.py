"""A customer's visits side by side: what a club did on each day by their fitting.json, and whether that changed."""

import datetime as dt
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.analysis.comparison import FEWEST_SHOTS, LEVEL, verdict, welch
from pipeline.analysis.fates import COUNTING

QUANTITIES = ("carry_m", "ball_speed_mps", "club_speed_mps", "smash_factor")


@dataclass(frozen=True, slots=True)
class Figure:
    """An average with its range, in stored units; no range below two shots, or where a median stands for a mean."""

    middle: float
    bounds: tuple[float, float] | None
    n: int
    source: str
    is_median: bool = False


@dataclass(frozen=True, slots=True)
class ClubOnDay:
    """One club in one visit; carries are of the shots that count [m], aside the number of mishits."""

    visit: str
    date: dt.date
    kind: str
    label: str
    is_own: bool
    figures: Mapping[str, Figure]
    carries_m: tuple[float, ...]
    aside: int
    air: tuple[object, ...]
    smallest_difference_m: float


@dataclass(frozen=True, slots=True)
class Change:
    """How the last carry differs from the one before [m]; verdict as in a report, empty where they are not compared.

    why_not: few shots | uneven | other source | other air, where they are not.
    """

    before: ClubOnDay
    last: ClubOnDay
    difference_m: float
    low_m: float = math.nan
    high_m: float = math.nan
    verdict: str = ""
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Trend:
    """One kind of club through the visits, the oldest first."""

    kind: str
    days: tuple[ClubOnDay, ...]
    change: Change | None


def read(content: bytes, visit: str) -> tuple[dt.date | None, list[ClubOnDay]]:
    """Read a fitting.json: its day, and of each kind of club the customer's own, else the only one hit.

    Where several clubs of a kind were tried and none was the customer's own, none stands for the visit. No day when it
    is damaged, or of another visit.
    """
    try:
        document = json.loads(content)
        if str(document["visit"]["id"]) != visit:
            return None, []
        day = dt.date.fromisoformat(document["visit"]["date"])
        found: dict[str, list[ClubOnDay]] = {}
        for given in document["sets"]:
            club = _club(given, document)
            if club.figures:
                found.setdefault(club.kind, []).append(club)
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None, []
    own = {kind: next((club for club in tried if club.is_own), None) for kind, tried in found.items()}
    picked = [own[kind] or (tried[0] if len(tried) == 1 else None) for kind, tried in found.items()]
    return day, [club for club in picked if club]


def _club(given: Mapping[str, Any], document: Mapping[str, Any]) -> ClubOnDay:
    build = given["build"]
    number = f" {build['number']}" if build.get("number") is not None else ""
    here = [shot for shot in document["shots"] if shot["set"] == given["letter"]]
    counted = [shot["used"].get("carry_m") for shot in here if shot["fate"] in COUNTING]
    figures = {name: _figure(given["averages"][name]) for name in QUANTITIES if name in given["averages"]}
    return ClubOnDay(
        visit=str(document["visit"]["id"]),
        date=dt.date.fromisoformat(document["visit"]["date"]),
        kind=f"{build['category']}{number}" if build["category"] else str(given["label"]),
        label=" ".join(part for part in (str(build.get("name") or given["label"]), str(given["phase"])) if part),
        is_own=given["own_club"] is True,
        figures=figures,
        carries_m=tuple(float(carry) for carry in counted if carry is not None),
        aside=int(given["n_mishit"]),
        air=tuple(document["air"].values()),
        smallest_difference_m=float(document["smallest_difference_m"]),
    )


def _figure(average: Mapping[str, Any]) -> Figure:
    mean, low, high = average["mean"], average["low"], average["high"]
    middle = float(average["median"] if mean is None else mean)
    return Figure(
        middle=middle,
        bounds=None if low is None or high is None else (float(low), float(high)),
        n=int(average["n"]),
        source=str(average["source"]),
        is_median=mean is None,
    )


def trends(days: Iterable[ClubOnDay]) -> list[Trend]:
    """Put the clubs of several visits together by kind, those the customer owns first; one day alone is no trend."""
    by_kind: dict[str, list[ClubOnDay]] = {}
    for club in sorted(days, key=lambda club: club.date):
        by_kind.setdefault(club.kind, []).append(club)
    several = {kind: these for kind, these in by_kind.items() if len(these) > 1}
    found = [Trend(kind, tuple(these), _change(these, len(several))) for kind, these in several.items()]
    return sorted(found, key=lambda trend: (not any(day.is_own for day in trend.days), trend.kind))


def _change(days: Sequence[ClubOnDay], compared: int) -> Change | None:
    """Compare the last carry with the one before, as clubs of one visit are compared: for all kinds compared together.

    The interval holds what the balls of the two days would still vary; it knows nothing of other balls, bays and days.
    """
    before, last = days[-2:]
    if "carry_m" not in before.figures or "carry_m" not in last.figures:
        return None
    one, other = last.figures["carry_m"], before.figures["carry_m"]
    why_not = _why_not(before, last)
    if why_not:
        return Change(before, last, one.middle - other.middle, why_not=why_not)
    found = welch(np.array(last.carries_m), np.array(before.carries_m), (last.aside, before.aside))
    wide = found.half_width(LEVEL, compared)
    said = verdict(found.mean - wide, found.mean + wide, last.smallest_difference_m)
    return Change(before, last, found.mean, found.mean - wide, found.mean + wide, said)


def _why_not(before: ClubOnDay, last: ClubOnDay) -> str:
    one, other = last.figures["carry_m"], before.figures["carry_m"]
    if one.source != other.source:
        return "other source"
    if before.air != last.air:
        return "other air"
    if one.is_median or other.is_median:
        return "uneven"
    return "few shots" if min(len(before.carries_m), len(last.carries_m)) < FEWEST_SHOTS else ""
