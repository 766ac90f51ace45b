"""Clean minutes with the builds that once raised false alarms in their clean hours."""

from __future__ import annotations

import pytest

from host_sim.trials.trust import clean

SHIFTS_MS: list[int] = []


class WatchedDay(clean.Day):
    """Notes how far the learned start of a valve's motor is from the measured one."""

    def _look(self) -> None:
        super()._look()
        motor = self._station.controller.loop.valve.motor
        SHIFTS_MS.append(abs(motor.start_ms - self._station.settings.valve_lost_ms))


@pytest.mark.parametrize("seed", (514, 539))
def test_waves_of_the_speed_teach_an_inline_valve_no_other_start(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A speed that waves by 3 % turns the motor three times a second, before the meter answers.

    What was learned of that was noise: 24 and 16 ms within these minutes.
    """
    monkeypatch.setattr(clean, "Day", WatchedDay)
    SHIFTS_MS.clear()
    hour = clean.drive_clean(seed, hours=0.05)
    assert not hour.alarms and not hour.broken and not hour.failure
    assert max(SHIFTS_MS) <= 5
