"""Runs firmware/main.py, unmodified, on a virtual board: the proof that main.py works.

The program runs in a thread of its own, but never at the same time as its caller: it goes on
only inside `step`, and stands still wherever it idles. So a run is as deterministic as the rest
of the twin. What need not prove main.py uses the same run without a thread, operated.py.
"""

from __future__ import annotations

import importlib
import runpy
import threading
from collections.abc import Callable
from types import TracebackType
from typing import Any, Self

import boards
from host_sim import REPO_ROOT
from host_sim.plant.machine import Machine
from host_sim.twin.clock import VirtualClock
from host_sim.twin.operated import STEP_US, OperatedRun
from host_sim.twin.virtual_board import Fittings, MemoryFiles, TickCallback, VirtualBoard

MAIN = REPO_ROOT / "firmware" / "main.py"


class _PowerOff(BaseException):
    """Ends the program for good."""


class _ChipReset(BaseException):
    """Ends the program so that it starts anew."""


def _fit(platform: str = "", version: object = None) -> str:
    """A virtual board asks for no MicroPython of its own."""
    return ""


class MainRun(OperatedRun):
    """An operated run whose program is main.py; a context manager.

    `starts` counts how often main.py was begun; `application` is the one whose tick the board
    runs, for those who look at it from outside.
    """

    def __init__(self, machine: Machine, clock: VirtualClock, files: MemoryFiles) -> None:
        super().__init__(machine, clock, files, self._idling)
        self._ours = threading.Semaphore(0)
        self._its = threading.Semaphore(0)
        self._off = False
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._main, daemon=True)

    def _idling(self, clock: VirtualClock, machine: Machine,
                boot: Callable[[VirtualBoard], None], fittings: Fittings) -> VirtualBoard:
        return _IdlingBoard(self, clock, machine, boot, fittings)

    def _boot(self, board: VirtualBoard) -> None:
        """The program is begun by the thread; whatever runs when the chip resets is left."""
        if board.reset_cause() != "power":
            raise _ChipReset

    def __enter__(self) -> Self:
        # the very module that main.py will find, for tests of boards import them anew
        versions: Any = importlib.import_module("boards.versions")
        self._versions = versions
        self._real = boards.chosen, versions.problem
        boards.chosen = lambda: self.board
        versions.problem = _fit
        self._thread.start()
        self._ours.acquire()
        self._check()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self._off = True
        self._its.release()
        self._thread.join()
        boards.chosen, self._versions.problem = self._real

    def step(self, step_us: int = STEP_US) -> None:
        """Let the program run until it idles the next time: so much simulated time."""
        self._step_us = step_us
        self._its.release()
        self._ours.acquire()
        self._check()

    def _check(self) -> None:
        if self._error is not None:
            raise RuntimeError("main.py ended") from self._error

    def idle(self) -> None:
        """In the program's thread: give way to the caller, then live on."""
        self._ours.release()
        self._its.acquire()
        if self._off:
            raise _PowerOff
        self.board.advance(self._step_us, self._next_speed_m_s(self._step_us))

    def _main(self) -> None:
        """Run main.py, again after every reset, until the power goes."""
        try:
            while True:
                self.starts += 1
                try:
                    runpy.run_path(str(MAIN))
                    raise RuntimeError("main.py came to its end")
                except _ChipReset:
                    continue
        except _PowerOff:
            return
        except BaseException as error:  # the caller gets it
            self._error = error
        self._ours.release()


class _IdlingBoard(VirtualBoard):
    """Hands over to the caller of `step` wherever the program idles."""

    def __init__(self, run: MainRun, clock: VirtualClock, machine: Machine,
                 boot: Callable[[VirtualBoard], None], fittings: Fittings) -> None:
        self._run = run
        super().__init__(clock, machine, boot, fittings)

    def start_tick(self, callback: TickCallback, period_us: int) -> None:
        self._run.application = callback.__self__  # type: ignore[attr-defined]
        super().start_tick(callback, period_us)

    def idle(self) -> None:
        self._run.idle()
