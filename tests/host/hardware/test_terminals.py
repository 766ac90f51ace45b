"""The terminal strips join what the circuit joins; a strip that does not is found out."""

import copy
import re

import pytest

from host_sim.hardware import stripboard
from host_sim.hardware.sheets import circuit
from host_sim.hardware.terminals import (
    LEADS_MOST,
    PAGES,
    findings,
    page_parts,
    shared_nets,
    strip_of,
)
from host_sim.hardware.terminals_page import drawing, page_text


def found(page, strip):
    return list(findings(strip, page_parts(page), shared_nets(page)))


@pytest.mark.parametrize("page", PAGES)
def test_a_strip_joins_what_the_circuit_joins(page):
    assert found(page, strip_of(page)) == []


def test_every_page_has_a_layout():
    """Either on stripboard or on terminals; the board itself sits in its socket."""
    pages = {sheet.name for sheet in circuit("rp2").sheets}
    assert pages == {*PAGES, *stripboard.PAGES, "board"}


# What a builder might do, and what must be said about it.
MUTANTS = {
    "drain and source swapped": ("pump driver", ("Q1 pin 2", "Q1 pin 3"), "PUMP_OUT: does not"),
    "gate and drain swapped": ("section drivers", ("Q13 pin 1", "Q13 pin 2"), "GATE_3: does not"),
    "pull-down on the wrong gate": ("section drivers", ("R61 pin 1", "R62 pin 1"), "GATE_1: does"),
    "fuse past the relay": ("supply", ("F5 pin 1", "K1 pin 30"), "LOAD: does not"),
    "diode turned round": ("valve bridge", ("D31 pin 1", "D31 pin 2"), "V_BRIDGE: does not"),
}


@pytest.mark.parametrize("name", MUTANTS)
def test_two_leads_that_are_swapped_are_found(name):
    page, (one, other), said = MUTANTS[name]
    strip = copy.deepcopy(strip_of(page))
    first, second = strip.place(one), strip.place(other)
    strip.leads[first].remove(one)
    strip.leads[second].remove(other)
    strip.leads[first].append(other)
    strip.leads[second].append(one)
    assert any(line.startswith(said) for line in found(page, strip))


def test_a_lead_that_is_missing_doubled_or_one_too_many_is_found():
    page = "section drivers"
    missing = copy.deepcopy(strip_of(page))
    missing.leads[missing.place("R68 pin 2")].remove("R68 pin 2")
    assert "GND: does not join what the circuit joins" in found(page, missing)
    doubled = copy.deepcopy(strip_of(page))
    doubled.leads[doubled.place("R68 pin 2")].append("R67 pin 2")
    assert "R67 pin 2: is under two screws" in found(page, doubled)
    full = copy.deepcopy(strip_of(page))
    at = full.nets.index("GND")
    full.leads[at] += full.leads[at + 1]
    full.leads[at + 1] = []
    told = found(page, full)
    assert f"terminal {at + 1}: {2 * LEADS_MOST} leads" in told
    assert f"terminal {at + 2}: 0 leads" in told


def test_a_bridge_too_many_or_too_few_is_found():
    page = "valve bridge"
    strip = copy.deepcopy(strip_of(page))
    first = strip.bridges[0]
    strip.nets[first] = "another"  # the bridge behind it is gone
    assert found(page, strip)
    strip = copy.deepcopy(strip_of(page))
    apart = next(index for index in range(len(strip.nets) - 1) if index not in strip.bridges)
    strip.nets[apart + 1] = strip.nets[apart]
    assert any("does not join" in line for line in found(page, strip))


def test_the_page_names_every_lead_once():
    text = page_text()
    for page in PAGES:
        for ref, part in page_parts(page).items():
            for pin in (number for number, net in part.nets.items() if net):
                assert len(re.findall(rf"\b{ref} pin {pin}(?!\d)", text)) == 1, (ref, pin)


@pytest.mark.parametrize("page", PAGES)
def test_the_drawing_has_every_terminal_and_part(page):
    svg = drawing(page)
    assert svg.count("<circle") == len(strip_of(page).nets)
    for ref in page_parts(page):
        assert re.search(rf">{ref}[ .<]", svg), ref
