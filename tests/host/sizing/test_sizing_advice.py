"""Advice names the part at fault, and what it says would do does."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from host_sim.sizing import texts
from host_sim.sizing.advice import advise
from host_sim.sizing.case import Finding
from host_sim.sizing.machine import PUMP_CLASSES, Meter, Pump, SizedMachine, Valve, iso_outlet
from tests.host.sizing.sizing_examples import BAR, BARE, FULL, L_MIN, ask, si


def found(machine: SizedMachine, asked: object, us: bool = False) -> dict[str, Finding]:
    return {finding.part: finding for finding in advise(machine, asked, us)}


def first(quantity: str, pattern: str, finding: Finding) -> float:
    """The first quantity that a remedy names, a little on the safe side of its rounding."""
    match = re.search(pattern, finding.remedy)
    assert match, finding.remedy
    return si(quantity, match[1])


def test_nothing_is_said_of_a_machine_that_fits() -> None:
    assert advise(FULL, ask("8.5 km/h to 12 km/h", "100 L/ha"), False) == []


def test_too_small_an_outlet_and_the_sizes_that_would_do() -> None:
    asked = ask("8 km/h to 10 km/h", "200 L/ha")
    finding = found(replace(BARE, outlet=iso_outlet("02", BARE.outlet.range_pa)), asked)["outlet"]
    assert finding.problem.startswith("Outlet 02 is too small: 200.0 L/ha at 10.0 km/h takes 1.667")
    assert finding.remedy == "size 04 or 05."
    for size in ("04", "05"):
        assert (
            advise(replace(BARE, outlet=iso_outlet(size, BARE.outlet.range_pa)), asked, False) == []
        )


def test_too_big_an_outlet() -> None:
    asked = ask("8 km/h to 10 km/h", "100 L/ha")
    finding = found(replace(BARE, outlet=iso_outlet("06", BARE.outlet.range_pa)), asked)["outlet"]
    assert "Outlet 06 is too big: 100.0 L/ha at 8.0 km/h" in finding.problem
    assert "its range begins at 1.00 bar" in finding.problem


def test_outlets_changed_with_the_rate() -> None:
    asked = ask("8 km/h to 10 km/h", "100 L/ha", "290 L/ha")
    finding = found(BARE, asked)["outlet"]
    assert "size 02 or 025 for 100.0 L/ha, size 06 or 08 for 290.0 L/ha" in finding.remedy
    assert "gives 2.0 to 1" in finding.remedy


def test_a_range_that_no_orifice_spans() -> None:
    finding = found(BARE, ask("4 km/h to 12 km/h", "100 L/ha"))["outlet"]
    assert "too small" not in finding.problem and "too big" in finding.problem
    assert "less speed range or fewer rates; size 02 does most" in finding.remedy


def test_an_orifice_between_the_sizes() -> None:
    narrow = iso_outlet("03", (2 * BAR, 2.6 * BAR))
    asked = ask("8 km/h to 9 km/h", "170 L/ha")
    finding = found(replace(BARE, outlet=narrow), asked)["outlet"]
    flow = first("outlet_flow_ul_s", r"between ([\d.]+ L/min)", finding)
    orifice = replace(narrow, flow_m3_s=flow * 1.001, at_pressure_pa=3 * BAR)
    assert advise(replace(BARE, outlet=orifice), asked, False) == []


def test_too_small_a_pump_and_what_would_do() -> None:
    asked = ask("9 km/h to 12 km/h", "100 L/ha")
    finding = found(replace(BARE, pump=PUMP_CLASSES["M"]), asked)["pump"]
    assert finding.problem.startswith("Pump M is too small: 100.0 L/ha at 12.0 km/h takes 20.00")
    need = texts.flow_at_pressure(
        "flow_ul_s", re.search(r"at least (.*) \(", finding.remedy)[1], False
    )
    assert advise(replace(BARE, pump=Pump("p", need[0] * 1.001, 0.0)), asked, False) == []
    assert "larger than the classes" in finding.remedy


def test_a_class_that_would_do_is_named() -> None:
    asked = ask("9 km/h to 12 km/h", "100 L/ha")
    small_bar = replace(BARE, sections=(8,), pump=PUMP_CLASSES["S"])
    finding = found(small_bar, asked)["pump"]
    assert "(class L)" in finding.remedy
    assert advise(replace(small_bar, pump=PUMP_CLASSES["L"]), asked, False) == []


def test_a_pump_is_not_blamed_for_an_outlet() -> None:
    """Size 02 asks for 9.5 bar that the pump cannot give; with a fitting size it can."""
    pump = Pump.from_points("p", 60 * L_MIN, 34 * L_MIN, 4 * BAR)
    machine = replace(BARE, outlet=iso_outlet("02", BARE.outlet.range_pa), pump=pump)
    findings = found(machine, ask("8 km/h to 10 km/h", "200 L/ha"))
    assert machine.pump_limit_m3_s(machine.whole) < 1.667 * L_MIN
    assert set(findings) == {"outlet"}


REMEDIES = {
    "meter": (
        {"meter": Meter(450e3, (1 * L_MIN, 10 * L_MIN))},
        lambda f: {
            "meter": Meter(
                450e3,
                texts.span("flow_ul_s", re.search(r"from (.*) \(", f.remedy)[1], False),
            )
        },
    ),
    "section valve": (
        {"section_valve": Valve(5 * L_MIN, 0.0)},
        lambda f: {
            "section_valve": Valve(first("flow_ul_s", r"least ([\d.]+ L/min)", f) * 1.001, 0.0)
        },
    ),
    "regulating valve": (
        {"regulating_valve": Valve(5 * L_MIN, 0.0)},
        lambda f: {
            "regulating_valve": Valve(first("flow_ul_s", r"least ([\d.]+ L/min)", f) * 1.001, 0.0)
        },
    ),
    "flow pulses": (
        {"meter": Meter(5e3, None)},
        lambda f: {
            "meter": Meter(first("pulses_per_hl", r"least ([\d.]+ pulses/L)", f) * 1.001, None)
        },
    ),
    "speed pulses": (
        {"speed_pulses_per_m": 0.5},
        lambda f: {
            "speed_pulses_per_m": first("pulses_per_km", r"least ([\d.]+ pulses/m)", f) * 1.001
        },
    ),
    "relief valve": ({"relief_pa": 1.5 * BAR}, lambda f: {"relief_pa": 3 * BAR}),
}


@pytest.mark.parametrize("part", REMEDIES)
def test_what_would_do_does(part: str) -> None:
    fault, remedy = REMEDIES[part]
    asked = ask("9 km/h to 12 km/h", "100 L/ha")
    findings = found(replace(BARE, **fault), asked)
    assert set(findings) == {part}
    mended = replace(BARE, **remedy(findings[part]))
    assert advise(mended, asked, False) == []


def test_fast_pulses_ask_for_fewer() -> None:
    finding = found(replace(BARE, meter=Meter(50e6, None)), ask("9 km/h to 12 km/h", "100 L/ha"))
    assert "at most 30000.00 pulses/L" in finding["flow pulses"].remedy


def test_words_in_customary_units() -> None:
    finding = found(
        replace(BARE, pump=PUMP_CLASSES["M"]), ask("9 km/h to 12 km/h", "100 L/ha"), True
    )
    assert "10.69 gal/ac at 7.5 mph takes 5.28 gal/min at" in finding["pump"].problem
