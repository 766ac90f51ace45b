"""What a simulated machine was found to do: its pump curve and its step response."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from host_sim.build.diagrams.canvas import MARGIN, SMALL, WIDTH, Canvas, Point
from host_sim.machine_file.choice import chosen
from host_sim.trials.commissioning.commission import Commissioned, Wish, commission
from host_sim.trials.tuning.loop import TICK_S, machine_of
from host_sim.trials.tuning.response import Line, fitted, response_of
from rate_control.units import DUTY_FULL

MACHINE = "hydraulic"  # of all machines the one whose branches lie farthest apart
SETTLING_S = 1.0
BAND = 0.05
L_MIN = 60e-6  # from uL/s
HEIGHT = 230


@dataclass(frozen=True)
class Axes:
    """A frame with a scale on each side. x and y are (least, most, step of the ticks)."""

    canvas: Canvas
    top: float
    x: tuple[float, float, float]
    y: tuple[float, float, float]
    left: float = 46
    right: float = WIDTH - MARGIN

    def at(self, x: float, y: float) -> Point:
        """The place of a point."""
        across = (x - self.x[0]) / (self.x[1] - self.x[0])
        up = (y - self.y[0]) / (self.y[1] - self.y[0])
        return self.left + across * (self.right - self.left), self.top + HEIGHT * (1 - up)

    def frame(self, x_words: str, y_words: str) -> None:
        """Grid, numbers, and what is on the axes."""
        canvas = self.canvas
        canvas.text(MARGIN, self.top - 12, y_words, SMALL, "muted")
        for value in _steps(self.y):
            canvas.line([self.at(self.x[0], value), self.at(self.x[1], value)], "grid", 1)
            canvas.text(self.left - 6, self.at(0, value)[1] + 4, f"{value:g}", SMALL, "muted",
                        "end")
        for value in _steps(self.x):
            canvas.text(self.at(value, 0)[0], self.top + HEIGHT + 18, f"{value:g}", SMALL,
                        "muted", "middle")
        canvas.text(self.right, self.top + HEIGHT + 36, x_words, SMALL, "muted", "end")


def _steps(scale: tuple[float, float, float]) -> list[float]:
    low, high, step = scale
    return [low + step * index for index in range(round((high - low) / step) + 1)]


@cache
def found() -> Commissioned:
    """The machine, set up and measured as its owner would do it."""
    machine = chosen(MACHINE)
    return commission(machine.spec, 1, Wish(settling_s=SETTLING_S), entered=machine.entered)


def pump_curve() -> Canvas:
    """Which duty gives which flow, up and down, with every tick of the sweep."""
    settings, sweep = found().settings, found().curve
    canvas = Canvas("Pump curve of a simulated hydraulic motor: flow over duty, on a branch for "
                    "rising and one for falling flow")
    axes = Axes(canvas, 60, (0, 100, 20), (0, 80, 20))
    canvas.text(MARGIN, 24, "Pump curve, learned on the bench", bold=True)
    axes.frame("duty, %", "flow, L/min")
    percent = 100 / DUTY_FULL
    for demand, flow in list(zip(sweep.demand_u16, sweep.flow_ul_s, strict=True))[::8]:
        if demand > 0:
            canvas.dot(*axes.at(demand * percent, flow * L_MIN), 1.3, "muted")
    rising = list(zip(settings.curve_duty_u16, settings.curve_flow_ul_s, strict=True))
    canvas.line([axes.at(duty * percent, flow * L_MIN) for duty, flow in rising], "true", 2.2)
    for duty, flow in rising:
        canvas.dot(*axes.at(duty * percent, flow * L_MIN), 3.5, "true")
    gap = settings.curve_gap_u16
    canvas.line([axes.at((duty - gap) * percent, flow * L_MIN) for duty, flow in rising],
                "metered", 2.2, dash="6 4")
    _legend(canvas, axes.left, axes.top + HEIGHT + 62, (
        ("true", "", "flow rising: nine points"),
        ("metered", "6 4", f"flow falling: {gap * percent:.1f} % less duty"),
        ("muted", "2 3", "grey dots: ticks of the sweep"),
    ))
    return canvas


def step_response() -> Canvas:
    """The measured step with its delay, lag and settling."""
    response, machine = response_of(found().step), machine_of(found().settings)
    canvas = Canvas("Step response of a simulated hydraulic motor: nothing during the delay, 63 % "
                    "a lag later, then within 5 %")
    axes = Axes(canvas, 60, (0, 1.5, 0.25), (0, 1.2, 0.2))
    canvas.text(MARGIN, 24, "Step test: the meter after a step", bold=True)
    axes.frame("seconds after the step", "part of the step")
    canvas.box(*axes.at(0, 1 + BAND), axes.right - axes.left,
               axes.at(0, 1 - BAND)[1] - axes.at(0, 1 + BAND)[1], fill="band", edge="band")
    shown = response.time_s <= axes.x[1]
    for line, colour, wide, dash in (
            (response.mean, "true", 2.4, ""),
            (fitted(machine, response.time_s, 0.0), "metered", 2, "6 4")):
        points = [axes.at(float(t), float(v))
                  for t, v in zip(response.time_s[shown], line[shown], strict=True)]
        canvas.line(points, colour, wide, dash=dash)
    settled_s = _settled_s(response.time_s, response.mean)
    delay, lag = machine.delay_s, machine.delay_s + machine.lag_s
    for time_s, level in ((delay, 0.0), (lag, 0.632), (settled_s, 1 - BAND)):
        canvas.line([axes.at(time_s, 0), axes.at(time_s, level)], "muted", 1.2, dash="3 3")
        canvas.dot(*axes.at(time_s, level))
    x, y = axes.at(0.72, 0.62)
    for index, words in enumerate((
            f"delay {machine.delay_s:.2f} s: nothing yet",
            f"lag {machine.lag_s:.2f} s more: 63 %",
            f"within {100 * BAND:.0f} % from {settled_s:.2f} s on")):
        canvas.text(x, y + index * 20, words, SMALL)
    _legend(canvas, x, y + 76, (("true", "", "measured"), ("metered", "6 4", "fitted")))
    return canvas


def _settled_s(time_s: Line, mean: Line) -> float:
    """From when on the response stays within the band."""
    outside = [float(time) for time, value in zip(time_s, mean, strict=True)
               if abs(value - 1) > BAND]
    return max(outside) + TICK_S  # the tick after the last one outside


def _legend(canvas: Canvas, x: float, y: float,
            rows: tuple[tuple[str, str, str], ...]) -> None:
    for index, (colour, dash, words) in enumerate(rows):
        at = y + index * 19
        canvas.line([(x, at), (x + 24, at)], colour, 2.2, dash=dash)
        canvas.text(x + 32, at + 4, words, SMALL)
