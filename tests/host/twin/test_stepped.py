"""The firmware run step by step: a brown-out at any line of a tick leaves every output off."""

from __future__ import annotations

import pytest

from host_sim.trials.trust.case import brought
from host_sim.trials.trust.station import Station

LINES = range(1, 420, 35)


@pytest.fixture(params=LINES)
def station(request: pytest.FixtureRequest) -> Station:
    at_work = brought("applying", "electric_m")
    at_work.run.brown_out(request.param)
    return at_work


def test_a_brown_out_in_a_tick_ends_in_a_start_with_everything_off(station: Station) -> None:
    starts = station.run.starts
    for _ in range(4):  # a tick may have fewer lines than asked for
        station.live(0.05)
        if station.run.starts > starts:
            break
    assert station.run.starts == starts + 1
    assert not station.outputs_on
    station.live(3.0)
    assert not station.outputs_on  # the master is still on: nothing starts by itself
    station.arm()
    station.live(1.0)
    assert station.outputs_on
    assert station.promises.broken == []


def test_the_loop_may_hang_and_the_tick_goes_on_but_not_for_long() -> None:
    at_work = brought("applying", "electric_m")
    at_work.run.polling = False
    at_work.live(3.0)
    assert at_work.outputs_on
    at_work.live(1.5)
    assert not at_work.outputs_on
