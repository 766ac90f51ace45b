"""Each rule of the pin tables notices a table that breaks it, and the firmware is not built."""

import re
import shutil

import pytest

from host_sim import REPO_ROOT
from host_sim.build import firmware
from host_sim.common.errors import InputError
from host_sim.hardware import boards, pin_rules
from host_sim.hardware.pio_rules import program_lengths
from tests.fakes.chip import Chip
from tests.fakes.modules import Installed

# Table, text in it, what a builder might write there instead, what must be said about it.
MUTANTS = (
    ("rp2", "BUZZER = 15", "BUZZER = 14", "GPIO 14 is LAMP already"),
    ("rp2", "BUZZER = 15", "BUZZER = 27", "CAN_SELECT: GPIO 27 is BUZZER already"),
    ("rp2", "BUZZER = 15", "BUZZER = 25", "belongs to LED or wireless"),
    ("rp2", "BUZZER = 15", "BUZZER = 30", "is not brought out"),
    ("rp2", "SUPPLY = 26", "SUPPLY = 22", "has no adc; these have: 26, 27, 28"),
    ("rp2", "SECTION_CLOCK = 2", "SECTION_CLOCK = 24", "has no spi clock"),
    ("rp2", "SECTION_DATA = 3", "SECTION_DATA = 28", "has no spi out"),
    ("rp2", "I2C_DATA = 20", "I2C_DATA = 22", "has no i2c data"),
    ("rp2", "GNSS_RX = 1", "GNSS_RX = 27", "has no uart in"),
    ("rp2", "CARD_SELECT = 0", "# CARD_SELECT = 0", "GNSS_RX: its UART needs CARD_SELECT"),
    ("rp2", "PUMP = 7", "PUMPS = 7", "PUMP: has no pin"),
    ("rp2", "PUMP = 7", "PUMPS = 7", "PUMPS: is no signal"),
    ("rp2", "(PUMP, VALVE_OPEN,", "(VALVE_OPEN,", "PUMP: is an output and in neither"),
    ("rp2", "(SECTION_OFF, CAN_SELECT, ", "(CAN_SELECT, ",
     "SECTION_OFF: is an output and in neither"),
    ("rp2", "BUZZER, TEST)", "BUZZER, TEST, SECTION_OFF)", "SECTION_OFF has no pull-down"),
    ("rp2", "CARD_SELECT)", "CARD_SELECT, ON)", "ON is no pin of this table"),
    ("esp32", "PUMP = 25", "PUMP = 34", "is an input only"),
    ("esp32", "PUMP = 25", "PUMP = 12", "decides how the chip starts: leave it alone"),
    ("esp32", "PUMP = 25", "PUMP = 9", "belongs to the module's flash"),
    ("esp32", "PUMP = 25", "PUMP = 3", "belongs to the console"),
    ("esp32", "PUMP = 25", "PUMP = 14", "moves by itself at reset"),
    ("esp32", "LAMP = 2", "LAMP = 5", "GPIO 5 needs a pull-up while the chip starts"),
    ("esp32", "SUPPLY = 36", "SUPPLY = 26", "has no adc"),
)


@pytest.fixture
def folder(tmp_path):
    """A copy of the folder of boards that a test may spoil."""
    return shutil.copytree(pin_rules.PINS_DIR, tmp_path / "boards",
                           ignore=shutil.ignore_patterns("__pycache__"))  # fmt: skip


def spoil(path, text, other):
    """Put another text in place of one."""
    before = path.read_text()
    assert text in before
    path.write_text(before.replace(text, other))


def test_present_tables_keep_every_rule():
    assert set(pin_rules.tables()) == set(boards.names())
    pin_rules.check_pins()


@pytest.mark.parametrize(("board", "text", "other", "said"), MUTANTS,
                         ids=[f"{row[0]} {row[2]}" for row in MUTANTS])
def test_a_broken_rule_is_named_with_file_and_line(folder, board, text, other, said):
    path = folder / f"{board}_pins.py"
    spoil(path, text, other)
    with pytest.raises(InputError) as caught:
        pin_rules.check_pins(folder)
    told = [one for one in str(caught.value).splitlines() if said in one]
    assert told
    named = re.match(rf"{path}:(\d+): (\w+): ", told[0])
    assert named
    if "has no pin" not in said:  # a name that is not there has no line
        assert path.read_text().splitlines()[int(named[1]) - 1].startswith(f"{named[2]} =")


def test_a_slice_of_pwm_has_one_user(monkeypatch):
    """GPIO 6 and 7 are one slice (RP2040 data sheet, 4.5.2): no second PWM beside the pump."""
    off = pin_rules.BY_NAME["SECTION_OFF"]
    table = pin_rules.tables()["rp2"]
    assert pin_rules.findings(table, boards.board("rp2")) == []
    monkeypatch.setitem(pin_rules.BY_NAME, "SECTION_OFF",
                        type(off)(**{**off.__dict__, "peripheral": "pwm"}))
    assert "shares a PWM slice with PUMP" in pin_rules.findings(table, boards.board("rp2"))[0]


@pytest.mark.parametrize(("load_ma", "said"), [(5, "a pin at most 4 mA"), (40, "at most 50 mA")])
def test_currents_stay_within_the_data_sheet(monkeypatch, load_ma, said):
    """RP2040 data sheet, 5.2.3: 50 mA for all pins; 4 mA is the strength after reset."""
    lamp = pin_rules.BY_NAME["LAMP"]
    monkeypatch.setitem(pin_rules.BY_NAME, "LAMP",
                        type(lamp)(**{**lamp.__dict__, "load_ma": load_ma}))
    told = pin_rules.findings(pin_rules.tables()["rp2"], boards.board("rp2"))
    assert any(said in one for one in told)


@pytest.mark.parametrize(("file", "text", "other", "said"), [
    ("rp2_board.py", "(4, 5)", "(1, 5)", "is in COUNT_MACHINES already"),
    ("rp2_board.py", "(4, 5)", "(4, 8)", "is none of the chip's 8"),
    ("rp2_pulse_pio.py", "    nop()\n", "    nop()\n" * 16, "count_edges, there is room for 32"),
])
def test_state_machines_are_the_chips_and_their_programs_fit(folder, file, text, other, said):
    spoil(folder / file, text, other)
    with pytest.raises(InputError, match=re.escape(said)):
        pin_rules.check_pins(folder)


def test_lengths_of_the_programs_are_those_that_the_assembler_finds():
    """The fake one, which tests/host/firmware/test_pulse_pio.py takes to the data sheet."""
    with Installed(Chip()):
        from boards import rp2_pulse_pio

    lengths = program_lengths(pin_rules.PINS_DIR / "rp2_pulse_pio.py")
    assert lengths == {name: len(getattr(rp2_pulse_pio, name)[0])
                       for name in ("count_edges", "one_shot")}  # fmt: skip


@pytest.mark.parametrize(("text", "said"), [
    ("PUMP = 7\nPUMP = 8\n", ":2: PUMP: stands there twice"),
    ("PUMP = 'GP7'\n", ":1: PUMP: must be the number of a GPIO"),
    ("PUMP = 7\nimport machine\n", ":2: only NAME = number"),
    ("PUMP = \n", ":1: is no Python"),
    ("PUMP = " + "-" * 20_000 + "7\n", "is nested deeper"),
])
def test_a_table_that_is_no_table_is_named(tmp_path, text, said):
    path = tmp_path / "mine_pins.py"
    path.write_text(text)
    with pytest.raises(InputError, match=re.escape(said)):
        pin_rules.read_table(path)


def test_a_table_without_a_board_is_named(folder):
    shutil.copy(folder / "rp2_pins.py", folder / "mine_pins.py")
    with pytest.raises(InputError, match="no host_sim/hardware/boards/mine.py"):
        pin_rules.check_pins(folder)


def test_nothing_is_built_from_a_broken_table(tmp_path, folder, monkeypatch, capsys):
    spoil(folder / "rp2_pins.py", "PUMP = 7", "PUMP = 8")
    monkeypatch.setattr(firmware, "check_pins", lambda: pin_rules.check_pins(folder))
    out = tmp_path / "firmware"
    monkeypatch.setattr(firmware, "SOURCE_DIR", out)
    monkeypatch.setattr("sys.argv", ["firmware", "--source"])
    assert firmware.main() == 2
    assert "rp2_pins.py:9: VALVE_OPEN: GPIO 8 is PUMP already" in capsys.readouterr().err
    assert not out.exists()


def test_findings_name_the_project_s_files_from_its_root():
    table = pin_rules.tables()["rp2"]
    assert table.shown(("PUMP", "x")).startswith("firmware/boards/rp2_pins.py:")
    assert (REPO_ROOT / "firmware/boards/rp2_pins.py").is_file()
