"""From the response that the step test measured to delay and lag. Runs outside the tick.

They come from the times at which 28.35 % and 63.21 % of the step are reached, where a
first-order machine is after a third of its lag and after its whole lag:
lag = 1.5 (t63 - t28), delay = t63 - lag (C. L. Smith, Digital Computer Process Control, 1972;
from memory). A response is a list with a height for each tick after the step.
"""

from rate_control.intmath import clamp
from rate_control.procedures.points import along
from rate_control.units import TICK_MS

TAIL_TICKS = 20  # at the end of a response: what it has settled to
PART_28, PART_63, WHOLE = 2835, 6321, 10000
SPREADS = (523, 526, 548, 578, 652, 853, 1205)  # 1.5 (t63 - t28), in parts of a ramp
LAGS = (0, 100, 200, 300, 500, 800, 1205)
LAG_MIN_MS, LAG_MAX_MS, DELAY_MAX_MS = 20, 8000, 2000


def settled(response: list[int], ticks: int) -> int:
    """Return the height at the end; it allocates nothing."""
    height = 0
    for index in range(ticks - TAIL_TICKS, ticks):
        height += response[index] // TAIL_TICKS
    return height


def after_step(response: list[int], ticks: int) -> tuple[int, int]:
    """Return (delay_ms, lag_ms) of a machine whose input made a step."""
    t63 = reached_ms(response, ticks, PART_63)
    lag = clamp(spread_ms(response, ticks), LAG_MIN_MS, LAG_MAX_MS)
    return clamp(t63 - lag, 0, DELAY_MAX_MS), lag


def after_ramp(response: list[int], ticks: int, late_ms: int, ramp_ms: int) -> tuple[int, int]:
    """Return (delay_ms, lag_ms) of a machine whose input began late and took ramp_ms.

    That is a valve with its motor. Mean times add: of the ramp, then delay and lag. How the two
    share the rest is not so sure, because a ramp hides a short lag.
    """
    both_ms = max(mean_ms(response, ticks) - late_ms - ramp_ms // 2, LAG_MIN_MS)
    lag = behind_ramp_ms(spread_ms(response, ticks), max(ramp_ms, 1))
    lag = clamp(lag, LAG_MIN_MS, min(both_ms, LAG_MAX_MS))
    return clamp(both_ms - lag, 0, DELAY_MAX_MS), lag


def reached_ms(response: list[int], ticks: int, part: int) -> int:
    """Return when the response reaches a part of its height (10000 is all of it)."""
    level = settled(response, ticks) * part // WHOLE
    before = 0
    for index in range(ticks):
        height = response[index]
        if height >= level:
            return index * TICK_MS + TICK_MS * (level - before) // max(height - before, 1)
        before = height
    return ticks * TICK_MS


def spread_ms(response: list[int], ticks: int) -> int:
    """Return 1.5 (t63 - t28): the lag, if the input was a step."""
    t28 = reached_ms(response, ticks, PART_28)
    return 3 * (reached_ms(response, ticks, PART_63) - t28) // 2


def mean_ms(response: list[int], ticks: int) -> int:
    """Return the mean time of the response: the area above it over its height."""
    height = max(settled(response, ticks), 1)
    missing = sum(height - response[index] for index in range(ticks))
    return TICK_MS // 2 + missing * TICK_MS // height


def behind_ramp_ms(spread: int, ramp_ms: int) -> int:
    """Return the lag behind an input that is no step but a ramp, from the spread of the response.

    By the exact response y = (t - lag + lag exp(-t / lag)) / ramp: beyond 1.2 ramps it is the
    same as after a step, and a pure ramp has a spread of its own.
    """
    part = spread * 1000 // ramp_ms
    if part >= SPREADS[-1]:
        return spread
    return along(SPREADS, LAGS, max(part, SPREADS[0])) * ramp_ms // 1000
