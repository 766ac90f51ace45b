"""Drives whose speed, and place, come from a CAN bus: through the chip's registers."""

import numpy as np
import pytest

from host_sim.common.earth import Origin
from host_sim.runs.places import believed_m
from host_sim.twin.twin import Twin
from tests.host.twin.test_gnss_drive import AS_SOURCE, drive
from tests.support.placed_drives import CORRECTED, placed


def by_can(use):
    return (*AS_SOURCE, ("[settings]", f'[settings]\ncan_use = "{use}"'))


def test_rate_is_held_as_with_sentences(tmp_path, record_property):
    figures = drive(tmp_path, "hz = 10\n", controller=by_can("ground"))
    found = figures["distance_within_5_pct"]
    record_property("summary", f"speed from a CAN bus, 10 reports a second: {found:.1f} % of "
                               f"the way within 5 %, {figures['rate_error_rms_pct']:.1f} % rms")
    assert found >= 98.5
    assert figures["controller_area_ha"] == pytest.approx(figures["area_ha"], rel=1e-3)
    assert not figures["faults"] and not figures["warnings"]


def test_fix_that_is_lost_stops_the_flow_and_says_so(tmp_path):
    lost = "\n[[event]]\nat_s = 60\ngnss_lost = true\n[[event]]\nat_s = 90\ngnss_lost = false\n"
    figures = drive(tmp_path, "hz = 5\n", controller=by_can("GNSS"), events=lost)
    assert "speed_lost" in figures["warnings"]
    assert figures["distance_within_5_pct"] > 95


def test_place_is_followed(tmp_path, record_property):
    exact = CORRECTED | {"drift_m": 0, "jitter_m": 0}
    record = Twin(placed(tmp_path, exact, 'can_use = "GNSS"\nantenna_lag = "0.15 s"\n')).run()
    east, north = believed_m(record.columns, Origin(**record.about["place"]))
    known = record["fix_quality"] > 0
    off = np.hypot(east - record["true_east_m"], north - record["true_north_m"])[known]
    rms = float(np.sqrt(np.mean(off[off.size // 10:] ** 2)))
    record_property("summary", f"place from a CAN bus: {rms:.3f} m off, rms")
    assert rms < 0.04 and set(record["fix_quality"][known]) == {1}
