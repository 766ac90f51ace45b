"""The reference page of the operator interface: its screens, from the firmware on the twin."""

from __future__ import annotations

from app.signals import PATTERNS, STEP_MS, STEPS
from app.words import MISSING
from host_sim.plant.machine import Machine
from host_sim.twin.clock import VirtualClock
from host_sim.twin.operated import OperatedRun
from host_sim.twin.scenario import DEMO, load_scenario
from host_sim.twin.virtual_board import MemoryFiles
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

SPEED_M_S = 2.2

HEAD = """\
# The operator interface

Made from the firmware, which ran on the twin for it, by `make docs`; do not edit it here.

A display of 4 rows of 20 characters, one encoder that turns and pushes, one back key, a lamp and
a buzzer. The master switch and a switch for each section stand beside it; they act on the
controller directly and not by way of these screens.

- **Turn** to choose or to change, **push** to open or to take, **back** to leave without taking.
  Back, as often as it takes, leads to the work screen.
- Numbers are changed digit by digit: the caret stands under the digit that turns, a push goes on
  to the next, and the push behind the last digit takes the number.
- Settings are never taken while outputs are on. Afterwards the master switch must be seen off,
  then on.
- Units are a setting. A program on the link may choose others for the display alone, in mid-work
  too; the setting is back when it is changed or after a reset.
- Any key quietens the buzzer. It does not clear a fault; the master switch does.

## Work

The applied rate, large, beside the rate that is set. Turning leafs through speed, flow, area,
volume, duty and supply; warnings take turns with them. While nothing is applied the screen says
what is missing, one thing after the other; "kept" beside the rate marks one that was kept over a
reset, until arming confirms it. The bottom row has the state, and the sections that
are open or, while none is, switched on.

"""

MENU_HEAD = """\
## What a push opens

"""

BENCH_HEAD = """\
## Bench

Liquid at standstill, for a catch test or to look for a leak. It begins only after the question
was answered at the machine, with the master switch on, and its speed is zero at every entry.
Turning changes the bench speed, pushing changes between speed and a duty by hand. It ends with
the back key, the master switch, any motion of the machine, or after the set time.

Chemicals and pressure can hurt: keep clear of the outlets, wear what the product label says, and
test with water where you can. Label and local rules come first.

"""

MISSING_HEAD = """\
## What is missing

What the work screen says while nothing is applied, most telling first.

"""

LAMP_HEAD = f"""\
## Lamp and buzzer

{STEPS} steps of {STEP_MS} ms, over and over; `#` is on.

| | lamp | buzzer |
|---|---|---|
"""


def page() -> str:
    """The page, drawn anew."""
    return "".join(_Tour().sections()) + _missing() + _lamp()


class _Tour(OperatedRun):
    """The demonstration machine, shown round."""

    def __init__(self) -> None:
        scenario = load_scenario(DEMO)
        self._settings = scenario.settings.as_dict()
        self._sections = (1 << scenario.settings.section_count) - 1 << SWITCH_SECTION_SHIFT
        clock = VirtualClock()
        machine = Machine(scenario.machine, scenario.seed, clock.total_us)
        super().__init__(machine, clock, MemoryFiles())
        self.board.switches = self._sections

    def sections(self) -> list[str]:
        """The parts of the page that need the firmware."""
        self.live(1.0)
        for name, value in self._settings.items():
            self.link.ask("settings.set", values={name: value})
        return [HEAD, self._work(), MENU_HEAD, self._menus(), BENCH_HEAD, self._bench()]

    def _work(self) -> str:
        shown = self._screen("after power-up")
        self.take_settings_on()
        self._switch(0)
        self._switch(SWITCH_MASTER)
        shown += self._screen("armed, standing")
        self.speed_m_s = SPEED_M_S
        self._switch(SWITCH_MASTER | SWITCH_IMPLEMENT)
        self.live(8.0)
        shown += self._screen("at work")
        self.board.switches &= ~(2 << SWITCH_SECTION_SHIFT)
        self.live(4.0)
        shown += self._screen("section 2 switched off")
        self.board.machine.faults.meter_stalled = True
        self.live(6.0)
        shown += self._screen("the meter gives no pulses")
        self.board.machine.faults.meter_stalled = False
        self.speed_m_s = 0.0
        self._switch(0)
        self.live(3.0)
        return shown

    def _menus(self) -> str:
        return "".join([
            self._at("the menu", "push"),
            self._at("the rate, its first digit turning", "push"),
            self._at("set up, in groups", "back", 4, "push"),
            self._at("one group", 3, "push"),
            self._at("one setting", "push"),
            self._at("taking settings on", "back", "back", 40, "push"),
            self._at("calibrate", "back", "back", -1, "push"),
            self._at("what the speed course must know", "push"),
            self._at("the speed course under way", "push", "push"),
            self._at("totals", 1, "push", "back", "back", "back", 2, "push"),
            self._at("faults, also earlier ones", "back", 1, "push", 1),
            self._at("", "back", "back"),
        ])

    def _bench(self) -> str:
        self._switch(SWITCH_MASTER)
        shown = self._at("the question", "push", 2, "push")
        self.panel.push()
        self.settle()
        self.panel.turn(14)
        self.live(6.0)
        return shown + self._screen("at 7 km/h")

    def _switch(self, switches: int) -> None:
        self.board.switches = self._sections | switches
        self.live(1.0)

    def _at(self, title: str, *actions: str | int) -> str:
        """What is shown after some actions with the keys."""
        for action in actions:
            if isinstance(action, int):
                self.panel.turn(action)
            else:
                getattr(self.panel, action)()
        self.settle()
        return self._screen(title) if title else ""

    def _screen(self, title: str) -> str:
        self.live(0.3)
        rows = "\n".join(f"    |{row}|" for row in self.panel.text().split("\n"))
        return f"{title}:\n\n    +{'-' * 20}+\n{rows}\n    +{'-' * 20}+\n\n"


def _missing() -> str:
    return MISSING_HEAD + "".join(f"- {text}\n" for _, text in MISSING) + "\n"


def _lamp() -> str:
    return LAMP_HEAD + "".join(
        f"| {name} | `{_beat(lamp)}` | `{_beat(buzzer)}` |\n" for name, lamp, buzzer in PATTERNS)


def _beat(pattern: int) -> str:
    return f"{pattern:0{STEPS}b}".replace("0", ".").replace("1", "#")
