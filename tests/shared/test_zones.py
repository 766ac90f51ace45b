"""Zones of a file: the rate follows the place, and a file that is not sound changes nothing."""

import struct

from app import parts
from app.link_frame import crc16
from app.zones import HEAD, MAGIC, NOT_ZONES, SIZE_MAX, Zones, fit, problem_of
from tests.shared.panel_rig import PanelRig

RATES = (60000, 90000, 120000)


def zone_file(rates=RATES, cells=b"\x21\x03", columns=3, rows=1, version=1, cell_mm=10000,
              latitude=411500):
    """Three zones of 10 m from the origin eastwards, the last one beside nothing."""
    data = struct.pack(HEAD, MAGIC, version, len(rates), cell_mm, columns, rows, latitude, -964800,
                       0, 0) + struct.pack("<%dI" % len(rates), *rates) + cells
    return data + struct.pack("<H", crc16(data, len(data)))


class Position:
    quality = 4
    plane = None
    heading_cdeg = 9000
    east_mm = north_mm = 5000


class Rig:
    def __init__(self, data=None, highest=5000000):
        self.app = PanelRig().app
        self.app.controller.settings.highest_rate_ml_ha = highest
        self.app.position = self.position = Position()
        fit(self.app, zone_file() if data is None else data)
        self.app.controller.measured.speed_mm_s = 0

    def rate_at(self, east_mm, north_mm=5000):
        self.position.east_mm, self.position.north_mm = east_mm, north_mm
        for job in self.app.jobs._table:
            if job[0] == "zones":
                job[2]()
        return self.app.controller.request.rate_ml_ha


def test_rate_follows_the_zones():
    rig = Rig()
    assert "zones: 60.0 L/ha to 120.0 L/ha" in rig.app.notes
    before = rig.app.controller.request.rate_ml_ha
    assert rig.rate_at(-1) == before and rig.rate_at(5000, -1) == before
    assert rig.rate_at(0) == 60000
    assert rig.rate_at(9999) == 60000 and rig.rate_at(10000) == 90000
    assert rig.rate_at(29999) == 120000
    assert rig.rate_at(30000) == 120000  # beside all zones it stays
    assert rig.rate_at(29999, 10000) == 120000


def test_rate_by_hand_holds_until_the_next_zone():
    rig = Rig()
    assert rig.rate_at(0) == 60000
    assert rig.app.set_rate(75000) == ""
    assert rig.rate_at(5000) == 75000
    assert rig.rate_at(31000) == 75000 and rig.rate_at(5000) == 75000
    assert rig.rate_at(15000) == 90000


def test_next_zone_begins_before_its_edge_by_the_delay_of_the_loop():
    rig = Rig()
    settings = rig.app.controller.settings
    settings.loop_delay_ms, settings.loop_lag_ms = 200, 300
    rig.app.controller.measured.speed_mm_s = 2000
    assert rig.rate_at(8900) == 60000
    assert rig.rate_at(9100) == 90000  # 1 m before


def test_nothing_changes_where_it_is_not_known_where():
    rig = Rig()
    assert rig.rate_at(0) == 60000
    rig.position.quality = 0
    assert rig.rate_at(15000) == 60000
    rig.position.quality = 4
    rig.position.plane = None  # another field
    assert rig.rate_at(15000) == 60000


def test_files_that_are_not_sound_are_refused_and_told():
    good = zone_file()
    assert problem_of(good) == ""
    for data, told in (
        (b"x", "no file of zones"), (b"ZONF" + good[4:], "no file of zones"),
        (zone_file(version=2), "of another version"), (good[:-1], "damaged"),
        (good[:30] + b"\xff" + good[31:], "damaged"), (zone_file(columns=9), "not whole"),
        (zone_file(cells=b"\x21"), "not whole"), (zone_file(rates=()), "not whole"),
        (zone_file(cell_mm=50), "not whole"), (zone_file(latitude=900001), "nowhere on earth"),
        (zone_file(rates=(60000, 90000, 1)), "a rate is out of range"),
        (good + b"\0" * 20000, "too large"),
    ):
        assert problem_of(data) == told, told
        rig = Rig(data)
        assert rig.app.notes == [NOT_ZONES % told]
        assert "zones" not in [job[0] for job in rig.app.jobs._table]


def test_rate_beyond_the_highest_refuses_the_whole_file():
    rig = Rig(highest=119999)
    assert rig.app.notes == [NOT_ZONES % "a rate is above the highest"]
    rig = Rig()
    rig.app.controller.settings.highest_rate_ml_ha = 100000  # lowered later
    before = rig.rate_at(15000)
    assert rig.rate_at(25000) == before and rig.app.failure


def test_every_cell_of_any_file_is_looked_up_in_its_bounds():
    zones = Zones(PanelRig().app, Position(), zone_file(cells=b"\xf1\x0f"))
    assert [zones.at(east, 5000) for east in (5000, 15000, 25000)] == [1, 0, 0]
    assert zones.at(-(10**7), 10**7) == 0


class SmallMemory:
    """A file of zones that is larger than the heap."""

    def read(self, name, offset=0, length=-1):
        """See Files."""
        if not 0 <= length <= 20000:
            raise MemoryError
        return bytes(length) if name == parts.ZONES_FILE else b""


def test_a_file_of_any_size_lets_the_board_start():
    """Another file by that name must not take the memory of the start: it is told, and not used."""
    app = PanelRig().app
    app.controller.settings.position_use = 1
    parts.fit(app, SmallMemory())
    assert app.notes == [NOT_ZONES % "no file of zones"]
    assert parts.ZONES_READ == SIZE_MAX + 1
