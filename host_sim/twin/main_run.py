"""Runs firmware/main.py, unmodified, on a virtual board.

The program runs in a thread of its own, but never at the same time as its caller: it goes on
only inside `live`, and stands still wherever it idles. So a run is as deterministic as the rest
of the twin, and what hands do beside the machine is written down as plain calls.
"""

from __future__ import annotations

import importlib
import runpy
import threading
from types import TracebackType
from typing import Any, Self

import boards
from app.application import Application
from host_sim import REPO_ROOT
from host_sim.board.link_client import LinkClient
from host_sim.board.link_port import PipePort
from host_sim.plant.machine import Machine
from host_sim.twin.clock import VirtualClock
from host_sim.twin.front_panel import FrontPanel
from host_sim.twin.virtual_board import Fittings, MemoryFiles, TickCallback, VirtualBoard

MAIN = REPO_ROOT / "firmware" / "main.py"
IDLE_US = 10_000
US_PER_S = 1_000_000

SET_UP_NOTCHES = 4  # from the top of the menu
TAKE_ON_NOTCHES = 40  # to the end of set up, however long it is


class _PowerOff(BaseException):
    """Ends the program for good."""


class _ChipReset(BaseException):
    """Ends the program so that it starts anew."""


class _IdlingBoard(VirtualBoard):
    """Hands over to the caller of `live` wherever the program idles."""

    def __init__(
        self, run: MainRun, clock: VirtualClock, machine: Machine, fittings: Fittings
    ) -> None:
        self._run = run
        super().__init__(clock, machine, _booted, fittings)

    def start_tick(self, callback: TickCallback, period_us: int) -> None:
        self._run.application = callback.__self__  # type: ignore[attr-defined]
        super().start_tick(callback, period_us)

    def idle(self) -> None:
        self._run._idle()


def _booted(board: VirtualBoard) -> None:
    if board.reset_cause() != "power":
        raise _ChipReset


def _fit(platform: str = "", version: object = None) -> str:
    """A virtual board asks for no MicroPython of its own."""
    return ""


class MainRun:
    """A machine with the whole firmware on its board; a context manager.

    `speed_m_s` is the ground speed, `board.switches` the levels of the hand switches; both may
    be changed between calls. `panel` is in the hands of the operator, `link` at the other end
    of the cable. `starts` counts how often main.py was begun; `application` is the one whose
    tick the board runs, for those who look at it from outside.
    """

    application: Application

    def __init__(self, machine: Machine, clock: VirtualClock, files: MemoryFiles) -> None:
        self.speed_m_s = 0.0
        self.starts = 0
        self.panel = FrontPanel()
        port = PipePort(self.step, lambda: clock.elapsed_us / US_PER_S)
        self.link = LinkClient(lambda: port)
        fittings = Fittings(self.panel.display, self.panel.read_keys, port.board_end, files)
        self.board = _IdlingBoard(self, clock, machine, fittings)
        self._ours = threading.Semaphore(0)
        self._its = threading.Semaphore(0)
        self._off = False
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._main, daemon=True)

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

    def live(self, seconds: float) -> None:
        """Let this much simulated time go by."""
        for _ in range(round(seconds * US_PER_S / IDLE_US)):
            self.step()

    def hands(self) -> None:
        """Let everything that was done on the panel be read, and the display follow."""
        while self.panel.busy:
            self.step()
        self.live(0.3)

    def take_settings_on(self) -> None:
        """Take the settings on at the machine, by its keys, from the work screen and back to it."""
        self.panel.push()
        for notches in (SET_UP_NOTCHES, TAKE_ON_NOTCHES):
            self.panel.turn(notches)
            self.panel.push()
        self.panel.push()
        self.panel.back()
        self.panel.back()
        MainRun.hands(self)

    def step(self) -> None:
        """Let the program run until it idles the next time: IDLE_US of simulated time.

        Everything that makes time go by comes through here, the link's waiting too, so this is
        the place where a subclass plays what goes on around the board.
        """
        self._its.release()
        self._ours.acquire()
        self._check()

    def _check(self) -> None:
        if self._error is not None:
            raise RuntimeError("main.py ended") from self._error

    def _idle(self) -> None:
        """In the program's thread: give way to the caller, then live on."""
        self._ours.release()
        self._its.acquire()
        if self._off:
            raise _PowerOff
        self.board.advance(IDLE_US, self.speed_m_s)

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
