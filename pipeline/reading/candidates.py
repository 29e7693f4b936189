"""Units that would make a column's figures possible: to be proposed to a person, never to be assumed.

Joint tests thin them out: ball speed over club speed, and g times carry over ball speed squared. Their bounds are our
own engineering judgement, not from a publication.
"""

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

from pipeline.schema import measurements
from pipeline.units import unit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

_STANDARD_GRAVITY = 9.80665  # m/s², the conventional value
_BALL_TO_CLUB = (0.8, 1.6)
_CARRY_TO_SPEED = (0.3, 1.0)
_UNITS = {"speed": ("km/h", "m/s", "mph"), "length": ("m", "yd")}
_ALSO_FEET = frozenset({"apex_m", "offline_m"})
_ON_THE_FACE = frozenset({"impact_toe_m", "impact_high_m"})


def tried_units(name: str) -> tuple[str, ...]:
    """Give the units a measurement may be proposed in; none where a default or nothing applies."""
    if name in _ON_THE_FACE:
        return ("cm", "in", "mm")
    found = _UNITS.get(measurements()[name].dimension, ())
    return (*found, "ft") if name in _ALSO_FEET else found


def fitting(name: str, median: float) -> set[str]:
    """Give the units under which the median of a column is typical; the sign does not matter."""
    low, high = measurements()[name].typical
    dimension = measurements()[name].dimension
    return {tried for tried in tried_units(name) if low <= unit(dimension, tried).to_stored(abs(median)) <= high}


@dataclass(frozen=True, slots=True)
class _Figures:
    """Medians of columns: as written where the unit is open, in the stored unit where it is known."""

    open: "Mapping[str, float]"
    known: "Mapping[str, float]"

    def value(self, name: str, chosen: "Mapping[str, str | None]") -> float | None:
        """Give the median in the stored unit if the open units were these."""
        dimension = measurements()[name].dimension
        tried = chosen.get(dimension)
        if name in self.open:
            return unit(dimension, tried).to_stored(self.open[name]) if tried else None
        return self.known.get(name)


def thinned(
    fits: "Mapping[str, set[str]]", open_medians: "Mapping[str, float]", known_medians: "Mapping[str, float]"
) -> dict[str, list[str]]:
    """Thin the fitting units out: columns of one dimension share a unit, and joint tests must hold.

    Where nothing would be left, nothing is thinned out: the question is still asked.
    """
    shared = {dimension: _shared(fits, dimension) for dimension in _UNITS}
    figures = _Figures({name: abs(value) for name, value in open_medians.items()}, known_medians)
    pairs = [
        (speed, length)
        for speed, length in product(_or_none(shared["speed"]), _or_none(shared["length"]))
        if _together(figures, {"speed": speed, "length": length})
    ]
    left = {"speed": {speed for speed, _ in pairs}, "length": {length for _, length in pairs}}
    return {
        name: sorted(
            (found & left[measurements()[name].dimension])
            or (found & set(shared[measurements()[name].dimension]))
            or found
        )
        for name, found in fits.items()
    }


def _or_none(tried: list[str]) -> "Sequence[str | None]":
    return tried or [None]


def _shared(fits: "Mapping[str, set[str]]", dimension: str) -> list[str]:
    sets = [found for name, found in fits.items() if measurements()[name].dimension == dimension]
    return sorted(set.intersection(*sets)) if sets else []


def _together(figures: _Figures, chosen: dict[str, str | None]) -> bool:
    club, ball, carry = (figures.value(name, chosen) for name in ("club_speed_mps", "ball_speed_mps", "carry_m"))
    if ball and club and not _BALL_TO_CLUB[0] <= ball / club <= _BALL_TO_CLUB[1]:
        return False
    if not ball or carry is None:
        return True
    return _CARRY_TO_SPEED[0] <= _STANDARD_GRAVITY * carry / ball**2 <= _CARRY_TO_SPEED[1]
