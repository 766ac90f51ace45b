"""A plan as a scenario: a drive over the field, with the hands that a person would move.

The rate of a plot is entered in the alley before it, as an operator enters it; the implement comes
down as far before the plot as the plan says and goes up as much before its end as the machine is
late to stop. Hands of a scenario are exact: what a person's reaction adds is not in such a drive.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from host_sim.common import units
from host_sim.field_trial.plan import Plan, Plot
from rate_control.settings import Settings
from rate_control.units import TICK_MS

STAND_S, RAMP_S, TURN_S = 3.0, 3.0, 15.0
L_HA_PER_M = 1e7
RUN_UP_M = 8.0  # at full speed before the first plot of a column and after its last
RUN_OUT_M = 0.5  # from the end of a plot to the lift, where the board ends the plot itself
STRIP_M = (-14.0, -8.0)  # before the first plot: fills the pump and the lines, counts for nothing
BEGIN_M = -7.0  # there a person begins the trial on the board
BEGIN_KEYS = "push, turn 7, push, turn 1, push"  # menu, trial, begin
TURN_SHARE = 0.3  # of the speed, on the headland


@dataclass(frozen=True)
class PlotDrive:
    """The speed trace as text, and events as (distance in m, lines of TOML)."""

    speed_csv: str
    events: list[tuple[float, str]]
    length_m: float

    def scenario(self, title: str, machine: str, trace: str, seed: int, plan: str = "") -> str:
        """The text of the scenario file."""
        head = (f"title = {_quoted(title)}\nmachine = {_quoted(machine)}\n\n[drive]\n"
                f"speed_trace = {_quoted(trace)}\nseed = {seed}\n"
                + (f"plan = {_quoted(plan)}\n" if plan else "") + "\n"
                '[[event]]\nat_s = 1\nmaster = "on"\n')
        return head + "".join(f"\n[[event]]\nat_m = {at_m:.3f}\n{lines}"
                              for at_m, lines in self.events)


def _quoted(text: str) -> str:
    """A text as TOML writes it; what JSON escapes is escaped alike there."""
    return json.dumps(text)


def lift_ahead_s(settings: Settings) -> float:
    """From the lift of the implement until the sections are told to shut: half a tick until the
    switch is seen, its debouncing, the delay that is set. How long the valves then take is not
    measured: what comes out meanwhile falls beyond the plot, which is better than a bare end.
    """
    return (TICK_MS / 2 + settings.switch_debounce_ms + settings.implement_stop_delay_ms) / 1000


def drive_over(plan: Plan, speed_m_s: float, on_board: bool = False, lift_s: float = 0.0
               ) -> PlotDrive:
    """Drive through the plots of a plan at one speed, with a slow turn between its columns.

    The hands lift `lift_s` before the end of a plot. With the plan `on_board` they treat a strip
    first, begin the trial, enter no rates, and lift after a plot that the board ends itself.
    """
    samples = [(0.0, 0.0), (STAND_S, 0.0)]
    events: list[tuple[float, str]] = []
    way_m = 0.0
    rate_m: float | None = None
    for strip in _strips(plan.plots):
        way_m += _add(samples, RAMP_S, speed_m_s) + _add(samples, RUN_UP_M / speed_m_s, speed_m_s)
        if on_board and not events:
            way_m += _add(samples, -STRIP_M[0] / speed_m_s, speed_m_s)
            events += [(way_m + at_m, lines) for at_m, lines in _strip()]
        begins_m = way_m
        offsets = _offsets(strip)
        way_m += _add(samples, (offsets[-1] + strip[-1].length_m) / speed_m_s, speed_m_s)
        hands = _hands_at_board(strip, offsets) if on_board else _hands(
            strip, offsets, lift_s * speed_m_s)
        for plot, start_m, lines in hands:
            if lines.startswith("rate"):
                if plot.rate_m == rate_m:
                    continue
                rate_m = plot.rate_m
            events.append((begins_m + start_m, lines))
        way_m += _add(samples, RUN_UP_M / speed_m_s, speed_m_s)
        way_m += _add(samples, RAMP_S, TURN_SHARE * speed_m_s)
        way_m += _add(samples, TURN_S, TURN_SHARE * speed_m_s)
    way_m += _add(samples, RAMP_S, 0.0) + _add(samples, STAND_S, 0.0)
    rows = "".join(f"{time_s:.4f},{speed:.5f}\n" for time_s, speed in samples)
    return PlotDrive("time_s,speed_m_s\n" + rows, events, way_m)


def _add(samples: list[tuple[float, float]], seconds: float, speed_m_s: float) -> float:
    """Change to a speed evenly within a time; returns the way that this takes."""
    time_s, before_m_s = samples[-1]
    samples.append((time_s + seconds, speed_m_s))
    return seconds * (before_m_s + speed_m_s) / 2


def _strips(plots: Sequence[Plot]) -> Iterator[list[Plot]]:
    """Plots between two turns: of one column where columns are known, else of one pass."""
    strip: list[Plot] = []
    for plot in plots:
        if strip and not _same_strip(strip[-1], plot):
            yield strip
            strip = []
        strip.append(plot)
    if strip:
        yield strip


def _same_strip(one: Plot, other: Plot) -> bool:
    if one.box and other.box:
        return one.x_m == other.x_m and one.heading_deg == other.heading_deg
    return one.number == other.number


def _offsets(strip: Sequence[Plot]) -> list[float]:
    """Where each plot begins, from the beginning of the first."""
    first = strip[0]
    if first.box:
        assert first.y_m is not None
        return [abs((plot.y_m or 0.0) - first.y_m) for plot in strip]
    return [plot.start_m - first.start_m for plot in strip]


def _hands(strip: Sequence[Plot], offsets: Sequence[float], lift_m: float
           ) -> Iterator[tuple[Plot, float, str]]:
    """What the hands do along a strip: plot, where, and lines of TOML."""
    ends = [offset + plot.length_m for plot, offset in zip(strip, offsets, strict=True)]
    downs = [start - plot.start_m * (plot.number != before.number)
             for before, plot, start in zip(strip, strip[1:], offsets[1:], strict=False)]
    alleys = [(end + down) / 2 for end, down in zip(ends, downs, strict=False)]
    for plot, at_m in zip(strip, [-RUN_UP_M / 2, *alleys], strict=True):
        if plot.treated:
            rate = f"{plot.rate_m * L_HA_PER_M:.9g} L/ha"
            yield plot, at_m, f'rate = "{rate}"\nnote = "for plot {plot.name}"\n'
    for index, (plot, at_m) in enumerate(zip(strip, offsets, strict=True)):
        joined = index and strip[index - 1].number == plot.number
        if plot.treated and not joined:
            yield plot, at_m - plot.start_m, f'implement = "down"\nnote = "plot {plot.name}"\n'
        follows = index + 1 < len(strip) and strip[index + 1].number == plot.number
        if plot.treated and not follows:
            lines = f'implement = "up"\nnote = "after plot {plot.name}"\n'
            yield plot, ends[index] - min(lift_m, plot.length_m / 2), lines


def _strip() -> Iterator[tuple[float, str]]:
    """What the hands do before the first plot."""
    first_m, last_m = STRIP_M
    yield first_m, 'implement = "down"\nnote = "a strip that fills the lines"\n'
    yield last_m, 'implement = "up"\nplot_rate = "0 L/ha"\n'
    yield BEGIN_M, f'keys = "{BEGIN_KEYS}"\nnote = "the trial begins"\n'


def _hands_at_board(strip: Sequence[Plot], offsets: Sequence[float]
                    ) -> Iterator[tuple[Plot, float, str]]:
    """The same where the board has the plan; what the ground is to get goes along."""
    for index, (plot, at_m) in enumerate(zip(strip, offsets, strict=True)):
        if not plot.treated:
            continue
        if not index or strip[index - 1].number != plot.number:
            yield plot, at_m - plot.start_m, f'implement = "down"\nnote = "plot {plot.name}"\n'
        rate = f"{plot.rate_m * L_HA_PER_M:.9g} L/ha"
        yield plot, at_m, f'plot_rate = "{rate}"\n'
        end_m = at_m + plot.length_m
        yield plot, end_m, 'plot_rate = "0 L/ha"\n'
        if index + 1 == len(strip) or strip[index + 1].number != plot.number:
            run_out_m = RUN_OUT_M if plot.start_m else 0.0
            yield plot, end_m + run_out_m, f'implement = "up"\nnote = "after plot {plot.name}"\n'


def room_problems(plan: Plan) -> Iterator[str]:
    """Plots before which the implement would come down while it is down in the plot before."""
    for strip in _strips(plan.plots):
        for (first, before), (second, plot) in pairwise(zip(_offsets(strip), strip, strict=True)):
            alley_m = second - first - before.length_m
            if plot.treated and plot.number != before.number and plot.start_m > alley_m:
                start, alley = (units.text("distance_mm", m, plan.us)
                                for m in (plot.start_m, alley_m))
                yield (f"plot {plot.name}: the implement comes down {start} before it, "
                       f"but the alley is only {alley} long")


def shortest_alley_m(plan: Plan) -> float | None:
    """The shortest way between two plots of a strip, None where no plot follows another."""
    gaps = [second - first - plot.length_m for strip in _strips(plan.plots)
            for (first, plot), (second, _) in pairwise(zip(_offsets(strip), strip, strict=True))]
    return min(gaps, default=None)
