"""The answer of a calibration, in words and tables."""

from __future__ import annotations

from typing import Any

from rich.markup import escape
from rich.table import Table

from app import quantity_text
from host_sim.calibration.desk import typed
from host_sim.common import tables
from host_sim.machine_file.homes import key_of
from host_sim.machine_file.values import differences
from rate_control import density
from rate_control.settings import HIGH, LOW, Settings, build, row

PIPE_WIDTH = 110


def print_answer(procedure: Any, settings: Settings, amounts: bool, us: bool) -> None:
    """Print what was measured, then what would change, or what is missing."""
    console = tables.console(PIPE_WIDTH)
    for line in _facts(procedure.facts(), us):
        console.print(escape(line))
    missing = procedure.needs_more() if amounts else None
    proposal = procedure.proposal()
    if missing:
        words, value, quantity = missing
        number = quantity_text.show(quantity, value, us)
        console.print(f"\n[bold yellow]Not yet:[/] {escape(words)} {escape(number)}")
    elif proposal:
        console.print("\n[bold]Proposed[/]")
        console.print(_changes(settings, proposal, us))


def _facts(facts: list[Any], us: bool) -> list[str]:
    width = max(len(name) for name, _, _ in facts)
    return [f"{name:<{width}}   {quantity_text.show(quantity, value, us)}"
            for name, value, quantity in facts]


def _changes(settings: Settings, proposal: dict[str, Any], us: bool) -> Table:
    """Old, new and difference of what is proposed; a proposal that changes nothing says so."""
    changed = build(proposal, settings)[0] or settings
    table = Table(box=None, pad_edge=False)
    for heading in ("setting", "now", "new", "difference"):
        table.add_column(heading)
    for change in differences(settings, changed, us):
        table.add_row(change.name, change.old, change.new, change.difference)
    if not table.row_count:
        table.add_row(", ".join(map(key_of, proposal)), "as it is", "", "none")
    return table


def print_density(rate_text: str, density_text: str, us: bool) -> None:
    """Print what a liquid of another density asks of a catch with water, and where it does not."""
    rate_row, density_row = row("rate_ml_ha"), row("liquid_density_g_l")
    rate = typed("--rate", ("rate_ml_ha", rate_row[LOW], rate_row[HIGH]), rate_text, us)
    liquid = typed("--density", ("density_g_l", density_row[LOW], density_row[HIGH]),
                   density_text, us)
    factor = density.factor(liquid) / density.FACTOR_ONE
    water = quantity_text.show("rate_ml_ha", density.water_rate_ml_ha(rate, liquid), us)
    less = quantity_text.show("rate_ml_ha", density.liquid_rate_ml_ha(rate, liquid), us)
    wanted = quantity_text.show("rate_ml_ha", rate, us)
    console = tables.console(PIPE_WIDTH)
    console.print(f"factor sqrt(SG)   {factor:.3f}")
    console.print(f"Where pressure decides: catch {water} of water, and the same pressure gives "
                  f"{wanted} of the liquid.")
    console.print(f"(Left at {wanted} of water, it would give {less} of the liquid.)")
    console.print("Where a volumetric flow meter decides: no factor; catch and apply the same.")
