"""The stripboards join what the circuit joins, and the check notices when they do not."""

from dataclasses import replace

import pytest

from host_sim.hardware import stripboard
from host_sim.hardware.circuit import nets_of
from host_sim.hardware.stripboard import PAGES, layout_of, page_parts, shared_nets


def findings(page, layout):
    return list(stripboard.findings(layout, page_parts(page), shared_nets(page)))


@pytest.mark.parametrize("page", PAGES)
def test_every_layout_is_the_circuit_of_its_page(page):
    layout = layout_of(page)
    assert findings(page, layout) == []
    pins = {pin for net in nets_of(page_parts(page)).values() for pin in net}
    assert pins <= set(layout.pins)
    assert set(layout.ports) == shared_nets(page)


@pytest.mark.parametrize("page", PAGES)
def test_every_cut_and_every_link_matters(page):
    """Without any one of them, something is joined or parted that must not be.

    Except cuts beside a pin that leads nowhere, and those where only one side is in use.
    """
    layout = layout_of(page)
    idle = 0
    for cut in layout.cuts:
        idle += not findings(page, replace(layout, cuts=layout.cuts - {cut}))
    assert idle <= len(layout.cuts) // 2
    for number in range(len(layout.links)):
        rest = layout.links[:number] + layout.links[number + 1:]
        assert findings(page, replace(layout, links=rest))


def test_a_pin_in_the_hole_beside_is_noticed():
    """One row too low is another strip."""
    layout = layout_of("pulse inputs")
    parts = page_parts("pulse inputs")
    for pin, (column, row) in layout.pins.items():
        if parts[pin[0]].nets[pin[1]]:
            assert findings("pulse inputs", replace(layout, pins={**layout.pins,
                                                                  pin: (column, row + 1)}))


def test_a_wire_to_another_board_that_is_forgotten_is_noticed():
    layout = layout_of("pulse inputs")
    for net in layout.ports:
        rest = {name: hole for name, hole in layout.ports.items() if name != net}
        assert findings("pulse inputs", replace(layout, ports=rest))


def test_two_leads_in_a_hole_and_a_lead_on_a_cut_are_noticed():
    layout = layout_of("pressure input")
    pins = list(layout.pins)
    twice = {**layout.pins, pins[0]: layout.pins[pins[1]]}
    assert any("its hole" in one for one in findings("pressure input",
                                                     replace(layout, pins=twice)))
    cut = next(iter(layout.cuts))
    assert any("is a cut" in one for one in findings(
        "pressure input", replace(layout, pins={**layout.pins, pins[0]: cut})))


def test_a_drawing_is_in_its_true_size():
    """Two holes lie 2.54 mm apart, in millimetres of the drawing's own size."""
    text = stripboard.drawing("pressure input")
    width = text.split('width="')[1].split('mm"')[0]
    assert f'viewBox="0 0 {width} ' in text
    assert stripboard.at((1, 0))[0] - stripboard.at((0, 0))[0] == pytest.approx(2.54)
