"""Reads back what taskdata.py writes: totals, widths, and the time log. Raises InputError."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as Xml

from host_sim.common.errors import InputError
from host_sim.common.reading import MIB, read_bytes
from host_sim.maps.taskdata import (
    AREA,
    LOG_HEAD,
    LOG_VALUE,
    RAW_PER_L_HA,
    VOLUME,
    XML_FILE,
)

LARGEST_BYTES = 64 * MIB
DEEPEST = 32


@dataclass
class LoggedMoment:
    """One record of the time log; `values` by (number of the dictionary, element)."""

    day_ms: int
    day: int
    latitude_deg: float
    longitude_deg: float
    placed: bool
    values: dict[tuple[int, str], int]


@dataclass
class TaskData:
    """What a task says of itself."""

    title: str
    totals: dict[tuple[int, str], int] = field(default_factory=dict)
    wanted_l_ha: list[float] = field(default_factory=list)
    log: list[LoggedMoment] = field(default_factory=list)

    @property
    def volume_l(self) -> float:
        """Of the whole bar."""
        return self.totals[VOLUME, "DET-2"] / 1e3

    @property
    def area_ha(self) -> float:
        return self.totals[AREA, "DET-2"] / 1e4


def read_taskdata(folder: Path) -> TaskData:
    """The one task in a folder with TASKDATA.XML and its time log."""
    path = folder / XML_FILE
    root = _xml(path)
    tasks = root.findall("TSK")
    if root.tag != "ISO11783_TaskData" or len(tasks) != 1:
        raise InputError(f"{path}: must be ISO11783_TaskData with one TSK")
    task = tasks[0]
    found = TaskData(task.get("B", ""))
    for time in task.findall("TIM"):
        for value in time.findall("DLV"):
            found.totals[_hex(path, value, "A"), value.get("C", "")] = _whole(path, value, "B")
    for value in task.findall("TZN/PDV"):
        found.wanted_l_ha.append(_whole(path, value, "B") / RAW_PER_L_HA)
    for key in ((VOLUME, "DET-2"), (AREA, "DET-2")):
        if key not in found.totals:
            raise InputError(f"{path}: TIM: has no DLV {key[0]:04X} of the bar")
    for log in task.findall("TLG"):
        name = log.get("A", "")
        if not (name.startswith("TLG") and name[3:].isdigit() and len(name) == 8):
            raise InputError(f"{path}: TLG.A: is no name of a time log: {name[:20]!r}")
        found.log += _log(folder, name)
    return found


def _xml(path: Path) -> Xml.Element:
    data = read_bytes(path, LARGEST_BYTES)
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise InputError(f"{path}: declares a document type, which no task does")
    depth = 0
    root: Xml.Element | None = None
    try:
        parser: Xml.XMLPullParser[Any] = Xml.XMLPullParser(("start", "end"))
        parser.feed(data)
        parser.close()
        events: Any = parser.read_events()
        for event, element in events:
            depth += 1 if event == "start" else -1
            if depth > DEEPEST:
                raise InputError(f"{path}: {element.tag}: lies too deep")
            root = element
    except Xml.ParseError as error:
        raise InputError(f"{path}:{error.position[0]}: is no XML: {error}") from error
    except (ValueError, LookupError) as error:
        raise InputError(f"{path}: is no XML: {error}") from error
    if root is None:
        raise InputError(f"{path}: is empty")
    return root


def _whole(path: Path, element: Xml.Element, name: str, base: int = 10) -> int:
    text = element.get(name, "")
    try:
        value = int(text, base)
    except ValueError:
        raise InputError(f"{path}: {element.tag}.{name}: is no whole number: {text[:20]!r}"
                         ) from None
    if not -(2**31) <= value < 2**31:
        raise InputError(f"{path}: {element.tag}.{name}: is out of range: {text[:20]}")
    return value


def _hex(path: Path, element: Xml.Element, name: str) -> int:
    return _whole(path, element, name, 16)


def _log(folder: Path, name: str) -> list[LoggedMoment]:
    head_path, path = folder / f"{name}.XML", folder / f"{name}.BIN"
    columns = [(_hex(head_path, value, "A"), value.get("C", ""))
               for value in _xml(head_path).findall("DLV")]
    data = read_bytes(path, LARGEST_BYTES)
    found, at = [], 0
    try:
        while at < len(data):
            day_ms, day, latitude, longitude, status, count = LOG_HEAD.unpack_from(data, at)
            at += LOG_HEAD.size
            values = {}
            for _ in range(count):
                index, value = LOG_VALUE.unpack_from(data, at)
                at += LOG_VALUE.size
                values[columns[index]] = value
            if abs(latitude) > 90 * 10**7 or abs(longitude) > 180 * 10**7:
                raise InputError(f"{path}: byte {at}: a place is not on earth")
            found.append(LoggedMoment(day_ms, day, latitude / 1e7, longitude / 1e7, status > 0,
                                      values))
    except (struct.error, IndexError):
        raise InputError(f"{path}: byte {at}: the record is not whole") from None
    return found
