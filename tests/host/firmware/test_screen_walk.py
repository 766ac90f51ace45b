"""Every screen and every key in every operating state, by exploring until nothing is new.

A place is the stack of screens with what is chosen on each. From wherever it stands the walk
goes, along keys whose effect it knows, to the nearest place where a key has not been tried, and
tries it. So it needs no reset, and ends when every key has been tried at every place found.
"""

from collections import deque

import pytest

from app.grid import COLUMNS, ROWS, is_cell
from rate_control.interlock import APPLYING, BENCH, FAULT, PARKED, READY, STATE_NAMES
from rate_control.records import Request
from tests.shared.panel_rig import DOWN, MASTER, SECTIONS, PanelRig

KEYS = ("left", "right", "push", "back")
BACK_PUSHES = 8  # from the deepest place to the work screen
STEPS_MAX = 60_000
SCREENS = {
    "Work", "Menu", "Number", "Choice", "Regulation", "Confirm", "Calibrate", "Parameters",
    "RunScreen", "SetUp", "Group", "Elements", "TakeOn", "TotalsPages", "FaultsScreen", "Message",
}  # fmt: skip
BENCH_SCREENS = {"BenchScreen", "DrivenScreen"}  # only where the bench can be entered
DEBOUNCE_TICKS = 12  # longer than the longest setting
LONGEST_TICKS = 1000
# attributes of a screen that make it another place; values being edited do not
CHOICES = ("index", "_index", "_place", "_readout", "_name", "_lines", "TITLE")


class Walker:
    """A rig that is kept in one operating state while keys are pressed."""

    def __init__(self, state):
        self.rig = PanelRig()
        self.state = state
        self.base = self.rig.app.controller.settings
        self.confirmed = False
        self.rig.ticks(3)
        self.restore()

    def restore(self):
        """Bring the machine back to the state, by switches and pulses alone."""
        rig, board = self.rig, self.rig.board
        if rig.state() in (self.state, BENCH):
            return
        board.speed_pulses = board.flow_pulses = 0
        rig.switch(SECTIONS, DEBOUNCE_TICKS)
        if self.state != PARKED:
            rig.switch(SECTIONS | MASTER, DEBOUNCE_TICKS)
        if self.state in (APPLYING, FAULT):
            board.speed_pulses = 14
            board.flow_pulses = 2 if self.state == APPLYING else 0
            board.switches = SECTIONS | MASTER | DOWN
        for _ in range(LONGEST_TICKS):
            if rig.state() == self.state:
                return
            rig.ticks(1)
        raise AssertionError(f"state {rig.state()}, not {self.state}: {rig.app.missing()}")

    def place(self):
        """Where the walk stands."""
        screens = self.rig.operator._screens
        chosen = tuple(str(getattr(screens[-1], name, "")) for name in CHOICES)
        running = self.rig.app.running_procedure() is not None
        return tuple(type(screen).__name__ for screen in screens), chosen, running

    def press(self, key):
        """Press a key, let it act, and check what must hold always."""
        rig = self.rig
        screen, depth = rig.operator.screen(), len(rig.operator._screens)
        if key == "push" and type(screen).__name__ == "Confirm":
            self.confirmed = True
        if key in ("left", "right"):
            rig.turn(1 if key == "right" else -1)
        else:
            getattr(rig, key)()
        rig.ticks(1)
        if key == "back":
            assert len(rig.operator._screens) == max(depth - 1, 1), "back does not lead back"
        self.check()
        if rig.operator.screen() is rig.operator._screens[0]:
            self.confirmed = False
            self.come_home()
        self.restore()

    def come_home(self):
        """On the work screen, undo what was changed on the way."""
        app = self.rig.app
        app.set_regulation(Request.CLOSED_LOOP)
        app.set_rate(100000)
        app.stop_procedure()
        app.controller.procedure = None
        if app.controller.settings is not self.base and app.controller.apply(self.base):
            app._before = None

    def check(self):
        """What must hold after every key."""
        rig, board = self.rig, self.rig.board
        cells = rig.operator.grid.cells
        assert len(cells) == ROWS * COLUMNS
        assert all(is_cell(code) for code in cells), bytes(cells)
        assert any(code != 32 for code in cells), "an empty screen"
        assert rig.app.failure == "", rig.app.failure
        if board.duty_u16 or board.section_mask:
            assert board.switches & MASTER
            assert board.switches & SECTIONS
            if rig.state() == APPLYING:
                assert board.switches & DOWN and board.speed_pulses
            else:
                assert rig.state() == BENCH and not board.speed_pulses
                assert self.confirmed, "on the bench without a question"


def explore(walker):
    """Try every key at every place; return the map: place -> key -> place."""
    known = {}
    here = walker.place()
    for _ in range(STEPS_MAX):
        known.setdefault(here, {})
        key = next_key(known, here)
        if key is None:
            return known
        walker.press(key)
        there = walker.place()
        known[here][key] = there
        here = there
    raise AssertionError(f"no end after {STEPS_MAX} keys, {len(known)} places")


def next_key(known, start):
    """The first key on the shortest known way to a key that was not tried; None where all were."""
    first = {start: None}
    queue = deque([start])
    while queue:
        place = queue.popleft()
        for key in KEYS:
            there = known.get(place, {}).get(key)
            if there is None:
                return first[place] or key
            if there not in first:
                first[there] = first[place] or key
                queue.append(there)
    return None


@pytest.mark.parametrize("state", [PARKED, READY, APPLYING, FAULT])
def test_every_key_at_every_place(state, record_property):
    walker = Walker(state)
    known = explore(walker)
    # a place that showed once, by a value that has changed since, may never be met again
    partly = [place for place in known if len(known[place]) < len(KEYS)]
    assert len(partly) < len(known) // 50, partly
    tried = {}
    for (stack, _, _), keys in known.items():
        tried.setdefault(stack[-1], set()).update(keys)
    expected = SCREENS | BENCH_SCREENS if state == READY else SCREENS
    assert tried == {name: set(KEYS) for name in expected}
    assert max(len(stack) for stack, _, _ in known) <= BACK_PUSHES
    record_property(
        "summary", f"screens walked while {STATE_NAMES[state]:9} {len(known)} places, all keys")
