"""Swaths as ISO 11783-10 TASKDATA.XML with a time log, in a stated subset of version 4.

    ISO11783_TaskData   one of it, from the farm's software (1)
      DVC               the machine: DET of the device, of the bar, of each section with its width
      TSK               the work, completed: TZN for each wanted rate with PDV of its setpoint,
                        TIM with the totals as DLV, TLG that names the time log

The time log has a record at both ends of each piece of swath: time, place of the middle of the
outlets, and state and actual rate of each section that changes. Numbers of the dictionary (ISO
11783-11, export of its database of January 2025): 1 and 2 rate, setpoint and actual, 0.01 mm3/m2;
67 width, mm; 116 area, m2; 119 time at work, s; 141 state, 1 at work; 351 volume, mL. 1 L/ha is
10,000 of 1 and 2.
"""

from __future__ import annotations

import struct
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as Xml

import numpy as np

from app.version import VERSION
from host_sim.maps.swaths import Swaths

RATE_SET, RATE, WIDTH, AREA, TIME, STATE, VOLUME = 1, 2, 67, 116, 119, 141, 351
RAW_PER_L_HA = 10_000
M2_HA, ML_L = 1e4, 1e3
XML_FILE, LOG = "TASKDATA.XML", "TLG00001"
LOG_HEAD = struct.Struct("<IHiiBB")  # ms of the day, days since 1980, 1e-7 degrees, status, count
LOG_VALUE = struct.Struct("<Bi")
EPOCH = datetime(1980, 1, 1, tzinfo=UTC)
MADE_UP = datetime(2026, 1, 1, tzinfo=UTC)  # when a run of the twin began
PLACED, UNPLACED = 1, 0  # a fix, none
DEVICE, FUNCTION, SECTION = "1", "2", "4"
EFFECTIVE, COMPLETED = "4", "4"
SOFTWARE = "liquid application rate controller"


def to_taskdata(swaths: Swaths, title: str, began: datetime = MADE_UP) -> dict[str, bytes]:
    """The files by their names."""
    root = Xml.Element("ISO11783_TaskData", {
        "VersionMajor": "4", "VersionMinor": "3", "ManagementSoftwareManufacturer": SOFTWARE,
        "ManagementSoftwareVersion": VERSION, "DataTransferOrigin": "1"})
    root.append(_device(swaths))
    root.append(_task(swaths, title, began))
    return {XML_FILE: _text(root), f"{LOG}.XML": _text(_log_head(swaths)),
            f"{LOG}.BIN": b"".join(_record(swaths, began, *moment) for moment in _moments(swaths))}


def _text(element: Xml.Element) -> bytes:
    Xml.indent(element, " ")
    text: bytes = Xml.tostring(element, encoding="UTF-8", xml_declaration=True)
    return text + b"\n"


def section_id(section: int) -> str:
    """Name of the device element of a section; 1 is the device, 2 the bar."""
    return f"DET-{section + 3}"


def _device(swaths: Swaths) -> Xml.Element:
    device = Xml.Element("DVC", {
        "A": "DVC-1", "B": SOFTWARE, "C": VERSION, "D": "A000000000000000", "E": "1",
        "F": "31000000000000", "G": "FF000000006E65"})
    parts = [("DET-1", "1", DEVICE, "device", "0"), ("DET-2", "2", FUNCTION, "bar", "1")]
    parts += [(section_id(index), str(index + 3), SECTION, f"section {index + 1}", "2")
              for index in range(len(swaths.widths_m))]
    for number, (name, object_id, kind, words, parent) in enumerate(parts):
        element = Xml.SubElement(device, "DET", {
            "A": name, "B": object_id, "C": kind, "D": words, "E": str(number), "F": parent})
        if kind == SECTION:
            Xml.SubElement(element, "DOR", {"A": str(int(object_id) + 100)})
    for index, width_m in enumerate(swaths.widths_m):
        Xml.SubElement(device, "DPT", {"A": str(index + 103), "B": f"{WIDTH:04X}",
                                       "C": str(round(width_m * 1000)), "D": "width"})
    return device


def _task(swaths: Swaths, title: str, began: datetime) -> Xml.Element:
    task = Xml.Element("TSK", {"A": "TSK-1", "B": title[:32], "G": COMPLETED})
    rates = sorted({round(piece.wanted_l_ha * RAW_PER_L_HA) for piece in swaths.pieces})
    for code, rate in enumerate(rates[:254], start=1):
        zone = Xml.SubElement(task, "TZN", {"A": str(code)})
        Xml.SubElement(zone, "PDV", {"A": f"{RATE_SET:04X}", "B": str(rate)})
    start_s = min((piece.start_s for piece in swaths.pieces), default=0.0)
    end_s = max((piece.end_s for piece in swaths.pieces), default=0.0)
    time = Xml.SubElement(task, "TIM", {
        "A": _moment(began, start_s), "B": _moment(began, end_s),
        "C": str(round(end_s - start_s)), "D": EFFECTIVE})
    totals = [("DET-2", swaths.pieces, swaths.before_l)]
    totals += [(section_id(index), [one for one in swaths.pieces if one.section == index], 0.0)
               for index in range(len(swaths.widths_m))]
    for name, pieces, besides_l in totals:
        for number, value in (
            (VOLUME, ML_L * (besides_l + sum(one.volume_l + one.after_l for one in pieces))),
            (AREA, M2_HA * sum(one.area_ha for one in pieces)),
            (TIME, sum(one.end_s - one.start_s for one in pieces) / (
                len(swaths.widths_m) if name == "DET-2" else 1))):
            Xml.SubElement(time, "DLV", {"A": f"{number:04X}", "B": str(round(value)), "C": name})
    Xml.SubElement(task, "TLG", {"A": LOG, "C": "1"})
    return task


def _moment(began: datetime, seconds: float) -> str:
    return (began + timedelta(seconds=seconds)).isoformat(timespec="milliseconds")


def _log_head(swaths: Swaths) -> Xml.Element:
    time = Xml.Element("TIM", {"A": "", "D": EFFECTIVE})
    Xml.SubElement(time, "PTN", {"A": "", "B": "", "D": ""})
    for index in range(len(swaths.widths_m)):
        for number in (STATE, RATE):
            Xml.SubElement(time, "DLV", {"A": f"{number:04X}", "B": "", "C": section_id(index)})
    return time


States = dict[int, tuple[int, int]]


def _moments(swaths: Swaths) -> list[tuple[float, bool, States]]:
    """When sections change, whether the place is known then, and state and raw rate of each."""
    found: dict[float, tuple[bool, States]] = {}
    for piece in swaths.pieces:
        placed = len(piece.ring_m) > 0
        _, ended = found.setdefault(piece.end_s, (placed, {}))
        ended.setdefault(piece.section, (0, 0))
        _, begun = found.setdefault(piece.start_s, (placed, {}))
        begun[piece.section] = (1, round(piece.rate_l_ha * RAW_PER_L_HA))
    return [(time_s, *found[time_s]) for time_s in sorted(found)]


def _record(swaths: Swaths, began: datetime, time_s: float, placed: bool, states: States) -> bytes:
    moment = began.astimezone(UTC) + timedelta(seconds=time_s)
    days = (moment - EPOCH).days
    day_ms = round((moment - EPOCH - timedelta(days=days)) / timedelta(milliseconds=1))
    latitude = longitude = 0
    if placed:
        place = [np.interp(time_s, swaths.way_s, axis) for axis in swaths.way_m.T]
        latitude, longitude = (round(float(angle) * 1e7)
                               for angle in swaths.origin.to_degrees(*place))
    values = b"".join(LOG_VALUE.pack(2 * section + index, said[index])
                      for section, said in sorted(states.items()) for index in (0, 1))
    return LOG_HEAD.pack(day_ms, days, latitude, longitude, PLACED if placed else UNPLACED,
                         2 * len(states)) + values
