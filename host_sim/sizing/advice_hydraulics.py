"""Words for an outlet, pump or relief valve that cannot do what is asked."""

from __future__ import annotations

from dataclasses import replace

from host_sim.sizing import handbook
from host_sim.sizing.case import Finding, SizingCase
from host_sim.sizing.engine import best_size, coverage
from host_sim.sizing.machine import PUMP_CLASSES, SizedMachine, iso_outlet

# Orifices are bought by their flow with water at this pressure.
CATALOGUE_PA = 3e5


def outlet_finding(case: SizingCase) -> Finding:
    """Too small at the high end, too big at the low one."""
    outlet = case.machine.outlet
    pressure = outlet.pressure_pa(case.flow, case.machine.sg)
    fault, edge = ("small", "ends") if case.high else ("big", "begins")
    return Finding(
        "outlet",
        f"Outlet {outlet.name} is too {fault}: {case.when} takes "
        f"{case.show('outlet_flow_ul_s', case.flow)} from each and so "
        f"{case.show('pressure_pa', pressure)} across it; its range {edge} at "
        f"{case.show('pressure_pa', outlet.range_pa[case.high])}.",
        _replacement(case),
    )


def sizes_that_span(machine: SizedMachine, low: float, high: float) -> list[str]:
    """ISO sizes whose pressure stays in the outlet's range from one outlet flow to another."""
    bottom, top = machine.outlet.range_pa
    sizes = (iso_outlet(size, machine.outlet.range_pa) for size in handbook.ISO_10625_COLOURS)
    return [
        outlet.name
        for outlet in sizes
        if outlet.pressure_pa(low, machine.sg) >= bottom
        and outlet.pressure_pa(high, machine.sg) <= top
    ]


def _replacement(case: SizingCase) -> str:
    """a size, else another orifice, else a size for each rate, else less."""
    machine = case.machine
    low, high = case.other_end(False).flow, case.other_end(True).flow
    sizes = sizes_that_span(machine, low, high)
    if sizes:
        return f"size {' or '.join(sizes)}."
    bottom, top = machine.outlet.range_pa
    turn_down = (top / bottom) ** 0.5
    if high / low <= turn_down:
        smallest = handbook.orifice_flow(high, top, CATALOGUE_PA * machine.sg)
        largest = handbook.orifice_flow(low, bottom, CATALOGUE_PA * machine.sg)
        return (
            "no listed size, but an orifice that passes between "
            f"{case.show('outlet_flow_ul_s', smallest)} and "
            f"{case.show('outlet_flow_ul_s', largest)} of water at "
            f"{case.show('pressure_pa', CATALOGUE_PA)}."
        )
    return (
        f"{_size_for_each_rate(case)}. No single orifice does everything: the flows asked for "
        f"are {high / low:.1f} to 1, and by the square-root law "
        f"{case.show('pressure_pa', bottom)} to {case.show('pressure_pa', top)} gives "
        f"{turn_down:.1f} to 1."
    )


def _size_for_each_rate(case: SizingCase) -> str:
    """Outlets changed with the rate, if that does; else what one size does at best."""
    machine, ask = case.machine, case.ask
    sizes = {
        rate: sizes_that_span(machine, *(rate * v * machine.spacing_m for v in ask.speed_m_s))
        for rate in ask.rates_m
    }
    if len(sizes) > 1 and all(sizes.values()):
        changes = ", ".join(
            f"size {' or '.join(names)} for {case.show('rate_ml_ha', rate)}"
            for rate, names in sizes.items()
        )
        return f"outlets changed with the rate, {changes}"
    bare = SizedMachine(machine.outlet, machine.spacing_m, machine.sections, machine.density_kg_m3)
    best = best_size(bare, ask)
    windows = ", ".join(
        f"{case.show('rate_ml_ha', rate)} from {case.show('speed_mm_s', window.low.value)} "
        f"to {case.show('speed_mm_s', window.high.value)}"
        for rate, window in zip(ask.rates_m, coverage(best, ask).windows, strict=True)
        if not window.empty
    )
    most = f"size {best.outlet.name} does most ({windows})" if windows else "no size does any"
    return f"less speed range or fewer rates; {most}"


def _pressure_needed(case: SizingCase) -> tuple[float, str]:
    """Pressure at the pump with an outlet that can pass the flow, and which outlet that is."""
    machine = case.machine
    bottom, top = machine.outlet.range_pa
    if machine.outlet.pressure_pa(case.flow, machine.sg) <= top:
        return machine.pump_pressure_pa(case.flow, machine.whole), ""
    for size in handbook.ISO_10625_COLOURS:
        fitted = replace(machine, outlet=iso_outlet(size, machine.outlet.range_pa))
        if bottom <= fitted.outlet.pressure_pa(case.flow, machine.sg) <= top:
            pressure = fitted.pump_pressure_pa(case.flow, machine.whole)
            return pressure, f" with outlets of size {size}"
    return machine.check_pa + top, " at the outlet's highest pressure"


def pump_finding(case: SizingCase) -> Finding | None:
    """Empty if a fitting outlet alone would bring the pump within its curve."""
    pump = case.machine.pump
    assert pump is not None
    pressure, how = _pressure_needed(case)
    gives = pump.flow_at(pressure)
    if gives >= case.total:
        return None
    need = f"{case.show('flow_ul_s', case.total)} at {case.show('pressure_pa', pressure)}"
    classes = [name for name, each in PUMP_CLASSES.items() if each.flow_at(pressure) >= case.total]
    which = f"class {' or '.join(classes)}" if classes else "larger than the classes listed"
    return Finding(
        "pump",
        f"Pump {pump.name} is too small: {case.when} takes {need}{how}, and flat out it gives "
        f"{case.show('flow_ul_s', gives)} there "
        f"({case.show('flow_ul_s', pump.open_flow_m3_s)} open).",
        f"a pump that gives at least {need} ({which}).",
    )


def relief_finding(case: SizingCase) -> Finding | None:
    """Empty if a fitting outlet alone would bring the pressure below the relief valve's."""
    relief = case.machine.relief_pa
    assert relief is not None
    pressure, how = _pressure_needed(case)
    if pressure <= relief:
        return None
    return Finding(
        "relief valve",
        f"The relief valve or pressure switch acts too early: {case.when} takes "
        f"{case.show('pressure_pa', pressure)} at the pump{how}, and it acts at "
        f"{case.show('pressure_pa', relief)}.",
        "larger outlets; or a higher setting, if pump, hoses and fittings are rated for it.",
    )
