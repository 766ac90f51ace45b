"""Trade units at the edge of the plant, and how they become SI."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any

from app.units_text import FOOT_UM, GALLON_NL, INCH_UM, MILE_MM, PSI_PA

BAR_PA = 1e5
L_MIN_M3_S = 1e-3 / 60.0
ML_M3 = 1e-6
ATMOSPHERE_PA = 101_325.0
GALLON_M3 = GALLON_NL * 1e-12

# A parameter called `relief_pa` may be given as `relief_bar` or `relief_psi`, and so on.
TRADE_UNITS = {
    "_bar": ("_pa", BAR_PA),
    "_psi": ("_pa", PSI_PA[0] / PSI_PA[1]),
    "_l_min": ("_m3_s", L_MIN_M3_S),
    "_gal_min": ("_m3_s", GALLON_M3 / 60.0),
    "_ml_bar": ("_m3_pa", ML_M3 / BAR_PA),
    "_l_min_bar": ("_m3_s_pa", L_MIN_M3_S / BAR_PA),
    "_ml": ("_m3", ML_M3),
    "_l": ("_m3", 1e-3),
    "_ml_rev": ("_m3_rad", ML_M3 / (2.0 * math.pi)),
    "_mm": ("_m", 1e-3),
    "_in": ("_m", INCH_UM * 1e-6),
    "_ft": ("_m", FOOT_UM * 1e-6),
    "_km_h": ("_m_s", 1.0 / 3.6),
    "_mph": ("_m_s", MILE_MM * 1e-3 / 3600.0),
    "_ms": ("_s", 1e-3),
    "_per_l": ("_per_m3", 1e3),
    "_per_gal": ("_per_m3", 1.0 / GALLON_M3),
}

# Units that a name may end in besides: each ends like a shorter one that it is not.
OTHER_UNITS = ("_v_s", "_kg_m2", "_kg_m3", "_pa_s", "_rad_s", "_per_m", "_ohm", "_v", "_a",
               "_nm", "_share")

_TYPED = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*([^\d\s.,+-].*)")
_COUNTED = re.compile(r"pulses?\s*/\s*")


def typed(texts: Sequence[Any]) -> tuple[str, float, list[float]]:
    """Numbers with a unit, as `["1.5 m", "2 m"]`: the ending of the name, a factor, the numbers.

    The unit is written as in the trade: `"4 bar"`, `"30 mL/bar"`, `"450 pulses/L"`, `"3 %"`.
    ValueError where one is no such text or they do not share a unit.
    """
    numbers, endings = [], set()
    for text in texts:
        found = _TYPED.fullmatch(str(text).strip())
        if not found:
            raise ValueError(f"must be a number with its unit, is {text!r}")
        numbers.append(float(found[1]))
        endings.add(_COUNTED.sub("per ", found[2].strip().lower()))
    if len(endings) > 1:
        raise ValueError("all must have the same unit")
    ending = endings.pop()
    if ending == "%":
        return "_share", 0.01, numbers
    return "_" + re.sub(r"[\s/]+", "_", ending), 1.0, numbers


def unit_of(name: str) -> str:
    """The SI unit that a parameter's name ends in, the longest that fits; "" if none."""
    known = {si_suffix for si_suffix, _ in TRADE_UNITS.values()} | set(OTHER_UNITS)
    return max((unit for unit in known if name.endswith(unit)), key=len, default="")


def trade_names(name: str) -> dict[str, float]:
    """Other names of a parameter, in trade units, and the factor from each to SI."""
    unit = unit_of(name)
    return {
        name.removesuffix(unit) + suffix: factor
        for suffix, (si_suffix, factor) in TRADE_UNITS.items()
        if unit and si_suffix == unit
    }
