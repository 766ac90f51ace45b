"""The pressure sensor of a machine file, and the file that its board gets: pressure.bin.

What new outlets pass is reckoned from what is fitted, unless the table says what was measured.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import host_sim  # noqa: F401  (puts firmware/ on the path before the next imports)
from app.link_frame import crc16
from app.pressure import CURRENT, PLUGGED_PERMILLE, VOLTS
from app.pressure_watch import HEAD, HEAD_BYTES, MAGIC, PRIME_MAX_S, RANGES, VERSION, problem_of
from host_sim.common import units
from host_sim.common.toml_table import TomlTable
from host_sim.plant.units import BAR_PA
from host_sim.sizing import texts
from host_sim.sizing.fields import FIELDS, Said

if TYPE_CHECKING:
    from host_sim.machine_file.machine import MachineFile

TABLE = "pressure"
SIGNALS = {"0.5 to 4.5 V": VOLTS, "4 to 20 mA": CURRENT}
UL_M3 = 1e9
SAFE_SHARE = 0.8  # of relief valve and range: priming ends a quarter above its pressure
TENTH = 0.1  # of the range: the least drop that is judged, see app.pressure.drop_pa
# key, example, meaning
KEYS = (
    ("signal", "0.5 to 4.5 V", "what the sensor gives from no pressure to `range`: "
     + " or ".join(f'`"{words}"`' for words in SIGNALS)),
    ("range", "10 bar", "pressure at its full signal"),
    ("new_outlets", "13.8 L/min at 3 bar", "what the meter and the sensor showed with all sections "
     "on, all outlets new, and water; where it is left out, it is reckoned from `fitted.sections`, "
     "`fitted.outlet`, `fitted.section_valve` and `fitted.check_valve`"),
    ("prime", "1.2 bar", "pressure at which the pump holds the line while the implement is lifted, "
     "armed and moving, every section shut; left out, it does not. It needs `fitted.pump` and "
     "`fitted.relief`"),
    ("prime_time", "15 s", "for so long at most, until the implement was down again"),
)


@dataclass(frozen=True)
class PressureFile:
    """What the board gets to know, in its order and units; pressures in Pa."""

    kind: int
    range_pa: int
    new_ul_s: int
    new_pa: int
    check_pa: int
    prime_pa: int = 0  # 0: no priming
    prime_s: int = 0


def pressure_table(table: TomlTable, fields: Mapping[str, Said], us: bool) -> PressureFile | None:
    """The table of a machine file; None where it is not there or where problems were told."""
    signal = table.text(KEYS[0][0])
    if signal is not None and signal not in SIGNALS:
        table.refuse("signal", f"must be {' or '.join(SIGNALS)}, is {signal!r}")
        signal = None
    range_pa = _read(table, "range", lambda text: texts.positive("pressure_pa", text, us), True)
    said = {known.name: known.read(fields[known.name].texts[0], fields[known.name].us)
            for known in FIELDS if known.name in fields}
    check_pa = said.get("check_valve") or 0.0
    new = _read(table, "new_outlets", lambda text: texts.flow_at_pressure("flow_ul_s", text, us))
    if new is not None:
        new = new[0], new[1] - check_pa
    elif "new_outlets" not in table:
        new = _new_outlets(said, us)
        if new is None:
            table.refuse("new_outlets", "is missing, and so is fitted.outlet or the outlets of "
                         "fitted.sections, which it could be reckoned from; for example "
                         f"{KEYS[2][1]!r}")
    prime_pa, prime_s = _priming(table, said, range_pa or 0.0, check_pa, us)
    table.finish()
    if signal is None or range_pa is None or new is None or prime_pa is None or prime_s is None:
        return None
    made = PressureFile(SIGNALS[signal], round(range_pa), round(new[0] * UL_M3), round(new[1]),
                        round(check_pa), round(prime_pa), round(prime_s))
    return made if _is_possible(table, made, us) else None


def _priming(table: TomlTable, said: Mapping[str, Any], range_pa: float, check_pa: float,
             us: bool) -> tuple[float | None, float | None]:
    """Pressure and time of priming, (0, 0) for none; None for what was refused."""
    if "prime" not in table:
        if "prime_time" in table:
            table.refuse("prime_time", "goes with prime, which is missing")
        table.any("prime_time")
        return 0.0, 0.0
    time_s = _read(table, "prime_time", lambda text: units.parse("time_ms", text, us), True)
    if time_s is not None and not 1 <= time_s <= PRIME_MAX_S:
        table.refuse("prime_time", f"must be 1 s to {PRIME_MAX_S} s, is {time_s:g} s")
        time_s = None
    prime_pa = _read(table, "prime", lambda text: texts.positive("pressure_pa", text, us))
    if prime_pa is None:
        return None, time_s
    relief_pa = said.get("relief")
    if not said.get("pump") or not relief_pa:
        table.refuse("prime", "needs fitted.pump and fitted.relief: a pump that is driven against "
                     "shut valves without a relief valve or pressure switch is dangerous")
        return None, time_s
    most_pa = SAFE_SHARE * min(relief_pa, range_pa)
    least_pa = TENTH * range_pa
    if not max(check_pa, least_pa) < prime_pa <= most_pa:
        low, least, high, is_now = (units.text("pressure_pa", value, us)
                                    for value in (check_pa, least_pa, most_pa, prime_pa))
        table.refuse("prime", f"must be above the check valves' {low} and {least}, a tenth of the "
                     f"range, and at most {high}, {100 * SAFE_SHARE:g} % of relief and range, is "
                     f"{is_now}")
        return None, time_s
    return prime_pa, time_s


def _is_possible(table: TomlTable, made: PressureFile, us: bool) -> bool:
    """Whether the board takes it; what it does not take is refused in the table's words."""
    for (_, low, high), value, key, quantity, scale in zip(
            RANGES[1:], (made.range_pa, made.new_ul_s, made.new_pa),
            ("range", "new_outlets", "new_outlets"), ("pressure_pa", "flow_ul_s", "pressure_pa"),
            (1.0, UL_M3, 1.0), strict=False):
        if not low <= value <= high:
            shown = [units.text(quantity, number / scale, us) for number in (low, high, value)]
            table.refuse(key, f"must be {shown[0]} to {shown[1]} across the outlets, is {shown[2]}"
                         if key == "new_outlets" else
                         f"must be {shown[0]} to {shown[1]}, is {shown[2]}")
            return False
    if made.check_pa >= made.range_pa:
        table.refuse("range", "is below fitted.check_valve: the sensor would never see an outlet")
        return False
    return True


def _read(table: TomlTable, key: str, read: Callable[[str], Any], needed: bool = False) -> Any:
    """A text of the table through a reader; None where it is missing or wrong, which is told."""
    text = table.text(key) if needed or key in table else None
    if text is None:
        return None
    try:
        return read(text)
    except ValueError as error:
        table.refuse(key, str(error))
        return None


def _new_outlets(said: Mapping[str, Any], us: bool) -> tuple[float, float] | None:
    """Flow of all outlets, and the pressure from the sensor to the field less the check valves."""
    sections, size = said.get("sections"), said.get("outlet")
    if not sections or not size:
        return None
    outlet = texts.outlet(size, (BAR_PA, BAR_PA), us)
    total_m3_s = sum(sections) * outlet.flow_m3_s
    valve = said.get("section_valve")
    lost_pa = 0.0
    if valve and valve.loss_pa > 0:  # by the square of what each section takes, in the mean
        flows = [count * outlet.flow_m3_s for count in sections]
        lost_pa = sum(flow * valve.loss_pa * (flow / valve.rated_m3_s) ** 2
                      for flow in flows) / total_m3_s
    return total_m3_s, outlet.at_pressure_pa + lost_pa


def pressure_bytes(machine: MachineFile) -> bytes:
    """The file for the board of a machine, empty where it has no sensor."""
    made = machine.pressure
    if made is None:
        return b""
    data = struct.pack(HEAD, MAGIC, VERSION, made.kind, made.range_pa, made.new_ul_s, made.new_pa,
                       made.check_pa, made.prime_pa, made.prime_s)
    data += struct.pack("<H", crc16(data, HEAD_BYTES))
    problem = problem_of(data)
    assert not problem, problem
    return data


def read_pressure_file(data: bytes) -> PressureFile:
    """What a sound file holds."""
    return PressureFile(*struct.unpack_from(HEAD, data)[2:])


def in_words(made: PressureFile, outlets: int, us: bool) -> list[str]:
    """What the board will be able to tell, a line each."""
    signal = next(words for words, kind in SIGNALS.items() if kind == made.kind)
    rated = units.text("flow_ul_s", made.new_ul_s / UL_M3, us)
    at = units.text("pressure_pa", made.new_pa + made.check_pa, us)
    least_pa = made.check_pa + TENTH * made.range_pa
    least_m3_s = made.new_ul_s / UL_M3 * math.sqrt(TENTH * made.range_pa / made.new_pa)
    lines = [
        f"sensor: {signal} for {units.text('pressure_pa', 0.0, us)} to "
        f"{units.text('pressure_pa', made.range_pa, us)}",
        f"new outlets: {rated} with {at} at the sensor",
        f"judged from {units.text('pressure_pa', least_pa, us)} on: with all sections on that is "
        f"{units.text('flow_ul_s', least_m3_s, us)}",
    ]
    if outlets:
        told = 1000 - 1000 // outlets < PLUGGED_PERMILLE
        lines.append(f"one plugged outlet of {outlets} is {100 / outlets:.1f} % less: "
                     + ("told" if told else "too little to be told, the limit is 10 %"))
    if made.prime_pa:
        lines.append(f"priming: {units.text('pressure_pa', made.prime_pa, us)} for at most "
                     f"{made.prime_s} s while lifted and moving")
    return lines
