"""The drawings are those of the circuit table, and KiCad reads them as the firmware needs them."""

import random
import shutil
from dataclasses import replace

import pytest

from host_sim.hardware import boards, drawings, netlist_rules
from host_sim.hardware.circuit import RAILS
from host_sim.hardware.netlist_rules import ohms
from host_sim.hardware.parts_list import ITEMS
from host_sim.hardware.pin_rules import tables
from host_sim.hardware.schematic import kicad
from host_sim.hardware.sheets import circuit
from host_sim.hardware.signals import BY_NAME

BOARDS = boards.names()
needs_kicad = pytest.mark.skipif(not kicad.is_here(), reason=kicad.MISSING)


def findings(name, parts):
    """What the rules say of a netlist."""
    return netlist_rules.findings(parts, tables()[name], boards.board(name))


def copied(folder):
    """A copy of the drawing for the Pico shape."""
    shutil.copytree(drawings.SCHEMATIC_DIR / "rp2", folder / "rp2")


def rewired(parts, ref, **nets):
    """The netlist with other nets at some pins, named p1, p2 and so on."""
    part = parts[ref]
    changed = {**part.nets, **{pin[1:]: net for pin, net in nets.items()}}
    return {**parts, ref: replace(part, nets=changed)}


def test_files_are_those_that_the_table_gives():
    texts = drawings.texts()
    stale = [path.name for path, text in texts.items()
             if not path.exists() or path.read_text("utf-8") != text]  # fmt: skip
    assert not stale, "run: python -m host_sim hardware draw"
    drawn = {path for name in BOARDS for path in (drawings.SCHEMATIC_DIR / name).iterdir()
             if path.suffix in (".kicad_sch", ".kicad_pro", ".lib")}  # fmt: skip
    assert drawn == set(texts)


@needs_kicad
@pytest.mark.parametrize("name", BOARDS)
def test_kicad_finds_nothing_and_sees_the_table_pin_by_pin(name):
    assert drawings.findings(name) == []


@pytest.mark.skipif(kicad.version() != drawings.PRINTED_BY,
                    reason=f"the prints are of KiCad {drawings.PRINTED_BY}")  # fmt: skip
def test_a_print_is_that_of_the_files(tmp_path):
    copied(tmp_path)
    printed = drawings.write_print("rp2", tmp_path).read_bytes()
    kept = drawings.print_of("rp2").read_bytes()
    assert printed == kept, "run: python -m host_sim hardware draw"


@needs_kicad
def test_rule_check_and_comparison_notice_a_spoilt_drawing(tmp_path):
    """The check is not blind: a label on another net, a pin without a wire."""
    copied(tmp_path)
    page = tmp_path / "rp2" / "pump_driver.kicad_sch"
    text = page.read_text()
    page.write_text(text.replace('(global_label "PUMP" ', '(global_label "LAMP" '))
    told = drawings.findings("rp2", tmp_path)
    assert any(one.startswith("rule check:") for one in told)
    assert any(one.startswith("against the table: PUMP: R41 pin 1 is missing") for one in told)
    assert any(one.startswith("against the firmware: PUMP: no resistor holds it") for one in told)


@pytest.mark.parametrize("name", BOARDS)
def test_the_table_itself_keeps_the_rules(name):
    assert findings(name, circuit(name).parts) == []


def test_swapped_drain_and_source_are_noticed():
    parts = circuit("rp2").parts
    loads = [part for part in parts.values() if part.item in ("IRL640", "IRFB4115")]
    assert len(loads) == 9
    for part in loads:
        swapped = rewired(parts, part.ref, p2=part.nets["3"], p3=part.nets["2"])
        assert any(one.startswith(f"{part.ref}: ") for one in findings("rp2", swapped))


def test_every_missing_resistor_that_holds_an_output_is_noticed():
    parts = circuit("rp2").parts
    holding = [part for part in parts.values() if part.kind == "R"
               and set(part.nets.values()) & {"GND", "V5"} and ohms(part.value) >= 1e3]  # fmt: skip
    unnoticed = {part.ref for part in holding
                 if not findings("rp2", {ref: other for ref, other in parts.items()
                                        if ref != part.ref})}  # fmt: skip
    # what may go without something moving: the LED, dividers of inputs, the side of the display
    # that the firmware does not see, the lower half of the latch's divider
    assert unnoticed <= {"R2", "R4", "R12", "R17", "R77", "R79", "R105"}
    assert {"R42", "R44", "R61", "R68", "R39", "R72", "R74"} <= {part.ref for part in holding}


def test_any_two_merged_nets_of_rails_and_signals_are_noticed():
    parts = circuit("rp2").parts
    names = [net for net in circuit("rp2").nets if net in BY_NAME or net in RAILS]
    for one, other in zip(names, names[1:], strict=False):
        merged = {ref: replace(part, nets={pin: one if net == other else net
                                           for pin, net in part.nets.items()})
                  for ref, part in parts.items()}  # fmt: skip
        assert findings("rp2", merged), f"{one} joined to {other}"


def test_every_moved_pin_is_a_difference():
    """What no rule knows of, the comparison with the table still finds."""
    parts = circuit("rp2").parts
    nets = sorted(circuit("rp2").nets)
    chance = random.Random(14)
    for _ in range(50):
        part = parts[chance.choice(sorted(parts))]
        pin = chance.choice(sorted(part.nets))
        other = chance.choice([net for net in nets if net != part.nets[pin]])
        assert kicad.differences(parts, rewired(parts, part.ref, **{f"p{pin}": other}))


@pytest.mark.parametrize(("change", "said"), [
    (("U5", {"p15": "SECTION_2", "p1": "SECTION_1"}), "section 1: output A does not lead"),
    (("U4", {"p11": "SWITCH_2", "p12": "SWITCH_1"}), "section 1: its switch is not at input A"),
    (("D21", {"p1": "VALVE_1", "p2": "V_VALVE"}), "Q11: no diode leads from its drain"),
    (("R39", {"p1": "3V3"}), "SECTION_OFF: nothing holds it with the board pulled out"),
    (("R40", {"p2": "V5"}), "SECTION_OFF: its resistors lift the pin to 5.00 V"),
    (("U6", {"p6": "V5"}), "U6 pin 6: is on V5, needs V_GATE"),
    (("J1", {"p1": "BATT"}), "J1: more than a fuse hangs on BATT"),
    (("U1", {"p10": "VALVE_OPEN", "p11": "PUMP"}), "U1 pin 10: is VALVE_OPEN, the firmware has"),
    (("R11", {"p2": "SPEED_IN"}), "R11: both its pins are on SPEED_IN"),
])
def test_a_rule_names_what_is_wrong(change, said):
    ref, nets = change
    told = findings("rp2", rewired(circuit("rp2").parts, ref, **nets))
    assert any(one.startswith(said) for one in told), told


def test_loads_of_the_pins_are_at_least_what_the_circuit_takes():
    """signals.py states a current for each pin; its resistors, at the worst level, give another."""
    seen = netlist_rules.Seen(circuit("rp2").parts)
    for name, signal in BY_NAME.items():
        if signal.is_output:
            taken_ma = 1e3 * sum(amps(seen, ref, *rest) for ref, *rest in seen.resistors(name))
            if name == "TEST":  # with both jumpers closed it works against two Schmitt triggers
                taken_ma += 2 * 1e3 * 3.3 / 2200
            assert taken_ma <= signal.load_ma, name
            assert taken_ma <= boards.board("rp2").pin_ma


def amps(seen, ref, resistance, other):
    """What a pin gives or takes at the worst through one resistor."""
    volts = netlist_rules.VOLTS.get(other)
    if volts is not None:
        return max(volts, 3.3 - volts) / resistance
    behind = [(value, end) for own, value, end in seen.resistors(other) if own != ref]
    if any(part.kind == "NPN" and part.nets["2"] == other for part in seen.parts.values()):
        return (3.3 - 0.6) / resistance  # the drop of a base, the lowest there is
    conductance = sum(1 / value for value, _ in behind)
    level = sum(netlist_rules.VOLTS[end] / value for value, end in behind) / conductance
    return max(level, 3.3 - level) / (resistance + 1 / conductance)


def test_every_line_of_the_parts_list_is_used_and_has_two_substitutes():
    used = {part.item for name in BOARDS for part in circuit(name).parts.values()}
    assert used == set(ITEMS)
    for item in ITEMS.values():
        assert len(set(item.choices)) == 3
