"""Each rule of the bench rig's pins notices a table that breaks it; nothing is built then."""

import re
import shutil

import pytest

from bench_rig import rig_pins
from boards import rp2_pins
from host_sim.build import rig
from host_sim.common.errors import InputError
from host_sim.hardware import rig_rules
from host_sim.hardware.pio_rules import program_lengths
from tests.fakes.chip import Chip
from tests.fakes.modules import Installed

PINS, PORT, PIO = "rig_pins.py", "rp2_port.py", "rig_pio.py"
MUTANTS = (
    (PINS, "PUMP = 7", "PUMP = 8", "GPIO 8 is PUMP already"),
    (PINS, "FLOW = 19", "FLOW = 25", "belongs to LED or wireless"),
    (PINS, "FLOW = 19", "FLOW = 33", "is not brought out"),
    (PINS, "FLOW = 19", "FLOWS = 19", "FLOW: has no pin"),
    (PINS, "FLOW = 19", "LAMP = 19", "LAMP: is no wire of the bench rig"),
    (PINS, "SECTION_DATA = 3", "SECTION_DATA = 12", "must follow SECTION_CLOCK: GPIO 3"),
    (PORT, "TAKE_MACHINES = (4,)", "TAKE_MACHINES = (1,)", "is in PULSE_MACHINES already"),
    (PORT, "GIVE_MACHINES = (5,)", "GIVE_MACHINES = (8,)", "is none of the chip's 8"),
    (PORT, "GIVE_MACHINES = (5,)", "GIVE_MACHINES = (3,)", "there is room for 32"),
    (PIO, "    set(pins, 0)\n", "    set(pins, 0)\n" * 14, "there is room for 32"),
)


@pytest.fixture
def folder(tmp_path):
    return shutil.copytree(rig_rules.RIG_DIR, tmp_path / "bench_rig",
                           ignore=shutil.ignore_patterns("__pycache__"))


def test_the_present_table_keeps_every_rule():
    rig_rules.check_rig()
    assert dict(rig_rules.rig_table().gpio) == {
        name: getattr(rig_pins, name) for name in rig_rules.HEARD + rig_rules.GIVEN}


def test_two_boards_of_the_pico_shape_are_wired_pin_to_pin_of_the_same_number():
    assert all(number == getattr(rp2_pins, name)
               for name, number in rig_rules.rig_table().gpio.items())


@pytest.mark.parametrize(("file", "text", "other", "said"), MUTANTS,
                         ids=[row[3] for row in MUTANTS])
def test_a_broken_rule_is_named_and_nothing_is_built(folder, tmp_path, monkeypatch, file, text,
                                                     other, said):
    path = folder / file
    assert text in path.read_text()
    path.write_text(path.read_text().replace(text, other))
    with pytest.raises(InputError, match=re.escape(said)):
        rig_rules.check_rig(folder)
    monkeypatch.setattr(rig, "check_rig", lambda: rig_rules.check_rig(folder))
    with pytest.raises(InputError):
        rig.build_rig(tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("table", "name", "said"), [
    ("GIVEN", "PUMP", "PUMP: is driven from both ends"),
    ("HEARD", "MASTER", "MASTER: is driven from both ends"),
])
def test_a_wire_is_driven_from_one_end(monkeypatch, table, name, said):
    """The controller's own table of signals says which end that is."""
    for which in ("HEARD", "GIVEN"):
        names = [one for one in getattr(rig_rules, which) if one != name]
        monkeypatch.setattr(rig_rules, which, (*names, name) if which == table else tuple(names))
    with pytest.raises(InputError, match=said):
        rig_rules.check_rig()


def test_a_resistor_that_lets_a_short_circuit_hurt_is_named(monkeypatch):
    """RP2040 data sheet, 5.2.3: 4 mA a pin as it is after reset, 50 mA for all of them."""
    monkeypatch.setattr(rig_rules, "SERIES_OHM", 470.0)
    with pytest.raises(InputError, match="carries 7"):
        rig_rules.check_rig()


def test_lengths_of_the_programs_are_those_that_the_assembler_finds():
    with Installed(Chip()):
        from bench_rig import rig_pio

    lengths = program_lengths(rig_rules.RIG_DIR / PIO)
    assert lengths == {name: len(getattr(rig_pio, name)[0]) for name in rig_rules.USE.runs.values()}


def test_what_is_built_holds_all_that_it_imports(tmp_path):
    """Run on the folder alone: nothing of the controller's firmware is there to lean on."""
    built = rig.build_rig(tmp_path / "rig", compiled=False)
    names = {file.name for file in built}
    for file in built:
        for module in re.findall(r"^from ((?:bench_rig|boards|rate_control|app)[\w.]*) import",
                                 file.built.read_text(), re.M):
            assert f"{module.replace('.', '/')}.py" in names or module in ("bench_rig", "boards")
    assert built[-1].name == "main.py"
    compiled = rig.build_rig(tmp_path / "rig")
    assert {file.name.removesuffix(".mpy") for file in compiled[:-1]} == {
        file.name.removesuffix(".py") for file in built[:-1]}
