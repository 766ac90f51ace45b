"""The short table that a drive prints."""

from __future__ import annotations

from typing import Any

from host_sim.report.words import Teller, fails, spoken


def short_table(figures: dict[str, Any], us: bool) -> str:
    """The main figures, a name and a value a line."""
    tell = Teller(figures, us)
    rows = [
        ("distance", tell.length(figures["distance_m"])),
        ("area", _pair(tell.area, figures, "area_ha")),
        ("volume", _pair(tell.volume, figures, "volume_l")),
        ("rate", f"{tell.rate(figures['mean_rate_l_ha'])}, "
                 f"wanted {tell.rate(figures['target_l_ha'])}"),
        ("rate error", _percent(figures, "rate_error_rms_pct", "rms")),
        ("within 5 %", _percent(figures, "distance_within_5_pct", "of the distance")),
        ("within 10 %", _percent(figures, "distance_within_10_pct", "of the distance")),
        ("by metre", _by_metre(figures)),
        ("by section", _by_section(figures)),
        *((f"section {row['section']}", f"{tell.rate(row['mean_rate_l_ha'])} on average")
          for row in figures["sections"] if fails(row)),
        ("faults", spoken(figures["faults"]) or "none"),
        ("warnings", spoken(figures["warnings"]) or "none"),
        *(("note", note) for note in figures["notes"]),
        ("simulated", f"{figures['sim_seconds']:.0f} s in {figures['wall_seconds']:.1f} s"),
    ]
    return "\n".join(f"{name:<12} {value}" for name, value in rows)


def _pair(tell: Any, figures: dict[str, Any], name: str) -> str:
    """Truth, then belief."""
    return f"{tell(figures[name])}, by the controller {tell(figures['controller_' + name])}"


def _by_metre(figures: dict[str, Any]) -> str:
    within = figures["metre_within_5_pct"]
    if within is None:
        return "none"
    return f"{within:.2f} % of the ground within 5 %, {figures['metre_rms_pct']:.2f} % rms"


def _by_section(figures: dict[str, Any]) -> str:
    within = [row["within_5_pct"] for row in figures["sections"]]
    shown = ", ".join("none" if value is None else f"{value:.1f}" for value in within)
    return f"{shown} % of its ground within 5 %"


def _percent(figures: dict[str, Any], name: str, what: str) -> str:
    return "none" if figures[name] is None else f"{figures[name]:.2f} % {what}"
