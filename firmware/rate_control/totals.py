"""Totals that neither drift nor overflow: counts with a carry, no floats."""

from rate_control.intmath import HALF
from rate_control.units import MAX_SECTIONS, TICK_MS


class Register:
    """A sum in two small ints: whole units, and parts below one unit.

    add() takes parts, 0..2**30 - base; base parts make a unit. 2**30 units are never reached: at
    one unit a square metre that is 100,000 ha.
    """

    def __init__(self, base: int) -> None:
        self.base = base
        self.whole = 0
        self.part = 0

    def add(self, parts: int) -> None:
        """Add parts (not negative)."""
        parts += self.part
        base = self.base
        if parts >= base:
            self.whole += parts // base
            parts %= base
        self.part = parts

    def thousandths(self) -> int:
        """Return the sum in thousandths of a unit, rounded down: mL where the unit is a litre."""
        return self.whole * 1000 + self.part * 1000 // self.base

    def clear(self) -> None:
        """Start again at zero."""
        self.whole = 0
        self.part = 0


SHARES_UL = 32  # a section's volume is counted in 1/32 uL
WRAP = HALF - 1
MACHINE = MAX_SECTIONS  # among those that take turns, after the sections
LAST_TURN = 2 * MACHINE + 1


class Totals:
    """What one job has used: for the whole machine and for each section.

    Volume counts every metered pulse outside the bench, including the rest that runs through
    after a stop. Area, distance and time count while sections are open. All take turns, one a
    tick, for a tick has better to do: each is behind by less than a second, and right whenever
    its section has closed.
    """

    def __init__(self) -> None:
        sections = range(MAX_SECTIONS)
        self.volume = Register(1000000)  # L and uL
        self.area = Register(1000000)  # m2 and mm2
        self.distance = Register(1000)  # m and mm
        self.time = Register(1000)  # s and ms
        self.bench_volume = Register(1000000)  # L and uL
        self.section_volume = [Register(1000 * SHARES_UL) for _ in sections]  # mL and 1/32 uL
        self.section_area = [Register(1000000) for _ in sections]  # m2 and mm2
        self.rate_ml_ha = 0  # of the job, filled in whenever it is kept; 0: not said
        self._mask = 0  # sections open in the tick before, with their widths
        self._widths_mm: list[int] | tuple[int, ...] = ()
        self._width_mm = 0
        # Two sums that grow while sections are open and wrap at 2**29: the ground covered, and
        # the liquid on each millimetre of open width. A section gets its width times what they
        # have grown by since it was its turn.
        self._ground_mm = 0
        self._liquid = 0  # 1/32 uL
        self._carry = 0  # of it, less than one on each millimetre
        self._ground_then = [0] * (MACHINE + 1)
        self._liquid_then = [0] * MACHINE
        self._machine_ul = 0
        self._machine_ms = 0
        self._turn = 0

    def add(self, volume_ul: int, distance_mm: int, mask: int, widths_mm: list[int],
            width_mm: int) -> None:
        """Add a tick: metered volume, ground covered, the open sections and their width.

        widths_mm lists the widths of all sections, and does not change while any is open.
        """
        if mask != self._mask:
            self._widths_mm = widths_mm
            self._settle(mask ^ self._mask)
            self._mask = mask
            self._width_mm = width_mm
        if not mask:
            self.volume.add(volume_ul)
            return
        self._machine_ul += volume_ul
        self._machine_ms += TICK_MS
        self._ground_mm = (self._ground_mm + distance_mm) & WRAP
        liquid = self._carry + volume_ul * SHARES_UL
        self._liquid = (self._liquid + liquid // width_mm) & WRAP
        self._carry = liquid % width_mm
        turn = self._turn
        index = turn >> 1
        if turn & 1:
            self._settle_liquid(index)
        else:
            self._settle_ground(index)
        self._turn = turn + 1 if turn < LAST_TURN else 0

    def settle(self) -> None:
        """Settle with all: for whoever reads between two ticks, and cannot be interrupted."""
        self._settle(self._mask)

    def _settle(self, mask: int) -> None:
        """Settle with some sections, and with the machine."""
        self._settle_ground(MACHINE)
        self._settle_liquid(MACHINE)
        index = 0
        while mask >> index:
            if mask >> index & 1:
                self._settle_ground(index)
                self._settle_liquid(index)
            index += 1

    def _settle_ground(self, index: int) -> None:
        """Give a section, or the machine, the area that it is due; count from here."""
        ground_mm = self._ground_mm
        grown_mm = (ground_mm - self._ground_then[index]) & WRAP
        self._ground_then[index] = ground_mm
        if index == MACHINE:
            self.distance.add(grown_mm)
            self.area.add(grown_mm * self._width_mm)
        elif self._mask >> index & 1:
            self.section_area[index].add(grown_mm * self._widths_mm[index])

    def _settle_liquid(self, index: int) -> None:
        """Give a section, or the machine, the volume that it is due; count from here."""
        if index == MACHINE:
            self.volume.add(self._machine_ul)
            self._machine_ul = 0
            self.time.add(self._machine_ms)
            self._machine_ms = 0
            return
        liquid = self._liquid
        grown = (liquid - self._liquid_then[index]) & WRAP
        self._liquid_then[index] = liquid
        if self._mask >> index & 1:
            self.section_volume[index].add(grown * self._widths_mm[index])
