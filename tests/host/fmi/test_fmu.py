"""Exported units beside the plant, stepped by FMPy, which knows nothing of this project.

FMI 2.0 (Modelica Association, 2014): the description is checked against the schema of the standard.
"""

import subprocess
import sys
import zipfile
from pathlib import Path
from random import Random

import pytest
from fmpy import extract, read_model_description
from fmpy.fmi2 import FMU2Slave
from fmpy.validation import validate_fmu

from host_sim.__main__ import EXIT_BAD_INPUT, main
from host_sim.plant.catalogue import KINDS, machine_spec
from host_sim.plant.machine import Actuation, Machine
from host_sim.plant.spec import INLINE_VALVE

TICK_S, TICK_US = 0.05, 50_000
STEPS = 160


class Unit:
    """A unit under FMPy, its variables by name."""

    def __init__(self, path, folder, seed):
        description = read_model_description(str(path), validate=True)
        self.refs = {one.name: one.valueReference for one in description.modelVariables}
        self.causality = {one.name: one.causality for one in description.modelVariables}
        self.fmu = FMU2Slave(
            guid=description.guid, unzipDirectory=extract(str(path), unzipdir=str(folder)),
            modelIdentifier=description.coSimulation.modelIdentifier, instanceName="one")
        self.fmu.instantiate()
        self.fmu.setupExperiment(startTime=0.0)
        self.fmu.setInteger([self.refs["seed"]], [seed])
        self.fmu.enterInitializationMode()
        self.fmu.exitInitializationMode()

    def close(self):
        self.fmu.terminate()
        self.fmu.freeInstance()

    def real(self, name):
        return self.fmu.getReal([self.refs[name]])[0]

    def integer(self, name):
        return self.fmu.getInteger([self.refs[name]])[0]


@pytest.fixture(autouse=True)
def own_search_path(monkeypatch):
    """A unit puts its own folder before all others, and new processes would inherit that."""
    monkeypatch.setattr(sys, "path", list(sys.path))


@pytest.fixture(scope="module")
def export(tmp_path_factory):
    """Makes the unit of a machine, once each."""
    made = {}

    def make(machine):
        if machine not in made:
            path = tmp_path_factory.mktemp("units") / f"{Path(machine).stem}.fmu"
            assert main(["fmu", machine, "--out", str(path)]) == 0
            made[machine] = path
        return made[machine]

    return make


@pytest.mark.parametrize("kind", KINDS)
def test_unit_is_the_plant_step_by_step(export, tmp_path, kind):
    """Random inputs of every kind, steps of changing length: the very same bits come out."""
    spec = machine_spec(kind)
    rng = Random(kind)
    unit, plant = Unit(export(kind), tmp_path, 7), Machine(spec, 7)
    pump = spec.valve is None
    now_us, sections = 0, spec.sections.count
    actuation, speed_m_s = Actuation(), 0.0
    for step in range(STEPS):
        if step % 8 == 0:
            actuation = Actuation(rng.random() if pump else 0.0, 0, rng.getrandbits(sections))
            speed_m_s = rng.uniform(0.0, 4.0)
        if not pump:
            more = 1 if spec.actuator == INLINE_VALVE else -1
            actuation.valve_pulse_ms = more * (50 if step < 80 else rng.randrange(-50, 51))
        span_us = rng.choice([TICK_US, TICK_US, 10_000, 7_000])
        refs, fmu = unit.refs, unit.fmu
        if pump:
            fmu.setReal([refs["duty"]], [actuation.duty])
        else:
            fmu.setInteger([refs["valve_pulse_ms"]], [actuation.valve_pulse_ms])
        fmu.setReal([refs["speed_m_s"]], [speed_m_s])
        for section in range(sections):
            fmu.setBoolean([refs[f"section_{section + 1}"]],
                           [bool(actuation.section_mask >> section & 1)])
        fmu.doStep(currentCommunicationPoint=now_us / 1e6, communicationStepSize=span_us / 1e6)
        now_us += span_us
        plant.advance(now_us, actuation, speed_m_s)
        assert unit.real("true_flow_m3_s") == plant.flow_m3_s
        assert unit.real("true_pressure_pa") == plant.pressure_pa
        assert unit.integer("flow_pulses") == plant.flow_input.count
        assert unit.integer("flow_edge_us") == plant.flow_input.last_edge_us
        assert unit.integer("speed_pulses") == plant.speed_input.count
        assert unit.real("supply_v") == plant.supply_mv / 1e3
        if not pump:
            assert unit.real("valve_position") == plant.valve_position
        for section in range(sections):
            assert unit.real(f"true_section_{section + 1}_ml") == plant.section_volume_ml[section]
    assert plant.flow_input.count > 10
    unit.close()


def test_description_keeps_to_the_standard(export):
    for kind in ("electric_s", "bypass_pd"):
        assert validate_fmu(str(export(kind))) == []


def test_same_machine_is_the_same_unit_and_another_is_not(export, tmp_path):
    again = tmp_path / "again.fmu"
    assert main(["fmu", "electric_s", "--out", str(again)]) == 0
    guids = [read_model_description(str(path)).guid
             for path in (export("electric_s"), again, export("electric_m"))]
    assert guids[0] == guids[1] != guids[2]


def test_unit_needs_python_alone(export, tmp_path):
    """Of what is in the unit, a bare interpreter without this project or any package runs it."""
    with zipfile.ZipFile(export("bypass_pd")) as unit:
        unit.extractall(tmp_path)
    code = ("import sys; sys.path.insert(0, sys.argv[1]);"
            "from simulated_machine import SimulatedMachine as M;"
            "m = M(instance_name='one', resources=sys.argv[1]);"
            "m.exit_initialization_mode(); m.section_on = [True] * 4; m.valve_pulse_ms = -50;"
            "assert m.do_step(0.0, 0.05); import host_sim; print(host_sim.__file__)")
    resources = tmp_path / "resources"
    ran = subprocess.run([sys.executable, "-I", "-S", "-c", code, str(resources)],
                         capture_output=True, text=True, check=True)
    assert Path(ran.stdout.strip()).is_relative_to(resources)


def test_input_out_of_range_is_refused_and_nothing_moves(export, tmp_path):
    unit = Unit(export("electric_s"), tmp_path, 0)
    unit.fmu.setReal([unit.refs["duty"]], [1.5])
    with pytest.raises(Exception, match="2|3|fmi2|failed"):
        unit.fmu.doStep(currentCommunicationPoint=0.0, communicationStepSize=TICK_S)
    assert unit.real("true_distance_m") == 0.0
    unit.close()


@pytest.mark.parametrize(("words", "told"), [
    (["no_such_kind", "--out", "a.fmu"], "no_such_kind"),
    (["electric_m", "--out", "a.zip"], "must end in .fmu"),
])
def test_bad_input_is_one_line(tmp_path, monkeypatch, capsys, words, told):
    monkeypatch.chdir(tmp_path)
    assert main(["fmu", *words]) == EXIT_BAD_INPUT
    error = capsys.readouterr().err
    assert told in error and error.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_missing_package_is_one_line(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    assert main(["fmu", "electric_m", "--out", str(tmp_path / "a.fmu")]) == EXIT_BAD_INPUT
    assert "pip install" in capsys.readouterr().err
