"""The field with two headlands: its way leads where it should."""

import numpy as np
import pytest

from host_sim.plant.way import Way
from host_sim.trials.headland import BAR_M, HEADLAND, HEADLAND_M, RUN_UP_M, scenario_files
from host_sim.twin.scenario import SCENARIO_DIR, load_scenario


def test_shipped_scenario_is_made_by_the_generator():
    for name, text in scenario_files(HEADLAND).items():
        assert (SCENARIO_DIR / name).read_text() == text


def test_passes_lie_side_by_side_between_the_headlands():
    """The events are followed by the plant's own way; the passes are straight, a bar apart."""
    scenario = load_scenario(SCENARIO_DIR / "headland.toml")
    way, driven_m, found = Way(scenario.heading_deg), 0.0, []
    for event in sorted((one for one in scenario.events if one.at_m is not None),
                        key=lambda one: one.at_m):
        way.travel(event.at_m - driven_m)
        driven_m = event.at_m
        if event.turn_deg:
            way.turn(event.turn_deg, event.radius_m)
        if event.note.startswith("pass"):
            found.append((way.east_m - RUN_UP_M, way.north_m + BAR_M / 2, way.heading_deg))
    eastings, northings, headings = np.array(found).T
    assert eastings == pytest.approx(HEADLAND.middles_m(), abs=0.01)
    assert headings % 360 == pytest.approx([0, 180, 0, 180], abs=0.01)
    early_m = 0.7 * 5 / 3.6
    assert northings[0] == pytest.approx(HEADLAND_M - early_m, abs=0.01)
    assert northings[1] == pytest.approx(HEADLAND.top_m(2 * BAR_M) + early_m, abs=0.01)
