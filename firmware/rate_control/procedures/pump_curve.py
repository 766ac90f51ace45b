"""The pump curve procedure: which demand gives which flow, up and down, and with fewer sections.

On the bench with all sections on: find where flow begins, step up to full demand and down
again, then once more with some sections shut. The levels lie closer together at the bottom,
where the meter ends and the curve must be trusted.
"""

from rate_control.procedures import curve_fit
from rate_control.procedures.procedure import DONE, FAILED, RUNNING, Procedure
from rate_control.share import PWM_PUMP
from rate_control.units import DUTY_FULL, TICK_MS

LEVELS = 16  # demands in each direction
AVERAGE_TICKS = 20
RAMP_U16 = DUTY_FULL // 1024  # a tick; slow against the lag of any machine

HOME, FIND, UP, DOWN, NARROW = range(5)
PHASES = ("shutting", "looking for the first flow", "stepping up", "stepping down",
          "fewer sections")


class PumpCurveProcedure(Procedure):
    """Learns curve_flow_ul_s, curve_duty_u16, the gap and the effect of closed sections."""

    NAME = "pump_curve"
    NEEDS_BENCH = 1

    def __init__(self, settings, params, totals=None):
        super().__init__()
        self.settings = settings
        self.density_g_l = params["density_g_l"]  # of what is in the tank now
        self.phase = HOME
        self.level = 0
        self.start_u16 = 0
        self.up_ul_s = [0] * LEVELS
        self.down_ul_s = [0] * LEVELS
        self.narrow_ul_s = 0
        self.supply_sum_mv = 0
        self.supply_mv = [0] * LEVELS
        self._sum = 0
        self._ticks = 0
        self._all_mask = (1 << settings.section_count) - 1
        self.narrow_mask = curve_fit.narrow_mask(settings)
        self._valve = settings.actuator != PWM_PUMP
        self._home_ticks = (settings.valve_travel_ms * 13 // 10 if self._valve else 1000) // TICK_MS
        settle_ms = 1000 + (settings.valve_travel_ms // 4 if self._valve else 0)
        self._settle_ticks = max(settle_ms, 3 * settings.loop_lag_ms) // TICK_MS

    def demand_u16(self, level):
        """Return the demand of a level.

        For a pump in squares, closer together at the bottom; for a valve in even steps, none
        shorter than the motor can make.
        """
        span = DUTY_FULL - self.start_u16
        top = LEVELS - 1
        if self._valve:
            return self.start_u16 + span * level // top
        return self.start_u16 + span * level // top * level // top

    def progress_permille(self):
        """Return how far it is, 0 to 1000."""
        done = (0, 1, 1, 1 + LEVELS, 1 + 2 * LEVELS)[self.phase] + self.level
        return min(done * 1000 // (2 + 2 * LEVELS), 1000)

    def prompt(self):
        """Return what it is doing."""
        return PHASES[self.phase]

    def step(self, measured, decided):
        """Take one tick on the bench."""
        self._ticks += 1
        if self.phase == HOME:
            self._home(decided)
        elif self.phase == FIND:
            self._find(measured)
        else:
            self._dwell(measured)

    def _home(self, decided):
        self.duty_u16 = 0
        if decided.section_mask != self._all_mask:
            self.finish(FAILED, "switch all sections on")
        elif self._ticks >= self._home_ticks:
            self._begin_phase(FIND)

    def _find(self, measured):
        if measured.flow_readable:
            self.start_u16 = max(self.duty_u16 - RAMP_U16, 0)
            self._begin_phase(UP)
        elif self.duty_u16 >= DUTY_FULL:
            self.finish(FAILED, "no flow at full demand: tank, pump, meter")
        else:
            self.duty_u16 = min(self.duty_u16 + RAMP_U16, DUTY_FULL)

    def _begin_phase(self, phase):
        self.phase = phase
        self.level = 0
        self._begin_level()

    def _begin_level(self):
        self._ticks = 0
        self._sum = 0
        if self.phase == UP:
            self.duty_u16 = self.demand_u16(self.level)
        elif self.phase == DOWN:
            self.duty_u16 = self.demand_u16(LEVELS - 1 - self.level)
        elif self.phase == NARROW:
            self.section_mask = self.narrow_mask
            self.duty_u16 = self.demand_u16(curve_fit.NARROW_LEVEL)

    def _dwell(self, measured):
        """Wait for the flow to settle, then average it."""
        if self._ticks <= self._settle_ticks:
            return
        self._sum += measured.flow_ul_s
        if self._ticks < self._settle_ticks + AVERAGE_TICKS:
            return
        self._take(self._sum // AVERAGE_TICKS, measured.supply_mv)
        if self.state != RUNNING:
            return
        self.level += 1
        last = 1 if self.phase == NARROW else LEVELS
        if self.level < last:
            self._begin_level()
        elif self.phase == UP:
            self._begin_phase(DOWN)
        elif self.phase == DOWN and self.narrow_mask:
            self._begin_phase(NARROW)
        else:
            self.finish(DONE, "")

    def _take(self, flow_ul_s, supply_mv):
        """Keep the flow of a level; refuse a curve that falls while the demand rises."""
        if self.phase == NARROW:
            self.narrow_ul_s = flow_ul_s
        elif self.phase == DOWN:
            self.down_ul_s[LEVELS - 1 - self.level] = flow_ul_s
        else:
            self.up_ul_s[self.level] = flow_ul_s
            self.supply_mv[self.level] = supply_mv
            if self.level and flow_ul_s < self.up_ul_s[self.level - 1] * 49 // 50:
                self.finish(FAILED, "flow falls while demand rises: air, filter, valve")

    def proposal(self):
        """Return the curve, its gap and the number of the share law."""
        return curve_fit.settings_from(self) if self.state == DONE else {}

    def facts(self):
        """Return the highest flow, where flow begins and the gap between the branches."""
        if self.state != DONE:
            return []
        proposed = self.proposal()
        return [
            ("highest flow", proposed["curve_flow_ul_s"][-1], "flow_ul_s"),
            ("flow begins at", proposed["curve_duty_u16"][0], "duty_u16"),
            ("gap between branches", proposed["curve_gap_u16"], "duty_u16"),
        ]
