"""The plan of a field trial on the board: a file of rows of one length, read a row at a time.

`python -m host_sim board plan` makes it of a plan (CSV). Little endian:

    "PLAN", version, by, count, width_mm, CRC-16 of all rows, CRC-16 of the head so far
    and for each plot, in the order of driving: index from 0, number of its pass, rate in mL/ha (0:
    nothing), where in its pass it begins, its length in mm, name, treatment, CRC-16 of the row
"""

import struct

from app.link_frame import crc16
from rate_control.ranges import out_of_range
from rate_control.settings import HIGH, LOW, row

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.files import LogFiles

PLAN_FILE = "plan"
VERSION = 1
HEAD = "<4sBBHIH"
HEAD_BYTES = 16
ROW = "<HHIII20s20s"
ROW_BYTES = 58
MOST_PLOTS = 500
LEAST_MM, MOST_MM = 500, 10000000

# what begins and ends a plot: the implement; the way from where it comes down; from a key
BY_IMPLEMENT, BY_WAY, BY_KEY = range(3)
INDEX, PASS, RATE, START, LENGTH, NAME, TREATMENT = range(7)
DAMAGED = "plan: damaged"


class PlanFile:
    """A plan in files. problem() must have been "" before a row is asked for."""

    def __init__(self, files: "LogFiles") -> None:
        self._files = files
        self.by = self.count = self.width_mm = self.mark = 0
        self._crc = 0  # of the row that was read last

    def problem(self, highest_ml_ha: int, bar_mm: int) -> str:
        """Return what is wrong with the whole of it, "" for nothing: read, for it takes a second.

        mark then tells this plan from any other.
        """
        head = self._files.read(PLAN_FILE, 0, HEAD_BYTES)
        if len(head) != HEAD_BYTES or head[:4] != b"PLAN" or _unsound(head):
            return DAMAGED
        _, version, self.by, self.count, self.width_mm, self.mark = struct.unpack(
            HEAD, head[:-2])
        if version != VERSION:
            return "plan: of another version"
        if self.by > BY_KEY or not 1 <= self.count <= MOST_PLOTS:
            return "plan: cannot be one"
        if abs(self.width_mm - bar_mm) * 100 > bar_mm:
            return "plan: for another width"
        crc = 0
        before = None
        for index in range(self.count):
            plot = self.plot(index)
            if plot is None:
                return DAMAGED
            if plot[RATE] > highest_ml_ha:
                return "plan: %s is above the highest rate" % plot[NAME]
            end = 0  # of the plot before, where the pass goes on
            if before is not None and plot[PASS] and before[PASS] == plot[PASS]:
                end = before[START] + before[LENGTH]
            if plot[START] < end - 1 or self.by == BY_IMPLEMENT and (end or plot[START]):
                return "plan: %s cannot be in that pass" % plot[NAME]
            crc = (crc << 1 ^ crc >> 15 ^ self._crc) & 0xFFFF
            before = plot
        return "" if crc == self.mark else DAMAGED

    def plot(self, index: int) -> tuple | None:
        """Return the row of a plot, from 0 on; None where it is not there whole or cannot be."""
        data = self._files.read(PLAN_FILE, HEAD_BYTES + index * ROW_BYTES, ROW_BYTES)
        if len(data) != ROW_BYTES or _unsound(data):
            return None
        self._crc = data[-2] | data[-1] << 8
        fields = list(struct.unpack(ROW, data[:-2]))
        rate = row("rate_ml_ha")
        for place in (NAME, TREATMENT):
            text = fields[place].rstrip(b"\0")
            if not text or min(text) < 32 or max(text) > 126:
                return None
            fields[place] = text.decode()
        wrong = (fields[INDEX] != index
                 or bool(fields[PASS]) != bool(fields[RATE])
                 or fields[RATE] and out_of_range(fields[RATE], rate[LOW], rate[HIGH])
                 or fields[START] > MOST_MM or not LEAST_MM <= fields[LENGTH] <= MOST_MM)
        return None if wrong else tuple(fields)


def _unsound(data: bytes) -> bool:
    """Return whether the CRC-16 at the end of data is not that of the rest."""
    return crc16(data, len(data) - 2) != data[-2] | data[-1] << 8
