"""Density: the factor sqrt(SG), and where it belongs.

Through an orifice, pressure difference = density x (flow / k)^2: a liquid of specific gravity
SG flows 1/sqrt(SG) times as fast as water at the same pressure. So

- where pressure or an orifice decides (a catch with water in place of the liquid, the pressure
  part of the pump curve): rate of liquid x sqrt(SG) = rate of water. "The conversion factors
  are the square root of the fluid's specific gravity": Setting the Sprayer Flow Rate for
  Non-Water Solutions, University of Nebraska-Lincoln CropWatch (2016),
  https://cropwatch.unl.edu/2016/setting-sprayer-flow-rate-non-water-solutions ;
- where a volumetric meter decides (the flow loop, its K-factor): no factor at all.

Not for the tick.
"""

from rate_control.intmath import isqrt, muldiv

WATER_G_L = 1000
FACTOR_ONE = 20000  # with it the largest density, 2500 g/L, keeps the root's argument small


def factor(density_g_l: int) -> int:
    """Return sqrt(SG) in parts of FACTOR_ONE, rounded down, for 1..2500 g/L."""
    return isqrt(density_g_l * (FACTOR_ONE // WATER_G_L) * FACTOR_ONE)


def water_rate_ml_ha(rate_ml_ha: int, density_g_l: int) -> int:
    """Return the rate to see with water, so that the liquid is applied at rate_ml_ha."""
    return muldiv(rate_ml_ha, factor(density_g_l), FACTOR_ONE)


def liquid_rate_ml_ha(water_rate_ml_ha: int, density_g_l: int) -> int:
    """Return the rate of the liquid at the pressure that gives water_rate_ml_ha of water."""
    return muldiv(water_rate_ml_ha, FACTOR_ONE, factor(density_g_l))
