"""The trace: one line of integers a tick, enough to see what the controller saw and did."""

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.pump_loop import PumpLoop
    from rate_control.records import Decided, Measured, Outputs
    from rate_control.valve_loop import ValveLoop

FIELDS = (
    "now_us", "switches", "speed_mm_s", "speed_valid", "distance_mm", "flow_ul_s", "flow_valid",
    "volume_ul", "supply_mv", "state", "permits", "faults", "section_mask", "width_mm",
    "target_ul_s", "expected_ul_s", "command_ul_s", "coasting", "saturated", "trim_q20",
    "duty_u16", "valve_pulse_ms", "demand_u16", "position_u16",
)


def fill(line: list[int], now_us: int, measured: "Measured", decided: "Decided",
         loop: "PumpLoop | ValveLoop", outputs: "Outputs") -> None:
    """Write the tick into line, a list of len(FIELDS) ints made beforehand."""
    line[0] = now_us
    line[1] = measured.switches
    line[2] = measured.speed_mm_s
    line[3] = measured.speed_valid
    line[4] = measured.distance_mm
    line[5] = measured.flow_ul_s
    line[6] = measured.flow_valid
    line[7] = measured.volume_ul
    line[8] = measured.supply_mv
    line[9] = decided.state
    line[10] = decided.permits
    line[11] = decided.faults
    line[12] = decided.section_mask
    line[13] = decided.width_mm
    line[14] = decided.target_ul_s
    line[15] = decided.expected_ul_s
    line[16] = decided.command_ul_s
    line[17] = decided.coasting
    line[18] = decided.saturated
    line[19] = loop.trim_q20
    line[20] = outputs.duty_u16
    line[21] = outputs.valve_pulse_ms
    line[22] = decided.demand_u16
    line[23] = loop.position_u16
