"""The unit of each column: stated in cells, heading, units row, preamble or profile, else a default or asked for."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from pipeline.reading.candidates import fitting, thinned, tried_units
from pipeline.records import Fault, Given
from pipeline.schema import Measurement, measurements
from pipeline.trade_words import measurements_called, names_a_unit, quantity_called
from pipeline.units import Unit, spelled, unit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.reading.columns import Plan
    from pipeline.reading.measuring import Numbers

MIXED = "mixed"
_DEFAULTS = {"angle": "deg", "spin": "rpm", "time": "s", "ratio": "one"}
STATED = frozenset({"header", "units_row", "preamble", "profile"})


@dataclass(frozen=True, slots=True)
class Scale:
    """The unit that applies to a column's bare numbers, and what is reported of it."""

    unit: Unit | None
    unit_from: str
    reported: str | None


def declared(plans: "Sequence[Plan]", meta: "Mapping[str, str]", given: Given) -> "dict[str, tuple[Unit | None, str]]":
    """Give the unit each measured column is declared in outside its cells, and where."""
    by_field, by_dimension = _preamble_units(meta)
    found: dict[str, tuple[Unit | None, str]] = {}
    for plan in plans:
        measurement = measurements().get(plan.field)
        if measurement is not None:
            preamble = by_field.get(plan.field) or by_dimension.get(measurement.dimension)
            found[plan.field] = _first_stated(plan, measurement, preamble, given)
    return found


def _first_stated(
    plan: "Plan", measurement: Measurement, preamble: Unit | None, given: Given
) -> tuple[Unit | None, str]:
    if plan.unit:
        return plan.unit, plan.unit_from
    if preamble:
        return preamble, "preamble"
    profile = spelled(given.units.get(measurement.dimension, ""), measurement.dimension)
    if profile:
        return profile, "profile"
    default = _DEFAULTS.get(measurement.dimension)
    return (unit(measurement.dimension, default), "default") if default else (None, "none")


def _preamble_units(meta: "Mapping[str, str]") -> tuple[dict[str, Unit], dict[str, Unit]]:
    """Read keys such as `Speed unit`: a quantity word speaks for all its columns, another trade word for its own."""
    by_field: dict[str, Unit] = {}
    by_dimension: dict[str, Unit] = {}
    for key, value in meta.items():
        quantity = names_a_unit(key)
        if not quantity:
            continue
        dimension = quantity_called(quantity)
        if dimension and (stated := spelled(value, dimension)):
            by_dimension.setdefault(dimension, stated)
        elif not dimension:
            for name in measurements_called(quantity):
                if name in measurements() and (stated := spelled(value, measurements()[name].dimension)):
                    by_field.setdefault(name, stated)
    return by_field, by_dimension


def question(
    plans: "Sequence[Plan]", numbers: "Mapping[str, Numbers]", stated: "Mapping[str, tuple[Unit | None, str]]"
) -> Fault | None:
    """Give the first question about units: a conflict, then a suspicion, then what is unknown."""
    return _conflict(plans) or _suspect(plans, numbers, stated) or _unknown(plans, numbers, stated)


def _conflict(plans: "Sequence[Plan]") -> Fault | None:
    """Ask about the first column whose heading and units row differ."""
    for plan in plans:
        if plan.conflict:
            return Fault("unit_conflict", {"column": plan.header, "units": sorted(plan.conflict)})
    return None


def _suspect(
    plans: "Sequence[Plan]", numbers: "Mapping[str, Numbers]", stated: "Mapping[str, tuple[Unit | None, str]]"
) -> Fault | None:
    """Ask about columns whose every figure is impossible in the stated unit and possible in another one."""
    fits: dict[str, set[str]] = {}
    for plan in plans:
        found, unit_from = stated.get(plan.field, (None, ""))
        if found is None or unit_from not in STATED or not tried_units(plan.field):
            continue
        values = numbers[plan.field].bare
        if _hopeless(values, plan.field, found):
            others = {name for name in tried_units(plan.field) if name != found.name}
            fits[plan.field] = {
                name for name in others if possible(values, plan.field, unit(found.dimension, name)).all()
            }
    fits = {name: found for name, found in fits.items() if found}
    if not fits:
        return None
    return Fault("unit_suspect", {"columns": _proposals(plans, fits, numbers, stated)})


def _hopeless(values: pl.Series, name: str, tried: Unit) -> bool:
    """Tell whether there are values and none of them is possible; an extreme that is possible settles it at once."""
    low, high = measurements()[name].possible
    extremes = (values.min(), values.max())
    if any(not isinstance(value, float) or low <= tried.to_stored(value) <= high for value in extremes):
        return False
    return not possible(values, name, tried).any()


def possible(values: pl.Series, name: str, tried: Unit) -> pl.Series:
    """Tell which values are possible in a unit."""
    return pl.select(tried.column_to_stored(pl.lit(values)).is_between(*measurements()[name].possible)).to_series()


def _unknown(
    plans: "Sequence[Plan]", numbers: "Mapping[str, Numbers]", stated: "Mapping[str, tuple[Unit | None, str]]"
) -> Fault | None:
    """Ask about columns of speeds and lengths with figures whose unit stands nowhere."""
    fits = {
        name: fitting(name, _median(numbers[name].bare))
        for name, (found, _) in stated.items()
        if found is None and numbers[name].bare.null_count() < len(numbers[name].bare)
    }
    if not fits:
        return None
    return Fault("unit_unknown", {"columns": _proposals(plans, fits, numbers, stated)})


def _proposals(
    plans: "Sequence[Plan]",
    fits: "dict[str, set[str]]",
    numbers: "Mapping[str, Numbers]",
    stated: "Mapping[str, tuple[Unit | None, str]]",
) -> dict[str, list[str]]:
    """Give heading → units, thinned by what the other columns say."""
    known: dict[str, float] = {}
    for name in ("club_speed_mps", "ball_speed_mps", "carry_m"):
        if name in numbers and name not in fits and not numbers[name].empty:
            found = stated[name][0]
            bare = numbers[name].bare.drop_nulls()
            stored = numbers[name].stored
            values = [*(stored.drop_nulls() if stored is not None else ())]
            values += [found.to_stored(value) for value in bare] if found else []
            known[name] = _median(pl.Series(values, dtype=pl.Float64))
    left = thinned(fits, {name: _median(numbers[name].bare) for name in fits}, known)
    return {plan.header: left[plan.field] for plan in plans if plan.field in left}


def _median(values: pl.Series) -> float:
    found = values.abs().median()
    return float(found) if isinstance(found, int | float) else 0.0


def scale(numbers: "Numbers", found: Unit | None, unit_from: str) -> Scale:
    """Settle what is reported: the declared unit, unless every cell with a number states another one."""
    if found is not None and found.dimension == "ratio":
        return Scale(found, "none", None)
    if numbers.all_stated:
        several = len(numbers.units) > 1
        if unit_from not in {"header", "units_row"}:
            return Scale(found, "cell", MIXED if several else next(iter(numbers.units)))
        if not several and found is not None and found.name not in numbers.units:
            return Scale(found, "cell", next(iter(numbers.units)))
    if found is None:
        return Scale(None, "none", None)
    return Scale(found, unit_from, found.name)


def cells_differ(numbers: "Numbers", found: Unit | None, unit_from: str) -> bool:
    """Tell whether a cell states another unit than is declared for its column."""
    return found is not None and unit_from in STATED and bool(numbers.units - {found.name})
