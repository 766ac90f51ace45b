"""Which speed is believed: one that a machine can have reached, seen more than once.

From the last believed speed a ceiling rises as fast as a machine can gain speed. What is above it
is noise, or a signal that was not there before. In motion the last believed speed is held for
the speed timeout; then no speed is valid until the ceiling has risen to the signal. A signal that
jumps out of a proved standstill is not believed however long it lasts: a machine passes through
the low speeds, and a sensor that was silent at a standstill would have shown them.
"""

from rate_control.intmath import isqrt
from rate_control.units import SPEED_MAX_MM_S, TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from rate_control.records import Measured
    from rate_control.settings import Settings

CHANGE_MM_S2 = 5000  # half of gravity: no field machine gains or loses speed faster
RISE_MM_S = CHANGE_MM_S2 * TICK_MS // 1000  # in a tick
PROOF_TICKS = 500 // TICK_MS  # that motion must last before it counts
PROOF_SIGHTINGS = 2  # in different ticks, each a report or an edge after an edge
SENSOR_MM = 25  # a sensor may be blind up to the speed that is reached within this


def unseen_mm_s(settings: "Settings") -> int:
    """Return the highest speed that a machine can reach, or brake from, between two pulses.

    From standstill over a distance s it is sqrt(2 a s): 0.5 m/s, and 2.7 m/s at 1.4 pulses/m.
    """
    mm_per_pulse = 1000000 // settings.speed_pulses_km
    return isqrt(2 * CHANGE_MM_S2 * max(mm_per_pulse, SENSOR_MM))


def standstill_ticks(settings: "Settings") -> int:
    """Return for how many ticks the source must see nothing before the machine stands.

    Never less than the speed timeout, nor than one pulse takes at the speed below which the
    machine no longer counts as moving: 5.8 s at 1,000 pulses/km and a cut-off of 0.2 m/s.
    """
    stop_below_mm_s = settings.speed_cutoff_mm_s * 7 // 8
    pulse_ms = 1000000000 // settings.speed_pulses_km // stop_below_mm_s  # mm a km x ms a s
    return max(settings.speed_timeout_ms, pulse_ms) // TICK_MS + 2


class Belief:
    """Follows one source of the speed.

    jumped: what it shows now is not believed. odd: and it contradicts what was known before, as
    nothing is when a controller is switched on in motion. valid: there is a believed speed.
    proved: and it was seen often enough to be motion. calm: proved and not jumped, so that what
    it shows is the speed. from_rest: before it a standstill was proved.
    """

    def __init__(self, settings: "Settings") -> None:
        self.jumped = 0
        self.odd = 0
        self.valid = 0
        self.proved = 0
        self.calm = 0
        self.from_rest = 0
        self._known = 0  # a speed has been believed, or a standstill proved
        self._start_mm_s = unseen_mm_s(settings)
        self._hold_ticks = settings.speed_timeout_ms // TICK_MS
        self._slow_mm_s = settings.speed_cutoff_mm_s * 7 // 8
        self._base_mm_s = self._start_mm_s  # believed last, or what may be reached unseen
        self._room_mm_s = 0  # what may have been gained since
        self._ticks = 0  # since the signal began, or in motion since it was last believed
        self._sightings = 0

    def silent(self, measured: "Measured") -> int:
        """Take a tick in which the source shows nothing at all; return the speed, 0.

        A signal that was lost at speed may come back at that speed; and no standstill was proved.
        """
        seen_mm_s = measured.speed_last_seen_mm_s
        lost = seen_mm_s > self._start_mm_s
        self._base_mm_s = seen_mm_s if lost else self._start_mm_s
        self._room_mm_s = 0
        if measured.standing and not lost:
            self.from_rest = 1
            self._known = 1
        else:
            self.from_rest = 0
        self.jumped = 0
        self.odd = 0
        self._ticks = 0
        return self._unknown()

    def update(self, speed_mm_s: int, valid: int, fresh: int) -> int:
        """Return the speed to go by; fresh: speed_mm_s was seen in this tick.

        valid is 0 between the first edge after a silence and the second.
        """
        room = self._room_mm_s + RISE_MM_S
        if fresh and valid:
            over = speed_mm_s - (speed_mm_s >> 3) - self._base_mm_s
            if over > room or speed_mm_s > SPEED_MAX_MM_S:
                self.jumped = 1
                self.calm = 0
            else:
                if not self.calm or speed_mm_s < self._slow_mm_s:
                    self._believe(speed_mm_s, room)
                self._base_mm_s = speed_mm_s
                room = 0
        self._room_mm_s = room
        if self.calm:
            return speed_mm_s if valid else self._unknown()
        return self._not_proved(speed_mm_s, valid)

    def _believe(self, speed_mm_s: int, room: int) -> None:
        """Take a speed that a machine can have reached, where something is not proved.

        One that fell faster than a machine brakes proves nothing, nor does one below the cut-off.
        """
        if speed_mm_s < self._slow_mm_s:
            self.proved = 0
            self._sightings = 0
        elif not self.proved:
            if speed_mm_s + (speed_mm_s >> 3) < self._base_mm_s - room and self.valid:
                self._sightings = 0
                self._ticks = 0
            self._sightings += 1
        else:
            self._ticks = 0
        self.calm = self.proved
        self.jumped = 0
        self.odd = 0
        self.valid = 1
        self._known = 1

    def _not_proved(self, speed_mm_s: int, valid: int) -> int:
        """Take a tick without a proved speed and return the speed to go by.

        One that jumped is, in motion, the last believed one for a while, and else none.
        """
        self._ticks += 1
        if self.jumped:
            self.odd = self._known
            self._room_mm_s = min(self._room_mm_s, SPEED_MAX_MM_S)
            if self.proved and self._ticks <= self._hold_ticks:
                return self._base_mm_s
            if self.from_rest:
                self._base_mm_s = self._start_mm_s
                self._room_mm_s = -RISE_MM_S  # it does not rise
                self._ticks = 0
            return self._unknown()
        if not valid:
            return self._unknown()
        if self._ticks >= PROOF_TICKS and self._sightings >= PROOF_SIGHTINGS:
            self.proved = 1
            self.calm = 1
            self.from_rest = 0
            self._ticks = 0
        return speed_mm_s

    def _unknown(self) -> int:
        """Have no speed; return 0."""
        self._sightings = 0
        self.valid = 0
        self.proved = 0
        self.calm = 0
        return 0
