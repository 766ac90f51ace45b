"""The last gate and what it guards with: no command reaches an output without its state."""

from rate_control import last_gate
from rate_control.faults import BLOCKING, SPEED_LOST, TABLE
from rate_control.interlock import (
    APPLYING,
    BENCH,
    BENCH_ASKED,
    FAULT,
    IMPLEMENT,
    MASTER,
    NO_FAULT,
    PARKED,
    PRIME,
    PRIMING,
    READY,
    SECTION,
    SET_UP,
    SETTINGS_WHOLE,
    SPEED,
    STANDSTILL,
    STORE_IDLE,
    TICK,
)
from rate_control.permits import collect
from rate_control.records import Decided, Measured, Outputs, Request
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER


class Loop:
    """Drives every output, whatever it is asked."""

    def drive(self, decided, outputs):
        outputs.duty_u16 = decided.demand_u16
        outputs.valve_pulse_ms = -7


def test_a_command_without_its_state_reaches_no_output():
    """The stages before it keep a command down as well: the gate must hold without them."""
    nothing, pump, all_of_it = (0, 0, 0), (40000, -7, 0), (40000, -7, 5)
    for state, passes in ((PARKED, nothing), (READY, nothing), (APPLYING, all_of_it),
                          (BENCH, all_of_it), (FAULT, nothing), (PRIMING, pump)):
        decided, outputs = Decided(), Outputs()
        outputs.duty_u16, outputs.valve_pulse_ms, outputs.section_mask = 1, 2, 3
        decided.state = state
        decided.demand_u16 = 40000
        decided.section_mask = 5
        last_gate.gate(Loop(), decided, outputs)
        driven = (outputs.duty_u16, outputs.valve_pulse_ms, outputs.section_mask)
        assert driven == passes, state


def test_rest_leaves_no_command():
    decided = Decided()
    at_first = dict(decided.__dict__)
    for name in ("source", "section_mask", "width_mm", "target_ul_s", "expected_ul_s",
                 "command_ul_s", "coasting"):
        setattr(decided, name, 2)
    decided.rest()
    assert decided.__dict__ == at_first


def permits(**changes):
    """Return the permits when every cause of one is absent but those in changes."""
    given = {"switches": 0, "sections_on": 0, "moving": 0, "standing": 0, "faults": BLOCKING,
             "tick_ok": False, "bench_asked": False, "saving": 1, "state": Request.LOST,
             "prime_u16": -1}
    given.update(changes)
    measured, request = Measured(), Request()
    measured.switches = given["switches"]
    measured.sections_on = given["sections_on"]
    measured.moving = given["moving"]
    measured.standing = given["standing"]
    request.saving = given["saving"]
    request.settings_state = given["state"]
    request.prime_u16 = given["prime_u16"]
    return collect(measured, given["faults"], given["tick_ok"], given["bench_asked"], request)


def test_every_permit_has_its_own_cause_and_no_other():
    nothing = SET_UP  # lost settings were set up, and are not whole
    assert permits() == nothing
    for changes, permit in (
            ({"switches": SWITCH_MASTER}, MASTER),
            ({"switches": SWITCH_IMPLEMENT}, IMPLEMENT),
            ({"sections_on": 4}, SECTION),
            ({"moving": 1}, SPEED),
            ({"standing": 1}, STANDSTILL),
            ({"tick_ok": True}, TICK),
            ({"bench_asked": True}, BENCH_ASKED),
            ({"saving": 0}, STORE_IDLE),
            ({"faults": 0}, NO_FAULT),
            ({"prime_u16": 0}, PRIME),
            ({"state": Request.TAKEN_ON}, SETTINGS_WHOLE)):
        assert permits(**changes) == nothing | permit, changes
    assert permits(state=Request.NOT_SET_UP) == SETTINGS_WHOLE
    assert permits(standing=1, faults=BLOCKING | SPEED_LOST) == nothing
    assert permits(faults=SPEED_LOST) == nothing | NO_FAULT


def test_every_fault_that_blocks_takes_the_permit():
    for bit, name, blocking, _, _ in TABLE:
        assert blocking == (1 if bit & BLOCKING else 0), name
        assert bool(permits(faults=bit) & NO_FAULT) != bool(blocking), name
