"""Trade units at the edge of the plant, and how they become SI.

The factors are exact: 1 in = 25.4 mm, 1 US gal = 3.785411784 L, 1 mi = 1609.344 m;
1 psi follows from the avoirdupois pound and standard gravity (NIST SP 811).
"""

from __future__ import annotations

BAR_PA = 1e5
L_MIN_M3_S = 1e-3 / 60.0
ML_M3 = 1e-6
ATMOSPHERE_PA = 101_325.0

# A parameter called `relief_pa` may be given as `relief_bar` or `relief_psi`, and so on.
TRADE_UNITS = {
    "_bar": ("_pa", BAR_PA),
    "_psi": ("_pa", 6894.757293168),
    "_l_min": ("_m3_s", L_MIN_M3_S),
    "_gal_min": ("_m3_s", 3.785411784e-3 / 60.0),
    "_ml_bar": ("_m3_pa", 1e-11),
    "_ml": ("_m3", ML_M3),
    "_l": ("_m3", 1e-3),
    "_ml_rev": ("_m3_rad", ML_M3 / (2.0 * 3.141592653589793)),
    "_mm": ("_m", 1e-3),
    "_in": ("_m", 0.0254),
    "_ft": ("_m", 0.3048),
    "_km_h": ("_m_s", 1.0 / 3.6),
    "_mph": ("_m_s", 0.44704),
    "_ms": ("_s", 1e-3),
    "_per_l": ("_per_m3", 1e3),
    "_per_gal": ("_per_m3", 1.0 / 3.785411784e-3),
}
