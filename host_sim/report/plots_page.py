"""The report of what a board kept of its plots by itself."""

from __future__ import annotations

from host_sim.common import units
from host_sim.report.page import CSS, environment
from host_sim.report.palette import PALETTE
from host_sim.report.words import L_M3, Teller, minutes, percent, spoken, times
from host_sim.runs.plot_record import PlotRecord, remarks_of, totals_of


def render_plots(title: str, record: PlotRecord, us: bool) -> str:
    """The page as HTML; us selects US customary units."""
    totals = totals_of(record)

    def volume(litres: float) -> str:  # a plot gets little: to a millilitre
        shown = units.shown("volume_ml", litres * L_M3, us)
        return f"{shown:.3f} {units.unit('volume_ml', us)}"

    return environment().get_template("plots.html.j2").render(
        title=title, rows=record.rows, totals=totals, tell=Teller(totals, us), percent=percent,
        volume=volume,
        minutes=minutes, times=times, spoken=spoken, remarks=remarks_of(record), palette=PALETTE,
        css=CSS.read_text(encoding="utf-8"))
