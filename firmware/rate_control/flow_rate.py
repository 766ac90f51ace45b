"""Flow and volume from the flow meter's pulses."""

from rate_control.intmath import isqrt, muldiv
from rate_control.pulse_counter import PulseCounter
from rate_control.units import FLOW_MAX_UL_S, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Inputs, Measured
    from rate_control.settings import Settings

ONE_Q10 = 1024
MOST_UL = 2 * FLOW_MAX_UL_S * TICK_MS // 1000  # in a tick, of any machine
LIQUID_TIMES = 4  # the topmost flow of the pump curve: no pump gives more, noise does


def liquid_most_ul_s(settings: "Settings") -> int:
    """Return the flow beyond which what the meter shows cannot be liquid, in uL/s."""
    return settings.curve_flow_ul_s[-1] * LIQUID_TIMES


class FlowRate:
    """Fills the flow fields of Measured once a tick."""

    def __init__(self, settings: "Settings") -> None:
        self._pulses_hl = settings.meter_pulses_hl
        # 1e11 nL in 100 L; made at set-up, where a long int may live for a moment
        nl_per_pulse = 100000000000 // settings.meter_pulses_hl
        self._counter = PulseCounter(
            settings.meter_average_pulses, settings.meter_timeout_ms * 1000, nl_per_pulse, 1000)
        self._ul_per_pulse = ul_per_pulse = 100000000 // settings.meter_pulses_hl
        self._ul_remainder = 100000000 % settings.meter_pulses_hl
        self._floor_ul_s = settings.meter_floor_ul_s
        self._most_pulses = min(max(MOST_UL // max(ul_per_pulse, 1), 1), 512)
        self._liquid_most_ul_s = most_ul_s = liquid_most_ul_s(settings)
        liquid_pulses = most_ul_s // 1000 * TICK_MS // max(ul_per_pulse, 1) + 1
        self._liquid_pulses = min(liquid_pulses, self._most_pulses)  # in a tick
        self._droop_ul_s = settings.meter_droop_ul_s
        self._carry = 0

    def update(self, inputs: "Inputs", now_us: int, measured: "Measured") -> None:
        """Estimate the flow; count the volume exactly, carrying the remainder."""
        counter = self._counter
        # nL/us is mL/s; in thousandths uL/s
        read = counter.update(inputs.flow_count, inputs.flow_edge_us, now_us)
        if read > FLOW_MAX_UL_S:
            read = FLOW_MAX_UL_S
        flow = self._without_droop(read) if self._droop_ul_s else read
        valid = counter.valid
        measured.flow_valid = valid
        measured.flow_ul_s = flow
        measured.flow_readable = 1 if valid and flow >= self._floor_ul_s else 0
        pulses = counter.pulses
        noise = 1 if flow > self._liquid_most_ul_s else 0
        if pulses > self._liquid_pulses:
            noise = 1
            pulses = min(pulses, self._most_pulses)
        measured.flow_noise = noise
        measured.flow_pulses = pulses
        remainder = self._carry + pulses * self._ul_remainder
        pulses_hl = self._pulses_hl
        measured.volume_ul = pulses * self._ul_per_pulse + remainder // pulses_hl
        self._carry = remainder % pulses_hl
        if flow > read > 0:  # what the slowing rotor did not count
            missed_ul = muldiv(measured.volume_ul, flow - read, read)
            measured.volume_ul += min(missed_ul, MOST_UL - min(measured.volume_ul, MOST_UL))

    def _without_droop(self, read_ul_s: int) -> int:
        """Return the flow for what a drooping rotor shows.

        Bearing drag takes the share (droop / flow)**2, so read = flow - droop**2 / flow: the
        usual one-number model of a turbine below its knee, solved for the flow.
        """
        droop = self._droop_ul_s
        if read_ul_s <= 0:
            return read_ul_s
        if read_ul_s > 16 * droop:  # the square root is as good as straight there
            flow = read_ul_s + muldiv(droop, droop, read_ul_s)
        else:
            part = muldiv(read_ul_s, ONE_Q10, droop)  # up to 16 in 1/1024
            flow = muldiv(part + isqrt(part * part + 4 * ONE_Q10 * ONE_Q10), droop, 2 * ONE_Q10)
        return min(flow, FLOW_MAX_UL_S)
