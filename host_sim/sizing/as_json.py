"""The answer as JSON: every number's name ends in the unit that `units` selects."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from math import isfinite
from pathlib import Path
from typing import Any

from host_sim.common import units
from host_sim.common.errors import InputError
from host_sim.sizing import handbook
from host_sim.sizing.answer import Answer
from host_sim.sizing.engine import Coverage, Point
from host_sim.sizing.limits import Window

DIGITS = 9


def write_json(answer: Answer, path: Path) -> None:
    """Write `document` to a file."""
    try:
        path.write_text(json.dumps(document(answer), indent=2) + "\n", encoding="utf-8")
    except OSError as error:
        raise InputError(f"--json: {path}: {error.strerror}") from None


def document(answer: Answer) -> dict[str, Any]:
    """The answer as plain data."""
    ask, us = answer.request.ask, answer.request.us
    rows = zip(ask.rates_m, answer.windows, answer.coverage.windows, answer.points, strict=True)
    return {
        "units": units.system(us),
        "fits": answer.coverage.fits,
        "asked": _asked(answer),
        "density_factor": _digits(handbook.density_factor(answer.request.machine.sg)),
        "rates": [
            {
                **_named("rate", "rate_ml_ha", rate, us),
                "speed_window": _window("speed", "speed_mm_s", window, us),
                "usable": _usable(usable, us),
                "points": [_point(point, us) for point in points],
            }
            for rate, window, usable, points in rows
        ],
        "speeds": [
            {
                **_named("speed", "speed_mm_s", speed, us),
                "rate_window": _window("rate", "rate_ml_ha", window, us),
            }
            for speed, window in zip(answer.speeds_m_s, answer.rates_at, strict=True)
        ],
        "outlet_sizes": [_size(done, ask.rates_m, us) for done in answer.sizes],
        "findings": [asdict(finding) for finding in answer.findings],
        "notes": answer.notes,
    }


def _asked(answer: Answer) -> dict[str, Any]:
    ask, us, machine = answer.request.ask, answer.request.us, answer.request.machine
    return {
        **_list("rate", "rate_ml_ha", ask.rates_m, us),
        **_list("speed", "speed_mm_s", ask.speed_m_s, us),
        **_named("spacing", "width_mm", machine.spacing_m, us),
        "sections": list(machine.sections),
        **_named("density", "density_g_l", machine.density_kg_m3, us),
        "outlet": machine.outlet.name,
        **_list("outlet_range", "pressure_pa", machine.outlet.range_pa, us),
        "pump": machine.pump.name if machine.pump else None,
    }


def _point(point: Point, us: bool) -> dict[str, Any]:
    load = point.pump_load
    return {
        **_named("speed", "speed_mm_s", point.speed_m_s, us),
        **_named("outlet_flow", "outlet_flow_ul_s", point.outlet_flow_m3_s, us),
        **_named("total_flow", "flow_ul_s", point.total_flow_m3_s, us),
        **_named("outlet_pressure", "pressure_pa", point.outlet_pressure_pa, us),
        **_named("pump_pressure", "pressure_pa", point.pump_pressure_pa, us),
        # JSON has no infinity: a pump that gives nothing at that pressure has no load.
        "pump_load": None if load is None or not isfinite(load) else _digits(load),
        "meter_hz": None if point.meter_hz is None else _digits(point.meter_hz),
        "beyond": list(point.beyond),
    }


def _size(done: Coverage, rates_m: Sequence[float], us: bool) -> dict[str, Any]:
    name = done.machine.outlet.name
    return {
        "size": name,
        "colour": handbook.ISO_10625_COLOURS[name],
        "fits": done.fits,
        "rates": [
            {
                **_named("rate", "rate_ml_ha", rate, us),
                "usable": _usable(window, us),
            }
            for rate, window in zip(rates_m, done.windows, strict=True)
        ],
    }


def _window(name: str, quantity: str, window: Window, us: bool) -> dict[str, Any] | None:
    """Both ends and what set them; the lowest lies above the highest if nothing is left.

    None where no such value exists at all (a speed whose pulses do not serve).
    """
    if not isfinite(window.low.value):
        return None
    return {
        **_named(f"lowest_{name}", quantity, window.low.value, us),
        "lowest_by": window.low.part,
        **_named(f"highest_{name}", quantity, window.high.value, us),
        "highest_by": window.high.part,
    }


def _usable(window: Window, us: bool) -> dict[str, Any] | None:
    """A window of speeds, None if it is empty."""
    return None if window.empty else _window("speed", "speed_mm_s", window, us)


def _named(name: str, quantity: str, value: float, us: bool) -> dict[str, float]:
    """`{"rate_l_ha": 100.0}`."""
    return {_key(name, quantity, us): _digits(units.shown(quantity, value, us))}


def _list(name: str, quantity: str, values: Sequence[float], us: bool) -> dict[str, list[float]]:
    shown = [_digits(units.shown(quantity, value, us)) for value in values]
    return {_key(name, quantity, us): shown}


def _key(name: str, quantity: str, us: bool) -> str:
    return f"{name}_{units.unit(quantity, us).lower().replace('/', '_').replace(' ', '_')}"


def _digits(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")
