"""Holds a section shut where the ground before it is covered already.

It is loaded where the setting position_use asks for it. It can only shut: a section is open where
its hand switch has it open and it is not held. Nothing is held while the position is not known or
stale, while the machine does not move, or while a procedure runs.

Looked at is the ground where the outlets will be once the valve has answered: hold_lead_ms before,
one time for opening and one for shutting. A section is held where all of its width is covered. What
a section covers counts once the machine is BEHIND_MM further, so that it never holds itself.
"""

from app.covered_ground import TILE_BYTES, CoveredGround
from app.headings import sine_q14
from app.position import UNKNOWN, Position
from app.trace_more import widen
from rate_control.interlock import APPLYING, PRIMING, READY
from rate_control.procedures import RUNNING
from rate_control.units import TICK_MS

TYPE_CHECKING = False  # the type checker takes it for true; a board gets none of it
if TYPE_CHECKING:
    from app.application import Application
    from rate_control.controller import Controller

NAMES = ("hold_mask",)
HOLDING = 1 << APPLYING | 1 << READY | 1 << PRIMING  # states in which sections may be held
STALE_MS = 1500  # a fix that is older holds nothing
STEP_MM = 80  # way from mark to mark, and from point to point across
STEPS_MAX = 8  # in a tick
BEHIND_MM = 3000
PENDING = 48  # marks that wait: BEHIND_MM and a little
POINTS_MAX = 12  # across a section, where it is looked at
ACROSS_MM = 200  # about so far apart
TILES_MAX = 512  # 3.2 ha
TILE_COST = TILE_BYTES + 8
FULL = "coverage: its memory is full, the oldest ground is forgotten"
POLL_MS = 500


def fit(application: "Application", _: object = None) -> None:
    """Give an application its coverage, behind its position."""
    from app.parts import room
    tiles = min(room() // TILE_COST, TILES_MAX)
    position = application.position
    if position is not None:
        coverage = GroundHold(application, position, tiles)
        application.parts.append(coverage)
        application.jobs.add("coverage", POLL_MS, coverage.poll)


class GroundHold:
    """Marks what sections cover, and asks for those that are to be held."""

    def __init__(self, application: "Application", position: Position, tiles: int) -> None:
        self.ground = CoveredGround(tiles)
        self._application = application
        self._position = position
        self._column = widen(application.ring, NAMES)
        self._plane = position.plane
        self._totals = application.controller.totals
        self._told = 0
        count = len(application.controller.settings.section_width_mm)
        self._open_ms = [0] * count  # since it was told to open; negative: to shut
        self._east = [0] * PENDING  # marks that wait, oldest at _first
        self._north = [0] * PENDING
        self._sine = [0] * PENDING
        self._cosine = [0] * PENDING
        self._mask = [0] * PENDING
        self._way = [0] * PENDING
        self._first = 0
        self._waiting = 0
        self._travelled = 0  # wraps
        self._rest_mm = 0

    def poll(self) -> None:
        """Begin anew with a new job or a new plane, and tell when memory is short."""
        application = self._application
        totals = application.controller.totals
        if totals is not self._totals or self._position.plane is not self._plane:
            self._totals = totals
            self._plane = self._position.plane
            self._waiting = 0
            self.ground.clear()
            self._told = 0
        if self.ground.forgotten and not self._told:
            self._told = 1
            application.notes.append(FULL)

    def tick(self, controller: "Controller", line: list[int]) -> None:
        """Mark what is behind, look at what is ahead. It allocates nothing."""
        position = self._position
        hold = 0
        known = position.quality and position.age_ms <= STALE_MS
        if known and position.heading_cdeg != UNKNOWN and position.plane is self._plane:
            sine = sine_q14(position.heading_cdeg)
            cosine = sine_q14(position.heading_cdeg + 9000)
            self._follow(controller, sine, cosine)
            if self._may_hold(controller):
                hold = self._ahead(controller, sine, cosine)
        controller.request.hold_mask = hold
        line[self._column] = hold

    def _may_hold(self, controller: "Controller") -> int:
        state = controller.decided.state
        if not controller.measured.moving or not HOLDING >> state & 1:
            return 0
        procedure = controller.procedure
        return procedure is None or procedure.state != RUNNING

    def _ahead(self, controller: "Controller", sine: int, cosine: int) -> int:
        """Return the mask of sections whose ground ahead is covered over all their width."""
        settings = controller.settings
        position = self._position
        held = controller.request.hold_mask
        speed_mm_s = controller.measured.speed_mm_s
        left = -(controller.sections.total_width_mm >> 1)
        hold = 0
        bit = 1
        for width in controller.sections.widths_mm:
            lead_ms = settings.hold_lead_ms[0 if held & bit else 1] + TICK_MS
            ahead = speed_mm_s * lead_ms // 1000
            east = position.east_mm + (ahead * sine >> 14)
            north = position.north_mm + (ahead * cosine >> 14)
            if self._all_covered(east, north, sine, cosine, left, width):
                hold |= bit
            left += width
            bit <<= 1
        return hold

    def _all_covered(self, east: int, north: int, sine: int, cosine: int, left: int, width: int
                     ) -> int:
        """Return whether the ground below a section is covered, 0 or 1."""
        points = width // ACROSS_MM + 1
        if points > POINTS_MAX:
            points = POINTS_MAX
        ground = self.ground
        for point in range(points):
            aside = left + width * (2 * point + 1) // (2 * points)
            if not ground.is_covered(east + (aside * cosine >> 14), north - (aside * sine >> 14)):
                return 0
        return 1

    def _follow(self, controller: "Controller", sine: int, cosine: int) -> None:
        """Note the swath of this tick, in steps along the way, and mark what is far behind."""
        mask = self._flowing(controller)
        way_mm = controller.measured.distance_mm + self._rest_mm
        steps = way_mm // STEP_MM
        self._rest_mm = way_mm % STEP_MM
        if steps > STEPS_MAX:
            steps = STEPS_MAX
        while steps:
            steps -= 1
            self._travelled = (self._travelled + STEP_MM) & 0xFFFFFF
            back = self._rest_mm + steps * STEP_MM
            if mask:
                self._note(mask, sine, cosine, back)
            while self._waiting and self._gone() > BEHIND_MM or self._waiting == PENDING:
                self._mark_oldest(controller)

    def _gone(self) -> int:
        """Return the way since the oldest mark that waits."""
        return (self._travelled - self._way[self._first]) & 0xFFFFFF

    def _flowing(self, controller: "Controller") -> int:
        """Return the mask of sections that let liquid out: each answers its lead late."""
        lead_ms = controller.settings.hold_lead_ms
        opened = controller.outputs.section_mask
        mask = 0
        bit = 1
        for section in range(len(self._open_ms)):
            since_ms = self._open_ms[section]
            if opened & bit:
                since_ms = since_ms + TICK_MS if since_ms > 0 else TICK_MS
                if since_ms > lead_ms[0]:
                    mask |= bit
            else:
                since_ms = since_ms - TICK_MS if since_ms < 0 else -TICK_MS
                if -since_ms < lead_ms[1]:
                    mask |= bit
            self._open_ms[section] = min(max(since_ms, -60000), 60000)
            bit <<= 1
        return mask

    def _note(self, mask: int, sine: int, cosine: int, back_mm: int) -> None:
        """Let a line across the way wait, so far behind the present position."""
        slot = (self._first + self._waiting) % PENDING
        self._waiting += 1
        self._east[slot] = self._position.east_mm - (back_mm * sine >> 14)
        self._north[slot] = self._position.north_mm - (back_mm * cosine >> 14)
        self._sine[slot] = sine
        self._cosine[slot] = cosine
        self._mask[slot] = mask
        self._way[slot] = self._travelled

    def _mark_oldest(self, controller: "Controller") -> None:
        """Mark the ground below one line across the way."""
        slot = self._first
        sine = self._sine[slot]
        cosine = self._cosine[slot]
        east = self._east[slot]
        north = self._north[slot]
        mask = self._mask[slot]
        left = -(controller.sections.total_width_mm >> 1)
        for width in controller.sections.widths_mm:
            if mask & 1:
                aside = left + STEP_MM // 2
                while aside < left + width:
                    self.ground.cover(east + (aside * cosine >> 14), north - (aside * sine >> 14))
                    aside += STEP_MM
            left += width
            mask >>= 1
        self._first = (slot + 1) % PENDING
        self._waiting -= 1
