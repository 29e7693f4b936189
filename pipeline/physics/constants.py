"""Physical constants of the ball and its surroundings, in SI units, each with its source."""

import math
from typing import Final

# Largest mass the Equipment Rules allow, 1.620 oz (second-hand, several public texts agree).
BALL_MASS_KG: Final = 0.04593

# Smallest diameter the Equipment Rules allow, 1.680 in (second-hand, several public texts agree).
BALL_DIAMETER_M: Final = 0.04267

BALL_RADIUS_M: Final = BALL_DIAMETER_M / 2.0

# Area the ball shows to the air: a circle of that diameter (mathematics).
BALL_AREA_M2: Final = math.pi * BALL_RADIUS_M**2

# Standard acceleration of free fall, 3rd General Conference on Weights and Measures 1901 (exact; from memory).
GRAVITY_MPS2: Final = 9.80665

# Spin decay in dw/dt = -SPIN_DECAY * speed * w / radius, dimensionless: Smits and Smith 1994, used again by
# Penner 2001 eq. 16 (second-hand, several public texts agree).
SPIN_DECAY: Final = 2.0e-5

# Standard pressure at sea level, U.S. Standard Atmosphere 1976 (second-hand).
STANDARD_PRESSURE_PA: Final = 101_325.0

# 0 degrees Celsius on the thermodynamic scale (exact by definition).
ICE_POINT_K: Final = 273.15
