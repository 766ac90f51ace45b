"""The whole firmware against the whole rig: all PIO programs for seconds, VMs for longer."""

import dataclasses
import re

import pytest

from app.start_up import build
from bench_rig.program import RigProgram
from host_sim.__main__ import main
from host_sim.board import link_port, rig_check
from host_sim.board.rig_check import RIG, TWIN, RigRun, behind, check_on_rig, contacts, task_for
from host_sim.board.rig_line import RigError
from host_sim.board.rig_numbers import rig_numbers
from host_sim.board.rig_text import rig_text
from host_sim.common.errors import InputError
from host_sim.machine_file.machine import load_machine
from host_sim.machine_file.twin_spec import spec_of
from host_sim.plant.catalogue import machine_spec
from host_sim.trials.acceptance.sequence import OFF, ON, STARTING, STEPS, Sequence
from host_sim.twin.flashed import flashed
from host_sim.twin.scenario import SCENARIO_DIR
from rate_control.application_rate import target_flow_ul_s
from rate_control.interlock import APPLYING
from rate_control.settings import build as build_settings
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER
from tests.host.board.test_rig_pins import rp2_board, rp2_port
from tests.support.chip_pair import ChipPair
from tests.support.rig_pair import PAGE, rig_pair

NUMBER = re.compile(r"\d+(\.\d+)?")
NEAR = (0, 5.0, 0.25, 0.03)  # by the digits behind the point: percent, seconds, litres
# Settling is told in ticks; a curve that touches the edge of the band can take one or the other.
SETTLES_LIKE_S = 0.25
PLOT_BAR = SCENARIO_DIR / "plot_bar.machine.toml"


@pytest.fixture(scope="module")
def plot_bar():
    machine = load_machine(PLOT_BAR)
    return machine.settings, spec_of(machine)


class Silent:
    """A stream that keeps what is told."""

    def __init__(self):
        self.told = b""

    def read(self, limit):
        return None

    def write(self, data):
        self.told += bytes(data)
        return len(data)


def test_the_firmware_applies_what_it_should_over_the_pins(plot_bar):
    """Every program of both chips at work: pulses, duty, registers, contacts, supply."""
    settings, spec = plot_bar

    def board():
        made = rp2_board()
        made.files = lambda: flashed(settings)
        made.link_stream = made.gnss_stream = lambda: None
        return made

    pair = ChipPair(board, rp2_port)
    application = build(pair.board)
    application.start()
    program = RigProgram(pair.port, Silent())
    sections = 0b111 << 2
    program._load({"plant": rig_numbers(spec), "speed": [[0, 2.0], [6.0, 2.0]],
                   "switches": [[0, sections], [0.5, sections | SWITCH_MASTER],
                                [1.0, sections | SWITCH_MASTER | SWITCH_IMPLEMENT]]})
    program._start()
    for _ in range(400):
        program.step(0)
        pair.step()
        application.poll()
    assert application.controller.interlock.state == APPLYING
    wanted_ul_s = target_flow_ul_s(settings.rate_ml_ha, 2000, settings.total_width_mm())
    assert program.rig.plant.flow_m3_s * 1e9 == pytest.approx(wanted_ul_s, rel=0.02)
    assert program.rig.drive.section_mask == 0b111
    program.rest()
    for _ in range(40):
        pair.step()
        application.poll()
    assert pair.board._pump.duty == 0 and pair.controller.level(6) == 1  # SECTION_OFF


@pytest.fixture(scope="module")
def outcome(plot_bar):
    """The board's settings are not those with the highest rate that the resetting would take."""
    settings, spec = plot_bar
    with rig_pair(settings.as_dict()) as pair:
        yield check_on_rig("Plot bar", spec, pair.client, pair.rig, short=True)


def test_board_and_twin_do_the_same(outcome):
    twin, rig = (outcome.trial.driven[name].rows for name in (TWIN, RIG))
    assert list(twin) == list(rig) and {STARTING, OFF, ON, STEPS} <= set(rig)
    assert outcome.behind == []
    for part, row in twin.items():
        assert rig[part].settle_5_s == pytest.approx(row.settle_5_s, abs=SETTLES_LIKE_S)
        assert rig[part].wrong_l == pytest.approx(row.wrong_l, abs=0.012)


def test_the_guide_shows_the_table_that_comes_out(outcome):
    """A change of the controller moves some figures by a little; what it tells has to stay."""
    shown = PAGE.read_text("utf-8").split("```text\n")[1].split("```")[0].split()
    comes_out = rig_text(outcome, us=False).split()
    renew = "run: .venv/bin/python -m tests.support.rig_pair --page"
    assert [NUMBER.sub("#", word) for word in shown] == [
        NUMBER.sub("#", word) for word in comes_out], renew
    for one, other in zip(shown, comes_out, strict=True):
        if NUMBER.fullmatch(one):
            near = NEAR[len(one.partition(".")[2])]
            assert float(one) == pytest.approx(float(other), abs=near), renew


def test_the_command_prints_the_table_and_keeps_it(outcome, monkeypatch, capsys, tmp_path):
    """With two ports in the place of serial ones; the exit status tells of FAIL."""
    monkeypatch.setattr(link_port, "open_serial", lambda name: Echo())
    monkeypatch.setattr(link_port, "SerialPort", lambda name: Echo())
    asked = []

    def check(name, spec, client, rig, tell, short):
        asked.append((name, spec.kind, short))
        return outcome

    monkeypatch.setattr(rig_check, "check_on_rig", check)
    line = ["board", "check", "--port", "a", "--rig", "b", "--machine", str(PLOT_BAR), "--short",
            "--report", str(tmp_path / "table.txt")]
    assert main(line) == 0
    assert asked == [("Plot bar", "electric_m", True)]
    printed = capsys.readouterr().out
    assert printed == (tmp_path / "table.txt").read_text() == rig_text(outcome, us=False) + "\n"
    outcome_behind = dataclasses.replace(outcome, behind=["lines on: late"])
    monkeypatch.setattr(rig_check, "check_on_rig", lambda *_: outcome_behind)
    assert main([*line, "--units", "us"]) == 1
    told = capsys.readouterr().out
    assert "FAIL  lines on: late" in told and "gal" in told


def test_the_table_has_the_rig_s_row_below_the_twin_s(outcome):
    lines = rig_text(outcome, us=False).splitlines()
    at = lines.index(STEPS)
    assert lines[at + 1].split()[0] == TWIN
    assert lines[at + 2].strip().startswith(RIG)
    assert lines[-1].startswith("PASS")
    worse = dataclasses.replace(outcome, behind=["x: late"], late_ms=25.0, notes=["n"])
    text = rig_text(worse, us=False)
    assert "FAIL  x: late" in text and "PASS" not in text
    assert "25 ms late" in text and "NOTE  n" in text


def short_task(settings):
    """One start and one section, so that a run with a broken wire is soon over."""
    task = task_for(settings, short=True)
    stages = task.sequence.stages[:1]
    end_s = stages[-1].end_s
    driven = Sequence(task.sequence.unit_l_ha, stages,
                      [event for event in task.sequence.events if event.when < end_s],
                      [knot for knot in task.sequence.speed if knot[0] < end_s], end_s)
    driven.speed.append((end_s, driven.speed[-1][1]))
    return dataclasses.replace(task, sequence=driven)


@pytest.mark.parametrize("wire", ["PUMP", "FLOW", "SPEED"])
def test_a_wire_that_is_off_is_found(plot_bar, outcome, wire):
    settings, spec = plot_bar
    task = short_task(settings)
    with rig_pair(settings.as_dict()) as pair:
        pair.broken.add(wire)
        record = RigRun(pair.client, pair.rig, task, settings).drive(spec)
    driven = rig_check._judged(task, rig_check.true_run(record, [1.0, 1.5, 1.0]))
    twin = {STARTING: outcome.trial.driven[TWIN].rows[STARTING]}
    assert behind(twin, driven.rows)


def test_settings_that_nobody_took_on_are_refused_before_anything_moves(plot_bar):
    settings, spec = plot_bar
    values = settings.as_dict() | {"settings_state": 1}
    with rig_pair(values) as pair:
        with pytest.raises(InputError, match="are not set up"):
            check_on_rig("plot bar", spec, pair.client, pair.rig)
        assert pair.rig.take() == []


def test_resetting_is_left_out_where_the_highest_rate_forbids_it(plot_bar):
    settings, _ = plot_bar
    low, _ = build_settings({"highest_rate_ml_ha": 150_000}, settings)
    task = task_for(low)
    assert "rate up and rate down left out" in task.notes[0]
    assert {stage.part for stage in task.sequence.stages} == {
        stage.part for stage in task_for(settings, short=True).sequence.stages}
    lower, _ = build_settings({"highest_rate_ml_ha": 100_000}, settings)
    with pytest.raises(InputError, match="highest rate must be 120 L/ha or more"):
        task_for(lower)


def test_contacts_follow_the_wiring_of_the_implement_switch(plot_bar):
    settings, _ = plot_bar
    driven = task_for(settings, short=True).sequence
    opens, _ = build_settings({"implement_open_is_down": 1}, settings)
    straight, turned = contacts(driven, settings), contacts(driven, opens)
    assert len(straight) == len(turned) > 5
    for (at_s, closed), (also_s, other) in zip(straight, turned, strict=True):
        assert at_s == also_s and closed ^ other == SWITCH_IMPLEMENT


class Echo:
    """A port at which something answers, or nothing."""

    def close(self):
        pass

    def __init__(self, *lines):
        self.lines = list(lines)
        self.now = 0.0

    def read(self, limit):
        self.now += 0.1
        return self.lines.pop(0) if self.lines else b""

    def write(self, data):
        pass

    def now_s(self):
        return self.now


@pytest.mark.parametrize(("lines", "said"), [
    ((), "no rig answers"),
    ((b">>> \r\n", b"MicroPython v1.26\n"), "no rig answers"),
    ((b'{"rig": 99, "step_us": 10000}\n',), "has version 99"),
    ((b'{"error": "no such request: hello"}\n',), "the rig refuses: no such request"),
])
def test_who_is_no_rig_is_named_in_one_line(lines, said):
    with pytest.raises(RigError, match=said):
        rig_check.RigLine(Echo(*lines)).greet()


@pytest.mark.parametrize(("tables", "said"), [
    ({"manifold": {"air_ml": 20}}, "no air"),
    ({"pump": {"ripple_share": 0.1}}, "neither ripple"),
    ({"gnss": {"hz": 5}}, "no receiver"),
])
def test_what_the_rig_does_not_play_is_refused(tables, said):
    with pytest.raises(InputError, match=said):
        rig_numbers(machine_spec("electric_m", **tables))
