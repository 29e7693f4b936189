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

# Moment of inertia over mass times radius squared: that of a solid sphere (mathematics). The 83.63 g cm2, 45.9 g and
# 21.3 mm of Proceedings 2020, 49, 47, table 1 (read) give 0.402.
BALL_INERTIA_SHARE: Final = 0.4

# How far the centre of mass of the squashed ball lies below the line of the normal force: 0.5 mm took about 85 % of a
# momentum model's excess of driver backspin away, Proceedings 2020, 49, 47, abstract (read).
BALL_DROP_M: Final = 0.0005

# Normal speed at which the rules' test takes the coefficient of restitution, 133 ft/s (second-hand).
COR_TEST_SPEED_MPS: Final = 40.5

# Fall of the coefficient of restitution with the normal speed, 0.85 at 20 m/s to 0.78 at 45 m/s: Chou et al. 1994 in
# Penner 2003, p. 144 (second-hand) [s/m].
COR_SLOPE_SPM: Final = -0.0028

# Standard acceleration of free fall, 3rd General Conference on Weights and Measures 1901 (exact; from memory).
GRAVITY_MPS2: Final = 9.80665

# Spin decay in dw/dt = -SPIN_DECAY * speed * w / radius, dimensionless: Smits and Smith 1994, used again by
# Penner 2001 eq. 16 (second-hand, several public texts agree).
SPIN_DECAY: Final = 2.0e-5

# Standard pressure at sea level, U.S. Standard Atmosphere 1976 (second-hand).
STANDARD_PRESSURE_PA: Final = 101_325.0

# 0 degrees Celsius on the thermodynamic scale (exact by definition).
ICE_POINT_K: Final = 273.15
