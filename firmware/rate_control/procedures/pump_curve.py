"""The pump curve procedure: which demand gives which flow, up and down, and with fewer sections.

On the bench with all sections on: find where flow begins, step up to full demand and down
again, then once more with some sections shut. The levels lie closer together at the bottom,
where the meter ends and the curve must be trusted.
"""

from rate_control.procedures import curve_fit
from rate_control.procedures.procedure import AGAINST_STOP, DONE, FAILED, RUNNING, Procedure
from rate_control.units import DUTY_FULL, PWM_PUMP, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Decided, Measured
    from rate_control.settings import Settings
    from rate_control.totals import Totals

LEVELS = 16  # demands in each direction
SETTLE_TICKS = 500 // TICK_MS  # before the first look
AVERAGE_TICKS = 20  # of a look; two looks that agree are a flow that has settled
LOOKS_MAX = 10  # and a flow that never does is taken as it is,
LOOKS_FILLING = 60  # but before the first level the line may have to fill
RAMP_U16 = DUTY_FULL // 1024  # a tick; slow against the lag of any machine

HOME, FIND, UP, DOWN, SHUT, SINGLE, NARROW, BEYOND, BACK = range(9)
PROMPTS = ("shutting", "looking for the first flow", "stepping up", "stepping down",
           "shutting", "opening in one run", "fewer sections", "opening further", "coming back")
LEVELS_AWAY = (0, 0, 1, 1, 0, 15, 1, 3, 3)  # how far the level of a phase is from the last
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
        self.up_ul_s = [0] * LEVELS
        self.down_ul_s = [0] * LEVELS
        self.supply_mv = [0] * LEVELS
        self.single_ul_s = 0
        self.narrow_ul_s = 0
        self.back_ul_s = 0
        self.narrow_mask = curve_fit.narrow_mask(settings)
        self.start_u16 = 0
        self.level = 0
        self._valve = settings.actuator != PWM_PUMP
        self._phases = VALVE_PHASES if self._valve else PUMP_PHASES
        self._turn = 0  # index of the phase
        self._all_mask = (1 << settings.section_count) - 1
        travel_ms = settings.valve_travel_ms if self._valve else 0
        self._home_ticks = max(travel_ms * 13 // 10, 1000) // TICK_MS
        self._run_ticks = travel_ms // TICK_MS  # stop to stop
        self._seen_ul_s = 0  # at the last look
        self._begin_level()

    def demand_u16(self, level: int) -> int:
        """Return the demand of a level.

        For a pump in squares, closer together at the bottom; for a valve in even steps, none
        shorter than the motor can make.
        """
        span = DUTY_FULL - self.start_u16
        top = LEVELS - 1
        if self._valve:
            return self.start_u16 + span * level // top
        return self.start_u16 + span * level // top * level // top

    def progress_permille(self) -> int:
        """Return how far it is, 0 to 1000."""
        return min((self._turn * LEVELS + self.level) * 1000 // (len(self._phases) * LEVELS), 1000)

    def prompt(self) -> str:
        """Return what it is doing."""
        return PROMPTS[self._phases[self._turn]] if self.state == RUNNING else ""

    def step(self, measured: "Measured", decided: "Decided") -> None:
        """Take one tick on the bench."""
        phase = self._phases[self._turn]
        self._ticks += 1
        if decided.section_mask != (self._all_mask & self.section_mask):
            self.finish(FAILED, "switch all sections on")
        elif phase == HOME or phase == SHUT:
            if self._ticks >= self._home_ticks:
                self._next_phase()
        elif phase == FIND:
            self._find(measured)
        else:
            self._dwell(measured, phase)

    def _find(self, measured: "Measured") -> None:
        if measured.flow_readable:
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
        self._sum = 0
        self._looks = 0
        self._wait_ticks = SETTLE_TICKS + self._run_ticks * LEVELS_AWAY[phase] // (LEVELS - 1)
        self.section_mask = self.narrow_mask if phase == NARROW else -1
        if phase == HOME or phase == SHUT:
            self.duty_u16 = AGAINST_STOP
        elif phase == FIND:
            self.duty_u16 = 0
        elif phase == UP:
            self.duty_u16 = self.demand_u16(self.level)
        elif phase == DOWN:
            self.duty_u16 = self.demand_u16(LEVELS - 1 - self.level)
        elif phase == BEYOND:
            self.duty_u16 = self.demand_u16(curve_fit.BEYOND_LEVEL)
        else:
            self.duty_u16 = self.demand_u16(curve_fit.NARROW_LEVEL)

    def _dwell(self, measured: "Measured", phase: int) -> None:
        """Wait for the flow to settle, take its average and go on to the next level."""
        if self._ticks <= self._wait_ticks:
            return
        self._sum += measured.flow_ul_s
        if self._ticks < self._wait_ticks + AVERAGE_TICKS:
            return
        flow_ul_s = self._sum // AVERAGE_TICKS
        if not self._settled(flow_ul_s):
            self._wait_ticks = self._ticks
            self._sum = 0
            return
        self._take(phase, flow_ul_s, measured.supply_mv)
        if self.state != RUNNING:
            return
        self.level += 1
        if self.level < (LEVELS if phase == UP or phase == DOWN else 1):
            self._begin_level()
        else:
            self._next_phase()

    def _settled(self, flow_ul_s: int) -> bool:
        """Return whether this look at the flow agrees with the last to 1/256."""
        agrees = self._looks > 0 and abs(flow_ul_s - self._seen_ul_s) <= flow_ul_s >> 8
        self._seen_ul_s = flow_ul_s
        self._looks += 1
        return agrees or self._looks == (LOOKS_MAX if self.level else LOOKS_FILLING)

    def _take(self, phase: int, flow_ul_s: int, supply_mv: int) -> None:
        """Keep the flow of a level; refuse a curve that falls while the demand rises."""
        if phase == SINGLE:
            self.single_ul_s = flow_ul_s
        elif phase == NARROW:
            self.narrow_ul_s = flow_ul_s
        elif phase == BACK:
            self.back_ul_s = flow_ul_s
        elif phase == BEYOND:
            return
        elif phase == DOWN:
            self.down_ul_s[LEVELS - 1 - self.level] = flow_ul_s
        else:
            self.up_ul_s[self.level] = flow_ul_s
            self.supply_mv[self.level] = supply_mv
            if self.level and flow_ul_s < self.up_ul_s[self.level - 1] * 49 // 50:
                self.finish(FAILED, "flow falls while demand rises: air, filter, valve")

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
