"""The response of a step test, laid over each other as the firmware does, and its fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from host_sim.trials.commissioning.performed import Performed
from host_sim.trials.tuning.loop import TICK_S, LoopModel

Line = NDArray[np.float64]
HOLDS = 9  # of a step test: the first, and one for each step


@dataclass(frozen=True)
class Response:
    """Height over time from the change of the demand on, 1 being all of the step."""

    time_s: Line
    mean: Line
    each: list[Line]  # a line a step


def response_of(step: Performed) -> Response:
    """The steps of a finished step test, each from where the flow was to where it went."""
    demand = np.asarray(step.demand_u16, dtype=np.float64)
    flow = np.asarray(step.flow_ul_s, dtype=np.float64)
    changes = np.abs(np.diff(demand))
    # a step begins a hold; what follows the supply meanwhile is less
    starts = np.flatnonzero(changes > 0.5 * np.median(np.sort(changes)[-HOLDS:])) + 1
    spans = np.diff(starts)
    # the last change ends the test, those before the longest even run of holds begin it
    hold = int(np.bincount(spans).argmax())
    each = []
    for start, span in zip(starts, spans, strict=False):
        if span != hold:
            continue
        before = flow[max(start - 20, 0):start].mean()
        after = flow[start + hold - 20:start + hold].mean()
        if after != before:
            each.append((flow[start:start + hold] - before) / (after - before))
    each = each[-8:]
    mean = cast(Line, np.mean(each, axis=0))
    return Response(np.arange(hold, dtype=np.float64) * TICK_S, mean, each)


def fitted(machine: LoopModel, time_s: Line, motor_s: float) -> Line:
    """What a machine with this delay and lag does; a valve's motor makes the step a ramp."""
    def area(time: Line) -> Line:
        """Integral of the response to a step."""
        late = np.maximum(time - machine.delay_s, 0.0)
        lag = machine.lag_s
        result: Line = late - lag * (1.0 - np.exp(-late / lag))
        return result

    if motor_s <= 0.0:
        late = np.maximum(time_s - machine.delay_s, 0.0)
        step: Line = 1.0 - np.exp(-late / machine.lag_s)
        return step
    ramp: Line = (area(time_s) - area(time_s - motor_s)) / motor_s
    return ramp
