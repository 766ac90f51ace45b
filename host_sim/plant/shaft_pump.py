"""Static laws of pumps on a driven shaft and of what stands between them and the manifold.

Each function gives the tangent (a, b) of a delivery at a manifold pressure, a - b P in m3/s,
and `shaft` is the shaft's speed over nominal.
"""

from __future__ import annotations

import math

from host_sim.plant.pump_spec import CentrifugalPumpSpec, PdPumpSpec

SMOOTH_PA = 1e-4  # drop below which a square-root law becomes a straight line

Line = tuple[float, float]


def centrifugal(
    pump: CentrifugalPumpSpec, shaft: float, square: float, pressure_pa: float
) -> Line:
    """P = n^2 P0 - a Q^2 by the affinity laws, behind a resistance of `square` Q^2."""
    head = shaft * shaft * pump.shutoff_pa
    return through(head, 0.0, pump.square_pa_s2_m6 + square, pressure_pa)


def displacement(pump: PdPumpSpec, shaft: float, square: float, pressure_pa: float) -> Line:
    """Q = n Q0 - kl P, behind a resistance of `square` Q^2."""
    flow = shaft * pump.flow_m3_s
    if pump.leak_m3_s_pa <= 0.0:
        return flow, 0.0
    return through(flow / pump.leak_m3_s_pa, 1.0 / pump.leak_m3_s_pa, square, pressure_pa)


def relieved(
    pump: PdPumpSpec,
    shaft: float,
    relief_pa: float,
    relief_slope: float,
    square: float,
    pressure_pa: float,
) -> Line:
    """As `displacement`, with a relief valve at the pump that passes `relief_slope` (P - Pr)."""
    shut = displacement(pump, shaft, square, pressure_pa)
    together = relief_slope + pump.leak_m3_s_pa
    head = (shaft * pump.flow_m3_s + relief_slope * relief_pa) / together
    blowing = through(head, 1.0 / together, square, pressure_pa)
    return min(shut, blowing, key=lambda line: flow_at(line, pressure_pa))


def bypassed(line: Line, valve_k: float, pressure_pa: float) -> Line:
    """What a valve to the tank leaves of a delivery: less k sqrt(P)."""
    if pressure_pa < 1.0:  # straight through the origin below 1 Pa
        return line[0], line[1] + valve_k
    root = math.sqrt(pressure_pa)
    return line[0] - 0.5 * valve_k * root, line[1] + 0.5 * valve_k / root


def flow_at(line: Line, pressure_pa: float) -> float:
    """The delivery that a tangent gives at a pressure."""
    return line[0] - line[1] * pressure_pa


def through(head: float, linear: float, square: float, pressure_pa: float) -> Line:
    """Tangent of the Q >= 0 with head - linear Q - square Q^2 = P: none flows backwards."""
    drop = head - pressure_pa
    if drop <= 0.0:
        return 0.0, 0.0
    linear = max(linear, math.sqrt(4.0 * square * SMOOTH_PA))
    flow = 2.0 * drop / (linear + math.sqrt(linear * linear + 4.0 * square * drop))
    slope = 1.0 / (linear + 2.0 * square * flow)
    return flow + slope * pressure_pa, slope
