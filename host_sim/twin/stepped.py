"""Runs the firmware's application on a virtual board step by step, without a thread.

main.py makes the board and calls run(), which never returns. Here the application is put
together by the same `build`, started, and polled once a step; a reset puts it together anew.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import FrameType
from typing import Any

from app.application import Application
from app.start_up import build
from host_sim import REPO_ROOT
from host_sim.plant.machine import Machine
from host_sim.twin.clock import VirtualClock
from host_sim.twin.virtual_board import Fittings, VirtualBoard
from rate_control.controller import Controller
from rate_control.settings import Settings
from rate_control.units import TICK_US

FIRMWARE = str(REPO_ROOT / "firmware")

MakeBoard = Callable[[VirtualClock, Machine, Callable[[VirtualBoard], None], Fittings],
                     VirtualBoard]
MakeController = Callable[[Settings], Controller]


class BrownOut(BaseException):
    """The supply gave way in the middle of a tick; not an Exception, for no program sees it."""


class SteppedRun:
    """A machine with the whole firmware on its board.

    `speed_m_s` is the ground speed at the end of the next step, `board.switches` the levels of
    the hand switches. While `polling` is false the loop of the program hangs and its tick goes
    on. `starts` counts how often the program has begun.
    """

    application: Application

    def __init__(self, machine: Machine, clock: VirtualClock, fittings: Fittings,
                 make_board: MakeBoard = VirtualBoard,
                 make_controller: MakeController | None = None) -> None:
        self.machine = machine
        self.clock = clock
        self.speed_m_s = 0.0
        self.polling = True
        self.starts = 0
        self._make_controller = make_controller
        self._countdown: _Countdown | None = None
        self.board = make_board(clock, machine, self._boot, fittings)

    def _boot(self, board: VirtualBoard) -> None:
        self.starts += 1
        self.polling = True
        self.application = build(board, self._make_controller)
        self.application.start()

    def step(self, step_us: int = TICK_US) -> None:
        """Let time pass, then let the loop of the program go round once."""
        speed_m_s = self._next_speed_m_s(step_us)
        if self._countdown is not None:
            self._advance_into_brown_out(self._countdown, step_us, speed_m_s)
        else:
            self.board.advance(step_us, speed_m_s)
        if self.polling and not self.board.stalled:
            self.application.poll()

    def brown_out(self, lines: int) -> None:
        """Let the supply give way after so many more lines of firmware in ticks; it resets."""
        self._countdown = _Countdown(lines)

    def _next_speed_m_s(self, step_us: int) -> float:
        """The ground speed at the end of a step; a subclass may let it take its time."""
        return self.speed_m_s

    def _advance_into_brown_out(self, countdown: _Countdown, step_us: int, speed_m_s: float
                                ) -> None:
        before = sys.gettrace()
        sys.settrace(countdown.call)
        try:
            self.board.advance(step_us, speed_m_s)
        except BrownOut:
            sys.settrace(before)
            self._countdown = None
            self.board.reset("power")
        finally:
            sys.settrace(before)


class _Countdown:
    """Counts the lines of firmware that are run, and raises BrownOut at the last."""

    def __init__(self, lines: int) -> None:
        self._left = lines

    def call(self, frame: FrameType, event: str, arg: Any) -> Any:
        return self._line if frame.f_code.co_filename.startswith(FIRMWARE) else None

    def _line(self, frame: FrameType, event: str, arg: Any) -> Any:
        if event == "line":
            self._left -= 1
            if self._left == 0:
                raise BrownOut
        return self._line
