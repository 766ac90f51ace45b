"""The guided self-test of a board: the contract runs there, a person moves the switches.

Every line is PASS, SKIP or FAIL, the name of a check and what was measured. What is not wired,
and what nobody is there to do, is skipped; it never passes.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from host_sim import REPO_ROOT
from host_sim.board.mpremote_port import BoardError, MpremotePort

SCRIPT = "tests/contract/on_board.py"
SECTIONS = 8
OUTCOMES = ("PASS", "SKIP", "FAIL")
DONE_FROM_OUTSIDE = ("switches", "watchdog")  # the script skips these; here they are made
RESTART_S = 20.0

READER = """
import boards
from rate_control.records import Inputs
board = boards.chosen()
inputs = Inputs()
"""
READ = "board.read(inputs); print(inputs.switches)"
RELEASE = "board.release()"
STARVE = """
import boards, time
board = boards.chosen()
board.start_tick(lambda _: None, 50000)
time.sleep(5)
"""
CAUSE = "print(board.reset_cause())"

Tell = Callable[[str], None]
Ask = Callable[[str], object]


class SelfTest:
    """One self-test; `ask` shows a prompt and waits for a person, None where there is none."""

    def __init__(
        self,
        port: MpremotePort,
        tell: Tell,
        ask: Ask | None,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        self.failed = 0
        self.lines: list[str] = []
        self._port = port
        self._tell = tell
        self._ask = ask
        self._pause = pause

    def run(self) -> None:
        """Run everything. Raises BoardError where the board cannot be reached at all."""
        identity = self._port.identify()
        self._tell(f"MicroPython {identity.version} on {identity.platform}")
        self._tell("wires for the self-test: hardware/wiring.md")
        self._contract()
        self._switches()
        self._watchdog()

    def _note(self, outcome: str, name: str, text: str) -> None:
        line = f"{outcome} {name}: {text}"
        self.lines.append(line)
        self.failed += outcome == "FAIL"
        self._tell(line)

    def _contract(self) -> None:
        """Run the contract on the board, with this repository mounted there."""
        told = self._port.do("mount", str(REPO_ROOT), "run", SCRIPT).splitlines()
        found = [line for line in told if line.startswith(OUTCOMES)]
        if not found:
            raise BoardError(f"{self._port.port}: the self-test is silent: is the firmware there?")
        for line in found:
            outcome, rest = line.split(" ", 1)
            name, _, text = rest.partition(": ")
            if name not in DONE_FROM_OUTSIDE:
                self._note(outcome, name, text)

    def _switches(self) -> None:
        """Let a person close one switch after the other, and see each in its own bit."""
        if self._ask is None:
            self._note("SKIP", "switches", "not a terminal, so nobody can be asked to move them")
            return
        names = ["master switch", "implement switch"]
        names += [f"switch of section {number}" for number in range(1, SECTIONS + 1)]
        self._port.execute(READER)
        self._ask("Open every switch, then press Enter.")
        if open_mask := self._read_switches():
            self._note("FAIL", "switches", f"all open, but read as {open_mask:#x}")
            return
        wrong = [self._one_switch(number, name) for number, name in enumerate(names)]
        problems = [text for text in wrong if text]
        self._port.execute(RELEASE, keep=True)
        if problems:
            self._note("FAIL", "switches", "; ".join(problems))
        else:
            self._note("PASS", "switches", f"{len(names)} seen, each in its own bit")

    def _one_switch(self, number: int, name: str) -> str:
        assert self._ask
        self._ask(f"Close only the {name}, then press Enter.")
        seen = self._read_switches()
        return "" if seen == 1 << number else f"{name} read as {seen:#x}"

    def _read_switches(self) -> int:
        return int(self._port.execute(READ, keep=True))

    def _watchdog(self) -> None:
        """Start a tick that feeds nothing; the board must vanish and say why it came back."""
        try:
            self._port.execute(STARVE)
        except BoardError:
            pass  # it was reset in the middle of this, as it should be
        else:
            self._note("FAIL", "watchdog", "no reset within 5 s")
            return
        cause = self._cause_after_restart()
        outcome = "PASS" if cause == "watchdog" else "FAIL"
        self._note(outcome, "watchdog", f"reset, cause read as {cause!r}")

    def _cause_after_restart(self) -> str:
        """Ask again and again until the board is there again; "" where it does not come."""
        waited = 0.0
        while waited < RESTART_S:
            self._pause(1.0)
            waited += 1.0
            try:
                return self._port.execute(CAUSE, keep=True).strip()
            except BoardError:
                continue
        return ""
