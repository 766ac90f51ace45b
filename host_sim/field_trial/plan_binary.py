"""A plan as the file that a board reads; its form is in firmware/app/plan_file.py."""

from __future__ import annotations

import struct
from pathlib import Path

from app.link_frame import crc16
from app.plan_file import BY_IMPLEMENT, BY_KEY, BY_WAY, HEAD, ROW, VERSION
from host_sim.common.errors import InputError
from host_sim.field_trial.plan import Plan
from host_sim.twin.scenario_events import ML_HA_PER_M

BY = {"implement": BY_IMPLEMENT, "distance": BY_WAY, "key": BY_KEY}


def board_plan(path: Path, plan: Plan, width_m: float, by: str | None = None) -> bytes:
    """The bytes for a board whose bar is so wide. Raises InputError where it cannot drive so.

    `by` is what begins a plot; None is the implement where every plot is a pass from its beginning
    on, else the distance.
    """
    needs_way = [plot for index, plot in enumerate(plan.plots) if plot.treated and (
        plot.start_m or index and plan.plots[index - 1].number == plot.number)]
    chosen = by or ("distance" if needs_way else "implement")
    if chosen == "implement" and needs_way:
        raise InputError(f"{path}: start: plot {needs_way[0].name} does not begin where the "
                         "implement comes down: send the plan with --by distance or --by key")
    rows = plan_rows(plan)
    head = struct.pack(HEAD, b"PLAN", VERSION, BY[chosen], len(rows), round(width_m * 1000),
                       mark_of(rows))
    return sealed(head) + b"".join(rows)


def plan_rows(plan: Plan) -> list[bytes]:
    """The plots as the board has them, in the order of driving."""
    return [sealed(struct.pack(ROW, index, plot.number, round(plot.rate_m * ML_HA_PER_M),
                               round(plot.start_m * 1000), round(plot.length_m * 1000),
                               plot.name.encode(), plot.treatment.encode()))
            for index, plot in enumerate(plan.plots)]


def sealed(body: bytes) -> bytes:
    """A head or a row with its checksum."""
    return body + struct.pack("<H", crc16(body, len(body)))


def mark_of(rows: list[bytes]) -> int:
    """What tells a plan from any other: a sum over the checksums of its rows."""
    mark = 0
    for row in rows:
        mark = (mark << 1 ^ mark >> 15 ^ struct.unpack("<H", row[-2:])[0]) & 0xFFFF
    return mark
