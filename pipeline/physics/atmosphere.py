"""Density and viscosity of the air a ball flies through."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.physics.constants import ICE_POINT_K, STANDARD_PRESSURE_PA

FloatArray = NDArray[np.float64]

# Where the short formula keeps its stated uncertainty of 2e-4: OIML R 111-1 (2004) E.3 (from memory).
PRESSURE_RANGE_PA: Final = (90_000.0, 110_000.0)
TEMPERATURE_RANGE_K: Final = (ICE_POINT_K + 10.0, ICE_POINT_K + 30.0)
HUMIDITY_LIMIT: Final = 0.80

# Above the tropopause the pressure formula no longer describes the standard atmosphere.
ALTITUDE_RANGE_M: Final = (-1_000.0, 11_000.0)


@dataclass(frozen=True, slots=True)
class Air:
    """State of the air of one session, the same along the whole flight.

    Parameters: density_kgpm3, zero (no air at all) or more [kg/m³]; viscosity_pas, dynamic viscosity above zero [Pa s];
    within_range, whether the inputs were inside the stated range of the formulas.
    Returns: a frozen record of scalars.
    Valid range: `fly` refuses a negative density or a viscosity that is not positive; nothing is checked here.
    Source: definition.
    """

    density_kgpm3: float
    viscosity_pas: float
    within_range: bool


def pressure_at_altitude(altitude_m: ArrayLike) -> FloatArray:
    """Mean pressure of the standard atmosphere at a height above sea level.

    Parameters: altitude_m, geopotential height, -1,000 to 11,000 [m].
    Returns: pressure [Pa], shape of the input.
    Valid range: the lowest layer, up to 11 km; higher values are computed and too high by little at first; where the
    formula reaches zero (44.3 km) or the input is not a number: ValueError.
    Source: U.S. Standard Atmosphere 1976 eq. 33a, constants second-hand.
    """
    base = 1.0 - 2.25577e-5 * np.asarray(altitude_m, dtype=np.float64)
    if not np.all(base > 0.0):
        message = f"no pressure at an altitude of {altitude_m!r} m: the formula ends at 44,330 m"
        raise ValueError(message)
    return STANDARD_PRESSURE_PA * base**5.255876


def air_density(temperature_k: ArrayLike, pressure_pa: ArrayLike, relative_humidity: ArrayLike) -> FloatArray:
    """Density of moist air by the short form of the CIPM formula.

    Parameters: temperature_k, above 0 [K]; pressure_pa, air pressure at the place itself, not reduced to sea level,
    above 0 [Pa]; relative_humidity, 0 to 1 [1].
    Returns: density [kg/m³], broadcast shape of the inputs.
    Valid range: 900 to 1,100 hPa, 10 to 30 °C, humidity below 0.8, where the stated uncertainty is 2e-4; outside it is
    still computed. Against the full formula it is 3e-4 low in humid air of 10 °C, 4e-4 at 0 °C, 5e-4 at 35 °C and 0.9.
    Physically impossible inputs: ValueError.
    Source: OIML R 111-1 (2004) eq. E.3-1, built on CIPM-2007 (Picard, Davis, Gläser, Fujii 2008), from memory.
    """
    kelvin, pascal, humidity = (
        np.asarray(x, dtype=np.float64) for x in (temperature_k, pressure_pa, relative_humidity)
    )
    _require(kelvin > 0.0, f"a temperature must be above 0 K, got {temperature_k!r}")
    _require(pascal > 0.0, f"an air pressure must be above 0 Pa, got {pressure_pa!r}")
    _require((humidity >= 0.0) & (humidity <= 1.0), f"a relative humidity lies in 0 to 1, got {relative_humidity!r}")
    with np.errstate(over="ignore", invalid="ignore"):
        # In the units of the source: pressure in hPa, humidity in per cent, temperature in degrees Celsius.
        vapour = 0.009 * (100.0 * humidity) * np.exp(0.061 * (kelvin - ICE_POINT_K))
        density = (0.34848 * (pascal / 100.0) - vapour) / kelvin  # eq. E.3-1
    _require(density > 0.0, "temperature, pressure and humidity do not belong together: more vapour than air")
    return density


def air_viscosity(temperature_k: ArrayLike) -> FloatArray:
    """Dynamic viscosity of air.

    Parameters: temperature_k, above 0 [K].
    Returns: viscosity [Pa s], shape of the input.
    Valid range: 170 to 1,900 K for the law itself; nothing is flagged, a temperature of zero or less is a ValueError.
    Source: Sutherland's law with the constants of U.S. Standard Atmosphere 1976 eq. 51, from memory.
    """
    kelvin = np.asarray(temperature_k, dtype=np.float64)
    _require(kelvin > 0.0, f"a temperature must be above 0 K, got {temperature_k!r}")
    return 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)  # eq. 51


def air_at(
    altitude_m: float,
    temperature_k: float,
    relative_humidity: float,
    pressure_pa: float | None = None,
) -> Air:
    """State of the air from what a studio knows.

    Parameters: altitude_m, height above sea level [m]; temperature_k, above 0 [K]; relative_humidity, 0 to 1 [1];
    pressure_pa, pressure measured at the place, above 0 [Pa]; None takes the standard pressure at the altitude.
    Returns: one Air.
    Valid range: within_range is True for 900 to 1,100 hPa, 10 to 30 °C and humidity below 0.8 (the range stated for the
    density formula) and, where the pressure comes from it, an altitude of -1,000 to 11,000 m. Outside the values are
    computed all the same; at 850 hPa (1,500 m) and 20 °C they are as good as inside. ValueError for the impossible.
    Source: air_density, air_viscosity and pressure_at_altitude.
    """
    pressure = float(pressure_at_altitude(altitude_m)) if pressure_pa is None else pressure_pa
    within_range = (
        PRESSURE_RANGE_PA[0] <= pressure <= PRESSURE_RANGE_PA[1]
        and TEMPERATURE_RANGE_K[0] <= temperature_k <= TEMPERATURE_RANGE_K[1]
        and relative_humidity < HUMIDITY_LIMIT
        and (pressure_pa is not None or ALTITUDE_RANGE_M[0] <= altitude_m <= ALTITUDE_RANGE_M[1])
    )
    return Air(
        density_kgpm3=float(air_density(temperature_k, pressure, relative_humidity)),
        viscosity_pas=float(air_viscosity(temperature_k)),
        within_range=within_range,
    )


def _require(condition: NDArray[np.bool_], message: str) -> None:
    if not np.all(condition):
        raise ValueError(message)
