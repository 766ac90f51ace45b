"""What was asked of `size`, as the machine file that the next verbs take."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit

from host_sim.common.errors import InputError
from host_sim.machine_file.keeping import changed_text, new_text, with_fields
from host_sim.machine_file.machine import MachineFile, load_machine
from host_sim.machine_file.values import in_keys
from host_sim.sizing.fields import FIELDS, Said, SizingField
from host_sim.sizing.predicted import HOW, predicted_settings
from host_sim.sizing.request import SizingRequest
from rate_control.settings import build
from rate_control.units import INLINE_VALVE, PWM_PUMP

CURVE, STEP = "pump_curve", "step_test"  # their tables in a machine file


def machine_text(request: SizingRequest, base: Path | None, out: Path) -> str:
    """The text of the machine file `out`: a new one, or `base` with what the options said.

    Raises InputError where that would be no machine file.
    """
    machine = load_machine(base) if base else None
    us = machine.us if machine else request.us
    fields = {known.name: _value(known, said, us) for known in FIELDS
              if (said := request.said.get(known.name))}
    fields.setdefault("outlet", request.machine.outlet.name)
    if machine:
        told = {name: value for name, value in fields.items()
                if request.said.get(name) != machine.fields.get(name)}
        text = _with_prediction(request, load_machine(out, with_fields(machine, told)))
    else:
        text = _new(request, fields, us, out)
    load_machine(out, text)
    return text


def _new(request: SizingRequest, fields: Mapping[str, Any], us: bool, out: Path) -> str:
    settings, problems = build({
        "us_units": int(us),
        "rate_ml_ha": round(request.ask.rates_m[0] * 1e10),
        "highest_rate_ml_ha": round(max(request.ask.rates_m) * 1e10),  # until a person raises it
        "actuator": INLINE_VALVE if request.machine.regulating_valve else PWM_PUMP,
        **predicted_settings(request.machine),
    })
    if settings is None:
        raise InputError(*(in_keys(line, us) for line in problems))
    return new_text(out.name.split(".")[0].replace("_", " "), us, settings, fields, HOW)


def _with_prediction(request: SizingRequest, machine: MachineFile) -> str:
    """The text of a machine file with what is predicted, unless measured values stand there."""
    text = machine.source.text
    document = tomlkit.parse(text)
    learned = document.unwrap().get("learned", {})
    predicted_before = [name for name in (CURVE, STEP) if learned.get(name, {}).get("how") == HOW]
    if "curve_flow_ul_s" in machine.given and CURVE not in predicted_before:
        return text
    found = predicted_settings(request.machine)
    if "look_ahead_ms" in machine.given and STEP not in predicted_before:
        found.pop("look_ahead_ms", None)
    if found and machine.settings.actuator == PWM_PUMP:
        return changed_text(machine, found, HOW)[0]
    for name in predicted_before:  # of a pump that is not fitted any more
        del document["learned"][name]
    return tomlkit.dumps(document)


def _value(known: SizingField, said: Said, us: bool) -> Any:
    """The texts of a field as a value of a file whose bare numbers are `us` or metric."""
    for text in said.texts:
        if said.us != us and known.read(text, said.us) != known.read(text, us):
            raise InputError(f"{said.place}: '{text}' needs its unit, "
                             "for the file's bare numbers have others")
    if known.name == "sections":
        return [int(count) for count in known.read(said.texts[0], us)]
    texts = [text.strip() for text in said.texts]
    return texts if len(texts) > 1 else texts[0]
