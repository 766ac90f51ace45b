"""Whatever raises the true rate by more than a quarter is ended within three seconds."""

import pytest

from host_sim.trials.trust.breaks import BY_NAME, PUMP, VALVE, Break
from host_sim.trials.trust.machines import ready
from host_sim.trials.trust.station import TICK_S, Station
from rate_control.interlock import FAULT

MOST = 1.25
END_S = 3.0
BREAKS = (
    BY_NAME["driver_shorted"], BY_NAME["meter_half"], BY_NAME["meter_noise"],
    BY_NAME["valve_stuck_open"], BY_NAME["valve_stuck_shut"], BY_NAME["blocked_section"],
    Break("supply_doubled", "the pump gets 24 V", {"supply_drop_v": -12.0}),
)


class BlindToSupply(Station):
    """A board that does not measure the supply, as most that one builds."""

    def __init__(self, machine):
        super().__init__(machine, "over")
        board = self.run.board
        read = board.read

        def blind(inputs):
            read(inputs)
            inputs.supply_mv = 0

        board.read = blind

    @property
    def applied_ml(self):
        return sum(self.machine.section_volume_ml)

    def rate_ml_s(self):
        """The true flow over a tick."""
        before_ml = self.applied_ml
        self.live(TICK_S)
        return (self.applied_ml - before_ml) / TICK_S


KINDS = {"electric_m": PUMP, "inline_pd": VALVE, "bypass_centrifugal": VALVE}
CASES = [(kind, broken) for kind, has in KINDS.items() for broken in BREAKS
         if broken.needs in ("", has)]


@pytest.mark.parametrize(("kind", "broken"), CASES,
                         ids=[f"{kind}-{broken.name}" for kind, broken in CASES])
def test_too_much_is_ended(kind, broken):
    station = BlindToSupply(ready(kind))
    station.live(0.5)
    station.arm()
    station.asked_m_s = 1.5
    station.live(3.0)
    station.lower(True)
    station.live(15.0)
    before_ml = station.applied_ml
    station.live(3.0)
    right_ml_s = (station.applied_ml - before_ml) / 3.0
    station.strike(broken)
    over_ticks = sum(station.rate_ml_s() > MOST * right_ml_s for _ in range(300))
    assert over_ticks * TICK_S <= END_S
    if over_ticks * TICK_S > 1.0:
        assert station.state == FAULT
