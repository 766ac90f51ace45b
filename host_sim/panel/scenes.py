"""Moments worth a look: drives that play themselves up to a moment, then are in a person's hands.

A page opens one by its address: `#scene=stalled_meter&at=40` is the twin 40 s after its power-up,
with the flow meter stuck for the last 5 of them. What is done is done by the commands that a page
has, so a scene can show nothing that hands cannot do.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

AT_MAX_S = 600.0
WORK_M_S = 8.0 / 3.6
# Before everything else: arm, lower, drive. After power-up the master must be seen off first.
START = (
    (1.0, "master", True),
    (1.5, "implement", True),
    (2.0, "speed", WORK_M_S),
)

Step = tuple[Any, ...]  # when, then a command of commands.py with its arguments


@dataclass(frozen=True)
class Scene:
    """A drive that plays itself: its word in an address, its words, what is worth seeing.

    `where` is the part of the page to look at, "" the page as it opens.
    """

    name: str
    words: str
    at_s: float
    steps: tuple[Step, ...]
    where: str = ""


SCENES = (
    Scene("steady", "steady work", 20.0, START),
    Scene("stalled_meter", "stalled meter", 40.0,
          (*START, (35.0, "trouble", "meter_stalled", True))),
    Scene("section_closed", "a section closed", 32.0,
          (*START, (30.0, "section", 1, False))),
    Scene("speed_halved", "half the speed at once", 32.0,
          (*START, (30.0, "speed", WORK_M_S / 2))),
    Scene("worn_outlets", "worn outlets, unseen", 45.0,
          (*START, (25.0, "outlets", 0, 1.2))),
    Scene("empty_tank", "the tank runs empty", 40.0,
          ((0.5, "tank", 1.8), *START)),
    Scene("weak_battery", "a weak battery", 40.0,
          (*START, (30.0, "trouble", "battery_weak", True))),
    Scene("program_hangs", "the program hangs", 34.0,
          (*START, (30.0, "hang"))),
    # Of 31 m each. The second pass leaves a section shut for a while, the third comes down late and
    # goes up late, the fourth lies too near.
    Scene("passes", "four passes on the map", 84.0,
          (*START, (16.0, "implement", False), (21.2, "implement", True),
           (26.0, "section", 0, False), (29.0, "section", 0, True),
           (35.2, "implement", False), (41.2, "implement", True),
           (55.5, "implement", False), (55.6, "spacing", 2.9), (59.6, "implement", True),
           (73.6, "implement", False)), "field"),
    Scene("pump_curve", "learning the pump", 60.0,
          ((1.0, "learn", "pump_curve", "", False),), "tune"),
    Scene("step_test", "tuned by a step test", 60.0,
          ((1.0, "learn", "step_test", "", False),), "tune"),
)
BY_NAME = {scene.name: scene for scene in SCENES}


class Script:
    """What is still to be done by itself. `arrive_s` is the moment to go to at once."""

    def __init__(self, steps: tuple[Step, ...] = (), arrive_s: float = 0.0) -> None:
        self.arrive_s = arrive_s
        self._steps = deque(steps)

    def act(self, now_s: float, do: Callable[[str, list[Any]], None]) -> None:
        """Do what has become due."""
        while self._steps and self._steps[0][0] <= now_s:
            _, name, *arguments = self._steps.popleft()
            do(name, arguments)
