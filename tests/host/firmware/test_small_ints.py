"""No tick leaves the small ints, whatever the permitted settings and whatever the board reports.

Every int in a controller is replaced by one that raises when a result leaves
-2**30 .. 2**30 - 1; then random settings over the whole table meet random inputs.
"""

import random
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from rate_control import settings as table
from rate_control.controller import Controller
from rate_control.intmath import LIMIT
from rate_control.records import Inputs, Request
from rate_control.settings_table import TABLE
from rate_control.units import WIDTH_MAX_MM
from tests.support.small_int import SmallInt, harden


def random_number(entry: Any, rng: random.Random) -> int:
    """Draw one number: the ends of the range as often as everything between."""
    low, high = entry[table.LOW], entry[table.HIGH]
    return rng.choice((low, high, rng.randint(low, high), entry[table.DEFAULT]
                       if entry[table.COUNT] == 1 else low))


def random_settings(rng: random.Random) -> table.Settings:
    """Draw a permitted set of settings; lists are made to fit their cross-checks."""
    values: dict[str, Any] = {}
    for entry in TABLE:
        name = entry[table.NAME]
        if name.startswith(("curve_flow", "curve_duty")):
            span = range(entry[table.LOW], entry[table.HIGH] + 1)
            values[name] = sorted(rng.sample(span, entry[table.COUNT]))
        elif entry[table.COUNT] == 1:
            values[name] = random_number(entry, rng)
        else:
            most = min(entry[table.HIGH], WIDTH_MAX_MM // 8)
            values[name] = [rng.randint(entry[table.LOW], most)
                            for _ in range(entry[table.COUNT])]
    values["rate_ml_ha"] = min(values["rate_ml_ha"], values["highest_rate_ml_ha"])
    values["meter_floor_ul_s"] = min(values["meter_floor_ul_s"], values["curve_flow_ul_s"][-1] - 1)
    values["meter_floor_ul_s"] = max(values["meter_floor_ul_s"], 0)
    made, problems = table.build(values)
    assert made is not None, problems
    return made


def random_tick(inputs: Inputs, now_us: int, rng: random.Random) -> int:
    """Move the board's side on by one tick: any switches, any pulse rates, wraps and gaps."""
    now_us = (now_us + rng.choice((50_000, 50_000, 50_000, 49_000, 400_000))) & LIMIT
    inputs.switches = SmallInt(rng.choice((0x3FF, 0x3FF, 0x3FF, rng.getrandbits(10))))
    inputs.supply_mv = SmallInt(rng.choice((0, 12_000, 1, 32_000)))
    for kind in ("speed", "flow"):
        pulses = rng.choice((0, 1, 20, 500, 5000))
        if pulses:
            count = (getattr(inputs, f"{kind}_count") + pulses) & LIMIT
            setattr(inputs, f"{kind}_count", SmallInt(count))
            setattr(inputs, f"{kind}_edge_us", SmallInt((now_us - rng.randint(0, 49_000)) & LIMIT))
    return now_us


@given(st.integers(0, 2**32))
@settings(max_examples=150)
def test_every_value_of_every_tick_is_a_small_int(seed: int) -> None:
    rng = random.Random(seed)
    controller = Controller(random_settings(rng))
    inputs, now_us = Inputs(), LIMIT - 100_000
    for _ in range(3):  # master off first, so that the rest can apply
        now_us = (now_us + 50_000) & LIMIT
        controller.step(inputs, now_us)
    harden(controller)
    for tick in range(150):
        if tick % 40 == 0:
            controller.request.regulation = rng.choice((Request.CLOSED_LOOP, Request.FIXED_DUTY))
            controller.request.bench = SmallInt(rng.getrandbits(1))
            controller.request.bench_speed_mm_s = SmallInt(rng.choice((0, 20_000)))
        now_us = random_tick(inputs, now_us, rng)
        controller.step(inputs, SmallInt(now_us))
    assert all(-LIMIT <= value <= LIMIT for value in controller.trace)
