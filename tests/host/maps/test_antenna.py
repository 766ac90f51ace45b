"""Lag and place of the antenna from passes to and fro, against those of the simulated receiver."""

import dataclasses

import pytest

from host_sim.__main__ import main
from host_sim.common.errors import InputError
from host_sim.maps.antenna import antenna_of
from host_sim.runs.files import write_run
from host_sim.runs.measured import as_measured
from host_sim.runs.summary import summarise
from host_sim.trials.headland import Turtle
from host_sim.twin.twin import Twin
from rate_control.units import TICK_MS
from tests.support.placed_drives import CORRECTED, placed

TRUE_LAG_S, TRUE_RIGHT_M = 0.42, 0.35
ANTENNA = {"delay_s": TRUE_LAG_S, "ahead_m": 1.2, "right_m": TRUE_RIGHT_M}
STAKES_M = (8.0, 46.0)
SPEED_M_S = 1.4
TICK_M = SPEED_M_S * TICK_MS / 1e3  # an event is played up to so late, and seen a tick later
# Round and back to the line: arcs of 2 m to the left, right and left, with 0.2 m straight ahead
# after each, so that an arc that is begun late does not end in the next one. Their sides cancel.
SIDE_DEG, RADIUS_M, STRAIGHT_M = 57.17886, 2.0, 0.2


def to_and_fro(passes: int) -> tuple[list[tuple[float, str]], float]:
    """Events and way of passes over one line, by hands that are neither early nor late.

    A turn is begun half a tick's way early, as it is half a tick late on average; a switch a whole
    one: the tick that sees it then falls into the one after the stake, as that of a real one does.
    """
    turtle = Turtle(0.0, 0.0, 0.0)
    for number in range(passes):
        first_m, last_m = (abs(stake_m - turtle.north_m)
                           for stake_m in (STAKES_M[::-1] if number % 2 else STAKES_M))
        turtle.work(first_m - TICK_M, last_m - TICK_M, last_m + 4.0, f"pass {number + 1}")
        for turn_deg in (-SIDE_DEG, 180 + 2 * SIDE_DEG, -SIDE_DEG):
            turtle.turn(turn_deg, RADIUS_M)
            turtle.forward(STRAIGHT_M)
    assert abs(turtle.east_m) < 0.01
    return [(at_m - TICK_M / 2 if "turn" in what else at_m, what)
            for at_m, what in turtle.events], turtle.way_m


def driven(folder, passes, settings=""):
    events, way_m = to_and_fro(passes)
    return Twin(placed(folder, CORRECTED | ANTENNA,
                       'antenna = ["1.2 m", "0 m", "0 m", "0 m"]\n' + settings,
                       events=tuple(events), way_m=way_m, speed_m_s=SPEED_M_S)).run()


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """Three times each way, as the how-to has it."""
    return driven(tmp_path_factory.mktemp("stakes"), 6)


def test_passes_lead_to_and_fro_over_one_line(record):
    down = record["hand_switches"].astype(int) & 2 > 0
    assert abs(record["true_east_m"][down]).max() < 0.2
    assert record["true_north_m"][down].min() == pytest.approx(8, abs=0.2)
    assert record["true_north_m"][down].max() == pytest.approx(46, abs=0.2)


def test_lag_and_side_come_out(record, record_property):
    found = antenna_of(record)
    record_property("summary", f"antenna by passes to and fro: lag {found.lag_s:.3f} s of "
                               f"{TRUE_LAG_S} s, {found.right_m:.3f} m right of {TRUE_RIGHT_M} m")
    assert found.pairs == 5
    assert found.lag_s == pytest.approx(TRUE_LAG_S, abs=0.02)
    assert found.right_m == pytest.approx(TRUE_RIGHT_M, abs=0.025)


@pytest.mark.parametrize("first", [0, 1])
def test_record_of_every_second_tick_says_the_same(record, first):
    """As `record` makes one where nothing else is asked for."""
    measured = as_measured(record)
    rows = {name: column[first::2] for name, column in measured.columns.items()}
    assert antenna_of(dataclasses.replace(measured, columns=rows)).lag_s == pytest.approx(
        TRUE_LAG_S, abs=0.02)


def test_pass_with_a_gap_at_its_stake_tells_nothing(record):
    measured = as_measured(record)
    move = int(((measured["hand_switches"].astype(int) & 2) > 0).argmax())
    here = [*range(move - 5), *range(move + 5, len(measured))]
    rows = {name: column[here] for name, column in measured.columns.items()}
    assert antenna_of(dataclasses.replace(measured, columns=rows)).pairs == 4


def test_delays_of_the_switches_are_no_lag(tmp_path):
    """Debouncing goes by whole ticks: 90 ms are one of 50 ms, and 130 ms of the start two more."""
    found = antenna_of(driven(tmp_path, 2, 'switch_debounce = "90 ms"\n'
                              'implement_start_delay = "130 ms"\n'))
    assert found.lag_s == pytest.approx(TRUE_LAG_S, abs=0.02)


def test_verb_prints_them(record, tmp_path, capsys):
    write_run(tmp_path / "run", record, summarise(record) | {"wall_seconds": None}, False)
    assert main(["antenna", str(tmp_path / "run"), "--units", "us"]) == 0
    told = capsys.readouterr().out
    assert "lag of the antenna" in told and "antenna to the right" in told and " in " in told


def test_run_without_such_passes_is_refused(record, tmp_path, capsys):
    straight = record.columns | {"hand_switches": record["hand_switches"] * 0,
                                 "switches": record["switches"] * 0}
    with pytest.raises(InputError, match="no two passes"):
        antenna_of(type(record)(straight, record.about))
    lost = record.columns | {"fix_quality": record["fix_quality"] * 0}
    with pytest.raises(InputError, match="no two passes"):
        antenna_of(type(record)(lost, record.about))
    unplaced = {name: column for name, column in record.columns.items() if "_mm" not in name
                or name == "distance_mm" or name == "width_mm"}
    with pytest.raises(InputError, match="does not know its place"):
        antenna_of(type(record)(unplaced | {"speed_mm_s": record["speed_mm_s"]}, record.about))
