"""Whatever raises the true rate by more than a quarter is ended within three seconds."""

import math

import pytest

from host_sim.trials.trust.breaks import BY_NAME, POWER_CYCLE, PUMP, VALVE, Break
from host_sim.trials.trust.machines import Ready, flash_with, ready
from host_sim.trials.trust.station import TICK_S, Station
from rate_control.faults import names
from rate_control.interlock import APPLYING, FAULT
from rate_control.settings import build
from rate_control.units import DUTY_FULL, SWITCH_SECTION_SHIFT

MOST = 1.25
END_S = 3.0
OVERSHOOT_S = 1.0
TICKS = 300
SPEED_M_S = 1.5
BREAKS = (
    BY_NAME["driver_shorted"], BY_NAME["meter_half"], BY_NAME["meter_noise"],
    BY_NAME["valve_stuck_open"], BY_NAME["valve_stuck_shut"], BY_NAME["blocked_section"],
    Break("supply_doubled", "the pump gets 24 V", {"supply_drop_v": -12.0}),
)
POWER_CUT = Break("power_cut", "the power is gone for a moment", program=POWER_CYCLE)
KINDS = {"electric_m": PUMP, "inline_pd": VALVE, "bypass_centrifugal": VALVE}
CASES = [(kind, broken) for kind, has in KINDS.items() for broken in BREAKS
         if broken.needs in ("", has)]
SWAYING, SWITCHED, FROM_THE_START = "speed", "section", "start"
BUSY = [
    pytest.param(kind, broken, when, id=f"{kind}-{broken.name}-{when}")
    for kind, broken in CASES if kind in ("electric_m", "inline_pd")
    and broken.name in ("driver_shorted", "meter_half", "meter_noise", "valve_stuck_open")
    for when in (SWAYING, SWITCHED, FROM_THE_START)]


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

    def get_ready(self):
        """Armed and at speed, about to lower the implement."""
        self.live(0.5)
        self.arm()
        self.asked_m_s = SPEED_M_S
        self.live(3.0)
        return self

    def over_s(self, wanted_ml_s, hands=lambda second: None):
        """How long more than MOST of what is wanted leaves the outlets, with the hands at work."""
        ticks = 0
        for tick in range(TICKS):
            hands(tick * TICK_S)
            ticks += self.rate_ml_s() > MOST * wanted_ml_s()
        return ticks * TICK_S


@pytest.mark.parametrize(("kind", "broken"), CASES,
                         ids=[f"{kind}-{broken.name}" for kind, broken in CASES])
def test_too_much_is_ended(kind, broken):
    station = BlindToSupply(ready(kind)).get_ready()
    station.lower(True)
    station.live(15.0)
    before_ml = station.applied_ml
    station.live(3.0)
    right_ml_s = (station.applied_ml - before_ml) / 3.0
    station.strike(broken)
    over_s = station.over_s(lambda: right_ml_s)
    assert over_s <= END_S
    if over_s > 1.0:
        assert station.state == FAULT


@pytest.mark.parametrize(("kind", "broken", "when"), BUSY)
def test_too_much_is_ended_where_nothing_is_steady(kind, broken, when):
    station = BlindToSupply(ready(kind)).get_ready()

    def wanted_ml_s():
        return station.controller.decided.target_ul_s / 1e3 or math.inf

    def sway(second):
        station.asked_m_s = SPEED_M_S + 0.6 * math.sin(2 * math.pi * second / 7.0)

    if when == FROM_THE_START:
        station.strike(broken)
    station.lower(True)
    station.live(12.0)
    if when == SWITCHED:
        station.hands ^= 1 << SWITCH_SECTION_SHIFT
        station.live(0.5)
    if when != FROM_THE_START:
        station.strike(broken)
    assert station.over_s(wanted_ml_s, sway if when == SWAYING else lambda second: None) <= END_S


@pytest.mark.parametrize("kind", ["inline_pd", "inline_centrifugal"])
def test_a_motor_half_as_fast_again_is_no_reason_to_stop(kind):
    learned = ready(kind)
    settings, problems = build(
        {"valve_travel_ms": learned.settings.valve_travel_ms * 3 // 2}, learned.settings)
    assert settings is not None, problems
    station = BlindToSupply(Ready(learned.spec, settings, flash_with(learned.spec, settings)))
    station.get_ready().lower(True)
    station.live(20.0)
    before_ml = station.applied_ml
    station.live(5.0)
    assert station.state != FAULT
    wanted_ml = 5.0 * station.controller.decided.target_ul_s / 1e3
    assert abs(station.applied_ml - before_ml - wanted_ml) < 0.05 * wanted_ml


@pytest.mark.parametrize("kind", ["inline_pd", "inline_centrifugal", "bypass_centrifugal"])
def test_a_valve_that_a_power_cut_left_at_its_work_goes_on_with_it(kind):
    station = BlindToSupply(ready(kind)).get_ready()
    station.lower(True)
    station.live(15.0)
    wanted_ml_s = station.controller.decided.target_ul_s / 1e3
    station.strike(POWER_CUT)
    station.live(4.0)
    station.arm()
    over_s = station.over_s(lambda: wanted_ml_s)
    assert station.state == APPLYING
    assert over_s <= OVERSHOOT_S
    assert abs(station.rate_ml_s() - wanted_ml_s) < 0.05 * wanted_ml_s


@pytest.mark.parametrize(("station_of", "drop_v", "error", "told"), [
    (lambda machine: Station(machine, "over"), 5.0, (-0.02, 0.02), ()),
    (BlindToSupply, 3.0, (-0.25, -0.05), ("rate_off", "off_curve")),
], ids=["measured", "not measured"])
def test_duty_to_spare_is_used_on_the_word_of_the_supply_and_a_quarter_of_it_on_the_meters(
        station_of, drop_v, error, told):
    """What the meter asks for beyond that is left to spare, and told: it may be losing pulses."""
    station = station_of(ready("electric_m"))
    station.live(0.5)
    station.arm()
    station.asked_m_s = SPEED_M_S
    station.live(3.0)
    station.lower(True)
    station.live(15.0)
    steady_u16 = station.controller.outputs.duty_u16
    station.strike(Break("sag", "the supply sags", {"supply_drop_v": drop_v}))
    station.live(15.0)
    before_ml = sum(station.machine.section_volume_ml)
    station.live(5.0)
    wanted_ml = 5.0 * station.controller.decided.target_ul_s / 1e3
    off = (sum(station.machine.section_volume_ml) - before_ml) / wanted_ml - 1.0
    assert error[0] <= off <= error[1]
    assert station.controller.outputs.duty_u16 < DUTY_FULL, "there is duty to spare"
    more = station.controller.outputs.duty_u16 / steady_u16 - 1.0
    assert more < 0.25 if told else more > 0.4
    assert set(told) <= set(names(station.controller.decided.faults))
