"""Diagrams of what stands in a table of the firmware: wiring, menu, interlock, tick."""

from __future__ import annotations

import ast
import inspect
import textwrap

from app.screens import menu, set_up
from host_sim.build.diagrams.canvas import MARGIN, SMALL, WIDTH, Canvas
from host_sim.hardware.signals import SIGNALS
from rate_control import interlock
from rate_control.controller import Controller
from rate_control.procedures.catalogue import CATALOGUE
from rate_control.units import TICK_MS

INNER = WIDTH - 2 * MARGIN


def wiring() -> Canvas:
    """Every signal between chip and circuit, and the resistor that holds it."""
    canvas = Canvas("What leads to the chip and from it, and which way a resistor outside the "
                    "chip holds each")
    canvas.text(MARGIN, 24, "Chip and circuit", bold=True)
    y = canvas.paragraph(MARGIN, 46, "A resistor outside the chip pulls each line up or down "
                         "while the chip is in reset. Whatever moves something is marked.", INNER)
    for direction, title in (("in", "into the chip"), ("out", "out of the chip"),
                             ("both", "both ways")):
        y += 14
        canvas.text(MARGIN, y, title, bold=True)
        y += 8
        for signal in SIGNALS:
            if signal.direction != direction:
                continue
            what = signal.leads_to.replace("`", "")
            bottom = canvas.paragraph(174, y + 17, what, WIDTH - MARGIN - 174)
            canvas.box(MARGIN, y, 132, 24, signal.name,
                       edge="metered" if signal.moves else "muted")
            _pull(canvas, 158, y + 12, signal.pull)
            y = max(y + 30, bottom - 8)
    y += 18
    canvas.box(MARGIN, y - 13, 26, 16, edge="metered")
    canvas.text(48, y, "something moves with this output", SMALL)
    _pull(canvas, 25, y + 22, "up")
    canvas.text(48, y + 26, "held up by a resistor", SMALL)
    _pull(canvas, 25, y + 46, "down")
    canvas.text(48, y + 50, "held down by a resistor", SMALL)
    return canvas


def _pull(canvas: Canvas, x: float, y: float, pull: str) -> None:
    if pull:
        ends = [(x, y + 9), (x, y - 9)]
        canvas.line(ends if pull == "up" else ends[::-1], "ink", 2, arrow=True)


def menu_tree() -> Canvas:
    """What a push on the work screen opens, as the screens hold it."""
    canvas = Canvas("The menu of the display, with what stands below calibrate and set up")
    canvas.text(MARGIN, 24, "What a push on the work screen opens", bold=True)
    below = {"calibrate": [row[0].replace("_", " ") for row in CATALOGUE],
             "set up": [*set_up.groups(), set_up.UNDO, set_up.TAKE_ON]}
    y = 44.0
    canvas.box(MARGIN, y, 110, 28, "work", edge="true")
    trunk, branch = MARGIN + 20, MARGIN + 150
    y += 28
    for name, _ in menu.ENTRIES:
        y += 12
        canvas.line([(trunk, 72), (trunk, y + 14), (trunk + 20, y + 14)], "muted")
        canvas.box(trunk + 20, y, 106, 28, name)
        start = y
        for entry in below.get(name, []):
            canvas.line([(branch - 4, start + 14), (branch + 16, start + 14),
                         (branch + 16, y + 14), (branch + 28, y + 14)], "muted")
            canvas.text(branch + 34, y + 19, entry)
            y += 22
        y = max(y, start + 28)
    return canvas


def interlock_states() -> Canvas:
    """The interlock's table, row by row, with the states as boxes."""
    canvas = Canvas("The table of the interlock: from which state, with which permits, to which "
                    "state; the first row that fits wins")
    canvas.text(MARGIN, 24, "The interlock: the first row that fits wins", bold=True)
    y = 38.0
    for index, (before, needed, forbidden, after, lock) in enumerate(interlock.TABLE, 1):
        words = _permit_words(needed, forbidden)
        was = "any state" if before == interlock.ANY else interlock.STATE_NAMES[before]
        canvas.text(MARGIN, y + 19, str(index), SMALL, "muted")
        canvas.box(MARGIN + 20, y, 92, 28, was, fill="page",
                   dashed=before == interlock.ANY)
        canvas.line([(MARGIN + 114, y + 14), (WIDTH - MARGIN - 94, y + 14)], "ink", arrow=True)
        canvas.text(195, y + 8, "and lock" if lock else "", SMALL, "metered", "middle")
        on = interlock.OUTPUTS_ON >> after & 1
        canvas.box(WIDTH - MARGIN - 92, y, 92, 28, interlock.STATE_NAMES[after],
                   fill="band" if on else "lifted")
        y = canvas.paragraph(MARGIN + 20, y + 44, words, INNER - 20) + 2
    canvas.box(MARGIN, y, 26, 16, fill="band")
    canvas.text(46, y + 13, "outputs may be on in this state", SMALL)
    canvas.paragraph(MARGIN, y + 36, "Lock: the master must be seen off, then on, before "
                     "armed is there again.", INNER)
    return canvas


def _permit_words(needed: int, forbidden: int) -> str:
    """What a row asks for, with the names of the permits."""
    names = {getattr(interlock, name): name.lower().replace("_", " ")
             for name in interlock_permits()}

    def list_of(mask: int) -> str:
        return ", ".join(names[bit] for bit in sorted(names) if mask & bit)

    parts = [f"with {list_of(needed)}"] if needed else []
    lacking = forbidden & ~interlock.NO_FAULT
    parts += [f"without {list_of(lacking)}"] if lacking else []
    parts += ["with a fault"] if forbidden & interlock.NO_FAULT else []
    return "; ".join(parts) or "whatever the permits"


def interlock_permits() -> list[str]:
    """The names of the permits in interlock.py: each is one bit that a row asks for."""
    asked = 0
    for _, needed, forbidden, _, _ in interlock.TABLE:
        asked |= needed | forbidden
    return [name for name, value in vars(interlock).items()
            if name.isupper() and type(value) is int and value > 0
            and value & (value - 1) == 0 and value & asked and name not in NO_PERMITS]


# One bit too, but numbers of states and ticks.
NO_PERMITS = ("READY", "APPLYING", "FAULT", "OFF_TICKS_MIN")


def tick() -> Canvas:
    """The stages of a tick in their order, with the first words of what each says of itself."""
    canvas = Canvas("The stages of a tick in the order in which they run")
    canvas.text(MARGIN, 24, f"One tick, every {TICK_MS} ms", bold=True)
    canvas.box(MARGIN, 40, INNER, 44,
               "the board: counts, times of edges, levels\nmade by hardware, whenever they come",
               fill="page", dashed=True)
    y = 84.0
    for name, words in stages():
        canvas.line([(WIDTH / 2, y), (WIDTH / 2, y + 16)], "ink", arrow=True)
        y += 18
        lines = textwrap.wrap(words, 50)
        height = 30 + 17 * len(lines)
        canvas.box(MARGIN, y, INNER, height)
        canvas.text(MARGIN + 10, y + 20, name, bold=True)
        for line in lines:
            canvas.text(MARGIN + 10, y + 38, line, SMALL, "muted")
            y += 17
        y += 30
    canvas.line([(WIDTH / 2, y), (WIDTH / 2, y + 16)], "ink", arrow=True)
    canvas.box(MARGIN, y + 18, INNER, 44,
               "the board: duty and section valves\nthen the watchdog is fed", fill="page",
               dashed=True)
    canvas.paragraph(MARGIN, y + 82, "Between two ticks: display, keys, link, and the store while "
                     "nothing is on.", INNER)
    return canvas


def stages() -> list[tuple[str, str]]:
    """The methods that step() calls, in order, with the first sentence of their docstrings."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(Controller.step)))
    calls = [node.func.attr for node in ast.walk(tree)
             if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
             and isinstance(node.func.value, ast.Name) and node.func.value.id == "self"]
    order = sorted(set(calls), key=inspect.getsource(Controller.step).index)
    return [(name.strip("_").replace("_", " "),
             (inspect.getdoc(getattr(Controller, name)) or "").split(".")[0] + ".")
            for name in order]
