"""The box: nothing runs into anything, every cable has its gland, and each rule can fail."""

import math
from dataclasses import replace

import pytest

from host_sim.hardware import enclosure
from host_sim.hardware.cables import TABLE
from host_sim.hardware.enclosure import (
    AROUND,
    GLANDS,
    INSIDE,
    LID,
    findings,
    gland_for,
    glands,
    items,
    outer_mm,
)
from host_sim.hardware.enclosure_page import drawing, page_text
from host_sim.hardware.sheets import circuit


def test_everything_fits():
    assert list(findings()) == []


def changed(monkeypatch, name, **change):
    """The box with one thing moved, grown or put elsewhere."""
    every = tuple(replace(item, **change) if item.name.startswith(name) else item
                  for item in items())
    assert every != items()
    monkeypatch.setattr(enclosure, "items", lambda: every)
    return list(findings())


@pytest.mark.parametrize(("name", "change", "said"), [
    ("relay K1", {"x": 230}, "relay K1 in its socket: runs into R3 and R75"),
    ("valve bridge", {"y": 200}, "valve bridge, terminals 1 to 19: does not fit"),
    ("fuse holders", {"x": 214}, "fuse holders F1 to F8: does not fit"),
    ("U1", {"high": 60}, "U1 in its sockets: does not fit"),
    ("supply, terminals 1 ", {"high": 53}, "supply, terminals 1 to 24: runs into switches"),
    ("fuse holders", {"high": 52}, "S1, emergency stop: runs into fuse holders"),
    ("display and keys", {"high": 38}, "display: runs into display and keys"),
])
def test_what_is_in_the_way_is_named(monkeypatch, name, change, said):
    assert any(line.startswith(said) for line in changed(monkeypatch, name, **change))


@pytest.mark.parametrize(("index", "change", "said"), [
    (1, {"x": 100, "y": 60}, "display: runs into encoder"),
    (5, {"x": 100}, "S1, emergency stop: runs into display and keys"),
])
def test_what_is_in_the_way_of_the_lid_is_named(monkeypatch, index, change, said):
    lid = list(LID)
    lid[index] = replace(lid[index], **change)
    monkeypatch.setattr(enclosure, "LID", tuple(lid))
    assert said in findings()


def test_glands_that_do_not_suit_are_named(monkeypatch):
    holes = list(glands())
    moved = [replace(holes[0], x=holes[1].x - 5), *holes[1:]]
    monkeypatch.setattr(enclosure, "glands", lambda: tuple(moved))
    assert f"{holes[0].name}: its nut touches that of {holes[1].name}" in findings()
    monkeypatch.setattr(enclosure, "glands", lambda: tuple(holes[1:]))
    assert "J1: has 0 glands" in findings()
    monkeypatch.setattr(enclosure, "glands", lambda: (replace(holes[0], y=5.0), *holes[1:]))
    assert f"{holes[0].name}: is not on the wall" in findings()


@pytest.mark.parametrize("cable", TABLE, ids=lambda cable: cable.connector)
def test_a_gland_clamps_its_cable(cable):
    _, hole, low, high, room = gland_for(cable)
    assert low <= outer_mm(cable) <= high < hole < 2 * room
    smaller = [gland for gland in GLANDS if gland[1] < hole]
    assert all(not gland[2] <= outer_mm(cable) <= gland[3] for gland in smaller)


def test_circles_around_wires_are_those_of_geometry():
    """Two: side by side. Three: 1 + 2/sqrt 3. Four: 1 + sqrt 2. Six: 3. Nine: 1 + 1/sin(pi/8), as
    a ring of eight around one (E. Specht's tables of the packing of equal circles in a circle).
    """
    assert pytest.approx({2: 2, 3: 1 + 2 / math.sqrt(3), 4: 1 + math.sqrt(2), 6: 3,
                                    9: 1 + 1 / math.sin(math.pi / 8)}, abs=1e-3) == AROUND


def test_every_connector_leaves_the_box_or_stays_in_it():
    connectors = {part.ref for part in circuit("rp2").parts.values() if part.kind == "CONN"}
    leaving = {hole.name.split()[0] for hole in glands()}
    assert leaving | INSIDE == connectors and not leaving & INSIDE


def test_page_and_drawing_have_every_hole():
    text, svg = page_text(), drawing()
    for hole in (*glands(), *LID):
        assert f">{hole.name}<" in svg
        assert f"| {hole.x:g} | {hole.y:g} |" in text
    assert svg.count("<circle") == len(glands()) + sum(not hole.wide for hole in LID)
