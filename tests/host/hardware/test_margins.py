"""The simulated circuit keeps its margins, and the simulation notices one that does not."""

import re

import pytest

from host_sim.hardware.simulation import bench, first_power, margins, table
from host_sim.hardware.simulation.margins import CASES, Setup, dump_on_valves, supply

pytestmark = pytest.mark.skipif(bool(bench.missing()), reason=bench.missing() or "here")


@pytest.mark.parametrize("case", CASES, ids=[case.__name__ for case in CASES])
def test_every_margin_is_kept_and_as_the_page_has_it(case):
    found = list(case())
    assert found
    assert [margin for margin in found if not margin.kept] == []
    page = table.PAGE.read_text("utf-8")
    for margin in found:
        row = re.search(rf"^\| {re.escape(margin.what)} \| {re.escape(margin.case)} \| (\S+)", page,
                        re.MULTILINE)  # fmt: skip
        assert row, "run: python -m host_sim hardware margins"
        # another version of the simulator may differ in the last figure
        assert float(row[1]) == pytest.approx(margin.value, rel=0.05, abs=0.05)


def test_transistors_for_60_v_let_a_load_dump_open_a_valve():
    """The reason for 200 V: some 2.5 A flow through a valve that is off."""
    found = {margin.what: margin for margin in dump_on_valves(60.0)}
    assert found["valve that is off, current"].value > 1000
    assert not found["valve that is off, current"].kept


def test_without_its_clamp_the_regulator_would_see_the_whole_dump():
    lines = margins.dump(101, 0.5, 0.4, "BATT_IN")
    setup = supply(lines)
    bare = Setup(setup.pages, setup.parts, (*setup.without, "D4"), setup.lines)
    _, got = bench.simulate(bare, ("v(V_PROT)",), 0.1, 200e-6)
    assert got["v(V_PROT)"].max() > 60


def test_without_its_resistors_a_gate_floats():
    """The same bench, with the pull-downs of section 1 and of the pump left out."""
    lines = ("V5S V5 0 5", "VP V_PROT 0 13", "V33 3V3 0 0", "RZ SECTION_OFF 0 100Meg",
             "VB V_LOAD 0 16", "RV V_VALVE VALVE_1 14.4")  # fmt: skip
    parts = ("F6", "R51", "Q11", "D21", "C26", "U5", "R38", "R39", "R40")
    held = Setup(parts=(*parts, "R61"), lines=lines, corner={"vth_irl640": 1.0})
    loose = Setup(parts=parts, lines=(*lines, "RL V_VALVE GATE_1 10Meg"),
                  corner={"vth_irl640": 1.0})  # fmt: skip
    _, got = bench.simulate(held, ("v(GATE_1)",), 20e-3, 1e-3)
    assert got["v(GATE_1)"][-1] < 0.5
    _, got = bench.simulate(loose, ("v(GATE_1)",), 20e-3, 1e-3)
    assert got["v(GATE_1)"][-1] > 1.0


def test_first_power_page_has_the_voltages_of_the_simulation():
    page = first_power.PAGE.read_text("utf-8")
    rows = dict(re.findall(r"^\| ([^|]+) \| `\w+` \| (.*) \|$", page, re.MULTILINE))
    assert set(rows) == {point for point, _ in first_power.POINTS}
    for state, column in (("board out", 0), ("all on", 2)):
        found = first_power.voltages(state)
        for point, net in first_power.POINTS:
            shown = float(rows[point].split(" | ")[column].removesuffix(" V"))
            assert shown == pytest.approx(abs(found[net]), abs=0.15), (state, point)


def test_the_export_is_the_drawing():
    """Elements come from KiCad's own netlist, by the nets of the table."""
    words = bench.exported()
    assert words["R11"] == ["R11", "SPEED_IN", "SPEED_LOW", "22k"]
    assert words["Q1"] == ["XQ1", "PUMP_GATE", "PUMP_OUT", "GND", "M_IRFB4115"]
    assert "J1" not in words
