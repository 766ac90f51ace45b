"""Each promise of docs/requirements.md is proved by the very tests that it names.

The table breaks one promise at a time. Each break must make one of the named tests fail, alone,
and each named test must notice one of the breaks of its promise.
"""

from __future__ import annotations

import re

import pytest

from host_sim import FIRMWARE_DIR, REPO_ROOT
from host_sim.trials.trust.mutant_runs import SharedTest, run_mutants
from host_sim.trials.trust.mutate import Mutant

INTERLOCK = "rate_control.interlock"
CONTROLLER = "rate_control.controller"
DEBOUNCE = "rate_control.debounce"
FAULTS = "rate_control.faults"
PLAUSIBILITY = "rate_control.plausibility"
FLOW_RATE = "rate_control.flow_rate"
FLOW_WATCH = "rate_control.flow_watch"
FLOW_LOOP = "rate_control.flow_loop"
PUMP_LOOP = "rate_control.pump_loop"
VALVE_LOOP = "rate_control.valve_loop"
SPEED = "rate_control.ground_speed"
BELIEVABLE = "rate_control.believable"
REPORTED = "rate_control.reported_speed"
SWITCHES = "rate_control.switch_watch"
SECTIONS = "rate_control.section_watch"
PERMITS = "rate_control.permits"
GATE = "rate_control.last_gate"
SETTINGS = "rate_control.settings"
APPLICATION = "app.application"
AT_START = "app.settings_at_start"
COVERAGE = "app.coverage"
PRIMES = "app.priming"
STORE = "app.store"
SLOTS = "app.slots"
KEPT = "app.kept_settings"
TOTALS = "app.totals_taken_over"
OPERATIONS = "app.operations"
NOT_CONFIRMED = "        if not confirmed_at_machine:\n            return AT_MACHINE\n"
ELSE = '        problem = "" if confirmed_at_machine else AT_MACHINE\n'
DUTY = "        problem = out_of_range(duty_u16"
FEED = """            if not stalled:
                board.feed_watchdog()
"""
WRITE = "            board.write(controller.step(self.inputs, board.now_us()))\n"
LATE_ROW = "    (ANY, 0, TICK, PARKED, 1),\n"
BENCH_ROW = "    (BENCH, 0, 0, PARKED, 1),\n"
FAULT_ROW = "    (FAULT, MASTER, 0, FAULT, 1),  # a fault is left only by the master switch\n"
PROOF = """        elif self._off_for < self.off_ticks:
            self._off_for += 1
        elif not permits & MASTER:
            self.locked = 0
"""
BOTH_STATES = "1 << APPLYING | 1 << BENCH"
LOCKED = "        self.locked = 1  # after power-up the master switch must be proved off, then on\n"

# promise, module, what stands there, what stands there instead
BREAKS = (
    ("1.2", INTERLOCK, LOCKED, "        self.locked = 0\n"),
    ("2.1", INTERLOCK, LOCKED, "        self.locked = 0\n"),
    ("2.1", INTERLOCK, "self._off_for += 1", "self._off_for = self.off_ticks"),
    ("2.2", INTERLOCK, "(ANY, 0, NO_FAULT, FAULT, 1)", "(ANY, 0, NO_FAULT, FAULT, 0)"),
    ("2.2", INTERLOCK, FAULT_ROW, ""),
    ("2.3", CONTROLLER, "        self.interlock.lock()\n", ""),
    ("2.4", INTERLOCK, "(BENCH, 0, 0, PARKED, 1)", "(BENCH, 0, 0, PARKED, 0)"),
    ("2.4", CONTROLLER, "        self.interlock.lock()\n", ""),
    ("2.4", INTERLOCK, "        self._off_for = 0\n\n    def update", "\n    def update"),
    ("2.5", INTERLOCK, "        if master_level:\n            self._off_for = 0\n        elif",
     "        if"),
    ("2.5", INTERLOCK, "elif self._off_for < self.off_ticks:", "elif False:"),
    ("2.5", DEBOUNCE, "self.stable = SWITCH_MASTER", "self.stable = 0"),
    ("2.5", DEBOUNCE, "ON_TICKS_MIN = 1 ", "ON_TICKS_MIN = 0 "),
    ("2.6", INTERLOCK, PROOF, "        else:\n            self.locked = 0\n"),
    ("2.7", APPLICATION, "            self.rate_to_check = 1\n", ""),
    ("2.7", APPLICATION, "            self.rate_to_check = 0\n", ""),
    ("2.7", OPERATIONS, "            self.controller.settings.rate_ml_ha = rate_ml_ha  # the same "
     "rate under its other name\n", ""),
    ("3.1", INTERLOCK, LATE_ROW, ""),
    ("3.1", INTERLOCK, BENCH_ROW, ""),
    ("3.1", INTERLOCK, "if after == state and not lock else None", "if after == state else None"),
    ("3.1", INTERLOCK, " and state == self._state:", ":"),
    ("3.2", INTERLOCK, "ALWAYS | IMPLEMENT | SPEED | SET_UP", "ALWAYS | IMPLEMENT | SPEED"),
    ("3.2", INTERLOCK, "ALWAYS | IMPLEMENT | SPEED | SET_UP", "ALWAYS | IMPLEMENT | SET_UP"),
    ("3.3", DEBOUNCE, "                self._waited[index] = 0\n                continue\n",
     "                continue\n"),
    ("3.4", DEBOUNCE, "on_ms // TICK_MS", "off_ms // TICK_MS"),
    ("3.4", DEBOUNCE, "self._off_ticks[index] += off_ms // TICK_MS", "pass"),
    ("3.5", FAULTS, "if not bit & BLOCKING or proved_off:", "if True:"),
    ("3.6", SPEED, "        if reported.valid:\n            if measured.standing:",
     "        if True:\n            if measured.standing:"),
    ("3.6", REPORTED, "if not report.trusted or", "if"),
    ("3.6", REPORTED, "or speed > SPEED_MAX_MM_S", ""),
    ("3.6", REPORTED, "if age_us > self._timeout_us:", "if False:"),
    ("3.7", PERMITS, "SETTINGS_WHOLE, SET_UP)", "SETTINGS_WHOLE | SET_UP, SET_UP)"),
    ("3.8", PERMITS, "SETTINGS_WHOLE, SET_UP)",
     "SETTINGS_WHOLE, SETTINGS_WHOLE | SET_UP)"),
    ("3.8", AT_START, "else Request.LOST, failure", "else Request.TAKEN_ON, failure"),
    ("3.9", PERMITS, "if not request.saving:", "if True:"),
    ("3.9", GATE, "        return\n", ""),
    ("3.10", BELIEVABLE, "if over > room or speed_mm_s > SPEED_MAX_MM_S:", "if False:"),
    ("3.10", BELIEVABLE, "            if self.from_rest:\n", "            if False:\n"),
    ("3.10", BELIEVABLE, "if self.proved and self._ticks <= self._hold_ticks:", "if False:"),
    ("3.10", SPEED, "if not belief.valid and pulses > self._first_pulses:", "if False:"),
    ("3.10", SPEED, "if belief.jumped:", "if False:"),
    ("3.11", BELIEVABLE, "PROOF_TICKS = 500 // TICK_MS", "PROOF_TICKS = 250 // TICK_MS"),
    ("3.12", DEBOUNCE, "raw = contacts ^ self._opening", "raw = contacts"),
    ("3.12", DEBOUNCE, "if settings.implement_open_is_down else 0",
     "if not settings.implement_open_is_down else 0"),
    ("3.13", CONTROLLER, "(switches) & ~self.request", "(switches) | self.request"),
    ("3.13", CONTROLLER, "(switches) & ~self.request.hold_mask", "(switches)"),
    ("3.13", COVERAGE, "known = position.quality and position.age_ms <= STALE_MS", "known = 1"),
    ("3.14", INTERLOCK, "    (ANY, PRIMING_PERMITS, IMPLEMENT, PRIMING, 0),\n", ""),
    ("3.14", INTERLOCK, "SECTIONS_ON = 1 << APPLYING |", "SECTIONS_ON = 1 << PRIMING |"),
    ("3.14", GATE, " if SECTIONS_ON >> decided.state & 1 else 0", ""),
    ("3.14", PRIMES, "pressure == BROKEN or ", ""),
    ("3.14", PRIMES, "self._rest_ticks or ", ""),
    ("3.14", PRIMES, "or self.problem\n", "\n"),
    ("3.14", PRIMES, "elif short or self._duty_u16 >= self.most_u16:", "elif short:"),
    ("4.1", CONTROLLER, "TICK_LATE_US = 3 * TICK_US", "TICK_LATE_US = 4 * TICK_US"),
    ("4.1", CONTROLLER, "last_us is None or 0 < (now_us", "last_us is None or (now_us"),
    ("4.1", GATE, "        outputs.make_safe()\n", ""),
    ("4.2", APPLICATION, WRITE, "            board.feed_watchdog()\n" + WRITE),
    ("4.2", APPLICATION, "            self.board.make_safe()\n", ""),
    ("4.4", APPLICATION, FEED, "            board.feed_watchdog()\n"),
    ("4.4", APPLICATION, "                controller.request.program_failed = 1\n",
     "                pass\n"),
    ("4.4", APPLICATION, "        self.controller.request.program_failed = 1\n", ""),
    ("4.4", CONTROLLER, "            conditions |= PROGRAM_FAILED\n", "            pass\n"),
    ("5.1", CONTROLLER, "            self.request.bench_speed_mm_s = 0\n", ""),
    ("5.1", CONTROLLER, "            self.request.fixed_duty_u16 = 0\n", ""),
    ("5.1", INTERLOCK, "ALWAYS | BENCH_ASKED | STANDSTILL", "ALWAYS | BENCH_ASKED"),
    ("5.2", INTERLOCK, BENCH_ROW, ""),
    ("5.2", INTERLOCK, "(BENCH, 0, MASTER, PARKED, 1)", "(BENCH, 0, MASTER, PARKED, 0)"),
    ("5.2", INTERLOCK, "ALWAYS | BENCH_ASKED | STANDSTILL", "ALWAYS | BENCH_ASKED"),
    ("5.3", CONTROLLER, " and self._bench_ticks < self._bench_limit_ticks", ""),
    ("5.3", CONTROLLER, "            self._bench_ticks = 0\n", ""),
    ("5.3", CONTROLLER, "            self.request.bench = 0\n", ""),
    ("5.4", OPERATIONS, NOT_CONFIRMED + "        lacking", "        lacking"),
    ("5.4", OPERATIONS, ELSE + "        problem = problem or out_of_range(duty_u16", DUTY),
    ("5.6", SPEED, "if speed >= self._stop_below_mm_s:", "if False:"),
    ("5.7", CONTROLLER, "            procedure.stop()\n", "            pass\n"),
    ("5.8", OPERATIONS, "highest = self.controller.settings.highest_rate_ml_ha",
     "highest = 5000000"),
    ("5.8", OPERATIONS, "            return [ONLY_AT_MACHINE]\n", "            pass\n"),
    ("5.9", OPERATIONS, "confirmed + confirmed // REMOTE_RAISE", "confirmed * REMOTE_RAISE"),
    ("5.9", OPERATIONS, "if remote and self.armed():", "if remote and self.outputs_on():"),
    ("6.1", INTERLOCK, BOTH_STATES, "1 << APPLYING"),
    ("6.1", INTERLOCK, BOTH_STATES, "1 << BENCH"),
    ("6.1", STORE, "            return NOT_ATTACHED\n", "            return write(*args)\n"),
    ("6.2", STORE, "        controller.request.saving = 1\n", ""),
    ("6.2", STORE, "            controller.request.saving = 0\n", "            pass\n"),
    ("6.3", SLOTS, "SLOTS[1 - newest]", "SLOTS[newest]"),
    ("6.5", KEPT, "            taken[name] = value\n", "            pass\n"),
    ("6.5", KEPT, "        del taken[name]\n", "        taken.clear()\n"),
    ("6.5", TOTALS, "numbers[index] * SHARES_UL // 1000", "numbers[index]"),
    ("6.5", AT_START, "            state = Request.LOST\n", "            pass\n"),
    ("6.6", STORE, "self._put_aside(name) or ", ""),
    ("6.6", STORE, "        if _version(values) > VERSIONS[name]:", "        if False:"),
    ("6.6", STORE, "            problem = self.at_rest(self._put_aside, TOTALS)\n",
     "            problem = self._put_aside(TOTALS)\n"),
    ("7.1", SETTINGS, "    return (None, problems) if problems else (settings, problems)",
     "    return settings, problems"),
    ("7.1", SETTINGS, "            problems.append(\"%s: no such setting\" % name)\n", ""),
    ("7.2", INTERLOCK, BOTH_STATES, "1 << APPLYING"),
    ("7.2", INTERLOCK, BOTH_STATES, "1 << BENCH"),
    ("7.2", CONTROLLER, "        if self.interlock.outputs_on():\n", "        if False:\n"),
    ("8.1", PLAUSIBILITY, "                mask |= faults.FLOW_WHILE_OFF\n",
     "                pass\n"),
    ("8.1", PLAUSIBILITY, "if measured.flow_ul_s < least - (least >> 3):", "if False:"),
    ("8.2", FAULTS, "TICK_LATE | TOO_MUCH_FLOW", "TICK_LATE"),
    ("8.2", FLOW_WATCH, "max(target if by_loop and target > due else due,", "max(due,"),
    ("8.2", FLOW_WATCH, "            due = target\n", "            pass\n"),
    ("8.2", FLOW_WATCH, "decided.trim_q20 > self._sent_q20 and", "False and"),
    ("8.4", SWITCHES, "faults.SWITCH_CHATTERS if unrest_ticks > CHATTER_TICKS else 0", "0"),
    ("8.4", SWITCHES, "CHATTER_TICKS = 16 *", "CHATTER_TICKS = 8 *"),
    ("8.4", SWITCHES, "            unrest_ticks -= 1\n", "            pass\n"),
    ("8.5", SWITCHES, "            self._pass_mm = 0\n        elif",
     "            pass\n        elif"),
    ("8.5", SWITCHES, "            mask |= faults.NEVER_LIFTED\n", "            pass\n"),
    ("8.5", SWITCHES, "self._pass_mm += self._longest_mm // HEADLANDS", "pass"),
    ("8.5", SWITCHES, "        elif self._longest_mm:\n", "        else:\n"),
    ("8.6", SECTIONS, "if self._known and self._ticks == SETTLED_TICKS:", "if False:"),
    ("8.6", SECTIONS, "            self._differ = 0\n        elif",
     "            pass\n        elif"),
    ("8.7", FLOW_LOOP, "                self.doubted = 1\n", "                pass\n"),
    ("8.7", FLOW_LOOP, "        if teaches == AT_REST:\n", "        if True:\n"),
    ("8.7", VALVE_LOOP, "        elif measured.flow_valid and rests:\n",
     "        elif False:\n"),
    ("8.7", VALVE_LOOP, "room = valve.credible(error)", "room = error"),
    ("8.7", PUMP_LOOP, "            self.doubted = 1\n", "            pass\n"),
    ("8.8", CONTROLLER, "                measured.volume_ul = 0\n", "                pass\n"),
    ("8.8", FLOW_RATE, "if pulses > self._liquid_pulses:", "if False:"),
    ("8.8", PLAUSIBILITY, "            self._noise_ticks = NOISE_TICKS\n", "            pass\n"),
    ("8.8", PLAUSIBILITY, "measured.flow_noise and decided.state != BENCH",
     "measured.flow_noise"),
    ("8.7", PUMP_LOOP, "min(command, target + whole * most_q12 + (rest * most_q12 >> 12))",
     "min(command, FLOW_MAX_UL_S)"),
)


def promises() -> dict[str, list[SharedTest]]:
    """The shared tests that each promise names."""
    text = (REPO_ROOT / "docs" / "requirements.md").read_text()
    rows = re.findall(r"^\| (\d+\.\d+) \|.*\| (.+) \|$", text, re.MULTILINE)
    return {number: [SharedTest(f"tests.shared.{module}", name, cost_s=1.0)
                     for module, name in re.findall(r"`tests/shared/(\w+)\.py::(\w+)`", proof)]
            for number, proof in rows}


def broken(promise: str) -> list[Mutant]:
    """The firmware with this promise broken, once for each row of the table."""
    found = []
    for _, module, before, after in (row for row in BREAKS if row[0] == promise):
        source = (FIRMWARE_DIR / (module.replace(".", "/") + ".py")).read_text()
        assert source.count(before) == 1, (promise, module, before)
        line = source[:source.index(before)].count("\n") + 1
        found.append(Mutant(module, "", line, before, after, source.replace(before, after)))
    return found


@pytest.mark.parametrize("promise", sorted({row[0] for row in BREAKS}))
def test_a_broken_promise_is_noticed_by_the_test_that_it_names(promise: str) -> None:
    tests = promises()[promise]
    mutants = broken(promise)
    noticed = {str(test): run_mutants(mutants, [test], 1) for test in tests}
    for index, mutant in enumerate(mutants):
        assert any(killers[index] for killers in noticed.values()), mutant
    assert all(any(killers) for killers in noticed.values()), noticed


def test_every_promise_of_the_shared_tests_is_broken_by_a_row() -> None:
    named = {number for number, tests in promises().items() if tests}
    assert named == {row[0] for row in BREAKS}
