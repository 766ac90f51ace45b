"""Random days with a plan, dirty ones too: a plot gets its own rate, and gets it once.

Whatever a person does with implement, switches, menu and power, in any order, the oracle knows only
the plan and what it sees: outputs, the rate asked for, and the record.
"""

import json
import random

from app.link_frame import FrameError, parse
from app.trial import INSIDE, WAITING
from app.trial_record import LOG_FILE
from rate_control.interlock import APPLYING
from tests.shared.panel_rig import DOWN, MASTER
from tests.shared.test_trial import (
    BY_IMPLEMENT,
    BY_KEY,
    BY_WAY,
    PLAN_FILE,
    Drawer,
    plan_of,
    rig_with,
)

LENGTH_MM = 3000
GAP_MM = 1500
DAYS = 8
DEEDS = 80


def drawn_plan(draw, by):
    """Return the plots of a small plan: passes of one to three plots, some of them bare."""
    plots = []
    number = 0
    while len(plots) < 8:
        number += 1
        start = 0 if by == BY_IMPLEMENT else 1000
        for _ in range(1 if by == BY_IMPLEMENT else draw.randrange(1, 4)):
            name = str(101 + len(plots))
            rate = draw.choice((50000, 60000, 70000, 80000))
            plots.append((number, rate, start, LENGTH_MM, name, f"T{rate // 10000}"))
            start += LENGTH_MM + draw.choice((0, GAP_MM))
        if draw.randrange(4) == 0:
            plots.append((0, 0, 0, LENGTH_MM, str(101 + len(plots)), "none"))
    return tuple(plots)


class Day:
    """A rig, and what the oracle noted of it."""

    def __init__(self, draw, by):
        self.draw = draw
        self.by = by
        self.plots = drawn_plan(draw, by)
        self.files = Drawer()
        self.files.write(PLAN_FILE, plan_of(self.plots, by))
        self.rig, self.trial = rig_with(self.files)
        self.before = 0  # the state in the tick before

    def power_cut(self):
        """Take the power away in mid-tick, and give it back."""
        if self.draw.randrange(3) == 0:  # the last line was being written
            log = self.files.read(LOG_FILE)
            self.files.write(LOG_FILE, log[:-self.draw.randrange(1, 30)])
        self.rig, self.trial = rig_with(self.files)
        assert not self.trial.on or self.trial.why == "after power-up"

    def implement(self):
        """Lower it, or lift it."""
        self.rig.board.switches ^= DOWN

    def master(self):
        """Switch the master on or off."""
        self.rig.board.switches ^= MASTER

    def bounce(self):
        """Let a contact bounce for a tick."""
        self.implement()
        self.ticks(1)
        self.implement()

    def section(self):
        """Switch one of the three."""
        self.rig.board.switches ^= 4 << self.draw.randrange(3)

    def what_is_offered(self):
        """Push what the screen shows first, or begin."""
        self.trial.act(self.trial.actions()[0 if self.trial.on else 1])

    def menu(self):
        """Push anything, offered or not."""
        self.trial.act(self.draw.choice(("begin", "go on", "skip", "repeat", "stay", "mark")))

    def stop(self):
        """End the trial."""
        self.trial.act("stop")

    def stand(self):
        """Stop, or drive on."""
        self.rig.board.speed_pulses = 0 if self.rig.board.speed_pulses else 18

    def settings(self):
        """Change one between the plots, which a controller takes by being built anew."""
        if not self.rig.app.outputs_on():
            changes = {"switch_debounce_ms": self.draw.choice((0, 50, 100))}
            assert self.rig.app.change_settings(changes) == []

    def ticks(self, count):
        """Let ticks go by and look at each."""
        for _ in range(count):
            self.rig.ticks(1)
            self.look()

    def look(self):
        """Nothing comes out but in a plot, at its rate."""
        trial = self.trial
        before = self.before
        self.before = trial.state
        controller = self.rig.app.controller
        if not self.rig.board.section_mask or not trial.on:
            return
        assert controller.decided.state == APPLYING
        by_lift = self.by == BY_IMPLEMENT and trial.state == WAITING
        assert INSIDE in (trial.state, before) or by_lift, (before, trial.state)
        if trial.state == INSIDE:
            asked = controller.request.rate_ml_ha
            assert asked == self.plots[trial.index][1], (asked, trial.index)


CHOICES = (Day.implement,) * 12 + (Day.what_is_offered,) * 12 + (
    Day.menu, Day.menu, Day.master, Day.bounce, Day.section, Day.power_cut, Day.stand,
    Day.settings, Day.stop)


def record_holds(day):
    """Plots follow each other, and one is applied again only where a person or a cut asked for it.

    After a power cut the line of a plot may be missing: the next one then stands there again.
    """
    due = None
    applied = 0
    for line in sound_lines(day.files):
        how = line["how"]
        if how == "begun":
            due = 0
        elif how in ("way", "lift"):
            plot = day.plots[line["index"]]
            assert line["plot"] == plot[4] and line["rate_ml_ha"] == plot[1] == line["asked_ml_ha"]
            assert plot[1] and line["index"] >= (due or 0)
            assert all(not day.plots[index][1] for index in range(due or 0, line["index"]))
            due = line["next"]
            assert due in (line["index"], line["index"] + 1)
            assert line["length_mm"] <= LENGTH_MM + 400 or day.by == BY_IMPLEMENT
            applied += 1
        elif how in ("skipped", "repeat"):
            due = line["next"]
    return applied


def sound_lines(files):
    """Return the lines of the record that are whole."""
    found = []
    for line in files.read(LOG_FILE).split(b"\n"):
        try:
            found.append(json.loads(parse(line)[1]))
        except FrameError:
            continue
    return found


def walked(seed, by):
    """Return how many plots were applied in a random day; whatever is wrong raises."""
    day = Day(random.Random(seed), by)
    for _ in range(DEEDS):
        day.draw.choice(CHOICES)(day)
        day.ticks(day.draw.randrange(1, 30))
    return record_holds(day)


def test_on_no_day_does_a_plot_get_what_is_not_its_own():
    for by in (BY_IMPLEMENT, BY_WAY, BY_KEY):
        assert sum(walked(seed, by) for seed in range(DAYS)) >= DAYS // 2, by
