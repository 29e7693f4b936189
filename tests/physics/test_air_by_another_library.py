"""Density and viscosity of air against an independent library of fluid properties."""

import numpy as np
import pytest
from CoolProp.CoolProp import HAPropsSI

from pipeline.physics.atmosphere import air_density, air_viscosity

# Humid air as a real gas there, a fitted short formula here. Inside the stated range the short formula is good to 2e-4,
# 3e-4 in humid air of 10 °C; 1e-4 on top for the two equations of state.
CELSIUS, PASCAL, HUMIDITY = (10.0, 15.0, 20.0, 25.0, 30.0), (90e3, 95e3, 101_325.0, 110e3), (0.0, 0.25, 0.5, 0.79)


def _density(kelvin: float, pascal: float, humidity: float) -> float:
    # Its volume is that of a kilogram of humid air.
    return 1.0 / float(HAPropsSI("Vha", "T", kelvin, "P", pascal, "R", humidity))


@pytest.mark.parametrize("celsius", CELSIUS)
def test_density_over_the_stated_range(celsius: float) -> None:
    kelvin = celsius + 273.15
    for pascal in PASCAL:
        for humidity in HUMIDITY:
            found = float(air_density(kelvin, pascal, humidity))
            assert found == pytest.approx(_density(kelvin, pascal, humidity), rel=4e-4), (pascal, humidity)


@pytest.mark.parametrize(("celsius", "pascal", "humidity"), [(0.0, 101_325.0, 0.5), (35.0, 101_325.0, 0.9),
                                                            (20.0, 84_556.0, 0.4)])  # fmt: skip
def test_density_outside_it_where_people_play(celsius: float, pascal: float, humidity: float) -> None:
    found = float(air_density(celsius + 273.15, pascal, humidity))
    assert found == pytest.approx(_density(celsius + 273.15, pascal, humidity), rel=6e-4)


@pytest.mark.parametrize("celsius", [0.0, 15.0, 30.0])
def test_viscosity_of_dry_air(celsius: float) -> None:
    # Each of the two laws is good to about 1 %; only a range flag depends on it.
    other = float(HAPropsSI("M", "T", celsius + 273.15, "P", 101_325.0, "R", 0.0))
    assert float(air_viscosity(celsius + 273.15)) == pytest.approx(other, rel=0.015)


def test_the_libraries_do_differ() -> None:
    # Equal to the last digit would mean the same formula on both sides.
    differences = [
        float(air_density(c + 273.15, 101_325.0, 0.5)) - _density(c + 273.15, 101_325.0, 0.5) for c in CELSIUS
    ]
    assert np.all(np.abs(differences) > 1e-6)
