"""From what the pump curve procedure measured to settings. Runs once, outside the tick.

Sums here may exceed a small int; nothing depends on the time they take.
"""

from rate_control.intmath import clamp
from rate_control.procedures.points import along
from rate_control.pump_curve import interpolate
from rate_control.units import CURVE_POINTS, DUTY_FULL, FLOW_MAX_UL_S, INLINE_VALVE, PWM_PUMP

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.procedures.pump_curve import PumpCurveProcedure
    from rate_control.settings import Settings

LEVELS = 16  # demands in each direction
NARROW_LEVELS = 10, 10, 5  # by actuator: clear of the floor; a bypass, clear of a relief valve
BEYOND_LEVELS = 3  # a valve goes so much further and back; clear of its stop
# Where a flow is kept: going up, going down, opened in one run, with fewer sections, ...
UP_AT, DOWN_AT = 0, LEVELS
SINGLE_AT, NARROW_AT, BEYOND_AT, BACK_AT, PLACES = range(2 * LEVELS, 2 * LEVELS + 5)


def narrow_mask(settings: "Settings") -> int:
    """Return the sections, from the first on, that make half of the width; 0 if that is all."""
    widths = settings.widths_mm()
    mask = 0
    width = 0
    for index, section_width in enumerate(widths):
        if 2 * width >= sum(widths):
            break
        mask |= 1 << index
        width += section_width
    return mask if width < sum(widths) else 0


def settings_from(measured: "PumpCurveProcedure") -> dict:
    """Return the proposed settings of a finished PumpCurveProcedure."""
    settings = measured.settings
    proposed: dict = {"curve_density_g_l": measured.density_g_l}
    flows = measured.flow_ul_s[:LEVELS]
    if settings.actuator == PWM_PUMP:
        # the highest at much flow: the full duty at a lower one is less than that at this
        supply_mv = max(measured.supply_mv[measured.narrow_level:LEVELS])
        proposed["curve_supply_mv"] = supply_mv
        up, flows = pump_branch(measured, UP_AT, supply_mv)
        narrow = measured.demand_at_u16(NARROW_AT, supply_mv)
    else:
        up = valve_positions(measured, proposed)
        narrow = up[measured.narrow_level]
    top = rising_top(flows)
    curve = curve_flow, curve_duty = resample(flows, up, top)
    proposed["curve_flow_ul_s"], proposed["curve_duty_u16"] = curve
    if settings.actuator == PWM_PUMP:
        down, falling = pump_branch(measured, DOWN_AT, supply_mv)
        gap = gap_u16(flows, up, falling, down, top)
        proposed["curve_gap_u16"] = clamp(gap, 0, 20000) if gap > DUTY_FULL // 200 else 0
    if measured.flow_ul_s[NARROW_AT]:
        wide = measured.flow_ul_s[SINGLE_AT] or flows[measured.narrow_level]
        name, value = share_number(measured, curve_flow, curve_duty, narrow, wide)
        proposed[name] = value
    return proposed


def pump_branch(measured: "PumpCurveProcedure", first: int, supply_mv: int
                ) -> tuple[list[int], list[int]]:
    """Return (demands, flows) of a branch, all at one supply, the demands rising."""
    points = []
    for place in range(first, first + LEVELS):
        points.append((measured.demand_at_u16(place, supply_mv), measured.flow_ul_s[place]))
    demands, flows = zip(*sorted(points))
    return list(demands), list(flows)


def valve_positions(measured: "PumpCurveProcedure", proposed: dict) -> list[int]:
    """Return where the valve really was at each level; propose what it loses at a start, its play.

    Each start of the motor loses some time, of which a guess was made good; n starts leave the
    valve n errors off. One run to the level that n starts reached shows the error:
    x_single + e = x_sweep + n e at the same flow. Then once further open and back: the errors of
    both starts cancel, the play is left. No stop is near: how well the travel is known matters not.
    """
    settings = measured.settings
    flows = measured.flow_ul_s[:LEVELS]
    single = measured.flow_ul_s[SINGLE_AT]
    nominal = [measured.demand_u16(level) for level in range(LEVELS)]
    swept = along(flows, nominal, single)
    more_starts = max(swept * (LEVELS - 1) - DUTY_FULL, DUTY_FULL)  # than one, in DUTY_FULL
    error = (nominal[measured.narrow_level] - swept) * DUTY_FULL // more_starts
    up = [clamp(nominal[level] + level * error, 0, DUTY_FULL) for level in range(LEVELS)]
    play = along(flows, up, measured.flow_ul_s[BACK_AT]) - along(flows, up, single)
    lost_ms = settings.valve_lost_ms - error * settings.valve_travel_ms // DUTY_FULL
    play_ms = settings.valve_play_ms + play * settings.valve_travel_ms // DUTY_FULL
    proposed["valve_lost_ms"] = clamp(lost_ms, 0, 500)
    proposed["valve_play_ms"] = clamp(play_ms, 0, 1000)
    return up


def rising_top(flows: list[int]) -> int:
    """Return the last level whose flow is still clearly above the one before: 1/200 more."""
    top = len(flows) - 1
    while top > 1 and flows[top] * 200 < flows[top - 1] * 201:
        top -= 1
    return top


def resample(flows: list[int], demands: list[int], top: int) -> tuple[list[int], list[int]]:
    """Return (flows, demands) of CURVE_POINTS: zero flow, then even steps up to level top.

    The lowest point is the parabola's through three low levels, carried to zero flow; where the
    flow does not end above demand 0, as behind a bypass, it is the flow at the lowest demand.
    """
    points = CURVE_POINTS - 1
    zero = zero_flow_demand(flows, demands)
    if zero >= 0:
        new_flows, new_demands = [0], [zero]
    else:
        new_flows, new_demands = [flows[0]], [demands[0]]
    for point in range(1, points + 1):
        low, part = divmod(top * point, points)
        high = min(low + 1, top)
        new_flows.append(flows[low] + (flows[high] - flows[low]) * part // points)
        new_demands.append(demands[low] + (demands[high] - demands[low]) * part // points)
    for point in range(1, points + 1):
        new_flows[point] = max(new_flows[point], new_flows[point - 1] + 1)
        new_demands[point] = max(new_demands[point], new_demands[point - 1] + 1)
    for point in range(points + 1):
        new_demands[point] = min(new_demands[point], DUTY_FULL - points + point)
    return new_flows, new_demands


def zero_flow_demand(flows: list[int], demands: list[int]) -> int:
    """Return the demand at which flow begins, negative where it flows even at demand 0.

    From the parabola through levels 0, 3 and 6, which is the law of a displacement pump behind
    orifices; where it bends the wrong way, from the line through levels 0 and 3.
    """
    q0, q1, q2 = flows[0], flows[3], flows[6]
    d0, d1, d2 = demands[0], demands[3], demands[6]
    if demands[0] == 0 or q1 <= q0 or q2 <= q1:
        return -1
    slope = (d1 - d0) * q0 // (q1 - q0)  # of the first chord, times q0
    # second divided difference times q0 q1: what the parabola adds at zero flow
    bend = ((d2 - d1) * q0 * q1 // (q2 - q1) - (d1 - d0) * q0 * q1 // (q1 - q0)) // (q2 - q0)
    return d0 - slope + max(bend, 0)


def gap_u16(up_flows: list[int], up_demands: list[int], down_flows: list[int],
            down_demands: list[int], top: int) -> int:
    """Return the median demand between the branches; a branch is flat at its ends, and left out."""
    gaps = []
    for level in range(3, top):
        if down_flows[level] < up_flows[top]:
            gaps.append(along(up_flows, up_demands, down_flows[level]) - down_demands[level])
    return sorted(gaps)[len(gaps) // 2] if gaps else 0


def share_number(measured: "PumpCurveProcedure", curve_flow: list[int], curve_duty: list[int],
                 demand: int, wide_ul_s: int) -> tuple[str, int]:
    """Return (setting, value) of the law in width_share.py from one flow with fewer sections."""
    settings = measured.settings
    narrow_ul_s = measured.flow_ul_s[NARROW_AT]
    widths = settings.widths_mm()
    total = sum(widths)
    width = 0
    for index, section_width in enumerate(widths):
        width += section_width * (measured.narrow_mask >> index & 1)
    if settings.actuator == PWM_PUMP:
        left = demand - interpolate(curve_flow, curve_duty, narrow_ul_s)
        top = curve_flow[-1]
        # c P_top = left / ((Q/Qt)**2 ((1/r)**2 - 1))
        value = (left * top * top * width * width
                 // max(narrow_ul_s * narrow_ul_s * (total * total - width * width), 1))
        return "curve_pressure_u16", clamp(value, 0, DUTY_FULL)
    if settings.actuator == INLINE_VALVE:
        # Qm**2 = (1/r**2 - 1) / (1/Qn**2 - 1/Q1**2)
        above = (total * total - width * width) * narrow_ul_s * narrow_ul_s * wide_ul_s * wide_ul_s
        below = width * width * (wide_ul_s * wide_ul_s - narrow_ul_s * narrow_ul_s)
        return "curve_share_ul_s", clamp(root(above // max(below, 1)), 1, FLOW_MAX_UL_S)
    # Qp = (1 - r) / (1/Q1 - r/Qn)
    above = (total - width) * wide_ul_s * narrow_ul_s
    below = total * narrow_ul_s - width * wide_ul_s
    return "curve_share_ul_s", clamp(above // max(below, 1), 1, FLOW_MAX_UL_S)


def root(value: int) -> int:
    """Return floor(sqrt(value)) of any size, by Newton's rule."""
    guess, better = value, (value + 1) // 2
    while better < guess:
        guess = better
        better = (guess + value // guess) // 2
    return guess
