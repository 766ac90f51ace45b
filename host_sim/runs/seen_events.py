"""What hands did in a run, as the controller saw it: from its debounced switches and its rate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from host_sim.runs.record import Column
from host_sim.twin.hands import HANDS, Happened
from host_sim.twin.scenario_events import ML_HA_PER_M, SWITCH_LEVELS, SWITCH_WORDS, rate_words
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT


def seen_events(columns: Mapping[str, Column], section_count: int) -> list[dict[str, Any]]:
    """Every change of a switch or of the rate, as an event of a run; what was so at first is none.

    `columns` are those of a run.
    """
    switches = columns["hand_switches"].astype(int)
    wanted = columns["wanted_ml_ha"]
    changed = np.flatnonzero((np.diff(switches) != 0) | (np.diff(wanted) != 0)) + 1
    found = []
    for row in changed:
        words = _switch_words(switches[row - 1], switches[row], section_count)
        if wanted[row] != wanted[row - 1]:
            words.append(rate_words(wanted[row] / ML_HA_PER_M))
        if words:
            found.append(asdict(Happened(
                float(columns["time_s"][row]), float(columns["true_distance_m"][row]),
                HANDS, " and ".join(words), "")))
    return found


def _switch_words(before: int, after: int, section_count: int) -> list[str]:
    bits = [("master", SWITCH_MASTER, 0), ("implement", SWITCH_IMPLEMENT, 0)]
    bits += [("switch", 1 << SWITCH_SECTION_SHIFT + index, index + 1)
             for index in range(section_count)]
    return [
        SWITCH_WORDS[key, SWITCH_LEVELS[key][0 if after & bit else 1]].format(section)
        for key, bit, section in bits if (before ^ after) & bit
    ]
