"""Totals that neither drift nor overflow: counts with a carry, no floats."""

from rate_control.units import MAX_SECTIONS


class Register:
    """A sum in two small ints: whole units, and parts below one unit.

    add() takes parts, 0..2**29; base parts make a unit. 2**30 units are never reached: at one
    unit a square metre that is 100,000 ha.
    """

    def __init__(self, base):
        self.base = base
        self.whole = 0
        self.part = 0

    def add(self, parts):
        """Add parts (not negative)."""
        self.part += parts
        if self.part >= self.base:
            self.whole += self.part // self.base
            self.part %= self.base

    def clear(self):
        """Start again at zero."""
        self.whole = 0
        self.part = 0


SPAN_UL = 50000  # shared out among the sections once so much has come together
SPAN_MM = 2000


class Totals:
    """What one job has used: for the whole machine and for each section.

    Volume counts every metered pulse outside the bench, including the rest that runs through
    after a stop. Area, distance and time count while applying. The whole machine's registers are
    right after every tick; the sections' follow in spans of some decimetres or millilitres, and
    at every change of sections, a stop included: a tick has better to do.
    """

    def __init__(self):
        sections = range(MAX_SECTIONS)
        self.volume = Register(1000000)  # L and uL
        self.area = Register(1000000)  # m2 and mm2
        self.distance = Register(1000)  # m and mm
        self.time = Register(1000)  # s and ms
        self.bench_volume = Register(1000000)  # L and uL
        self.section_volume = [Register(1000000) for _ in sections]  # mL and nL
        self.section_area = [Register(1000000) for _ in sections]  # m2 and mm2
        self._carry_nl = 0
        self._mask = 0  # of the span, with its widths
        self._widths_mm = ()
        self._width_mm = 0
        self._span_ul = 0
        self._span_mm = 0

    def add_volume(self, volume_ul, mask, widths_mm, width_mm):
        """Add a metered volume, shared among the open sections by width."""
        self.volume.add(volume_ul)
        self._follow(mask, widths_mm, width_mm)
        self._span_ul += volume_ul

    def add_ground(self, distance_mm, tick_ms, mask, widths_mm, width_mm):
        """Add the ground covered in a tick with the sections in mask open."""
        self.distance.add(distance_mm)
        self.time.add(tick_ms)
        self.area.add(distance_mm * width_mm)
        self._follow(mask, widths_mm, width_mm)
        self._span_mm += distance_mm

    def _follow(self, mask, widths_mm, width_mm):
        if mask != self._mask or self._span_ul > SPAN_UL or self._span_mm > SPAN_MM:
            self.share_out()
            self._mask = mask
            self._widths_mm = widths_mm
            self._width_mm = width_mm

    def share_out(self):
        """Give the sections their parts of the span."""
        if self._width_mm:
            # nL on each millimetre of open width; the remainder waits for the next span
            self._carry_nl += self._span_ul * 1000
            share_nl = self._carry_nl // self._width_mm
            self._carry_nl %= self._width_mm
            index = 0
            for section_width in self._widths_mm:
                if self._mask >> index & 1:
                    self.section_volume[index].add(share_nl * section_width)
                    self.section_area[index].add(self._span_mm * section_width)
                index += 1
        self._span_ul = 0
        self._span_mm = 0
