"""Factors against an independent library, and what units.py promises."""

from fractions import Fraction

import pint
import polars as pl
import pytest

from pipeline.errors import SettingsError
from pipeline.resources import table
from pipeline.schema import measurements
from pipeline.units import Unit, quantity, spelled, unit, units

ALL_UNITS = [found for rows in units().values() for found in rows.values()]
PINT_NAMES = {
    "m/s": "meter/second",
    "km/h": "kilometer/hour",
    "mph": "mile/hour",
    "ft/s": "foot/second",
    "kn": "nautical_mile/hour",
    "m": "meter",
    "yd": "yard",
    "ft": "foot",
    "in": "inch",
    "cm": "centimeter",
    "mm": "millimeter",
    "deg": "degree",
    "rad": "radian",
    "rpm": "revolution/minute",
    "rps": "revolution/second",
    "rad/s": "radian/second",
    "s": "second",
    "ms": "millisecond",
    "one": "dimensionless",
    "%": "percent",
    "K": "kelvin",
    "C": "degree_Celsius",
    "F": "degree_Fahrenheit",
    "Pa": "pascal",
    "hPa": "hectopascal",
    "kPa": "kilopascal",
    "inHg": "inch_Hg",
}
STORED = {
    "speed": "meter/second",
    "length": "meter",
    "angle": "degree",
    "spin": "revolution/minute",
    "time": "second",
    "ratio": "dimensionless",
    "temperature": "kelvin",
    "pressure": "pascal",
}
# The inch of mercury depends on gravity and temperature: two conventions differ in the sixth digit. All others are
# exact definitions, so only the rounding of doubles is left.
RELATIVE = {"inHg": 2e-5}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


@pytest.mark.parametrize("found", ALL_UNITS, ids=lambda found: f"{found.dimension}-{found.name}")
def test_factor_agrees_with_the_reference_library(found: Unit, registry: pint.UnitRegistry[float]) -> None:
    for value in (0.0, 1.0, 97.3):
        reference = registry.Quantity(value, PINT_NAMES[found.name]).to(STORED[found.dimension]).magnitude
        assert found.to_stored(value) == pytest.approx(reference, rel=RELATIVE.get(found.name, 1e-12), abs=1e-12)


@pytest.mark.parametrize("found", ALL_UNITS, ids=lambda found: f"{found.dimension}-{found.name}")
def test_there_and_back(found: Unit) -> None:
    assert found.from_stored(found.to_stored(12.5)) == pytest.approx(12.5, rel=1e-12)
    column = pl.select(found.column_to_stored(pl.lit(pl.Series([0.0, 12.5, -3.0])))).to_series()
    assert column.to_list() == pytest.approx([found.to_stored(value) for value in (0.0, 12.5, -3.0)], rel=1e-12)


def test_factors_are_exact_text() -> None:
    for rows in table("units").values():
        for row in rows.values():
            numerator, _, denominator = row["factor"].partition("/")
            assert Fraction(numerator) / Fraction(denominator or "1") > 0


def test_one_stored_unit_per_dimension() -> None:
    for dimension, rows in units().items():
        stored = [found.name for found in rows.values() if found.factor == 1.0 and not found.offset]
        assert len(stored) == 1, dimension


def test_a_spelling_occurs_once_in_a_dimension() -> None:
    for dimension, rows in units().items():
        spellings = [spelling for found in rows.values() for spelling in found.spellings]
        assert len(spellings) == len(set(spellings)), dimension
        assert all(spelling == spelling.lower() for spelling in spellings), dimension


def test_measurements_are_stored_in_the_unit_of_their_name() -> None:
    endings = {"m/s": "mps", "m": "m", "deg": "deg", "rpm": "rpm", "s": "s", "one": "factor"}
    for name, measurement in measurements().items():
        assert name.rsplit("_", 1)[1] == endings[measurement.unit]
        assert unit(measurement.dimension, measurement.unit).factor == 1.0


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("MPH", "mph"),
        ("[Km/H]", "km/h"),
        (" ( yards ) ", "yd"),
        ("Fuß", "ft"),
        ("m s-1", "m/s"),
        ("U/min", "rpm"),
        ("º", "deg"),
    ],
)
def test_spellings(text: str, name: str) -> None:
    found = spelled(text)
    assert found is not None
    assert found.name == name


@pytest.mark.parametrize("text", ["", "turn", "cycle", "Min", "degrees C", "imperial"])
def test_no_unit(text: str) -> None:
    assert spelled(text) is None


def test_quantity() -> None:
    assert quantity("160mph", "speed") == pytest.approx(71.5264)
    assert quantity("11", "angle") == 11.0
    for text in ("fast", "160", "160 yd"):
        with pytest.raises(SettingsError):
            quantity(text, "speed")
