"""The answer as tables on a terminal or in a pipe."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from host_sim.common import tables, units
from host_sim.sizing import handbook
from host_sim.sizing.answer import Answer
from host_sim.sizing.engine import Coverage, Point
from host_sim.sizing.limits import ASKED, Limit, Window

PIPE_WIDTH = 120

VERDICTS = {
    "all": ("green", "FITS: every rate over the whole speed range."),
    "part": ("yellow", "FITS IN PART: see the usable speeds."),
    "none": ("red", "DOES NOT FIT: a rate asked for has no usable speed."),
}


def print_answer(answer: Answer, console: Console | None = None) -> None:
    """Print the whole answer, to standard output unless told otherwise."""
    console = console or tables.console(PIPE_WIDTH)
    colour, verdict = VERDICTS[answer.coverage.fits]
    console.print(f"[bold {colour}]{verdict}[/]")
    for line in _asked(answer):
        console.print(escape(line))
    for table in (_windows(answer), *_points(answer), _rates_at(answer), _sizes(answer)):
        console.print(table)
    if answer.findings:
        lines = [f"{each.problem} What would do: {each.remedy}" for each in answer.findings]
        console.print(_paragraphs("What does not fit", lines))
    console.print(_paragraphs("Notes", answer.notes))


def _asked(answer: Answer) -> list[str]:
    us, machine, ask = answer.request.us, answer.request.machine, answer.request.ask
    speeds = _range("speed_mm_s", ask.speed_m_s, us)
    width = machine.spacing_m * machine.whole.outlets
    sections = "1 section" if len(machine.sections) == 1 else f"{len(machine.sections)} sections"
    lines = [
        f"Asked: {', '.join(units.text('rate_ml_ha', rate, us) for rate in ask.rates_m)} "
        f"at {speeds}",
        f"Bar: {machine.whole.outlets} outlets {units.text('width_mm', machine.spacing_m, us)} "
        f"apart, {units.text('width_mm', width, us)} in {sections}; "
        f"outlet {machine.outlet.name}, {_range('pressure_pa', machine.outlet.range_pa, us)}",
    ]
    if machine.pump:
        top = machine.outlet.range_pa[1]
        lines.append(
            f"Pump {machine.pump.name}: "
            f"{units.text('flow_ul_s', machine.pump.open_flow_m3_s, us)} open, "
            f"{units.text('flow_ul_s', machine.pump.flow_at(top), us)} at "
            f"{units.text('pressure_pa', top, us)}"
        )
    return lines


def _windows(answer: Answer) -> Table:
    us = answer.request.us
    table = _table("Usable speed", f"Rate, {units.unit('rate_ml_ha', us)}")
    unit = units.unit("speed_mm_s", us)
    for heading in (f"Usable as asked, {unit}", f"Slowest, {unit}", f"Fastest, {unit}"):
        table.add_column(heading, justify="right")
    rows = zip(answer.request.ask.rates_m, answer.coverage.windows, answer.windows, strict=True)
    for rate, usable, window in rows:
        table.add_row(
            units.number("rate_ml_ha", rate, us),
            _span("speed_mm_s", usable, us),
            _limit("speed_mm_s", window.low, us),
            _limit("speed_mm_s", window.high, us),
        )
    return table


def _points(answer: Answer) -> Iterable[Table]:
    us = answer.request.us
    columns = (
        ("Each", "outlet_flow_ul_s"),
        ("Total", "flow_ul_s"),
        ("Outlet", "pressure_pa"),
        ("Pump", "pressure_pa"),
    )
    for rate, points in zip(answer.request.ask.rates_m, answer.points, strict=True):
        title = f"At {units.text('rate_ml_ha', rate, us)}, all sections on"
        table = _table(title, f"Speed, {units.unit('speed_mm_s', us)}")
        for heading, quantity in columns:
            table.add_column(f"{heading}, {units.unit(quantity, us)}", justify="right")
        table.add_column("Load", justify="right")
        table.add_column("Meter, Hz", justify="right")
        table.add_column("Beyond")
        for point in points:
            table.add_row(*_point_cells(point, us))
        yield table


def _point_cells(point: Point, us: bool) -> Sequence[str]:
    load = "-"
    if point.pump_load is not None:
        load = f"{100 * point.pump_load:.0f} %" if point.pump_load < 10 else "> 999 %"
    return (
        units.number("speed_mm_s", point.speed_m_s, us),
        units.number("outlet_flow_ul_s", point.outlet_flow_m3_s, us),
        units.number("flow_ul_s", point.total_flow_m3_s, us),
        units.number("pressure_pa", point.outlet_pressure_pa, us),
        units.number("pressure_pa", point.pump_pressure_pa, us),
        load,
        "-" if point.meter_hz is None else f"{point.meter_hz:.1f}",
        ", ".join(point.beyond) or "-",
    )


def _rates_at(answer: Answer) -> Table:
    us = answer.request.us
    table = _table("Smallest and largest rate", f"Speed, {units.unit('speed_mm_s', us)}")
    unit = units.unit("rate_ml_ha", us)
    table.add_column(f"Smallest, {unit}", justify="right")
    table.add_column(f"Largest, {unit}", justify="right")
    for speed, window in zip(answer.speeds_m_s, answer.rates_at, strict=True):
        ends = (_limit("rate_ml_ha", end, us) for end in (window.low, window.high))
        cells = (_span("rate_ml_ha", window, us), "") if window.empty else ends
        table.add_row(units.number("speed_mm_s", speed, us), *cells)
    return table


def _sizes(answer: Answer) -> Table:
    us, ask = answer.request.us, answer.request.ask
    table = _table("Outlet sizes (ISO 10625), the other parts as given", "Size")
    table.add_column("Colour")
    table.add_column(f"As asked, {units.unit('pressure_pa', us)}", justify="right")
    for rate in ask.rates_m:
        heading = f"{units.text('rate_ml_ha', rate, us)}, {units.unit('speed_mm_s', us)}"
        table.add_column(heading, justify="right")
    table.add_column("Would do")
    for done in answer.sizes:
        table.add_row(*_size_cells(done, answer))
    return table


def _size_cells(done: Coverage, answer: Answer) -> Sequence[str]:
    ask, us, machine = answer.request.ask, answer.request.us, done.machine
    pressures = [
        machine.outlet.pressure_pa(rate * speed * machine.spacing_m, machine.sg)
        for rate, speed in (ask.lowest, ask.highest)
    ]
    return (
        machine.outlet.name,
        handbook.ISO_10625_COLOURS[machine.outlet.name],
        _plain_range("pressure_pa", pressures, us),
        *(_span("speed_mm_s", window, us) for window in done.windows),
        {"all": "[bold green]yes[/]", "part": "in part", "none": "no"}[done.fits],
    )


def _table(title: str, first_column: str) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD)
    table.add_column(first_column, justify="right")
    return table


def _paragraphs(title: str, lines: Sequence[str]) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=None)
    table.show_header = False
    for line in lines:
        table.add_row("-", escape(line))
    return table


def _span(quantity: str, window: Window, us: bool) -> str:
    """`"6.0 to 9.1"`, or why there is none."""
    if window.empty:
        parts = [end.part for end in (window.low, window.high) if end.part != ASKED]
        return f"none ({', '.join(dict.fromkeys(parts))})"
    return _plain_range(quantity, (window.low.value, window.high.value), us)


def _plain_range(quantity: str, ends: Sequence[float], us: bool) -> str:
    return " to ".join(units.number(quantity, end, us) for end in ends)


def _range(quantity: str, ends: Sequence[float], us: bool) -> str:
    return f"{_plain_range(quantity, ends, us)} {units.unit(quantity, us)}"


def _limit(quantity: str, limit: Limit, us: bool) -> str:
    return f"{units.number(quantity, limit.value, us)} ({limit.part})"
