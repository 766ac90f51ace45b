"""The unit: the plant of the twin behind the interface of FMI 2.0 for co-simulation.

This module runs inside the tool that steps the unit. `machine.json` beside it says which machine.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, SubElement

from pythonfmu import (
    Boolean,
    DefaultExperiment,
    Fmi2Causality,
    Fmi2Initial,
    Fmi2Slave,
    Fmi2Variability,
    Integer,
    Real,
)

from host_sim.plant.catalogue import machine_spec_from_table
from host_sim.plant.machine import Actuation, Machine

STEP_S = 0.05  # the tick of the firmware
US_PER_S = 1e6


class SimulatedMachine(Fmi2Slave):  # type: ignore[misc]
    """A machine in motion. Inputs hold for the whole step, but for a valve's pulse, which begins
    with it; the ground speed goes evenly to what it is given as.
    """

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        text = (Path(self.resources) / "machine.json").read_text(encoding="utf-8")
        table = json.loads(text)
        self.guid = uuid.uuid5(uuid.NAMESPACE_OID, text)
        self.modelName = table["kind"]
        self.description = table.pop("description")
        self.version = table.pop("version")
        self.default_experiment = DefaultExperiment(start_time=0.0, step_size=STEP_S)
        self.spec = machine_spec_from_table(table)
        self.seed = 0
        self.duty = self.speed_m_s = 0.0
        self.valve_pulse_ms = 0
        self.section_on = [False] * self.spec.sections.count
        self.machine = Machine(self.spec, self.seed)
        self._register()

    def to_xml(self, *given: Any) -> Element:
        """The description, with what the standard asks for of every output: that it has a value
        from the start on.
        """
        root: Element = super().to_xml(*given)
        structure = root.find("ModelStructure")
        assert structure is not None
        unknowns = SubElement(structure, "InitialUnknowns")
        for output in structure.findall("Outputs/Unknown"):
            SubElement(unknowns, "Unknown", dict(output.attrib))
        return root

    def exit_initialization_mode(self) -> None:
        """Begin anew with the seed that was set: a unit may be started again after a reset."""
        self.machine = Machine(self.spec, self.seed)

    def do_step(self, current_time: float, step_size: float) -> bool:
        """Live on; an input out of range is refused, and nothing has moved then."""
        mask = sum(1 << section for section, on in enumerate(self.section_on) if on)
        end_us = round((current_time + step_size) * US_PER_S)
        try:
            self.machine.advance(end_us, Actuation(self.duty, self.valve_pulse_ms, mask),
                                 self.speed_m_s)
        except ValueError as error:
            self.log(str(error))
            return False
        return True

    def _register(self) -> None:
        """Name every variable, with what it means and its unit at the end of its name."""
        pump = self.spec.valve is None
        self.register_variable(Integer(
            "seed", causality=Fmi2Causality.parameter, variability=Fmi2Variability.fixed,
            initial=Fmi2Initial.exact, description="of noise and phases"))
        if pump:
            self._input(Real, "duty", "0 to 1, of the pump or of its proportional valve")
        else:
            self._input(Integer, "valve_pulse_ms", "drive of the valve's motor, from the "
                        "beginning of the step on; + opens the valve, - closes it")
        for section in range(self.spec.sections.count):
            self._section(section)
        self._input(Real, "speed_m_s", "ground speed at the end of the step")
        for name, words, integer in (
                ("flow_pulses", "of the flow meter so far", True),
                ("flow_edge_us", "when the newest of them came, from the start on", True),
                ("speed_pulses", "of the ground-speed sensor so far", True),
                ("speed_edge_us", "when the newest of them came, from the start on", True),
                ("supply_v", "at the board", False),
                ("true_flow_m3_s", "out of all outlets", False),
                ("true_pressure_pa", "gauge, of the manifold", False),
                ("true_distance_m", "travelled", False),
                ("motor_current_a", "of the pump's motor or of a proportional valve's coil",
                 False)):
            self._output(Integer if integer else Real, name, words, _OUTPUTS[name])
        if not pump:
            self._output(Real, "valve_position", "of the regulating valve, 0 shut to 1 open",
                         lambda machine: machine.valve_position)
        for section in range(self.spec.sections.count):
            self._output(Real, f"true_section_{section + 1}_ml", "let out by a section so far",
                         partial(_section_ml, section))

    def _input(self, kind: Any, name: str, words: str) -> None:
        variability = (Fmi2Variability.continuous if kind is Real else Fmi2Variability.discrete)
        self.register_variable(kind(name, causality=Fmi2Causality.input, description=words,
                                    variability=variability))

    def _section(self, section: int) -> None:
        def turn(on: bool) -> None:
            self.section_on[section] = on

        self.register_variable(Boolean(
            f"section_{section + 1}", causality=Fmi2Causality.input,
            variability=Fmi2Variability.discrete, description="valve of a section, true is open",
            getter=lambda: self.section_on[section], setter=turn))

    def _output(self, kind: Any, name: str, words: str, read: Callable[[Machine], Any]) -> None:
        variability = (Fmi2Variability.continuous if kind is Real else Fmi2Variability.discrete)
        self.register_variable(kind(
            name, causality=Fmi2Causality.output, variability=variability, description=words,
            getter=lambda: read(self.machine)))


def _section_ml(section: int, machine: Machine) -> float:
    return machine.section_volume_ml[section]


_OUTPUTS: dict[str, Callable[[Machine], Any]] = {
    "flow_pulses": lambda machine: machine.flow_input.count,
    "flow_edge_us": lambda machine: machine.flow_input.last_edge_us,
    "speed_pulses": lambda machine: machine.speed_input.count,
    "speed_edge_us": lambda machine: machine.speed_input.last_edge_us,
    "supply_v": lambda machine: machine.supply_mv / 1e3,
    "true_flow_m3_s": lambda machine: machine.flow_m3_s,
    "true_pressure_pa": lambda machine: machine.pressure_pa,
    "true_distance_m": lambda machine: machine.distance_m,
    "motor_current_a": lambda machine: machine.motor_current_a,
}
