"""Every margin of the circuit: what a value comes to at the worst, and what it may come to.

Stresses: ISO 16750-2 (load dump, jump start, cranking, reversed battery) and ISO 7637-2 (pulses)
with the figures of the table in hardware/wiring.md. Limits: the ratings of the parts list, and the
levels of data sheets. What is chosen by this project says so in `source`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from host_sim.hardware.parts_list import ITEMS
from host_sim.hardware.simulation.bench import Setup, Trace, integral, mean, simulate

RATINGS = "parts list"
CHOSEN = "chosen"
SHEET_14 = "74HC14 data sheet, between 2.0 and 4.5 V, from memory"
PICO_V = 3.63  # RP2040 data sheet, table 652
FILTER_US = 8.0  # boards/rp2_pulse_pio.py
PUMP_A = 8.0
VALVE_OHM, VALVE_H = 14.4, 0.05  # 10 W at 12 V; the inductance is chosen
BATTERY = "VB BATT_IN 0 {volts}"
# All that hangs on 5 V at once: board with radio, backlight, lamp and buzzer; chosen.
LOAD_5V = "BL V5 0 I = 0.35*min(1, max(0, V(V5)/4))"
SENSORS = "RS V_SENSOR 0 250"
THREE = "V33 3V3 0 3.3"


@dataclass(frozen=True)
class Margin:
    """A line of the table; the value must stay below the limit, or above it."""

    what: str
    case: str
    value: float
    unit: str
    limit: float
    source: str
    above: bool = False

    @property
    def kept(self) -> bool:
        """Whether it does."""
        return self.value >= self.limit if self.above else self.value <= self.limit


HOLDING = ("S2", "F8", "D16")  # what keeps the loads' relay closed

# --- supply -------------------------------------------------------------------------------------


def supply(lines: tuple[str, ...], corner: dict[str, float] | None = None) -> Setup:
    """The controller's side of the supply page with all its loads."""
    return Setup(pages=("supply",), parts=("R45", "D15", "C24"),
                 without=("J2", "F3", "F4", "S1", "D8", "D9", "K1", "F5", "F6", "F7", *HOLDING),
                 lines=(LOAD_5V, SENSORS, THREE, *lines), corner=corner or {})  # fmt: skip


def steady_supply() -> Iterator[Margin]:
    """From a weak battery to a jump start, all loads on."""
    for volts in (10.5, 14.4, 16.0, 24.0):
        case = f"battery {volts:g} V"
        times, got = simulate(supply((BATTERY.format(volts=volts),)), (
            "v(V5)", "v(V_PROT)", "v(SUPPLY)", "v(V_GATE)", "i(VB)", "v(BATT_DIODE)", "v(BATT)",
            "v(V_SENSOR)"), 40e-3, 50e-6, 20e-3)  # fmt: skip
        amps = -mean(times, got["i(VB)"])
        prot = mean(times, got["v(V_PROT)"])
        yield Margin("5 V rail", case, mean(times, got["v(V5)"]), "V", 4.75, CHOSEN, above=True)
        yield Margin("supply reading at the pin", case, mean(times, got["v(SUPPLY)"]), "V", PICO_V,
                     "RP2040 data sheet, table 652")
        yield Margin("fuse F1", case, amps, "A", 0.75 * 2, "three quarters of its rating, chosen")
        yield Margin("R3", case, amps ** 2 * 6.8, "W", ITEMS["R 6.8 10 W"].ratings["W"] / 2,
                     "half its rating, chosen")
        yield Margin("D3", case, amps * mean(times, got["v(BATT)"] - got["v(BATT_DIODE)"]), "W", 3,
                     "3 A at 1 V, data sheet")
        yield Margin("U2 without heat sink", case, 5 * 0.35 * (1 / 0.77 - 1), "W", 1.0,
                     "45 K/W, 45 K more than the air, chosen")
        zener = mean(times, (prot - got["v(V_GATE)"]) / 220 * got["v(V_GATE)"])
        yield Margin("D15", case, zener if volts > 15 else 0.0, "W", 1.0, RATINGS)
        yield Margin("R45", case, mean(times, (prot - got["v(V_GATE)"]) ** 2 / 220), "W", 2.0,
                     RATINGS)


def reversed_battery() -> Iterator[Margin]:
    """15 V the wrong way round, at the controller and at the loads."""
    times, got = simulate(supply(("VB BATT_IN 0 PWL(0 0 1m -15 60m -15)",)), (
        "v(V_PROT)", "v(V5)", "v(SUPPLY)", "i(VB)"), 60e-3, 50e-6)  # fmt: skip
    case = "reversed, -15 V"
    yield Margin("current from the battery", case, float(np.max(got["i(VB)"])) * 1e3, "mA", 5,
                 CHOSEN)
    yield Margin("5 V rail, lowest", case, float(np.min(got["v(V5)"])), "V", -0.3, CHOSEN, True)
    yield Margin("supply reading, lowest", case, float(np.min(got["v(SUPPLY)"])), "V", -0.5,
                 "the pin's own clamp, chosen", True)
    times, got = simulate(Setup(
        parts=("F3", "F4", "S1", "D8", "D9", "K1", "F5", "F6", "F7", *HOLDING),
        lines=("VB LOAD_IN 0 PWL(0 0 1m -15 60m -15)", "RV V_VALVE 0 1k", "RP V_PUMP 0 1k",
               "RB BRIDGE_FUSED 0 1k")), ("v(V_PUMP)", "v(V_VALVE)"), 60e-3, 50e-6)  # fmt: skip
    yield Margin("pump rail, relay open", case, abs(float(np.min(got["v(V_PUMP)"]))), "V", 0.5,
                 CHOSEN)


def emergency_stop() -> Iterator[Margin]:
    """Started, stopped, released: the loads stay without supply until they are started again."""
    lines = ("VB LOAD_IN 0 PWL(0 0 1m 12.6 1 12.6)", "RV V_VALVE 0 2", "RP V_PUMP 0 2",
             "RB BRIDGE_FUSED 0 20", "SA START_IN STOP_IN press 0 SX",
             "VA press 0 PWL(0 0 20m 0 21m 1 60m 1 61m 0 1 0)",
             "SB STOP_IN COIL let 0 SX", "VL let 0 PWL(0 1 100m 1 101m 0 200m 0 201m 1 1 1)",
             ".model SX SW(vt=0.5 vh=0.1 ron=10m roff=10Meg)")  # fmt: skip
    setup = Setup(parts=("F3", "F4", "F8", "D8", "D9", "D16", "K1", "F5", "F6", "F7"), lines=lines)
    times, got = simulate(setup, ("v(V_LOAD)", "@r.xf4.r1[i]"), 0.3, 100e-6)
    volts = got["v(V_LOAD)"]
    for case, at_s, limit, above in (("before the start", 0.015, 0.5, False),
                                     ("started, button released", 0.09, 12.0, True),
                                     ("emergency stop pressed", 0.19, 0.5, False),
                                     ("emergency stop released", 0.29, 0.5, False)):  # fmt: skip
        yield Margin("V_LOAD", case, float(np.interp(at_s, times, volts)), "V", limit, CHOSEN,
                     above)
    released = times[np.argmax((times > 0.1) & (volts < 1))]
    yield Margin("V_LOAD gone after", "emergency stop pressed", (released - 0.1) * 1e3, "ms", 50,
                 CHOSEN)
    yield Margin("start button, highest current", "started", float(np.max(
        np.abs(got["@r.xf4.r1[i]"]))), "A", 0.75, "three quarters of F4, chosen")


def dump(volts: float, ohm: float, tail_s: float, node: str) -> tuple[str, ...]:
    """A load dump behind its resistance: 8 ms up, then down to a tenth within tail_s."""
    rise = f"{volts - 13.5}*(time-10m)/8m"
    fall = f"{volts - 13.5}*exp(-(time-18m)/{tail_s / 2.3:g})"
    return (f"BD dump 0 V = 13.5 + (time < 10m ? 0 : time < 18m ? {rise} : {fall})",
            f"RD dump {node} {ohm}")


def suppressed(node: str) -> tuple[str, ...]:
    """A load dump of an alternator that clamps itself: 35 V for 0.4 s."""
    return ("VD dump 0 PWL(0 13.5 10m 13.5 18m 35 400m 35 450m 13.5)", f"RD dump {node} 0.5")


def clamp_load(times: Trace, volts: Trace, amps: Trace) -> tuple[float, float]:
    """Peak power of a clamp, and what it stands for as long as this lasts.

    Data sheets of the 5 kW axial kind: 5000 W for 1 ms, less with the root of the time (from
    memory). The length is that of a rectangle of the same peak and energy.
    """
    power = volts * amps
    peak = float(np.max(power))
    if peak < 1:
        return peak, 5000.0
    length_s = integral(times, power) / peak
    return peak, 5000.0 * (1e-3 / max(length_s, 1e-4)) ** 0.5


DUMPS = ((101, 0.5, 0.4), (101, 4, 0.4), (79, 0.5, 0.4), (101, 0.5, 0.04))


def load_dump_on_controller() -> Iterator[Margin]:
    """ISO 16750-2, tests A and B, at the controller's branch."""
    cases = [(f"load dump {volts:g} V, {ohm:g} ohm, {int(tail * 1e3)} ms",
              dump(volts, ohm, tail, "BATT_IN"))
             for volts, ohm, tail in DUMPS]
    cases.append(("load dump suppressed, 35 V", suppressed("BATT_IN")))
    for case, lines in cases:
        worst: dict[str, Margin] = {}
        for bv in (36.7, 40.6):
            for margin in one_dump(case, lines, bv):
                known = worst.get(margin.what)
                if not known or margin.value / margin.limit > known.value / known.limit:
                    worst[margin.what] = margin
        yield from worst.values()


def one_dump(case: str, lines: tuple[str, ...], breakdown: float) -> Iterator[Margin]:
    """One load dump with a clamp of this breakdown voltage."""
    times, got = simulate(supply(lines, {"bv_5kp33": breakdown}), (
        "v(V_PROT)", "@d.xd4.d1[id]", "i(BD)" if lines[0][0] == "B" else "i(VD)", "v(SUPPLY)",
        "v(V_GATE)", "v(BATT)"), 0.5, 200e-6)  # fmt: skip
    amps = -got["@d.xd4.d1[id]"]
    total = got["i(BD)" if lines[0][0] == "B" else "i(VD)"]
    peak, stands = clamp_load(times, got["v(V_PROT)"], amps)
    yield Margin("V_PROT, highest", case, float(np.max(got["v(V_PROT)"])), "V",
                 ITEMS["LM2576"].ratings["V"], RATINGS)
    yield Margin("D4, peak power", case, peak, "W", stands, "5 kW for 1 ms, root of time")
    yield Margin("F1, squared current over time", case, integral(times, total ** 2), "A2s", 5,
                 "melts a blade fuse of 2 A, from memory: it may open")
    yield Margin("R3, energy", case, integral(times, total ** 2) * 6.8, "J", 250,
                 "ten times its rating for 2.5 s, chosen")
    yield Margin("gate supply, highest", case, float(np.max(got["v(V_GATE)"])), "V",
                 ITEMS["TC4427A"].ratings["V"], RATINGS)
    yield Margin("supply reading, highest", case, float(np.max(got["v(SUPPLY)"])), "V", 3.9,
                 "0.3 V above 3.6 V, chosen")


def pulses_on_controller() -> Iterator[Margin]:
    """ISO 7637-2, pulses 1, 2a, 3a and 3b, at the worst level.

    Pulse 1 comes while the battery is away; the others come on top of it, over the 5 uH of the
    standard's network. After pulse 1 the controller may start anew, with its outputs off.
    """
    away = "PWL(0 1 1m 1 1.0005m 0 5m 0 5.01m 1)"
    there = "PWL(0 1 1 1)"
    shapes = (
        ("pulse 1, -150 V, 10 ohm", "PWL(0 0 1m 0 1.001m -150 1.8m -60 3m -5 5m 0)", 10, away),
        ("pulse 2a, +112 V, 2 ohm", "PWL(0 0 1m 0 1.001m 112 1.05m 11 1.2m 0)", 2, there),
        ("pulse 3a, -150 V, 50 ohm", "PWL(0 0 1m 0 1.00001m -150 1.0001m -15 1.001m 0)", 50, there),
        ("pulse 3b, +100 V, 50 ohm", "PWL(0 0 1m 0 1.00001m 100 1.0001m 10 1.001m 0)", 50, there),
    )
    for case, shape, ohm, present in shapes:
        lines = (f"VD dump 0 {shape}", f"CD dump pulse {'10m' if present == away else '22u'}",
                 f"RD pulse BATT_IN {ohm}", "VB bat 0 13.5", f"VC present 0 {present}",
                 "SB bat bat2 present 0 SBM", ".model SBM SW(vt=0.5 vh=0.1 ron=20m roff=1Meg)",
                 "LB bat2 BATT_IN 5u", "RL bat2 BATT_IN 50")  # fmt: skip
        times, got = simulate(supply(lines), ("v(V_PROT)", "v(BATT)", "v(V5)", "v(SUPPLY)"), 6e-3,
                              1e-6)  # fmt: skip
        yield Margin("V_PROT, highest", case, float(np.max(got["v(V_PROT)"])), "V",
                     ITEMS["LM2576"].ratings["V"], RATINGS)
        yield Margin("D3, reverse", case, float(np.max(got["v(V_PROT)"] - got["v(BATT)"])), "V",
                     ITEMS["1N5404"].ratings["V"], RATINGS)
        if present == there:
            yield Margin("5 V rail, lowest", case, float(np.min(got["v(V5)"])), "V", 4.5,
                         "74HCT595 data sheet", above=True)


# --- pulse inputs -------------------------------------------------------------------------------

INPUT = ("pulse inputs",)
FLOW_PARTS = tuple(f"R{n}" for n in (15, 16, 17, 18, 19)) + ("C11", "C12", "D11")
HIGH_WORST = {"R10": 1.01, "R11": 1.01, "R12": 0.99}
LOW_WORST = {"R10": 0.99, "R11": 0.99, "R12": 1.01}


def sensor(kind: str, battery: float, duty: float = 0.5, hz: float = 10_000) -> tuple[str, ...]:
    """A sensor at the terminals: what drives SPEED_IN, with its own drop and leak.

    The supply of the sensor is the battery's less diode, R3 and fuse, 2.4 V at full load.
    """
    supply_v = battery - 2.4
    period, on = 1 / hz, duty / hz
    clock = f"VC clock 0 PULSE(0 1 20u 100n 100n {on:g} {period:g})"
    power = f"VS V_SENSOR 0 {supply_v}\nCW SPEED_IN 0 1n"  # 10 m of cable, chosen
    # open collector with 80 ohm, 0.4 V at 5 mA; 100 k of leak in wet plugs
    pull = ("S1 SPEED_IN 0 clock 0 SX\nRW SPEED_IN 0 100k\n"
            ".model SX SW(vt=0.5 vh=0.1 ron={} roff=1G)")
    models = {
        "open collector": pull.format(80),
        "Hall": pull.format(80),
        "reed": pull.format(1),
        "12 V push-pull": f"BP p 0 V = V(clock) > 0.5 ? {supply_v - 1.5} : 0.5\nRP p SPEED_IN 220",
    }
    return power, clock, models[kind], THREE


KINDS = ("open collector", "Hall", "reed", "12 V push-pull")


def pulse_levels() -> Iterator[Margin]:
    """How far the levels stand from the thresholds, at the worst battery and tolerances."""
    for kind, battery in product(KINDS, (10.5, 16.0)):
        case = f"{kind}, battery {battery:g} V"
        for worst, high in ((HIGH_WORST, True), (LOW_WORST, False)):
            setup = Setup(INPUT, without=FLOW_PARTS, lines=sensor(kind, battery, hz=500),
                          scale=worst)  # fmt: skip
            _, got = simulate(setup, ("v(SPEED_LOW)",), 4e-3, 5e-6, 1e-3)
            level = got["v(SPEED_LOW)"]
            if high:
                yield Margin("high level at the Schmitt trigger", case, float(np.max(level)), "V",
                             2.36, SHEET_14, above=True)
                yield Margin("the same, from above", case, float(np.max(level)), "V", 3.8,
                             "0.5 V above 3.3 V, data sheet")
            else:
                yield Margin("low level at the Schmitt trigger", case, float(np.min(level)), "V",
                             0.61, SHEET_14)


def pulse_widths() -> Iterator[Margin]:
    """10 kHz at duties of 15 and 85 %: the shorter level must outlast the chip's filter."""
    corners = ({"vtp": 2.36, "vtn": 1.75}, {"vtp": 2.36, "vtn": 0.61})
    for kind, duty in product(("open collector", "12 V push-pull"), (0.15, 0.85)):
        shortest = 1e9
        for corner, battery in product(corners, (10.5, 16.0)):
            setup = Setup(INPUT, without=FLOW_PARTS, lines=sensor(kind, battery, duty),
                          corner=corner, scale={"C9": 1.2})  # fmt: skip
            times, got = simulate(setup, ("v(SPEED)",), 0.62e-3, 0.2e-6, 0.1e-3)
            shortest = min(shortest, *(widths_us(times, got["v(SPEED)"])))
        yield Margin("shortest level at the pin", f"{kind}, 10 kHz, {duty:.0%}", shortest, "us",
                     FILTER_US, "firmware/boards/rp2_pulse_pio.py", above=True)


def widths_us(times: Trace, volts: Trace) -> list[float]:
    """The length of each whole level; five pulses must show at least eight of them."""
    edges = crossings(times, volts)
    widths = np.diff(edges) * 1e6
    return [float(width) for width in widths] if len(widths) >= 8 else [0.0]


def crossings(times: Trace, volts: Trace, threshold: float = 1.6) -> Trace:
    """When a signal goes through half of the supply."""
    high = volts > threshold
    return times[1:][high[1:] != high[:-1]]


def reed_bounce() -> Iterator[Margin]:
    """A contact that bounces for a millisecond, with the jumper closed, counts once."""
    bounce = " ".join(f"{5 + 0.1 * n:.2f}m {n % 2} {5 + 0.1 * n + 0.099:.3f}m {n % 2}"
                      for n in range(10))  # fmt: skip
    lines = ("VS V_SENSOR 0 12",
             f"VC clock 0 PWL(0 0 4.9m 0 {bounce} 6.01m 1 30m 1 30.01m 0 60m 0)",
             "S1 SPEED_IN 0 clock 0 SX", ".model SX SW(vt=0.5 vh=0.1 ron=1 roff=1G)",
             "RJ SPEED_LOW SPEED_REED 0.1", THREE)  # fmt: skip
    most = 0
    for corner in ({"vtp": 1.14, "vtn": 0.9}, {"vtp": 2.36, "vtn": 1.75}, {}):
        setup = Setup(INPUT, without=FLOW_PARTS, lines=lines, corner=corner, scale={"C10": 0.8})
        times, got = simulate(setup, ("v(SPEED)",), 60e-3, 20e-6, 1e-3)
        most = max(most, len(crossings(times, got["v(SPEED)"])))
    yield Margin("edges that a closing and an opening make", "reed, 1 ms of bounce", most, "", 2,
                 "one pulse")


# --- loads --------------------------------------------------------------------------------------


def valve_bench(gate: str, lines: tuple[str, ...], **more: object) -> Setup:
    """Section 1 with its valve; V_LOAD is fed by the lines."""
    return Setup(parts=("F6", "R51", "R61", "Q11", "D21", "C26", "C27"), lines=(
        f"VG SECTION_1 0 {gate}", f"LV V_VALVE v1 {VALVE_H}", f"RV v1 VALVE_1 {VALVE_OHM}",
        *lines), **more)  # type: ignore[arg-type]  # fmt: skip


def dump_on_valves(breakdown_v: float = 200.0) -> Iterator[Margin]:
    """An unsuppressed load dump on the valves' branch: what is off stays off."""
    lines = dump(101, 0.5, 0.4, "V_LOAD")
    corner = {"bv_irl640": breakdown_v}
    times, got = simulate(valve_bench("0", lines, corner=corner), (
        "v(VALVE_1)", "i(LV)", "v(V_VALVE)"), 0.3, 100e-6)  # fmt: skip
    case = "load dump 101 V, 0.5 ohm, 400 ms"
    yield Margin("valve that is off, current", case, float(np.max(np.abs(got["i(LV)"]))) * 1e3,
                 "mA", 20, "a hundredth of what moves a valve, chosen")
    yield Margin("Q11 to Q18, drain", case, float(np.max(got["v(VALVE_1)"])), "V",
                 0.8 * ITEMS["IRL640"].ratings["V"], "0.8 of the rating, chosen")
    times, got = simulate(valve_bench("5", lines, corner=corner), ("v(VALVE_1)", "i(LV)"), 0.3,
                          100e-6)  # fmt: skip
    watts = integral(times, got["v(VALVE_1)"] * got["i(LV)"])
    yield Margin("Q11 to Q18 while on, energy", case, watts, "J", 5, "10 K in the case, chosen")


def valve_flyback() -> Iterator[Margin]:
    """A valve of 10 W that is switched off, and what the transistor loses while it is on."""
    gate = "PWL(0 0 1m 0 1.001m 4.5 60m 4.5 60.001m 0 100m 0)"
    times, got = simulate(valve_bench(gate, ("VB V_LOAD 0 16",), corner={"vth_irl640": 2.0}), (
        "v(VALVE_1)", "i(LV)", "@d.xd21.d1[id]"), 0.1, 20e-6)  # fmt: skip
    case = "valve of 10 W, 16 V"
    yield Margin("Q11 to Q18, drain", case, float(np.max(got["v(VALVE_1)"])), "V", 20,
                 "no more than the supply and a diode")
    yield Margin("D21 to D28, peak", case, float(np.max(got["@d.xd21.d1[id]"])), "A",
                 ITEMS["UF4004"].ratings["A_peak"], RATINGS)
    on = (times > 50e-3) & (times < 60e-3)
    yield Margin("Q11 to Q18 without heat sink", case,
                 float(np.mean((got["v(VALVE_1)"] * got["i(LV)"])[on])), "W", 1.0,
                 "62 K/W, 62 K more than the air, chosen")


def pump_running() -> Iterator[Margin]:
    """8 A at 10 kHz and half duty, with 3 m of cable to the battery."""
    lines = (
        "VB bat 0 14.4", "LB bat bat2 3u", "RB bat2 V_PUMP 20m", "VP V_PROT 0 13",
        "VC PUMP 0 PULSE(0 3.3 0 50n 50n 50u 100u)", "LM V_PUMP m1 150u", "RM m1 m2 0.2",
        "VE m2 m3 5.3", "RE m3 PUMP_OUT 1m",
    )  # fmt: skip
    setup = Setup(pages=("pump driver",), without=("TP8",), lines=lines)
    times, got = simulate(setup, ("v(PUMP_OUT)", "i(LM)", "v(V_PUMP)", "i(LB)", "v(PUMP_GATE)",
                                  "@m.xq1.m1[id]", "@c20[i]"), 4e-3, 0.1e-6, 3e-3)  # fmt: skip
    case = f"pump {mean(times, got['i(LM)']):.1f} A, 10 kHz"
    drain, amps = got["v(PUMP_OUT)"], got["@m.xq1.m1[id]"]
    yield Margin("pump current that was tried", case, mean(times, got["i(LM)"]), "A", PUMP_A - 1,
                 CHOSEN, above=True)
    yield Margin("Q1, drain", case, float(np.max(drain)), "V", 0.8 * 150,
                 "0.8 of the rating, chosen")
    yield Margin("Q1 with 10 K/W", case, mean(times, drain * amps), "W", 5, "50 K, chosen")
    freewheel = got["i(LM)"] - amps
    yield Margin("D14 with 10 K/W", case, mean(times, freewheel * (drain - got["v(V_PUMP)"])), "W",
                 6, "60 K, chosen")
    ripple = float(np.sqrt(mean(times, got["@c20[i]"] ** 2)))
    yield Margin("C20 to C22, ripple each", case, ripple, "A", 1.9, RATINGS)
    yield Margin("gate of Q1 while on", case, float(np.max(got["v(PUMP_GATE)"])), "V", 10,
                 "its resistance is given at 10 V", above=True)


def dump_on_pump() -> Iterator[Margin]:
    """An unsuppressed load dump with the pump off."""
    lines = (*dump(101, 0.5, 0.4, "V_PUMP"), "VP V_PROT 0 13", "VC PUMP 0 0", "LM V_PUMP m1 150u",
             "RM m1 PUMP_OUT 0.2")  # fmt: skip
    setup = Setup(pages=("pump driver",), without=("TP8",), lines=lines, corner={"bv_pump": 150})
    _, got = simulate(setup, ("v(PUMP_OUT)", "i(LM)"), 0.3, 100e-6)
    case = "load dump 101 V, pump off"
    yield Margin("Q1, drain", case, float(np.max(got["v(PUMP_OUT)"])), "V", 0.8 * 150,
                 "0.8 of the rating, chosen")
    yield Margin("current through the pump", case, float(np.max(np.abs(got["i(LM)"]))), "A", 0.1,
                 CHOSEN)


def dump_on_bridge() -> Iterator[Margin]:
    """The bridge stands 50 V; its clamp and resistor keep it there until the fuse opens."""
    for case, source in (("load dump 101 V, 0.5 ohm, 400 ms", dump(101, 0.5, 0.4, "V_LOAD")),
                         ("load dump suppressed, 35 V", suppressed("V_LOAD"))):
        lines = (*source, "V5S V5 0 5", "VO VALVE_OPEN 0 0", "VC VALVE_CLOSE 0 0",
                 "RM VALVE_A VALVE_B 20")  # fmt: skip
        setup = Setup(pages=("valve bridge",), parts=("F7",), without=("TP9",), lines=lines,
                      corner={"bv_5kp24": 29.5})  # fmt: skip
        times, got = simulate(setup, ("v(V_BRIDGE)", "@d.xd35.d1[id]"), 0.45, 200e-6)
        amps = -got["@d.xd35.d1[id]"]
        yield Margin("bridge, supply", case, float(np.max(got["v(V_BRIDGE)"])), "V",
                     ITEMS["L298N"].ratings["V"], RATINGS)
        heat = np.concatenate([[0], np.cumsum(amps[1:] ** 2 * np.diff(times))])
        blown = heat > FUSE_3A_A2S
        end = int(np.argmax(blown)) if blown.any() else len(times)
        peak, stands = clamp_load(times[:end], got["v(V_BRIDGE)"][:end], amps[:end])
        yield Margin("D35, peak power until F7 opens", case, peak, "W", stands,
                     "5 kW for 1 ms, root of time")


FUSE_3A_A2S = 15.0  # melting integral of a blade fuse of 3 A, from memory


def dead_controller() -> Iterator[Margin]:
    """Loads on the battery, controller without supply, or its board pulled out, hot parts."""
    floating = tuple(f"RZ{n} {name} 0 100Meg" for n, name in enumerate(
        ("SECTION_OFF", "SECTION_DATA", "SECTION_CLOCK", "SECTION_LATCH", "PUMP")))
    loads = ("VB V_LOAD 0 16", *(f"RV{n} V_VALVE VALVE_{n} {VALVE_OHM}" for n in range(1, 9)),
             "RM V_PUMP PUMP_OUT 0.5")  # fmt: skip
    pages = ("switches and section registers", "section drivers", "pump driver")
    off = tuple(f"R{n}" for n in (26, 27, 28, 29, 30)) + ("C14", "C15", "C16", "D12", "D13", "TP8")
    cases = (
        ("controller without supply", ("V5S V5 0 0", "VP V_PROT 0 0", "V33 3V3 0 0")),
        ("board pulled out", ("V5S V5 0 5", "VP V_PROT 0 13", "V33 3V3 0 0")),
        ("board in reset", ("V5S V5 0 5", "VP V_PROT 0 13", "V33 3V3 0 3.3")),
    )
    for case, lines in cases:
        setup = Setup(pages, parts=("F5", "F6"), without=off, lines=(*lines, *floating, *loads),
                      corner={"leak_mos": 600e3, "vth_irl640": 1.0, "vth_pump": 3.0})  # fmt: skip
        _, got = simulate(setup, ("v(GATE_1)", "v(GATE_8)", "v(PUMP_GATE)", "v(VALVE_1)",
                                  "v(OFF_5)", "i(VB)"), 20e-3, 100e-6, 10e-3)  # fmt: skip
        yield Margin("gates of Q11 to Q18", case, float(max(got["v(GATE_1)"][-1],
                     got["v(GATE_8)"][-1])), "V", 0.5, "half the lowest threshold, chosen")
        yield Margin("gate of Q1", case, float(got["v(PUMP_GATE)"][-1]), "V", 1.5,
                     "half the lowest threshold, chosen")
        yield Margin("all loads together", case, -float(got["i(VB)"][-1]) * 1e3, "mA", 5,
                     "less than a thousandth of them, chosen")
        if case != "controller without supply":
            yield Margin("SECTION_OFF at the 74HCT595", case, float(got["v(OFF_5)"][-1]), "V", 2.0,
                         "high for TTL inputs, data sheet", above=True)


def usb_alone() -> Iterator[Margin]:
    """A board on USB with every line high and no 5 V: the drivers stay without supply."""
    lines = (THREE, *(f"V{n} {name} 0 3.3" for n, name in enumerate(
        ("SECTION_OFF", "SECTION_DATA", "SECTION_CLOCK", "SECTION_LATCH"))),
        "RP V_PROT 0 1Meg", "VPU PUMP 0 3.3", "VB V_LOAD 0 16", "RV V_VALVE VALVE_1 14.4",
        "RM V_PUMP PUMP_OUT 0.5")  # fmt: skip
    setup = Setup(("switches and section registers", "section drivers", "pump driver"),
                  parts=("F5", "F6", "R4", "D6", "C4"), without=("TP8",), lines=lines)
    _, got = simulate(setup, ("v(V5)", "v(GATE_1)", "v(PUMP_GATE)"), 4.0, 20e-3, 2.0)
    case = "USB alone, every line high"
    yield Margin("5 V rail, fed by inputs", case, float(got["v(V5)"][-1]), "V", 3.0,
                 "too little for the drivers, chosen")
    yield Margin("gate of Q1", case, float(got["v(PUMP_GATE)"][-1]), "V", 1.5,
                 "half the lowest threshold, chosen")


def cranking() -> Iterator[Margin]:
    """6 V with a dip to 2.5 V: no gate rises while the pins of the restarting board float."""
    lines = ("VB BATT_IN 0 PWL(0 12.6 10m 12.6 12m 2.5 45m 2.5 50m 6 300m 6 320m 12.6)",
             LOAD_5V, SENSORS, THREE, "RZ1 SECTION_OFF 0 100Meg", "RZ5 PUMP 0 100Meg",
             "VL V_LOAD 0 PWL(0 12.6 10m 12.6 12m 2.5 45m 2.5 50m 6 300m 6 320m 12.6)",
             "RM V_PUMP PUMP_OUT 0.5", "RV V_VALVE VALVE_1 14.4")  # fmt: skip
    setup = Setup(("supply", "section drivers", "pump driver"),
                  parts=("U5", "R38", "R39", "R40", "R32", "R34", "R36", "R37"),
                  without=("F3", "F4", "S1", "D8", "D9", "K1", "F7", *HOLDING),
                  lines=lines)  # fmt: skip
    _, got = simulate(setup, ("v(GATE_1)", "v(PUMP_GATE)", "v(V5)"), 0.4, 200e-6)
    case = "cranking, 2.5 V then 6 V"
    yield Margin("gates of Q11 to Q18", case, float(np.max(got["v(GATE_1)"])), "V", 0.5,
                 "half the lowest threshold, chosen")
    yield Margin("gate of Q1", case, float(np.max(got["v(PUMP_GATE)"])), "V", 1.5,
                 "half the lowest threshold, chosen")


CASES: tuple[Callable[[], Iterator[Margin]], ...] = (
    steady_supply, reversed_battery, emergency_stop, cranking, load_dump_on_controller,
    pulses_on_controller, pulse_levels, pulse_widths, reed_bounce, dump_on_valves, valve_flyback,
    dump_on_pump, pump_running, dump_on_bridge, dead_controller, usb_alone,
)  # fmt: skip
