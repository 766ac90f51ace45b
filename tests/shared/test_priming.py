"""The wish to prime: what it takes, and what takes it away, a condition at a time."""

from app.pressure import BROKEN
from app.priming import BEYOND, COME_TICKS, FLOW, LEAK_TICKS, NO_PRESSURE, REST_TICKS, Priming
from rate_control.controller import Controller
from rate_control.interlock import IMPLEMENT, PRIMING, READY
from rate_control.procedures import RUNNING
from rate_control.records import Request
from rate_control.settings import build
from rate_control.units import DUTY_FULL, INLINE_VALVE, PWM_PUMP, TICK_MS

BAR = 100000
PRIME_PA = 2 * BAR
LIMIT_S = 20
NEW_UL_S, NEW_PA, CHECK_PA = 180000, 3 * BAR, BAR // 2


class Lifted:
    """A machine that was lifted for as long as it takes, and whose line is at a pressure."""

    def __init__(self, **changes):
        changes["curve_pressure_u16"] = 20000
        settings, problems = build(changes)
        assert not problems, problems
        self.controller = Controller(settings)
        self.prime = Priming(PRIME_PA, LIMIT_S)
        self.reckon()
        self.run(REST_TICKS, 0, READY)

    def reckon(self):
        self.prime.reckon(self.controller, NEW_UL_S, NEW_PA, CHECK_PA)

    def run(self, ticks, pressure, state=PRIMING, permits=0, flows=0):
        """Return the wish after so many ticks, -1 for none."""
        controller = self.controller
        controller.decided.state = state
        controller.decided.permits = permits
        controller.measured.flow_readable = flows
        for _ in range(ticks):
            self.prime.tick(controller, pressure)
        return controller.request.prime_u16


def test_lifted_it_asks_for_more_until_the_pressure_is_there_and_then_for_less():
    lifted = Lifted()
    rising = [lifted.run(1, PRIME_PA // 2) for _ in range(5)]
    assert rising == sorted(rising) and rising[0] > 0
    assert lifted.run(1, PRIME_PA) == rising[-1]
    assert lifted.run(1, PRIME_PA + PRIME_PA // 8) < rising[-1]
    assert lifted.run(1, PRIME_PA + PRIME_PA // 4 + 1) == 0


def test_every_condition_takes_the_wish_away_by_itself():
    assert Lifted().run(1, PRIME_PA) >= 0
    assert Lifted().run(1, BROKEN) == -1
    assert Lifted(actuator=INLINE_VALVE).run(1, PRIME_PA) == -1
    assert Lifted(actuator=PWM_PUMP).run(1, PRIME_PA) >= 0
    lifted = Lifted()
    lifted.controller.request.regulation = Request.FIXED_DUTY
    assert lifted.run(1, PRIME_PA) == -1

    class Procedure:
        state = RUNNING

    lifted = Lifted()
    lifted.controller.procedure = Procedure()
    assert lifted.run(1, PRIME_PA) == -1
    lifted.controller.procedure.state = RUNNING + 1
    assert lifted.run(1, PRIME_PA) >= 0
    fresh = Priming(PRIME_PA, LIMIT_S)  # nobody has reckoned yet how much it may get
    lifted = Lifted()
    lifted.prime = fresh
    assert lifted.run(REST_TICKS + 1, PRIME_PA, READY) == -1


def test_it_waits_after_every_lift_and_counts_its_time_in_its_own_state_alone():
    lifted = Lifted()
    assert lifted.run(1, PRIME_PA, READY, IMPLEMENT) == -1
    assert lifted.run(REST_TICKS - 1, PRIME_PA, READY) == -1
    assert lifted.run(1, PRIME_PA, READY) >= 0
    limit = LIMIT_S * 1000 // TICK_MS
    assert lifted.run(limit, PRIME_PA, READY) >= 0
    assert lifted.run(limit - 1, PRIME_PA) >= 0
    assert lifted.run(1, PRIME_PA) == -1
    assert lifted.run(limit, PRIME_PA, READY) == -1
    lifted.run(1, PRIME_PA, READY, IMPLEMENT)
    assert lifted.run(REST_TICKS, PRIME_PA, READY) >= 0


def test_it_gives_up_and_only_the_implement_down_gives_another_try():
    for pressure, flows, ticks, problem in (
            (0, 0, COME_TICKS, NO_PRESSURE), (0, 1, COME_TICKS, NO_PRESSURE),
            (PRIME_PA, 1, LEAK_TICKS, FLOW)):
        lifted = Lifted()
        assert lifted.run(ticks, pressure, flows=flows) >= 0 and lifted.prime.problem == ""
        assert lifted.run(1, pressure, flows=flows) == -1 and lifted.prime.problem == problem
        assert lifted.run(COME_TICKS, PRIME_PA, READY) == -1
        lifted.run(1, PRIME_PA, READY, IMPLEMENT)
        assert lifted.run(REST_TICKS, PRIME_PA, READY) >= 0 and lifted.prime.problem == ""
        assert lifted.run(ticks, pressure, flows=flows) >= 0, "it begins to count anew"


def test_all_that_the_pump_may_get_is_no_pressure_whatever_the_sensor_reads():
    lifted = Lifted()
    near = PRIME_PA * 7 // 8
    ticks = 0
    while lifted.run(1, near) >= 0:
        assert lifted.controller.request.prime_u16 <= lifted.prime.most_u16 < DUTY_FULL
        ticks += 1
    assert lifted.prime.problem == NO_PRESSURE and ticks > COME_TICKS


def test_a_line_that_holds_forgets_the_moments_in_which_it_did_not():
    lifted = Lifted()
    for _ in range(3):
        assert lifted.run(COME_TICKS - 1, 0) >= 0
        lifted.run(LEAK_TICKS - 1, PRIME_PA, flows=1)
        assert lifted.run(8, PRIME_PA + PRIME_PA // 8) >= 0
    assert lifted.prime.problem == ""


def test_it_may_get_half_more_than_the_curve_says_for_the_pressure():
    """By hand: 1.5 bar across outlets of 180 mL/s at 3 bar is 127.3 mL/s of 184 at the end."""
    lifted = Lifted()
    due = 10000 + 20000 * (127.28 / 184) ** 2
    assert abs(lifted.prime.most_u16 - 1.5 * due) < 20


def test_a_curve_that_never_gets_there_is_of_another_machine():
    for top in (0, 127000):
        flows = tuple(top * point // 8 for point in range(9))
        settings, _ = build({"curve_pressure_u16": 20000})
        settings.curve_flow_ul_s = flows
        lifted = Lifted()
        lifted.controller.settings = settings
        lifted.reckon()
        assert lifted.prime.most_u16 == 0 and lifted.prime.problem == BEYOND
        assert lifted.run(1, PRIME_PA) == -1
