"""boot.py and main.py, unmodified, on the real boards' own code above fakes of their chips."""

import runpy
import sys
from types import SimpleNamespace

import pytest

import boards
from app import start_up
from host_sim import FIRMWARE_DIR
from host_sim.hardware.signals import OPTIONAL
from host_sim.machine_file.pressure_file import PressureFile, pressure_bytes
from host_sim.twin.flashed import flashed
from rate_control.settings import build
from rate_control.units import BY_GNSS
from tests.fakes.chip import Chip, Steady
from tests.fakes.modules import Installed

IDLES = 1000
PRESSURE = pressure_bytes(SimpleNamespace(pressure=PressureFile(1, 400000, 230000, 300000, 50000)))


class Stopped(Exception):
    """Ends main.py, as Ctrl-C does."""


@pytest.fixture(params=["rp2", "esp32"])
def chip(request, monkeypatch):
    """A chip of that kind, and what its modules are told to do."""
    chip = Chip()
    chip.kind = request.param
    chip.said = []
    drive = chip.drive

    def watched(pin, level, ns=None):
        chip.said.append((pin, level))
        drive(pin, level, ns)

    chip.drive = watched
    buffer = SimpleNamespace(
        alloc_emergency_exception_buf=lambda size: chip.said.append(("buffer", size)))
    monkeypatch.setitem(sys.modules, "micropython", buffer)
    monkeypatch.setattr(sys, "platform", request.param)
    with Installed(chip):
        yield chip


def pins_of(chip):
    from boards.safe_outputs import pins_of

    return pins_of(chip.kind)


def safe_levels(chip):
    pins = pins_of(chip)
    levels = dict.fromkeys(pins.OUTPUTS_HIGH, 1)
    levels.update(dict.fromkeys(pins.OUTPUTS_LOW, 0))
    return levels


def test_boot_makes_every_output_safe_before_anything_else(chip):
    runpy.run_path(str(FIRMWARE_DIR / "boot.py"))
    wanted = safe_levels(chip)
    first = chip.said[: len(wanted)]
    assert dict(first) == wanted
    assert {pin for pin, _ in first} >= {pins_of(chip).PUMP, pins_of(chip).SECTION_OFF}
    assert [what for what, _ in chip.said[len(wanted):]] == ["buffer"]


def test_main_runs_the_tick_and_leaves_the_outputs_safe(chip, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    made = []
    runpy.run_path(str(FIRMWARE_DIR / "boot.py"))
    monkeypatch.setattr(boards, "chosen", stopped_after(IDLES, boards.chosen, made))
    with pytest.raises(Stopped):
        runpy.run_path(str(FIRMWARE_DIR / "main.py"))
    board = made[0]
    assert board.ticks > IDLES // 50, "main.py did not live"
    assert board.fed == board.ticks
    outputs = {pin: chip.outputs[pin] for pin in safe_levels(chip)}
    for pin, level in safe_levels(chip).items():
        source = outputs[pin]
        assert isinstance(source, Steady) and source.value == level, pin
    chip.advance(5_000_000)  # and no watchdog bites


@pytest.mark.parametrize("chip", ["rp2"], indirect=True)
def test_a_board_without_the_pins_that_it_may_lack_says_so_and_works(chip, monkeypatch, tmp_path):
    """As `small` in docs/how_to/add_a_board.md, with a crystal set and the bus asked for."""
    from boards import rp2_pins, wiring

    for name in OPTIONAL:
        monkeypatch.delattr(rp2_pins, name)
    monkeypatch.setattr(wiring, "CAN_MHZ", 8)
    assert wiring.GNSS_BAUD, "as it is delivered"
    settings, problems = build({"can_use": 1, "speed_source": BY_GNSS})
    assert settings is not None, problems
    for name, data in flashed(settings, pressure=PRESSURE).slots.items():
        (tmp_path / name).write_bytes(data)
    monkeypatch.chdir(tmp_path)
    made, programs = [], []
    start = start_up.build
    monkeypatch.setattr(start_up, "build", lambda board: programs.append(start(board))
                        or programs[0])
    monkeypatch.setattr(boards, "chosen", stopped_after(IDLES, boards.chosen, made))
    with pytest.raises(Stopped):
        runpy.run_path(str(FIRMWARE_DIR / "main.py"))
    assert programs[0].notes == [
        "CAN: set CAN_MHZ in wiring.py to 8 or 16, CAN_SELECT in the pins",
        "pressure: this board has no input for it: not used"]
    assert programs[0].controller.settings.can_use == 1
    assert made[0].fed == made[0].ticks > IDLES // 50


def stopped_after(idles, chosen, made):
    """boards.chosen, with a board that ends main.py after so many rounds of its loop."""

    def choose():
        board = chosen()
        made.append(board)
        board.ticks = board.fed = 0
        idle, feed, start = board.idle, board.feed_watchdog, board.start_tick
        left = [idles]

        def idle_or_stop():
            idle()
            left[0] -= 1
            if not left[0]:
                raise Stopped

        def count_feed():
            board.fed += 1
            feed()

        def start_counted(callback, period_us):
            def counted(argument):
                board.ticks += 1
                callback(argument)

            start(counted, period_us)

        board.idle, board.feed_watchdog, board.start_tick = idle_or_stop, count_feed, start_counted
        board.link_stream = lambda: None  # there is no console here
        return board

    return choose
