"""What a run of an older firmware says is missing: nothing that it did not know of."""

import numpy as np

from host_sim.report.timeline import _permits_wanted
from rate_control.interlock import APPLYING_PERMITS, SET_UP, SETTINGS_WHOLE


def record(*permits):
    return {"permits": np.array(permits)}


def test_permits_of_the_settings_are_asked_of_a_firmware_that_has_them():
    old = APPLYING_PERMITS & ~(SETTINGS_WHOLE | SET_UP)
    assert _permits_wanted(record(0, old, 3)) == old
    for state in (SETTINGS_WHOLE, SET_UP, SETTINGS_WHOLE | SET_UP):
        assert _permits_wanted(record(0, state)) == APPLYING_PERMITS
