"""The record of plots that a board kept by itself: its lines, and the settings it was made with.

Of each time that a plot was treated it has sums: way, area, volume, time. Within a plot nothing is
known, and a board has no calendar, so it does not say on which day.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.link_frame import FrameError, parse
from app.store import SETTINGS, SETTINGS_STATE, Store
from app.trial_record import LOG_FILE
from host_sim.common.data_package import INTEGER, NUMBER, TEXT, Column, Table, package_files
from host_sim.common.errors import InputError
from host_sim.common.reading import read_bytes
from rate_control.settings import Settings, build

LARGEST_BYTES = 2_000_000  # a full record has half of that
SETTINGS_FILES = (f"{SETTINGS}.0", f"{SETTINGS}.1")  # as a board keeps them
CM2_HA = 1e8
UL_L = 1e6
NEEDED = {"plot": str, "treatment": str, "pass": int, "how": str, "plan": int, "rate_ml_ha": int,
          "asked_ml_ha": int, "length_mm": int, "area_cm2": int, "volume_ul": int, "time_ms": int,
          "faults": list}

PLOTS = Table("plots", "A row for each time that a plot was treated, in the order of time.", (
    Column("line", INTEGER, "number of the line in trial.log"),
    Column("plot", TEXT, "name of the plot"),
    Column("treatment", TEXT, "what it was to get"),
    Column("pass", INTEGER, "pass of the plan"),
    Column("how", TEXT, "what ended it: way, lift, or cut short by a person"),
    Column("rate_l_ha", NUMBER, "rate of the plan"),
    Column("asked_l_ha", NUMBER, "rate that was set at its end; another one was set by hand"),
    Column("length_m", NUMBER, "way while applying"),
    Column("area_ha", NUMBER, "area while applying"),
    Column("volume_l", NUMBER, "volume metered from its beginning to the next one's"),
    Column("mean_rate_l_ha", NUMBER, "volume over area", needed=False),
    Column("error_pct", NUMBER, "of the mean rate against the plan", needed=False),
    Column("time_s", NUMBER, "from its beginning to its end"),
    Column("faults", TEXT, "what was wrong meanwhile", needed=False),
    Column("begin_east_m", NUMBER, "where it began, from the origin", needed=False),
    Column("begin_north_m", NUMBER, "the same", needed=False),
    Column("end_east_m", NUMBER, "where it ended", needed=False),
    Column("end_north_m", NUMBER, "the same", needed=False),
), key=("line",))


@dataclass(frozen=True)
class PlotRecord:
    """`rows` are those of the table PLOTS; `marks` has the sum of the plan that each was driven by.

    `damaged` counts lines that are not whole. `settings` are those of the board when its record
    was fetched, None where they did not come with it.
    """

    rows: list[dict[str, Any]]
    marks: list[int]
    damaged: int
    settings: Settings | None = None

    def of_plan(self, mark: int) -> list[dict[str, Any]]:
        """The rows of one plan."""
        return [row for row, own in zip(self.rows, self.marks, strict=True) if own == mark]


def is_plot_record(path: Path) -> bool:
    """Whether a path is a fetched folder, or the file in it."""
    return (path / LOG_FILE).is_file() or path.name == LOG_FILE and path.is_file()


def record_parts(path: Path) -> list[Path]:
    """The files that a fetched record consists of."""
    folder = path if path.is_dir() else path.parent
    return [folder / name for name in (LOG_FILE, *SETTINGS_FILES) if (folder / name).is_file()]


def read_plot_record(path: Path) -> PlotRecord:
    """The record in a fetched folder. Raises InputError where nothing of it is one."""
    files = {part.name: read_bytes(part, LARGEST_BYTES) for part in record_parts(path)}
    record = plot_record(files)
    if not record.rows:
        raise InputError(f"{path}: {LOG_FILE}: no plot is in it"
                         + (f"; {record.damaged} lines are damaged" if record.damaged else ""))
    return record


def plot_record(files: Mapping[str, bytes]) -> PlotRecord:
    """The record in the files of a board, by their names there."""
    data = files[LOG_FILE]
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{LOG_FILE}: is larger than any record")
    bodies = list(_bodies(data))
    treated = [(number, body) for number, body in bodies if body and _is_treated(body)]
    return PlotRecord([_row(number, body) for number, body in treated],
                      [body["plan"] for _, body in treated],
                      sum(body is None for _, body in bodies), _settings(files))


def record_files(files: Mapping[str, bytes]) -> tuple[dict[str, bytes], PlotRecord]:
    """What is written of the files of a board, by name: as they are, and as tables; and the record.

    A damaged line stays the bytes that it is, for whoever wants to look into it.
    """
    record = plot_record(files)
    tables = package_files("plots", "Plots as the board recorded them", {PLOTS: record.rows})
    return dict(files) | {name: text.encode() for name, text in tables.items()}, record


def _bodies(data: bytes) -> Iterator[tuple[int, dict[str, Any] | None]]:
    """Number and content of every line, None for one that is damaged."""
    for line in data.split(b"\n"):
        if not line:
            continue
        try:
            number, body = parse(line)
            content = json.loads(body)
            yield number, content if isinstance(content, dict) else None
        except (FrameError, ValueError, RecursionError):
            yield 0, None


def _is_treated(body: dict[str, Any]) -> bool:
    """Whether a line is that of a plot that was treated, and says all that it has to."""
    return all(type(body.get(name)) is kind for name, kind in NEEDED.items()) and \
        body["rate_ml_ha"] > 0


def _row(number: int, body: dict[str, Any]) -> dict[str, Any]:
    """A line of the record as a row of the table."""
    area_ha, volume_l = body["area_cm2"] / CM2_HA, body["volume_ul"] / UL_L
    rate_l_ha = body["rate_ml_ha"] / 1000
    mean = volume_l / area_ha if area_ha else None
    row = {"line": number, "plot": body["plot"], "treatment": body["treatment"],
           "pass": body["pass"], "how": body["how"], "rate_l_ha": rate_l_ha,
           "asked_l_ha": body["asked_ml_ha"] / 1000, "length_m": body["length_mm"] / 1000,
           "area_ha": area_ha, "volume_l": volume_l, "mean_rate_l_ha": mean,
           "error_pct": None if mean is None else 100 * (mean / rate_l_ha - 1),
           "time_s": body["time_ms"] / 1000, "faults": " ".join(map(str, body["faults"])) or None}
    for end in ("begin", "end"):
        east_mm, north_mm = _place(body.get(end))
        row[f"{end}_east_m"] = None if east_mm is None else east_mm / 1000
        row[f"{end}_north_m"] = None if north_mm is None else north_mm / 1000
    return row


def _place(place: Any) -> tuple[int | None, int | None]:
    if isinstance(place, list) and len(place) == 2 and all(type(one) is int for one in place):
        return place[0], place[1]
    return None, None


class _Kept:
    """The files of a board, for its own store to read."""

    def __init__(self, files: Mapping[str, bytes]) -> None:
        self._files = files

    def read(self, name: str, offset: int = 0, length: int | None = None) -> bytes:
        data = self._files.get(name, b"")
        return data[offset:] if length is None else data[offset:][:length]

    def write(self, name: str, data: bytes) -> None:
        raise OSError(f"{name}: a record is not written to")


def _settings(files: Mapping[str, bytes]) -> Settings | None:
    """The settings that a board had, None where they are not there whole."""
    values = Store(_Kept(files)).load_settings()
    values.pop(SETTINGS_STATE, None)
    return build(values)[0] if values else None


def totals_of(record: PlotRecord) -> dict[str, Any]:
    """What all of it comes to: sums, means by area, and what was wrong meanwhile."""
    rows = record.rows
    area_ha = sum(row["area_ha"] for row in rows)
    volume_l = sum(row["volume_l"] for row in rows)
    asked_l = sum(row["asked_l_ha"] * row["area_ha"] for row in rows)
    return {
        "treated": len(rows), "plots": len({row["plot"] for row in rows}),
        "area_ha": area_ha, "volume_l": volume_l,
        "length_m": sum(row["length_m"] for row in rows),
        "time_s": sum(row["time_s"] for row in rows),
        "mean_rate_l_ha": volume_l / area_ha if area_ha else None,
        "target_l_ha": asked_l / area_ha if area_ha else None,
        "faults": list(dict.fromkeys(
            name for row in rows for name in (row["faults"] or "").split())),
    }


def remarks_of(record: PlotRecord) -> list[str]:
    """What a reader must know of it before trusting its figures."""
    found = ["This is what the board kept by itself: of each plot its sums. What went on within a "
             "plot it does not know, nor on which day it was, nor what was applied without a "
             "trial."]
    if record.damaged:
        found.append(f"Damaged lines of the record that were left out: {record.damaged}.")
    if len(set(record.marks)) > 1:
        found.append(f"The record has plots of {len(set(record.marks))} plans.")
    return found
