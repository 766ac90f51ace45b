"""The plan that goes to a board, and the record of plots that comes home from it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from app.link_frame import FrameError, parse
from app.plan_file import PLAN_FILE
from app.trial_record import LOG_FILE
from host_sim.board.mpremote_port import BoardError, MpremotePort
from host_sim.common.data_package import INTEGER, NUMBER, TEXT, Column, Table, package_files
from host_sim.common.errors import InputError

LARGEST_BYTES = 2_000_000  # a full record has half of that
CM2_HA = 1e8
UL_L = 1e6

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


def send(port: MpremotePort, data: bytes) -> None:
    """Put a plan on the board, read it back, and start the board. Raises BoardError."""
    port.identify()
    with TemporaryDirectory() as folder:
        there, back = Path(folder, "plan"), Path(folder, "back")
        there.write_bytes(data)
        port.do("fs", "cp", str(there), f":{PLAN_FILE}")
        port.do("fs", "cp", f":{PLAN_FILE}", str(back))
        if back.read_bytes() != data:
            raise BoardError(f"{port.port}: the plan reads back differently; send it again")
    port.do("reset")


def fetch(port: MpremotePort) -> bytes:
    """The record of plots of a board, which starts anew afterwards. Raises BoardError."""
    port.identify()
    with TemporaryDirectory() as folder:
        path = Path(folder, "log")
        port.do("fs", "cp", f":{LOG_FILE}", str(path))
        data = path.read_bytes()
    port.do("reset")
    return data


def record_files(data: bytes) -> tuple[dict[str, str], int]:
    """The files of a fetched record by name, and how many of its lines are not whole."""
    if len(data) > LARGEST_BYTES:
        raise InputError(f"{LOG_FILE}: is larger than any record")
    bodies = list(_bodies(data))
    rows = [_row(number, body) for number, body in bodies if body and "volume_ul" in body]
    texts = {LOG_FILE: data.decode("ascii", "replace")} | package_files(
        "plots", "Plots as the board recorded them", {PLOTS: rows})
    return texts, sum(body is None for _, body in bodies)


def _bodies(data: bytes) -> Iterator[tuple[int, dict[str, Any] | None]]:
    """Number and content of every line, None for one that is damaged."""
    for line in data.split(b"\n"):
        if not line:
            continue
        try:
            number, body = parse(line)
            content = json.loads(body)
            yield number, content if isinstance(content, dict) else None
        except (FrameError, ValueError):
            yield 0, None


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
           "time_s": body["time_ms"] / 1000, "faults": " ".join(body["faults"]) or None}
    for end in ("begin", "end"):
        east_mm, north_mm = body.get(end) or (None, None)
        row[f"{end}_east_m"] = None if east_mm is None else east_mm / 1000
        row[f"{end}_north_m"] = None if north_mm is None else north_mm / 1000
    return row
