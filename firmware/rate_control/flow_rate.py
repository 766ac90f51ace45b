"""Flow and volume from the flow meter's pulses."""

from rate_control.pulse_counter import PulseCounter
from rate_control.units import FLOW_MAX_UL_S, TICK_MS


class FlowRate:
    """Fills the flow fields of Measured once a tick."""

    def __init__(self, settings):
        self._counter = PulseCounter(settings.meter_average_pulses,
                                     settings.meter_timeout_ms * 1000)
        self._pulses_hl = settings.meter_pulses_hl
        # 1e11 nL in 100 L; made at set-up, where a long int may live for a moment
        self._nl_per_pulse = 100000000000 // settings.meter_pulses_hl
        self._ul_per_pulse = 100000000 // settings.meter_pulses_hl
        self._ul_remainder = 100000000 % settings.meter_pulses_hl
        self._floor_ul_s = settings.meter_floor_ul_s
        # twice the highest flow for one tick: more cannot be liquid
        most_ul = 2 * FLOW_MAX_UL_S * TICK_MS // 1000
        self._most_pulses = min(max(most_ul // max(self._ul_per_pulse, 1), 1), 512)
        self._carry = 0

    def update(self, inputs, now_us, measured):
        """Estimate the flow; count the volume exactly, carrying the remainder."""
        counter = self._counter
        counter.update(inputs.flow_count, inputs.flow_edge_us, now_us)
        flow = counter.rate(self._nl_per_pulse, 1000)  # nL/us is mL/s; thousandths for uL/s
        measured.flow_valid = counter.valid
        measured.flow_ul_s = min(flow, FLOW_MAX_UL_S)
        measured.flow_readable = 1 if counter.valid and flow >= self._floor_ul_s else 0
        pulses = min(counter.pulses, self._most_pulses)
        measured.flow_pulses = pulses
        self._carry += pulses * self._ul_remainder
        measured.volume_ul = pulses * self._ul_per_pulse + self._carry // self._pulses_hl
        self._carry %= self._pulses_hl
