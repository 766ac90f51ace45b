"""The pump curve procedure: which demand gives which flow, up and down, and with fewer sections.

On the bench with all sections on: find where flow begins, step up to full demand and down
again, then once more with some sections shut. The levels lie closer together at the bottom,
where the meter ends and the curve must be trusted. With each flow the supply is kept: another
consumer may pull it down meanwhile, and a pump then gives less at the same duty.
"""

from rate_control.procedures import curve_fit
from rate_control.procedures.curve_fit import BEYOND_AT, DOWN_AT, LEVELS, NARROW_AT, UP_AT
from rate_control.procedures.procedure import AGAINST_STOP, DONE, FAILED, RUNNING, Procedure
from rate_control.units import DUTY_FULL, PWM_PUMP, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings
    from rate_control.totals import Totals

SETTLE_TICKS = 500 // TICK_MS  # before the first look
AVERAGE_TICKS = 20  # of a look; two looks that agree are a flow that has settled
LOOKS_MAX = 10  # and a flow that never does, while the supply stays, is taken as it is,
LOOKS_FILLING = 60  # but before the first level the line may have to fill, or to run empty
RAMP_U16 = DUTY_FULL // 1024  # a tick; slow against the lag of any machine

HOME, FIND, UP, DOWN, SHUT, SINGLE, NARROW, BEYOND, BACK = range(9)
PROMPTS = ("shutting", "looking for the first flow", "stepping up", "stepping down",
           "shutting", "opening in one run", "fewer sections", "opening further", "coming back")
LEVELS_AWAY = (0, 0, 1, 1, 0, 15, 1, 3, 3)  # how far the level of a phase is from the last
FIRST_PLACE = (0, 0, UP_AT, DOWN_AT, 0, curve_fit.SINGLE_AT, NARROW_AT, BEYOND_AT,
               curve_fit.BACK_AT)  # where curve_fit finds the flows of a phase
# A valve starts from its stop; one long run from there shows what each start of its motor loses,
# and going further and back, clear of both stops, its play.
PUMP_PHASES = (HOME, FIND, UP, DOWN, NARROW)
VALVE_PHASES = (HOME, UP, DOWN, SHUT, SINGLE, NARROW, BEYOND, BACK)


class PumpCurveProcedure(Procedure):
    """Learns curve_flow_ul_s, curve_duty_u16, the gap and the effect of closed sections."""

    NAME = "pump_curve"
    NEEDS_BENCH = 1

    def __init__(self, settings: "Settings", params: dict[str, int],
                 totals: "Totals | None" = None) -> None:
        super().__init__()
        self.settings = settings
        self.density_g_l = params["density_g_l"]  # of what is in the tank now
        self.flow_ul_s = [0] * curve_fit.PLACES
        self.supply_mv = [0] * curve_fit.PLACES
        self.narrow_mask = curve_fit.narrow_mask(settings)
        self.narrow_level = curve_fit.NARROW_LEVELS[settings.actuator]
        self.start_u16 = 0
        self.level = 0
        self._valve = settings.actuator != PWM_PUMP
        self._phases = VALVE_PHASES if self._valve else PUMP_PHASES
        self._turn = 0  # index of the phase
        self._all_mask = (1 << settings.section_count) - 1
        travel_ms = settings.valve_travel_ms if self._valve else 0
        self._home_ticks = max(travel_ms * 13 // 10, 1000) // TICK_MS
        self._run_ticks = travel_ms // TICK_MS  # stop to stop
        self._seen_ul_s = self._seen_mv = 0  # at the last look
        self._begin_level()

    def demand_u16(self, place: int) -> int:
        """Return the demand of a place: a pump's in squares, closer together at the bottom.

        A valve's are even steps, none shorter than the motor can make.
        """
        level = min(place, 2 * LEVELS - 1 - place)
        if level < 0:
            level = self.narrow_level + (curve_fit.BEYOND_LEVELS if place == BEYOND_AT else 0)
        span = DUTY_FULL - self.start_u16
        top = LEVELS - 1
        if self._valve:
            return self.start_u16 + span * level // top
        return self.start_u16 + span * level // top * level // top

    def demand_at_u16(self, place: int, supply_mv: int) -> int:
        """Return the demand that gives the motor at this supply what it had at a place."""
        had_mv = self.supply_mv[place]
        demand = self.demand_u16(place)
        return min(demand * had_mv // supply_mv, DUTY_FULL) if had_mv and supply_mv else demand

    def progress_permille(self) -> int:
        """See Procedure."""
        return min((self._turn * LEVELS + self.level) * 1000 // (len(self._phases) * LEVELS), 1000)

    def prompt(self) -> str:
        """See Procedure."""
        return PROMPTS[self._phases[self._turn]] if self.state == RUNNING else ""

    def step(self, measured: "Measured", decided: "Decided") -> None:
        """Take one tick on the bench."""
        phase = self._phases[self._turn]
        self._ticks += 1
        if decided.section_mask != (self._all_mask & self.section_mask):
            self.finish(FAILED, "switch all sections on")
        elif phase == HOME or phase == SHUT:
            runs_empty = measured.flow_readable and not self._valve
            wait = LOOKS_FILLING * AVERAGE_TICKS if runs_empty else self._home_ticks
            if self._ticks >= wait:
                self._next_phase()
        elif phase != FIND:
            self._dwell(measured, phase)
        elif measured.flow_readable:
            self.start_u16 = max(self.duty_u16 - RAMP_U16, 0)
            self._next_phase()
        elif self.duty_u16 >= DUTY_FULL:
            self.finish(FAILED, "no flow at full demand: tank, pump, meter")
        else:
            self.duty_u16 = min(self.duty_u16 + RAMP_U16, DUTY_FULL)

    def _next_phase(self) -> None:
        self._turn += 1
        self.level = 0
        if self._turn == len(self._phases):
            self.finish(DONE, "done")
        elif self._phases[self._turn] == NARROW and not self.narrow_mask:
            self._next_phase()
        else:
            self._begin_level()

    def _begin_level(self) -> None:
        """Set the demand of a level and how long it takes to get there."""
        phase = self._phases[self._turn]
        self._ticks = 0
        self._sum = self._sum_mv = 0
        self._looks = 0
        self._wait_ticks = SETTLE_TICKS + self._run_ticks * LEVELS_AWAY[phase] // (LEVELS - 1)
        self.section_mask = self.narrow_mask if phase == NARROW else -1
        if phase == HOME or phase == SHUT:
            self.duty_u16 = AGAINST_STOP
        elif phase == FIND:
            self.duty_u16 = 0
        else:
            self.duty_u16 = self.demand_u16(FIRST_PLACE[phase] + self.level)

    def _dwell(self, measured: "Measured", phase: int) -> None:
        """Look at the flow again and again until two looks agree to 1/256.

        A pump's supply that has moved by 1/64 moves the flow too, so the looks begin anew.
        """
        if self._ticks <= self._wait_ticks:
            return
        self._sum += measured.flow_ul_s
        self._sum_mv += measured.supply_mv
        if self._ticks < self._wait_ticks + AVERAGE_TICKS:
            return
        flow_ul_s = self._sum // AVERAGE_TICKS
        supply_mv = self._sum_mv // AVERAGE_TICKS
        if not self._valve and abs(supply_mv - self._seen_mv) > supply_mv >> 6:
            self._looks = 0
        agrees = self._looks > 0 and abs(flow_ul_s - self._seen_ul_s) <= flow_ul_s >> 8
        self._seen_ul_s = flow_ul_s
        self._seen_mv = supply_mv
        self._looks += 1
        if agrees or self._looks == (LOOKS_MAX if self.level else LOOKS_FILLING):
            self._take(phase)
        else:
            self._wait_ticks = self._ticks
            self._sum = self._sum_mv = 0

    def _take(self, phase: int) -> None:
        """Keep the last look and go on; refuse a curve that falls while the motor gets more."""
        place = FIRST_PLACE[phase] + self.level
        self.flow_ul_s[place] = self._seen_ul_s
        self.supply_mv[place] = self._seen_mv
        up_mv = self.supply_mv[self.narrow_level]
        if phase == NARROW and abs(self._seen_mv - up_mv) <= up_mv >> 6:
            self.supply_mv[place] = up_mv  # it has not moved, see _dwell
        last = place - 1
        if phase == UP and self.level:
            had_u16 = self.demand_at_u16(place, self.supply_mv[last])
            more = self._valve or had_u16 > self.demand_u16(last)
            if more and self._seen_ul_s < self.flow_ul_s[last] * 49 // 50:
                self.finish(FAILED, "flow falls while demand rises: air, filter, valve")
                return
        self.level += 1
        if self.level < (LEVELS if phase == UP or phase == DOWN else 1):
            self._begin_level()
        else:
            self._next_phase()

    def proposal(self) -> dict:
        """Return the curve, its gap and the number of the share law."""
        return curve_fit.settings_from(self) if self.state == DONE else {}

    def facts(self) -> list[tuple]:
        """Return the highest flow, where flow begins and the gap between the branches."""
        if self.state != DONE:
            return []
        proposed = self.proposal()
        found = [("highest flow", proposed["curve_flow_ul_s"][-1], "flow_ul_s"),
                 ("flow begins at", proposed["curve_duty_u16"][0], "duty_u16")]
        if self._valve:
            found.append(("play of the valve", proposed["valve_play_ms"], "time_ms"))
        else:
            found.append(("gap between branches", proposed["curve_gap_u16"], "duty_u16"))
        return found
