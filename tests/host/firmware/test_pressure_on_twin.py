"""The whole firmware with a pressure sensor on the twin: what it says of what goes wrong."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from app.pressure import (
    FILTER,
    FILTER_OR_PUMP,
    NO_SIGNAL,
    NOTHING,
    PLUGGED,
    PUMP,
    WORN,
)
from app.pressure_watch import SAYS
from host_sim.machine_file.machine import MachineFile, load_machine
from host_sim.machine_file.pressure_file import pressure_bytes
from host_sim.machine_file.twin_spec import spec_of
from host_sim.report.words import Teller
from host_sim.runs.summary import summarise
from host_sim.twin.hands import Event
from host_sim.twin.scenario import SCENARIO_DIR, Scenario
from host_sim.twin.speed_trace import SpeedTrace
from host_sim.twin.twin import Twin
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

SENSOR = '\n[pressure]\nsignal = "0.5 to 4.5 V"\nrange = "4 bar"\n'
PLOT_BAR = SCENARIO_DIR / "plot_bar.machine.toml"
FAST, SLOW = 4.0, 1.5  # m/s
# the master on, the implement down; fast, slow and fast again, ten even seconds each
BEGIN = (Event("rate", at_s=0.5, rate_ml_ha=95000), Event("master", at_s=1.0, on=SWITCH_MASTER),
         Event("down", at_s=2.0, on=SWITCH_IMPLEMENT))
WAY = SpeedTrace("fast and slow", (0.0, 3.0, 5.0, 15.0, 17.0, 27.0, 29.0, 40.0),
                 (0.0, 0.0, FAST, FAST, SLOW, SLOW, FAST, FAST), "")


@cache
def bar() -> MachineFile:
    return load_machine(PLOT_BAR, PLOT_BAR.read_text(encoding="utf-8") + SENSOR)


def driven(field: str = "ordinary", spec: Any = None, at_s: float = 2.5, **broken: Any) -> Twin:
    """Drive; what is broken is so from at_s on, and more is done."""
    machine = broken.get("machine", bar())
    what = Event("broken", at_s=at_s, faults=broken.get("faults", {}),
                 orifices=broken.get("orifices", {}))
    events = sorted((*BEGIN, what, *broken.get("more", ())), key=lambda event: event.when)
    scenario = Scenario("pressure", spec or spec_of(machine), machine.settings, WAY, 1, events,
                        field, pressure=pressure_bytes(machine))
    twin = Twin(scenario)
    twin.record = twin.run()  # type: ignore[attr-defined]
    return twin


def said(twin: Twin) -> list[int]:
    """What it said, one after the other, repetitions left out."""
    codes = twin.record["pressure_says"].astype(int)  # type: ignore[attr-defined]
    return codes[np.flatnonzero(np.diff(codes, prepend=-1))].tolist()


@pytest.mark.parametrize("field", ["calm", "rough"])
def test_a_sound_machine_is_silent(field: str) -> None:
    twin = driven(field)
    assert said(twin) == [NOTHING] and twin.application.notes == []
    figures = summarise(twin.record)  # type: ignore[attr-defined]
    assert figures["pressure"]["outlets_pct"] == pytest.approx(100, abs=1.5)
    assert "of what new ones pass" in " ".join(Teller(figures, False).story())


@pytest.mark.parametrize(("orifices", "code"), [
    ({2: 0.5}, PLUGGED),  # one of the two outlets of section 3, of seven in all
    ({0: 1.15, 1: 1.15, 2: 1.15}, WORN),
])
def test_a_plugged_outlet_and_worn_ones_are_told_once(orifices: dict[int, float],
                                                      code: int) -> None:
    twin = driven(orifices=orifices)
    assert said(twin) == [NOTHING, code]
    assert twin.application.notes == [SAYS[code]]  # although the slow part could not judge them
    story = " ".join(Teller(summarise(twin.record), False).story())  # type: ignore[attr-defined]
    assert SAYS[code] in story


def test_switched_sections_are_not_taken_for_plugs() -> None:
    """One section goes off and on every 2.6 s: what is judged has the sections that it says."""
    first = 1 << SWITCH_SECTION_SHIFT
    toggles = [Event("one", at_s=6.0 + 2.6 * turn, on=first if turn % 2 else 0,
                     off=0 if turn % 2 else first) for turn in range(13)]
    twin = driven("calm", more=toggles)
    permille = twin.record["outlet_permille"]  # type: ignore[attr-defined]
    judged = permille[permille > 0]
    assert len(judged) and judged.min() > 970 and judged.max() < 1030
    assert said(twin) == [NOTHING]


def test_a_heavier_liquid_is_no_plug() -> None:
    """Flow through an orifice goes with one over the root of the density."""
    heavy = load_machine(PLOT_BAR, (PLOT_BAR.read_text(encoding="utf-8") + SENSOR).replace(
        "[settings]\n", '[settings]\nliquid_density = "1.28 kg/L"\n'))
    twin = driven("calm", machine=heavy)
    assert summarise(twin.record)["pressure"][  # type: ignore[attr-defined]
        "outlets_pct"] == pytest.approx(100, abs=2)


def worn_pump() -> Any:
    spec = spec_of(bar())
    return spec.override(pump={"leak_m3_s_pa": 4 * spec.pump.leak_m3_s_pa})


@pytest.mark.parametrize(("broken", "code"), [
    ({"faults": {"filter_pa": 2e5}}, FILTER), ({"spec": worn_pump}, PUMP)])
def test_two_flows_tell_a_clogged_filter_from_a_weak_pump(broken: dict[str, Any],
                                                          code: int) -> None:
    """At the first flow alone it is one of the two; at the second it is known which."""
    if "spec" in broken:
        broken = {"spec": broken["spec"]()}
    assert said(driven("calm", **broken)) == [NOTHING, FILTER_OR_PUMP, code]


def test_a_flat_battery_is_neither() -> None:
    assert said(driven("calm", faults={"supply_drop_v": 1.5})) == [NOTHING]


def test_a_cut_wire_is_told_and_no_pressure_is_made_of_it() -> None:
    twin = driven(at_s=8.0, faults={"pressure_cut": True})
    assert said(twin) == [NOTHING, NO_SIGNAL]
    assert twin.application.notes == [SAYS[NO_SIGNAL]]
    record = twin.record  # type: ignore[attr-defined]
    cut = record["time_s"] > 9.0
    assert set(record["pressure_pa"][cut]) == {-1} and set(record["outlet_permille"][cut]) == {0}


def test_a_machine_without_one_is_as_before() -> None:
    """Neither columns nor figures, and with one nothing but those: it does not touch the rate."""
    with_one = driven("rough").record  # type: ignore[attr-defined]
    plain = load_machine(PLOT_BAR)
    scenario = Scenario("pressure", spec_of(plain), plain.settings, WAY, 1, list(BEGIN), "rough")
    twin = Twin(scenario)
    without = twin.run()
    assert twin.application.parts == [] and "pressure" not in summarise(without)
    assert set(with_one.columns) - set(without.columns) == {
        "pressure_pa", "outlet_permille", "pressure_says"}
    for name, column in without.columns.items():
        assert np.array_equal(column, with_one[name]), name
