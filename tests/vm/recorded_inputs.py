"""Read a recording of inputs (see host_sim/twin/input_recording.py) on any interpreter."""

import json
from array import array

from rate_control.records import Inputs

FORMAT_LINE = b"rate-control inputs 1"
# names in recordings from when a GNSS receiver was all that could report
OLD = {"gnss_count": "reports.0.count", "gnss_us": "reports.0.at_us",
       "gnss_fix": "reports.0.trusted", "gnss_speed_mm_s": "reports.0.speed_mm_s"}


class RecordedInputs:
    """An open recording. Its settings are a dict for rate_control.settings.build."""

    def __init__(self, path):
        self._file = open(path, "rb")  # noqa: SIM115 (closed by close())
        if self._file.readline().strip() != FORMAT_LINE:
            raise ValueError("not a recording of inputs: " + path)
        header = json.loads(self._file.readline())
        self.settings = header["settings"]
        self.fields = [OLD.get(name, name) for name in header["fields"]]
        self.numbers = array("i", [0] * len(self.fields))
        self._bytes = memoryview(self.numbers)
        self.inputs = Inputs()
        self.now_us = 0

    def next_tick(self):
        """Read the next tick into numbers; returns False at the end of the recording."""
        return self._file.readinto(self._bytes) == 4 * len(self.numbers)

    def fill(self, request):
        """Set now_us, inputs and request from numbers."""
        index = 0
        for name in self.fields:
            if name == "now_us":
                self.now_us = self.numbers[index]
            elif hasattr(request, name):
                setattr(request, name, self.numbers[index])
            elif name.startswith("reports."):
                _, number, field = name.split(".")
                setattr(self.inputs.reports[int(number)], field, self.numbers[index])
                if self.numbers[index]:
                    self.inputs.reporting = 1
            else:
                setattr(self.inputs, name, self.numbers[index])
            index += 1

    def close(self):
        """Close the file."""
        self._file.close()
