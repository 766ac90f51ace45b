"""The firmware fits the memory of a small board, with room for its work."""

import pytest

from app import parts
from app.coverage import TILE_COST, TILES_MAX
from app.plan_file import PLAN_FILE
from host_sim import REPO_ROOT
from host_sim.build.firmware import (
    CORE_PARTS,
    FREE_HEAP_MIN,
    built_in_passing,
    memory_budget,
    part_sizes,
    screen_loads,
)
from host_sim.twin.card_chip import CardChip
from tests.shared.panel_rig import PanelRig
from tests.shared.test_trial import Drawer, plan_of

FREE_WITH_A_SCREEN = 30_000
SMALLEST_TILES = 40  # of the grid, a quarter of a hectare


@pytest.fixture(scope="module")
def built():
    """The firmware as bytecode, in a folder of the tree that no other process writes to."""
    with built_in_passing() as folder:
        yield REPO_ROOT / folder


def test_heap_of_190k_leaves_60k_after_boot(built, record_property):
    budget = memory_budget(folder=built)
    record_property(
        "summary",
        f"free of a heap of {budget.heap:,}: after boot {budget.booted:,}, "
        f"with the largest screen {budget.lowest:,}",
    )
    # what the core loads is not asked whether there is room: there always is
    assert budget.booted - sum(CORE_PARTS.values()) >= FREE_HEAP_MIN
    assert budget.lowest >= FREE_WITH_A_SCREEN


def test_every_screen_is_among_those_measured():
    loads = {name for names in screen_loads([]) for name in names}
    assert {"app.screens.base", "app.screens.edit", "app.screens.run"} <= loads
    assert {"rate_control.procedures.plot_catch", "rate_control.settings_words"} <= loads


def test_every_part_takes_no_more_than_it_says(built, record_property):
    sizes = part_sizes(built)
    record_property("summary", "heap of what settings ask for: " + ", ".join(
        f"{name} {size:,}" for name, size in sizes.items()))
    assert list(CORE_PARTS) + [part[3] for part in parts.PARTS] == list(sizes)
    for name, said in CORE_PARTS.items():
        assert 0.8 * said <= sizes[name] <= said, name
    sizes["app.coverage"] -= (TILES_MAX - SMALLEST_TILES) * TILE_COST
    for name, _, _, module, said in parts.PARTS:
        assert 0.8 * said <= sizes[module] <= said, name
    assert parts.KEPT_FREE == FREE_HEAP_MIN


def test_a_plan_is_asked_for_by_the_name_it_has():
    assert PLAN_FILE == parts.PLAN_FILE


def test_a_plan_without_room_is_told(monkeypatch):
    rig = PanelRig()
    files = Drawer()
    files.write(PLAN_FILE, plan_of())
    monkeypatch.setattr(parts.gc, "mem_free", lambda: parts.KEPT_FREE + 8999, raising=False)
    parts.fit(rig.app, files)
    assert rig.app.notes == ["plan: not enough memory: a frozen firmware or an RP2350 has it"]
    assert rig.app.trial is None and rig.app.parts == []


def test_the_port_of_a_card_is_made_once():
    """A second one would take the card's select pin from the first."""
    app = PanelRig().app
    made = []

    def card_port():
        made.append(CardChip(1 << 20))
        return made[-1]

    app.board.card_port = card_port
    parts.fit(app)
    assert len(made) == 1
    assert "card" in [name for name, *_ in app.jobs._table]


def test_part_without_room_says_so_and_is_not_fitted(monkeypatch):
    rig = PanelRig()
    application = rig.app
    application.controller.settings.position_use = 1
    monkeypatch.setattr(parts.gc, "mem_free", lambda: parts.KEPT_FREE + 10999, raising=False)
    parts.fit(application)
    assert application.notes == [
        "position: not enough memory: a frozen firmware or an RP2350 has it"]
    assert application.position is None and application.ring.more == ()
    monkeypatch.setattr(parts.gc, "mem_free", lambda: parts.KEPT_FREE + 11000, raising=False)
    parts.fit(application)
    assert application.position is not None and len(application.notes) == 1


def test_coverage_without_room_leaves_the_position(monkeypatch):
    application = PanelRig().app
    application.controller.settings.position_use = 2
    free = iter([parts.KEPT_FREE + 11000, parts.KEPT_FREE + 11999])
    monkeypatch.setattr(parts.gc, "mem_free", lambda: next(free), raising=False)
    parts.fit(application)
    assert application.position is not None and len(application.parts) == 1
    assert application.notes == [
        "coverage: not enough memory: a frozen firmware or an RP2350 has it"]
