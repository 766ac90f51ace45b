"""Two MicroPython VMs joined by their pins: the whole firmware on one, the bench rig on the other.

Each is a process of its own; pulses, levels and duty go from one to the other as numbers, in steps
of 10 ms, and time moves only when a host reads. Counts and moments of edges arrive as late as
from the real rig: one step. What no number stands for, the pins themselves, is in
tests/host/board/test_rig_pins.py.

    python -m tests.support.rig_pair [MACHINE [--short]]

prints the acceptance table beside the twin's; `make rig` does. A machine file's settings are the
board's; for a kind of machine the firmware's own procedures learn them first, on the twin. With
--page alone the table in the guide is made anew, after a change of the controller.
"""

from __future__ import annotations

import argparse
import json
import subprocess
from collections import deque
from contextlib import contextmanager

from host_sim import REPO_ROOT
from host_sim.board.link_client import LinkClient
from host_sim.board.link_port import PipePort
from host_sim.board.rig_check import check_on_rig
from host_sim.board.rig_line import RigLine
from host_sim.board.rig_text import rig_text
from host_sim.build.interpreters import MICROPYTHON_64, command
from host_sim.common.progress import progress
from host_sim.machine_file.choice import chosen
from host_sim.machine_file.machine import load_machine
from host_sim.machine_file.twin_spec import spec_of
from host_sim.trials.commissioning.commission import commission
from host_sim.twin.scenario import SCENARIO_DIR
from rate_control.intmath import LIMIT

PAGE = REPO_ROOT / "docs" / "how_to" / "check_a_board_on_the_bench_rig.md"
STEP_US = 10_000
LEAD_US = STEP_US
SPEED, FLOW = 0, 1


class Vm:
    """A script on a VM that answers each line with a line."""

    def __init__(self, script: str) -> None:
        self._process = subprocess.Popen(
            command(MICROPYTHON_64, script), cwd=REPO_ROOT, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, text=True, bufsize=1)

    def tell(self, line: str) -> None:
        assert self._process.stdin
        self._process.stdin.write(line + "\n")

    def ask(self, line: str) -> list[str]:
        """Raises AssertionError where the script has died."""
        self.tell(line)
        assert self._process.stdin and self._process.stdout
        self._process.stdin.flush()
        words = self._process.stdout.readline().split()
        assert words, "the VM has died"
        return words

    def close(self) -> None:
        assert self._process.stdin and self._process.stdout
        self._process.stdin.close()
        self._process.wait(10)
        self._process.stdout.close()


class Counter:
    """A pulse input: edges on their way, the count and the time of the last that has come."""

    def __init__(self) -> None:
        self.count = 0
        self.edge_us = 0
        self._coming: deque[int] = deque()

    def send(self, moments: str, step_us: int) -> None:
        if moments != "-":
            self._coming.extend(step_us + LEAD_US + int(moment) for moment in moments.split(","))

    def live(self, now_us: int) -> None:
        while self._coming and self._coming[0] <= now_us:
            self.edge_us = self._coming.popleft() & LIMIT
            self.count = (self.count + 1) & LIMIT


class RigPair:
    """The wires. `client` and `rig` are what a host has at its two ports."""

    def __init__(self, values: dict[str, object]) -> None:
        self.now_us = 0
        self.counters = Counter(), Counter()
        self._rig = Vm("tests/vm/wired_rig.py")
        self._controller = Vm("tests/vm/wired_controller.py")
        self._controller.tell(json.dumps(values))
        self._rig_port = PipePort(self.step, self._now_s)
        self._link_port = PipePort(self.step, self._now_s)
        self._duty_u16 = self._mask = 0
        self._valve_us, self._direction = 0, 0
        self.broken: set[str] = set()  # wires that have come off
        self.client = LinkClient(lambda: self._link_port)
        self.rig = RigLine(self._rig_port)

    def _now_s(self) -> float:
        return self.now_us * 1e-6

    def step(self) -> None:
        """Let both live for one step."""
        on_us = min(self._valve_us, STEP_US)
        self._valve_us -= on_us
        duty_u16 = 0 if "PUMP" in self.broken else self._duty_u16
        closed, supply_mv, speed, flow, told = self._rig.ask(
            f"{duty_u16 * 1_000_000 // 65535} {self._mask} {on_us} "
            f"{self._direction if on_us else 0} {int(self._valve_us > 0)} "
            f"{sent(self._rig_port)}")
        arrive(self._rig_port, told)
        for name, counter, moments in zip(("SPEED", "FLOW"), self.counters, (speed, flow),
                                          strict=True):
            if name not in self.broken:
                counter.send(moments, self.now_us)
        self.now_us += STEP_US
        for counter in self.counters:
            counter.live(self.now_us)
        seen = " ".join(f"{counter.count} {counter.edge_us}" for counter in self.counters)
        duty, mask, pulse_ms, told = self._controller.ask(
            f"{closed} {supply_mv} {seen} {sent(self._link_port)}")
        arrive(self._link_port, told)
        self._duty_u16, self._mask = int(duty), int(mask)
        if int(pulse_ms):
            self._valve_us = abs(int(pulse_ms)) * 1000
            self._direction = 1 if int(pulse_ms) > 0 else -1

    def close(self) -> None:
        self._rig.close()
        self._controller.close()


def sent(port: PipePort) -> str:
    """What the host has sent on this port, in hex."""
    return (port.board_end.read(256) or b"").hex() or "-"


def arrive(port: PipePort, told: str) -> None:
    """What a VM has told the host."""
    if told != "-":
        port.board_end.write(bytes.fromhex(told))


@contextmanager
def rig_pair(values: dict[str, object]):
    """A pair whose controller keeps these settings, taken on by a person."""
    pair = RigPair(values)
    try:
        yield pair
    finally:
        pair.close()


def renew_page() -> None:
    """Put the table of the demonstration's bar into the guide."""
    machine = load_machine(SCENARIO_DIR / "plot_bar.machine.toml")
    with rig_pair(machine.settings.as_dict()) as pair:
        outcome = check_on_rig(machine.title, spec_of(machine), pair.client, pair.rig, short=True)
    before, _, rest = PAGE.read_text("utf-8").partition("```text\n")
    _, _, after = rest.partition("```")
    table = "\n".join(line.rstrip() for line in rig_text(outcome, us=False).splitlines())
    PAGE.write_text(f"{before}```text\n{table}\n```{after}", "utf-8")


def main() -> None:
    """The sequence, whole or short; or the guide's table."""
    parser = argparse.ArgumentParser(prog="python -m tests.support.rig_pair",
                                     description=(__doc__ or "").split("\n")[0])
    parser.add_argument("machine", nargs="?", default="electric_m", help="machine file or kind")
    parser.add_argument("--short", action="store_true", help="a part of the sequence")
    parser.add_argument("--page", action="store_true", help="write the guide's table anew")
    args = parser.parse_args()
    if args.page:
        renew_page()
        return
    name, spec, _, file = chosen(args.machine)
    settings = file.settings if file else commission(spec, 1).settings
    with progress("on the bench rig") as tell, rig_pair(settings.as_dict()) as pair:
        outcome = check_on_rig(name, spec, pair.client, pair.rig, tell, args.short)
    print(rig_text(outcome, bool(settings.us_units)))


if __name__ == "__main__":
    main()
