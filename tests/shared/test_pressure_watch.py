"""The file of a pressure sensor: only a sound one is used, and the board must have an input."""

import struct

from app.link_frame import crc16
from app.parts import PRESSURE_FILE
from app.pressure_watch import HEAD, NO_INPUT, NOT_USED, fit, problem_of
from app.weak_supply import BINS, place_of
from tests.shared.panel_rig import PanelRig

BAR = 100000


def pressure_file(version=2, kind=1, range_pa=4 * BAR, flow=233333, pressure=3 * BAR,
                  check=BAR // 2, prime=0, prime_s=0):
    """The file for a sensor of 4 bar and seven outlets of 2 L/min at 3 bar."""
    data = struct.pack(HEAD, b"PRES", version, kind, range_pa, flow, pressure, check,
                       prime, prime_s)
    return data + struct.pack("<H", crc16(data, len(data)))


class Terminal:
    """Where a sensor is wired to."""

    mv = 2500

    def terminal_mv(self):
        """See boards.board.VoltageInput."""
        return self.mv


class Drawer:
    """Files by name."""

    def __init__(self, data):
        self.data = data

    def read(self, name, offset, length):
        """See LogFiles."""
        return self.data if name == PRESSURE_FILE else b""


def rig_with(terminal, data=None):
    """A controller whose board has this input."""
    rig = PanelRig()
    rig.board.pressure_input = lambda: terminal
    fit(rig.app, Drawer(pressure_file() if data is None else data))
    return rig


def test_a_sound_file_is_used_and_read_in_every_tick():
    terminal = Terminal()
    rig = rig_with(terminal)
    assert problem_of(pressure_file()) == "" and rig.app.notes == []
    for mv, pa in ((500, 0), (2500, 2 * BAR), (4500, 4 * BAR), (0, -1), (4800, -1)):
        terminal.mv = mv
        rig.ticks(1)
        assert rig.app.ring.newest()[-3] == pa and rig.app.parts[0].pressure == pa


def test_whatever_is_wrong_with_a_file_is_told_and_it_is_not_used():
    sound = pressure_file()
    for data, words in (
        (b"x", "no file for a sensor"),
        (sound + b"x", "damaged"),
        (b"PREX" + sound[4:], "no file for a sensor"),
        (sound[:-1] + bytes([sound[-1] ^ 1]), "damaged"),
        (pressure_file(version=99), "of another version"),
        (pressure_file(kind=0), "kind must be 1 to 2, is 0"),
        (pressure_file(range_pa=100), "range must be 10000 to 10000000, is 100"),
        (pressure_file(flow=0), "flow of new outlets must be 1000 to 10000000, is 0"),
        (pressure_file(pressure=0), "pressure of new outlets must be 1000 to 10000000, is 0"),
        (pressure_file(check=10000001), "check valves must be 0 to 10000000, is 10000001"),
        (pressure_file(prime=BAR, prime_s=121), "time of priming must be 0 to 120, is 121"),
        (pressure_file(prime=1, prime_s=8), "priming must be 10 to 80 % of the range"),
        (pressure_file(prime=4 * BAR, prime_s=8), "priming must be 10 to 80 % of the range"),
    ):
        rig = rig_with(Terminal(), data)
        assert rig.app.notes == [NOT_USED % words]
        assert rig.app.parts == [] and rig.app.ring.more == ()


def test_no_bit_of_a_file_may_turn():
    sound = pressure_file()
    for index in range(len(sound)):
        turned = sound[:index] + bytes([sound[index] ^ 16]) + sound[index + 1 :]
        assert problem_of(turned)


def test_a_board_without_an_input_says_so():
    rig = PanelRig()
    rig.board.pressure_input = lambda: None
    fit(rig.app, Drawer(pressure_file()))
    assert rig.app.notes == [NOT_USED % NO_INPUT] and rig.app.parts == []


def test_bins_rise_with_the_flow_and_never_end():
    places = [place_of(flow) for flow in (0, 4000, 4001, 6001, 9001, 10000000)]
    assert places == [0, 0, 1, 2, 3, BINS - 1]
