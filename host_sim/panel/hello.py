"""What a page must know before it can show anything: names, units, colours, letters."""

from __future__ import annotations

from typing import Any

from app import units_text, units_typed
from app.displays.font import FONT, GLYPH_COLUMNS
from app.displays.hd44780 import GLYPHS
from app.pressure_watch import NAMES as PRESSURE
from app.pressure_watch import SAYS
from host_sim.panel.commands import LIMITS
from host_sim.panel.controller_view import Facts
from host_sim.panel.live_twin import TANK_L
from host_sim.panel.scenes import SCENES
from host_sim.panel.size_answer import EXAMPLE, size_fields
from host_sim.panel.trouble import OUTLETS, TROUBLES
from host_sim.panel.vehicle import TOP_SPEED_M_S
from host_sim.panel.what_if import offered
from host_sim.report.palette import COVERED
from host_sim.report.rate_classes import RATE_CLASSES
from host_sim.runs.judged import CELL_M
from host_sim.twin.disturbances import FIELDS
from host_sim.twin.scenario import Scenario
from rate_control import interlock
from rate_control.settings import Settings
from rate_control.units import DUTY_FULL, PWM_PUMP

# Columns of a row. Those of the controller come first, then what is true, which a board lacks.
BELIEVED = (
    "time_s", "way_m", "rate_ml_ha", "applied_ml_ha", "speed_mm_s", "flow_ul_s", "target_ul_s",
    "duty_u16", "position_u16", "supply_mv", "state", "permits", "section_mask", "coasting",
    "saturated", *PRESSURE,
)
TRUE = ("true_applied_ml_ha", "true_speed_mm_s", "true_flow_ul_s")
QUANTITIES = ("rate_ml_ha", "speed_mm_s", "flow_ul_s", "distance_mm", "duty_u16", "supply_mv",
              "volume_ml", "area_m2", "distance_m", "width_mm", "pressure_pa", "share_permille")


def about_controller(facts: Facts) -> dict[str, Any]:
    """The part that holds for the twin and for a board."""
    return {
        "kind": "board",
        "title": f"{facts.board}, firmware {facts.firmware}",
        "columns": BELIEVED + TRUE,
        "sections_mm": facts.section_width_mm,
        "us": facts.us_units,
        "follows_place": facts.follows_place,
        "senses_pressure": facts.senses_pressure,
        "pressure_says": SAYS,
        "pump": facts.actuator == PWM_PUMP,
        "units": {name: units_text.UNITS[name] + units_typed.TYPED.get(name, ())
                  for name in QUANTITIES},
        "aliases": units_typed.ALIASES,
        "classes": [(min(bound, 1e9), colour, words) for bound, colour, words in RATE_CLASSES],
        "covered": COVERED,
        "states": interlock.STATE_NAMES,
        "permits": {
            "master": interlock.MASTER,
            "armed": interlock.MASTER | interlock.ARMED,
            "lowered": interlock.IMPLEMENT,
            "driving": interlock.SPEED,
        },
        "duty_full": DUTY_FULL,
        "cell_m": CELL_M,
        "letters": FONT.hex(),
        "bars": b"".join(_columns(rows) for rows in GLYPHS).hex(),
    }


def _columns(rows: bytes) -> bytes:
    """A glyph of eight rows of five dots as five columns, lowest bit on top, as the letters are."""
    return bytes(
        sum((row >> 4 - column & 1) << place for place, row in enumerate(rows))
        for column in range(GLYPH_COLUMNS)
    )


def about_twin(facts: Facts, scenario: Scenario, settings: Settings) -> dict[str, Any]:
    """The same, with the machine."""
    trace = scenario.speed_trace
    return about_controller(facts) | {
        "kind": "twin",
        "title": scenario.title,
        "sections_mm": [round(width_m * 1e3) for width_m in scenario.section_width_m],
        "limits": LIMITS,
        "top_speed_mm_s": round(TOP_SPEED_M_S * 1e3),
        "tank_l": TANK_L,
        "recording": f"{trace.name}, {trace.duration_s / 60:.0f} min",
        "troubles": [(trouble.name, trouble.words) for trouble in TROUBLES
                     if facts.senses_pressure or not trouble.of_pressure],
        "fields": tuple(FIELDS),
        "scenes": [(scene.name, scene.words, scene.at_s, scene.where) for scene in SCENES],
        "outlets": OUTLETS,
        "size": {"fields": size_fields(), "example": EXAMPLE},
        "settings": [offered(settings, us) for us in (False, True)],
    }
