"""Mutants that no test kills, and why none has to.

place, line before, line after or WHATEVER becomes of the line, the reason in one line. It is an
error here if there is no such mutant any more, or if a test kills it by now.
"""

from __future__ import annotations

WHATEVER = "*"
NOT_0 = "a lock is whatever is not 0"
NO_STATE = "any number but those of FAULT and BENCH, the states that a row names, is any state"
MASTER_GONE = "the row for a missing master stands above, so MASTER is set here"
SAVES_TIME = "the memory of the row saves time; without it the table gives the same"
PASSED_BY = "what it passes by would find nothing to do"
LOOKS_ONCE_MORE = "one look more, at nothing"
FLAG = "a flag is whatever is not 0"
ALIKE = "of two that are alike it does not matter which"
RING = "a ring has no end"
UNREACHED = "the edges of these slots are out of every window's reach"
FIRST_REPORT = "not looked at before the first report, which fills it"
FIRST_EDGE = "the first edge that is seen fills it anew"
NO_TICK = "less than a tick is no tick"
LATE, LATE_TEXT = '(TICK_LATE, "tick_late", 1, ', ', "controller held up: report it"),'
LOST, LOST_TEXT = '(SPEED_LOST, "speed_lost", 0, ', ', "speed signal lost: sensor, cable"),'
FAILED, FAILED_TEXT = '(PROGRAM_FAILED, "program_failed", 1, ', ', "program failed: report it"),'
NOISE = '(METER_NOISE, "meter_noise", 0, '
NOISE_TEXT = ', "meter noise: its cable, screen, earth"),'
LONG_WAY = "the long way round gives the same"
COUNTER = "rate_control.pulse_counter.PulseCounter."
REPORTED = "rate_control.reported_speed.ReportedSpeed.__init__"
FLOWS_ON = "rate_control.plausibility.Plausibility._flows_on"
GROUND = "rate_control.ground_speed.GroundSpeed."
BELIEF = "rate_control.believable.Belief."
CALM = "if not self.calm or speed_mm_s < self._slow_mm_s:"
BELIEVED = "to believe once more what is proved changes nothing"
DEBOUNCE = "rate_control.debounce.Debounce.update"
NO_CONTACTS = "no contacts are below 0"
SECTIONS = "rate_control.section_watch.SectionWatch."
FLOW_WATCH = "rate_control.flow_watch.FlowWatch."
FIRST_FLOW = "the first flow that is compared fills it anew"
NO_WIDTH = "no open width is a millimetre or less"
NOT_SETTLED = "a tick more or less is far from settled"
FIRST_WIDTH = "the first width fills it anew"
UPDATE = "rate_control.interlock.Interlock.update"
REMEMBER = "self._permits = permits if after == state and not lock else None"
SAME = "if permits == self._permits and state == self._state:"

ARGUED: tuple[tuple[str, str, str, str], ...] = (
    ("rate_control.interlock", "ANY = -1", WHATEVER, NO_STATE),
    ("rate_control.interlock", "(ANY, 0, NO_FAULT, FAULT, 1),", "(ANY, 0, NO_FAULT, FAULT, 2),",
     NOT_0),
    ("rate_control.interlock", "(FAULT, MASTER, 0, FAULT, 1),", "(FAULT, MASTER, 0, FAULT, 2),",
     NOT_0),
    ("rate_control.interlock", "(ANY, 0, TICK, PARKED, 1),", "(ANY, 0, TICK, PARKED, 2),", NOT_0),
    ("rate_control.interlock", "(BENCH, 0, MASTER, PARKED, 1),", "(BENCH, 0, MASTER, PARKED, 2),",
     NOT_0),
    ("rate_control.interlock", "(BENCH, 0, 0, PARKED, 1),", "(BENCH, 0, 0, PARKED, 2),", NOT_0),
    ("rate_control.interlock", "(ANY, 0, TICK, PARKED, 1),", "(ANY, 1, TICK, PARKED, 1),",
     MASTER_GONE),
    ("rate_control.interlock", "(ANY, 0, ARMED, PARKED, 0),", "(ANY, 1, ARMED, PARKED, 0),",
     MASTER_GONE),
    ("rate_control.interlock", "(BENCH, 0, 0, PARKED, 1),", "(BENCH, 1, 0, PARKED, 1),",
     MASTER_GONE),
    ("rate_control.interlock.Interlock.__init__", "self.locked = 1", "self.locked = 2", NOT_0),
    ("rate_control.interlock.Interlock.__init__", "self._state = PARKED", "pass",
     "not looked at before a row has been remembered"),
    (UPDATE, "if self.locked:", "if True:", "it opens what is open, and lock() counts anew"),
    (UPDATE, SAME, "if False:", SAVES_TIME),
    (UPDATE, "return permits", "pass", SAVES_TIME),
    (UPDATE, REMEMBER, "pass", SAVES_TIME),
    (UPDATE, REMEMBER, "self._permits = permits if False else None", SAVES_TIME),
    ("rate_control.debounce.Debounce.__init__", "self._calm = -1", "self._calm = -2", NO_CONTACTS),
    (DEBOUNCE, "if contacts == self._calm:", "if False:", PASSED_BY),
    (DEBOUNCE, "return self.stable", "pass", PASSED_BY),
    (DEBOUNCE, "self._calm = -1 if changed else contacts", "pass", PASSED_BY),
    (DEBOUNCE, "self._calm = -1 if changed else contacts", "self._calm = -1 if True else contacts",
     PASSED_BY),
    (DEBOUNCE, "self._calm = -1 if changed else contacts",
     "self._calm = -2 if changed else contacts", NO_CONTACTS),
    ("rate_control.debounce.make_debounce",
     "debounce = Debounce(2 + settings.section_count, settings.switch_debounce_ms, opening)",
     "debounce = Debounce(3 + settings.section_count, settings.switch_debounce_ms, opening)",
     "one switch more than there are, which nobody reads"),
    ("rate_control.controller.Controller._permit", "if was_bench or request.bench:", "if True:",
     PASSED_BY),
    ("rate_control.controller.Controller._decide", "if mask != decided.section_mask:", "if True:",
     "the same mask gives the same width"),
    (GROUND + "__init__", "self._slot = 0", WHATEVER, RING),
    (GROUND + "update", "if self._source or inputs.reporting:", "if True:",
     "without a receiver it does the same, only slower"),
    (GROUND + "update",
     "measured.speed_ahead_mm_s = self._ahead(speed) if self._most_ahead_mm_s else speed",
     "measured.speed_ahead_mm_s = self._ahead(speed) if True else speed",
     "0 ms ahead the speed is what it is"),
    (GROUND + "update", "if pulses > self._most_pulses:", "if pulses >= self._most_pulses:", ALIKE),
    (GROUND + "_way", "if not belief.valid and pulses > self._first_pulses:",
     "if not belief.valid and pulses >= self._first_pulses:", ALIKE),
    (GROUND + "_with_reports", "reported = self._reported[source - 1]", WHATEVER,
     "with one receiver it is the last one asked"),
    (GROUND + "_with_reports", "mine = 0", WHATEVER, "a source that is valid fills it"),
    (GROUND + "_with_reports", "belief.from_rest = 1", "belief.from_rest = 2", FLAG),
    (GROUND + "_with_reports", "return belief.update(mine, 1, reported.fresh)",
     "return belief.update(mine, 2, reported.fresh)", FLAG),
    (GROUND + "_ahead", "if window_us < SLOPE_TICKS * TICK_US:",
     "if window_us <= SLOPE_TICKS * TICK_US:", ALIKE),
    (GROUND + "_ahead", "if most > speed >> 1:", "if most >= speed >> 1:", ALIKE),
    (GROUND + "_ahead", "if gain > most:", "if gain >= most:", ALIKE),
    (GROUND + "_ahead", "ahead = speed + (gain if gain > -most else -most)",
     "ahead = speed + (gain if gain >= -most else -most)", ALIKE),
    (GROUND + "update",
     "travelled = self._carry + (pulses * 1000000 if plain else self._way(pulses, speed))",
     "travelled = self._carry + (pulses * 1000000 if False else self._way(pulses, speed))",
     LONG_WAY),
    (GROUND + "_ahead", "return ahead if ahead < SPEED_MAX_MM_S else SPEED_MAX_MM_S",
     "return ahead if ahead <= SPEED_MAX_MM_S else SPEED_MAX_MM_S", ALIKE),
    (GROUND + "__init__", "self._refiners.append(Slip(self._reported[BY_GNSS - 1]))",
     "self._refiners.append(Slip(self._reported[BY_GNSS - 2]))",
     "one source reports: the first is the last"),
    (BELIEF + "update", CALM, "if True:", BELIEVED),
    (BELIEF + "update", CALM, "if not self.calm or speed_mm_s <= self._slow_mm_s:", BELIEVED),
    (BELIEF + "_not_proved", "self._room_mm_s = min(self._room_mm_s, SPEED_MAX_MM_S)", WHATEVER,
     "more room lets nothing more in; it would be a long int after two days of noise"),
    (FLOW_WATCH + "__init__", "self._still_ul_s = 0", WHATEVER, FIRST_FLOW),
    (FLOW_WATCH + "__init__", "self._still_ticks = 0", WHATEVER, FIRST_FLOW),
    (FLOW_WATCH + "__init__", "self._emptying = 0", WHATEVER, FIRST_WIDTH),
    (FLOW_WATCH + "conditions", "self._emptying = decided.width_mm < self._width_mm",
     "self._emptying = decided.width_mm <= self._width_mm", "they differ here"),
    (FLOW_WATCH + "conditions",
     "most = max(target if by_loop and target > due else due, floor)",
     "most = max(target if by_loop and target >= due else due, floor)", ALIKE),
    (SECTIONS + "__init__", "self._width_mm = 0", WHATEVER, NO_WIDTH),
    (SECTIONS + "__init__", "self._ticks = 0", WHATEVER, NOT_SETTLED),
    (SECTIONS + "__init__", "self._known = 0", WHATEVER, FIRST_WIDTH),
    (SECTIONS + "__init__", "self._before_q20 = 0", WHATEVER, FIRST_WIDTH),
    (SECTIONS + "rest", "self._width_mm = 0", WHATEVER, NO_WIDTH),
    (SECTIONS + "rest", "self._ticks = 0", WHATEVER, NOT_SETTLED),
    (FLOWS_ON, "return 1", "return 2", FLAG),
    (COUNTER + "__init__", "self._counts = [0] * SLOTS", WHATEVER, UNREACHED),
    (COUNTER + "__init__", "self._edges = [0] * SLOTS", WHATEVER, FIRST_EDGE),
    (COUNTER + "__init__", "self._newest = 0", WHATEVER, RING),
    (COUNTER + "update", "self.window_pulses = pulses if pulses < PULSES_MAX else PULSES_MAX",
     "self.window_pulses = pulses if pulses <= PULSES_MAX else PULSES_MAX", ALIKE),
    (COUNTER + "__init__", "self._plain_pulses = LIMIT // max(amount, 1)", WHATEVER, LONG_WAY),
    (COUNTER + "__init__", "self._plain_us = LIMIT // scale", WHATEVER, LONG_WAY),
    (COUNTER + "update",
     "if pulses <= self._plain_pulses and scale <= window_us <= self._plain_us:", WHATEVER,
     LONG_WAY),
    (COUNTER + "update",
     "return whole // window_us * scale + whole % window_us * scale // window_us", "pass",
     LONG_WAY),
    (COUNTER + "latest",
     "return muldiv(self._amount, min(pulses, PULSES_MAX) * self._scale, window_us)",
     "return muldiv(self._amount, pulses * self._scale, window_us)",
     "whoever asks takes no more than the highest speed"),
    (COUNTER + "_begin", "self._known = 1", "self._known = 2", FLAG),
    (REPORTED, "self.speed_mm_s = 0", WHATEVER, FIRST_REPORT),
    (REPORTED, "self._at_us = 0", WHATEVER, FIRST_REPORT),
    (REPORTED, "self._slope_mm_s2 = 0", WHATEVER, "counts for no time before the second report"),
    (REPORTED, "self._onward_ms = 0", WHATEVER, FIRST_REPORT),
    ("rate_control.faults", LATE + "0" + LATE_TEXT, LATE + "1" + LATE_TEXT, NO_TICK),
    ("rate_control.faults", LATE + "0" + LATE_TEXT, LATE + "-1" + LATE_TEXT, NO_TICK),
    ("rate_control.faults", LOST + "0" + LOST_TEXT, LOST + "1" + LOST_TEXT, NO_TICK),
    ("rate_control.faults", LOST + "0" + LOST_TEXT, LOST + "-1" + LOST_TEXT, NO_TICK),
    ("rate_control.faults", FAILED + "0" + FAILED_TEXT, FAILED + "1" + FAILED_TEXT, NO_TICK),
    ("rate_control.faults", FAILED + "0" + FAILED_TEXT, FAILED + "-1" + FAILED_TEXT, NO_TICK),
    ("rate_control.faults", NOISE + "0" + NOISE_TEXT, NOISE + "1" + NOISE_TEXT, NO_TICK),
    ("rate_control.faults", NOISE + "0" + NOISE_TEXT, NOISE + "-1" + NOISE_TEXT, NO_TICK),
    ("rate_control.faults.Faults.__init__", "self._held = 0", "self._held = 1", LOOKS_ONCE_MORE),
    ("rate_control.faults.Faults.update", "elif self._off_for <= OFF_TICKS_MIN:", "elif True:",
     "more samples than are asked for prove no more"),
    ("rate_control.faults.Faults.update",
     "if conditions == self._held and conditions == self.active:", "if False:", PASSED_BY),
    ("rate_control.faults.Faults.update", "return conditions", "pass", PASSED_BY),
    ("rate_control.plausibility.Plausibility.__init__", "self._noise_ticks = 0",
     "self._noise_ticks = 1", "a single tick is counted down before it is told"),
    ("rate_control.plausibility.Plausibility.conditions",
     "if measured.flow_noise or self._noise_ticks:", "if True:", LOOKS_ONCE_MORE),
)
