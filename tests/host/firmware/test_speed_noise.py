"""Noise of any kind on the speed input of any machine that stands.

The oracle knows nothing of the core's estimates: it has the true edges, and the mechanics of a
machine that gains at most 5 m/s in a second, seen by a sensor that is blind for 25 mm or a pulse.
"""

import math
import random

import pytest

from rate_control.controller import Controller
from rate_control.records import Inputs
from rate_control.settings import build

WORK = 1 + 2 + 4 + 8 + 16
TICK_US = 50000
FIRST_TICKS = 9  # half a second, less the tick of the first edge


def standing(rng):
    """A controller with everything on but the speed, after ten seconds of standstill."""
    settings, problems = build({
        "speed_pulses_km": round(10 ** rng.uniform(3, 5.69)),
        "speed_average_pulses": rng.choice((1, 4, 16, 64)),
        "speed_timeout_ms": rng.choice((200, 1000, 2000, 8000)),
        "speed_cutoff_mm_s": rng.choice((50, 200, 1000)),
        "look_ahead_ms": rng.choice((0, 200)),
    })
    assert problems == []
    controller, inputs = Controller(settings), Inputs()
    now_us = 0
    for tick in range(600):
        now_us += TICK_US
        inputs.switches = WORK if tick > 5 else 0
        controller.step(inputs, now_us)
    return controller, inputs, now_us


def live(controller, inputs, now_us, edges_us, ticks):
    """Run ticks over edges at these times from now on; yield whether an output is on."""
    seen = 0
    for tick in range(1, ticks + 1):
        while seen < len(edges_us) and edges_us[seen] <= tick * TICK_US:
            inputs.speed_count += 1
            inputs.speed_edge_us = now_us + edges_us[seen]
            seen += 1
        outputs = controller.step(inputs, now_us + tick * TICK_US)
        yield bool(outputs.section_mask or outputs.duty_u16)


def noise(rng, seconds, low_hz=0.5, high_hz=5000):
    """Edges of a steady tone, of random clicks or of bursts as an ignition gives them."""
    kind = rng.choice(("tone", "clicks", "bursts"))
    hertz = math.exp(rng.uniform(math.log(low_hz), math.log(high_hz)))
    at_us, edges_us = rng.uniform(0, 1e6 / hertz), []
    while at_us < seconds * 1e6 and len(edges_us) < 20000:
        edges_us.append(round(at_us))
        if kind == "tone":
            at_us += 1e6 / hertz
        elif kind == "clicks":
            at_us += rng.expovariate(hertz / 1e6) + 1
        else:
            at_us += 300 if rng.random() < 0.8 else 5e6 / hertz
    return edges_us


@pytest.mark.parametrize("seed", range(60))
def test_any_noise_starts_nothing_in_its_first_half_second(seed):
    rng = random.Random(seed)
    controller, inputs, now_us = standing(rng)
    edges_us = noise(rng, 3)
    first_tick = edges_us[0] // TICK_US if edges_us else 0
    for tick, on in enumerate(live(controller, inputs, now_us, edges_us, 60)):
        assert not on or tick >= first_tick + FIRST_TICKS, (seed, tick)


@pytest.mark.parametrize("seed", range(40))
def test_a_tone_that_no_start_reaches_never_starts_anything(seed):
    rng = random.Random(1000 + seed)
    controller, inputs, now_us = standing(rng)
    mm_per_pulse = 1e6 / controller.settings.speed_pulses_km
    # reached within 25 mm or a pulse, and within another pulse; a tenth is the estimate's own
    unseen_m_s = math.sqrt(2 * 5 * max(mm_per_pulse, 25) / 1000)
    hertz = 1.3 * (unseen_m_s + 0.5) / (mm_per_pulse / 1000) * rng.uniform(1, 20)
    if hertz < 21:
        hertz = 21.0 + 20 * rng.random()  # the first pulses in different ticks or the same
    period_us = 1e6 / hertz
    edges_us = [round(index * period_us) for index in range(int(20 * hertz))][:60000]
    ticks = min(400, int(edges_us[-1] // TICK_US))
    assert not any(live(controller, inputs, now_us, edges_us, ticks)), (seed, hertz)


def test_the_oracle_lets_a_true_start_pass():
    rng = random.Random(3)
    controller, inputs, now_us = standing(rng)
    mm_per_pulse = 1e6 / controller.settings.speed_pulses_km
    edges_us = [round(math.sqrt(2 * index * mm_per_pulse / 1000) * 1e6) for index in
                range(1, int(8000 / mm_per_pulse))]  # 1 m/s2
    assert any(live(controller, inputs, now_us, edges_us, 80))
