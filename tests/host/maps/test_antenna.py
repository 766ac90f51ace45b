"""Lag and place of the antenna from passes to and fro, against those of the simulated receiver."""

import math

import pytest

from host_sim.__main__ import main
from host_sim.common.errors import InputError
from host_sim.maps.antenna import antenna_of
from host_sim.runs.files import write_run
from host_sim.runs.summary import summarise
from host_sim.twin.twin import Twin
from tests.support.placed_drives import CORRECTED, placed

TRUE_LAG_S, TRUE_RIGHT_M = 0.42, 0.35
ANTENNA = {"delay_s": TRUE_LAG_S, "ahead_m": 1.2, "right_m": TRUE_RIGHT_M}
# Between stakes at 8 m and 46 m. A quarter to the left and three to the right, both of 2 m, come
# back to the line 4 m beyond where they left it, at 54 m; from there it is 8 m to the stake.
BACK_M = 50 + 2 * math.tau + 8
STAKES = ((8, 'implement = "down"'), (46, 'implement = "up"'),
          (50, "turn_deg = -90\nradius_m = 2"), (50 + math.pi, "turn_deg = 270\nradius_m = 2"),
          (BACK_M, 'implement = "down"'), (BACK_M + 38, 'implement = "up"'))


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stakes")
    return Twin(placed(folder, CORRECTED | ANTENNA, 'antenna = ["1.2 m", "0 m", "0 m", "0 m"]\n',
                       events=STAKES, way_m=114.0)).run()


def test_passes_lead_to_and_fro_over_one_line(record):
    down = record["hand_switches"].astype(int) & 2 > 0
    assert abs(record["true_east_m"][down]).max() < 0.05
    assert record["true_north_m"][down].min() == pytest.approx(8, abs=0.2)
    assert record["true_north_m"][down].max() == pytest.approx(46, abs=0.2)


def test_lag_and_side_come_out(record, record_property):
    found = antenna_of(record)
    record_property("summary", f"antenna by passes to and fro: lag {found.lag_s:.3f} s of "
                               f"{TRUE_LAG_S} s, {found.right_m:.3f} m right of {TRUE_RIGHT_M} m")
    assert found.pairs == 1
    assert found.lag_s == pytest.approx(TRUE_LAG_S, abs=0.035)  # the hands are a tick late
    assert found.right_m == pytest.approx(TRUE_RIGHT_M, abs=0.025)


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
