"""Record what the controller was given, tick by tick, in a file that every interpreter reads.

The file is one line of text, `rate-control inputs 1`, then one line of JSON with two keys:
`settings`, the changes to the defaults for `rate_control.settings.build`, and `fields`, the
names of the numbers of a tick in their order. Then come the ticks, each one little-endian
32-bit signed integer a field, to the end of the file. The fields are `now_us`, attributes of
`rate_control.records.Inputs` and `Request`, and `reports.0.count` and the like for what
reported a speed.
"""

from __future__ import annotations

import array
import json
import sys
from pathlib import Path

from rate_control.records import Inputs, Request, SpeedReport
from rate_control.settings import Settings
from rate_control.units import REPORTING

FORMAT_LINE = "rate-control inputs 1"
INPUT_FIELDS = tuple(name for name in vars(Inputs()) if name != "reports")
REPORT_FIELDS = tuple(vars(SpeedReport()))
REPORTS_FIELDS = tuple(f"reports.{number}.{name}" for number in range(REPORTING)
                       for name in REPORT_FIELDS)
REQUEST_FIELDS = tuple(vars(Request()))
FIELDS = ("now_us", *INPUT_FIELDS, *REPORTS_FIELDS, *REQUEST_FIELDS)


class InputRecording:
    """Collects ticks; call `add` with what `step` is about to get, then `write` once."""

    def __init__(self, settings: Settings) -> None:
        """`settings` are what the controller was built with."""
        defaults = Settings().as_dict()
        self._settings = {
            name: value for name, value in settings.as_dict().items() if value != defaults[name]
        }
        self._numbers = array.array("i")

    def add(self, inputs: Inputs, request: Request, now_us: int) -> None:
        """Add the tick that begins at `now_us` with these records."""
        self._numbers.append(now_us)
        self._numbers.extend(getattr(inputs, name) for name in INPUT_FIELDS)
        for report in inputs.reports:
            self._numbers.extend(getattr(report, name) for name in REPORT_FIELDS)
        self._numbers.extend(getattr(request, name) for name in REQUEST_FIELDS)

    def __len__(self) -> int:
        """The number of ticks so far."""
        return len(self._numbers) // len(FIELDS)

    def write(self, path: Path) -> None:
        """Write all ticks so far to `path`."""
        header = json.dumps({"settings": self._settings, "fields": FIELDS})
        numbers = self._numbers[:]
        if sys.byteorder == "big":
            numbers.byteswap()
        path.write_bytes(f"{FORMAT_LINE}\n{header}\n".encode() + numbers.tobytes())
