"""What a run with a pressure sensor tells of it: its readings at work, and what it said."""

from __future__ import annotations

from typing import Any

import numpy as np

from app.pressure import BROKEN, UNKNOWN
from app.pressure_watch import NAMES, SAYS
from host_sim.runs.record import RunRecord
from rate_control.interlock import APPLYING

SHARES = 5, 95  # percentiles of what it read while applying: no moment of a switched section


def sensed_pressure(record: RunRecord) -> dict[str, Any]:
    """The figures under their one name; nothing where there was no sensor."""
    if not all(name in record.columns for name in NAMES):
        return {}
    pressure, permille, says = (record[name] for name in NAMES)
    read = pressure[(record["state"] == APPLYING) & (pressure != BROKEN)]
    known = permille[permille != UNKNOWN]
    low_pa, high_pa = np.percentile(read, SHARES).tolist() if len(read) else (None, None)
    said = sorted({int(code) for code in says.tolist() if 0 < code < len(SAYS)})
    return {"pressure": {
        "low_pa": low_pa,
        "high_pa": high_pa,
        "outlets_pct": float(np.median(known)) / 10 if len(known) else None,
        "said": [SAYS[code] for code in said],
    }}
