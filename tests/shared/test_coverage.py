"""Ground that is covered is found again, and holds sections shut; it never opens one."""

from app.coverage import BEHIND_MM, FULL, PENDING, STALE_MS, GroundHold
from app.covered_ground import CELL_MM, TILE, CoveredGround
from app.position import UNKNOWN
from app.trace_ring import TraceRing
from rate_control.interlock import APPLYING, BENCH, READY
from rate_control.procedures import RUNNING
from rate_control.records import Decided, Measured, Outputs, Request
from rate_control.section import Sections
from rate_control.settings import build
from rate_control.totals import Totals
from tests.shared.test_nmea import heap_lock, heap_unlock

WIDTHS = [500, 1000, 500]
ALL = 7


class Position:
    """A position that is set by hand."""

    def __init__(self):
        self.east_mm = self.north_mm = 0
        self.heading_cdeg = 0
        self.quality = 4
        self.age_ms = 100
        self.plane = self


class Controller:
    def __init__(self):
        values = {"section_count": 3, "section_width_mm": WIDTHS + [1000] * 5,
                  "hold_lead_ms": [200, 100]}
        self.settings = build(values)[0]
        self.sections = Sections(self.settings)
        self.request = Request()
        self.measured = Measured()
        self.measured.moving = 1
        self.decided = Decided()
        self.decided.state = APPLYING
        self.outputs = Outputs()
        self.totals = Totals()
        self.procedure = None


class Application:
    def __init__(self):
        self.controller = Controller()
        self.ring = TraceRing()
        self.notes = []


class Rig:
    """Drives straight at 1.4 m/s, a tick 70 mm, with all sections on by hand."""

    def __init__(self, tiles=40):
        self.app = Application()
        self.position = Position()
        self.coverage = GroundHold(self.app, self.position, tiles)
        self.ticks_open = [0, 0, 0]
        self.by_hand = ALL

    def drive(self, length_mm, step_mm=70, east=0, north=1):
        controller = self.app.controller
        for _ in range(length_mm // step_mm):
            self.position.east_mm += east * step_mm
            self.position.north_mm += north * step_mm
            controller.measured.distance_mm = step_mm
            controller.measured.speed_mm_s = step_mm * 20
            mask = self.by_hand & ~controller.request.hold_mask
            controller.outputs.section_mask = mask
            for section in range(3):
                self.ticks_open[section] += mask >> section & 1
            self.coverage.tick(controller, self.app.ring.filling)

    def held(self):
        return self.app.controller.request.hold_mask

    def go_to(self, east_mm, north_mm, heading_cdeg):
        """Turn round with the bar lifted, far enough that all is marked."""
        self.by_hand = 0
        self.position.east_mm = east_mm + 50000
        self.drive(2 * BEHIND_MM)
        self.position.east_mm, self.position.north_mm = east_mm, north_mm
        self.position.heading_cdeg = heading_cdeg
        self.by_hand = ALL


def test_cell_is_covered_where_its_middle_was():
    ground = CoveredGround(4)
    ground.cover(125, 125)
    ground.cover(-125, -125)
    ground.cover(1010, 1125)  # near the edge of its cell
    for east, north, covered in ((0, 0, 1), (249, 249, 1), (250, 0, 0), (0, 250, 0), (-1, -1, 1),
                                 (-250, -250, 1), (-251, 0, 0), (1010, 1125, 0), (10**7, 0, 0)):
        assert ground.is_covered(east, north) == covered, (east, north)
    ground.clear()
    assert not ground.is_covered(0, 0)


def test_whole_tiles_are_kept_apart():
    ground = CoveredGround(64)
    side = TILE * CELL_MM
    places = [(east * side + 125, north * side + 125) for east in range(-3, 4)
              for north in range(-3, 4)]
    for east, north in places:
        ground.cover(east, north)
    assert ground.forgotten == 0
    for east, north in places:
        assert ground.is_covered(east, north)
        assert not ground.is_covered(east + CELL_MM, north)


def test_full_grid_forgets_and_invents_nothing():
    ground = CoveredGround(8)
    side = TILE * CELL_MM
    for index in range(100):
        ground.cover(index * side + 125, 125)
        assert ground.is_covered(index * side + 125, 125)
        assert not ground.is_covered(index * side + 125 + CELL_MM, 125)
    assert ground.forgotten >= 92
    assert sum([ground.is_covered(index * side + 125, 125) for index in range(100)]) <= 8


def test_machine_does_not_hold_itself():
    rig = Rig()
    rig.drive(20000)
    assert rig.ticks_open == [20000 // 70] * 3
    assert rig.app.ring.filling[-1] == 0


def test_slow_machine_without_leads_does_not_hold_itself_either():
    """It looks at the very cell that it covers."""
    rig = Rig()
    rig.app.controller.settings.hold_lead_ms = [0, 0]
    rig.drive(10000, step_mm=20)
    assert rig.ticks_open == [500] * 3


def test_same_ground_is_held_the_second_time():
    rig = Rig()
    rig.drive(20000)
    rig.go_to(0, 5000, 0)
    rig.ticks_open = [0, 0, 0]
    rig.drive(10000)
    assert rig.held() == ALL and rig.app.ring.filling[-1] == ALL
    assert max(rig.ticks_open) <= 2
    rig.drive(12000)  # beyond its end
    assert rig.held() == 0


def test_it_opens_and_shuts_before_the_edge_by_its_leads():
    """At 1.4 m/s, 0.25 s of lead and tick are 350 mm, 0.15 s 210 mm; a cell is 250 mm."""
    rig = Rig()
    rig.by_hand = 0
    rig.drive(1000)
    rig.by_hand = ALL
    rig.drive(9000)
    start, end = 1000, rig.position.north_mm
    rig.go_to(0, -4000, 0)
    while not rig.held():
        rig.drive(70)
    assert -210 - 250 - 70 <= rig.position.north_mm - (start + 280) <= -210 + 250 + 70
    while rig.held():
        rig.drive(70)
    assert -350 - 250 - 70 <= rig.position.north_mm - end <= -350 + 250 + 70


def test_section_whose_ground_is_covered_only_in_part_stays_open():
    rig = Rig()
    rig.drive(20000)
    rig.go_to(800, 5000, 0)  # 0.8 m to the right: from -1 to 1 m it was covered
    rig.drive(3000)
    assert rig.held() == 1  # from -0.2 to 0.3 m of the left section
    rig.go_to(-800, 5000, 0)
    rig.drive(3000)
    assert rig.held() == 4


def test_way_back_has_left_and_right_the_other_way():
    rig = Rig()
    rig.drive(20000)
    rig.go_to(800, 15000, 18000)
    rig.drive(3000, north=-1)
    assert rig.held() == 4


def test_nothing_is_held_where_it_is_not_known_where():
    rig = Rig()
    rig.drive(20000)
    for name, value in (("quality", 0), ("age_ms", STALE_MS + 50), ("heading_cdeg", UNKNOWN),
                        ("plane", None)):
        rig.go_to(0, 5000, 0)
        rig.drive(2000)
        assert rig.held() == ALL, name
        before = getattr(rig.position, name)
        setattr(rig.position, name, value)
        rig.drive(70)
        assert rig.held() == 0, name
        setattr(rig.position, name, before)


def test_nothing_is_held_at_rest_on_the_bench_or_in_a_procedure():
    class Procedure:
        state = RUNNING

    rig = Rig()
    rig.drive(20000)
    controller = rig.app.controller
    for thing, name, value in ((controller.measured, "moving", 0),
                               (controller.decided, "state", BENCH),
                               (controller, "procedure", Procedure)):
        rig.go_to(0, 5000, 0)
        rig.drive(2000)
        assert rig.held() == ALL, name
        before = getattr(thing, name)
        setattr(thing, name, value)
        rig.drive(70)
        assert rig.held() == 0, name
        setattr(thing, name, before)
    controller.decided.state = READY  # where all are held, a section is missing
    rig.go_to(0, 5000, 0)
    rig.drive(2000)
    assert rig.held() == ALL


def test_new_job_and_new_plane_begin_with_bare_ground():
    for change in ("totals", "plane"):
        rig = Rig()
        rig.drive(20000)
        if change == "totals":
            rig.app.controller.totals = Totals()
        else:
            rig.position.plane = Totals()
        rig.coverage.poll()
        rig.go_to(0, 5000, 0)
        rig.drive(2000)
        assert rig.held() == 0, change


def test_full_memory_is_told_once():
    rig = Rig(tiles=3)
    rig.drive(100000)
    rig.coverage.poll()
    rig.coverage.poll()
    assert rig.app.notes == [FULL]


def test_fast_machine_marks_its_ground_too():
    rig = Rig()
    rig.drive(40000, step_mm=500)  # 36 km/h
    rig.go_to(0, 5000, 0)
    rig.drive(5000)
    assert rig.held() == ALL


def test_ticks_allocate_nothing():
    rig = Rig()
    rig.drive(5000)
    heap_lock()
    try:
        rig.drive(20000)
        rig.position.north_mm = 0
        rig.drive(10000)
    finally:
        heap_unlock()
    assert rig.held() and rig.coverage._waiting <= PENDING
