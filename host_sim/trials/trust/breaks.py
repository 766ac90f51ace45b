"""The catalogue of what breaks. A table: nothing else lists the faults of the matrix."""

from __future__ import annotations

from dataclasses import dataclass, field

from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

FIRST = 1 << SWITCH_SECTION_SHIFT  # the switch of the first section

# What a fault needs of a machine to make sense there.
VALVE, RECEIVER, PUMP = "a regulating valve", "a GNSS receiver", "a pump that is driven"

# What happens to the program; `station.Station.strike` does it.
STALL, HANG, RAISE, BROWN_OUT, POWER_CYCLE = "stall", "hang", "raise", "brown_out", "power_cycle"


@dataclass(frozen=True)
class Break:
    """One fault.

    `what` completes "when ...". `plant` are attributes of the plant's Faults, with a dict for
    one that is a list. The masks are of hand switches; the program suffers `program`.
    `noticed_within_s` is a promise: at work, on every machine, the controller shows something
    or stops within this time of the strike; None where it cannot be promised. `then_off` is a
    mask of switches that the person moves off as it strikes; `later` says what is told when the
    work goes on.
    """

    name: str
    what: str
    plant: dict[str, object] = field(default_factory=dict)
    stuck_on: int = 0
    stuck_off: int = 0
    bouncing: int = 0
    program: str = ""
    needs: str = ""
    then_off: int = 0
    later: str = ""
    noticed_within_s: float | None = None


BREAKS = (
    # liquid and its way
    Break("tank_empty", "the tank runs empty", {"tank_empty": True}, noticed_within_s=11),
    Break("dead_pump", "the pump loses its drive", {"pump_dead": True}, noticed_within_s=11),
    Break("air", "200 mL of air gets into the line", {"air_m3": 200e-6}),
    Break("leak", "a hose behind the meter leaks 2 L/min at 1 bar", {"leak_m3_s": 2e-3 / 60}),
    Break("blocked_section", "every outlet of section 1 is blocked", {"orifice_factor": {0: 0.0}}),
    Break("half_blocked_section", "half of the outlets of section 1 are blocked",
          {"orifice_factor": {0: 0.5}}),
    Break("worn_section", "the outlets of section 1 are worn by 20 %",
          {"orifice_factor": {0: 1.2}}),
    Break("section_stuck_shut", "the valve of section 1 sticks shut", {"sections_shut": 1}),
    Break("section_stuck_open", "the valve of section 2, switched off, sticks open",
          {"sections_open": 2}),
    Break("section_stays_open", "the valve of section 1 stays open as it is switched off",
          {"sections_open": 1}, then_off=FIRST),
    Break("sections_swapped", "the wires of sections 1 and 2 are swapped in a repair",
          {"sections_swapped": True}, program=POWER_CYCLE),
    Break("valve_stuck_open", "the regulating valve sticks wide open",
          {"regulator_stuck": 1.0}, needs=VALVE, noticed_within_s=12),
    Break("valve_stuck_shut", "the regulating valve sticks shut",
          {"regulator_stuck": 0.0}, needs=VALVE, noticed_within_s=12),
    Break("driver_shorted", "the driver of the pump shorts: full duty",
          {"driver_shorted": True}, needs=PUMP, noticed_within_s=3),
    Break("outputs_welded", "the output stage welds: what was on stays on",
          {"outputs_welded": True}, noticed_within_s=17),
    # flow meter
    Break("stuck_meter", "the rotor of the flow meter sticks", {"meter_stalled": True},
          noticed_within_s=9),
    Break("meter_over", "the meter reads 25 % too much", {"meter_factor": 1.25}),
    Break("meter_half", "the meter loses every second pulse", {"meter_factor": 0.5},
          noticed_within_s=6),
    Break("meter_noise", "noise of 1 kHz gets into the meter's input", {"meter_noise_hz": 1e3},
          noticed_within_s=3),
    # speed
    Break("silent_speed", "the ground-speed sensor falls silent", {"speed_lost": True},
          noticed_within_s=0.2),
    Break("slip", "the wheel of the speed sensor slips by 20 %", {"slip_share": 0.2}),
    Break("speed_noise", "noise of 1 kHz gets into the speed input", {"speed_noise_hz": 1e3},
          noticed_within_s=1),
    Break("pulses_swapped", "the wires of speed sensor and meter are swapped in a repair",
          {"pulses_swapped": True}, program=POWER_CYCLE, noticed_within_s=4),
    Break("gnss_lost", "the GNSS receiver loses its fix", {"gnss_lost": True}, needs=RECEIVER),
    # supply
    Break("low_battery", "the supply drops by 2 V", {"supply_drop_v": 2.0}),
    Break("flat_battery", "the supply drops by 6 V", {"supply_drop_v": 6.0}, noticed_within_s=3),
    Break("cranking", "the starter pulls the supply down", {"cranking": True}, noticed_within_s=3),
    Break("brown_out", "the controller browns out in the middle of a tick", program=BROWN_OUT,
          noticed_within_s=0.5),
    # switches
    Break("master_stuck_on", "the master switch sticks on", stuck_on=SWITCH_MASTER),
    Break("master_stuck_off", "the master switch falls open", stuck_off=SWITCH_MASTER,
          noticed_within_s=0.2),
    Break("master_bounces", "the master switch bounces", bouncing=SWITCH_MASTER,
          noticed_within_s=4),
    Break("implement_stuck_down", "the implement switch sticks at down",
          stuck_on=SWITCH_IMPLEMENT,
          later="It is told after 3 km without a lift, or when the master was switched off in "
                "motion four times"),
    Break("implement_stuck_up", "the implement switch sticks at up", stuck_off=SWITCH_IMPLEMENT,
          noticed_within_s=0.2),
    Break("implement_bounces", "the implement switch bounces", bouncing=SWITCH_IMPLEMENT,
          noticed_within_s=4),
    Break("section_switch_on", "the switch of section 2 sticks on", stuck_on=FIRST << 1),
    Break("section_switch_off", "the switch of section 1 sticks off", stuck_off=FIRST),
    Break("section_switch_bounces", "the switch of section 1 bounces", bouncing=FIRST,
          noticed_within_s=6),
    # program
    Break("program_stalls", "the whole program hangs", program=STALL, noticed_within_s=0.5),
    Break("loop_hangs", "the loop of the program hangs, its tick goes on", program=HANG,
          noticed_within_s=4.5),
    Break("tick_raises", "the tick meets a flaw in the program and breaks off", program=RAISE,
          noticed_within_s=0.5),
)

BY_NAME = {entry.name: entry for entry in BREAKS}
