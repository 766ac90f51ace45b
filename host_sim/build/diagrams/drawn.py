"""Diagrams that no table holds: the machine, the loop, the catch on a plot."""

from __future__ import annotations

from host_sim.build.diagrams.canvas import MARGIN, WIDTH, Canvas
from rate_control.units import TICK_MS

INNER = WIDTH - 2 * MARGIN
AREA_M2 = 10.0  # of the catch: millilitres on it are litres a hectare
SPACING_M = 0.5
SPEED_KMH = 6.0
RATE_L_HA = 100.0


def machine() -> Canvas:
    """The way of the liquid, and what the controller reads and drives."""
    canvas = Canvas("The way of the liquid from the tank to the outlets, and the sensors and "
                    "outputs of the controller")
    canvas.text(MARGIN, 24, "Machine: the liquid and the controller", bold=True)
    x, wide = MARGIN, 150
    parts = ("tank", "strainer", "pump", "relief valve", "flow meter", "manifold")
    for index, name in enumerate(parts):
        y = 44 + index * 52
        canvas.box(x, y, wide, 32, name)
        if index:
            canvas.line([(x + wide / 2, y - 20), (x + wide / 2, y - 2)], "true", 3, arrow=True)
    relief = 44 + 3 * 52 + 16
    canvas.line([(x + wide, relief), (x + wide + 16, relief), (x + wide + 16, 60),
                 (x + wide + 2, 60)], "true", 2, arrow=True, dash="5 4")
    manifold = 44 + 5 * 52 + 32
    for section in range(3):
        left = MARGIN + section * 125
        canvas.line([(MARGIN + 75, manifold), (MARGIN + 75, manifold + 14),
                     (left + 58, manifold + 14), (left + 58, manifold + 30)], "true", 3,
                    arrow=True)
        canvas.box(left, manifold + 32, 116, 32, f"section valve {section + 1}")
        for outlet in range(2):
            across = left + 32 + outlet * 52
            canvas.line([(across, manifold + 66), (across, manifold + 88)], "true", 2, arrow=True)
    canvas.text(WIDTH / 2, manifold + 106, "outlets", anchor="middle")
    left, width = 212, WIDTH - MARGIN - 212
    canvas.box(left, 44, width, 292, fill="page", edge="ink")
    canvas.text(left + width / 2, 66, "controller", anchor="middle", bold=True)
    for index, words in enumerate(("ground speed: pulses", "or a GNSS receiver",
                                   "implement switch", "master switch", "section switches",
                                   "supply voltage")):
        canvas.text(left + 10, 94 + index * 19, words, 12.5, "muted")
    pump, meter = 44 + 2 * 52 + 16, 44 + 4 * 52 + 16
    canvas.line([(left, 226), (188, 226), (188, pump), (x + wide + 20, pump), (x + wide + 2, pump)],
                "metered", 2, arrow=True)
    canvas.text(left + 10, 230, "duty of the pump", 12.5, "metered")
    canvas.line([(x + wide, meter), (left - 2, meter)], "metered", 2, arrow=True)
    canvas.text(left + 10, meter + 4, "pulses of the meter", 12.5, "metered")
    canvas.line([(left + 80, 336), (left + 80, manifold + 30)], "metered", 2, arrow=True)
    canvas.text(left + 10, 324, "section valves", 12.5, "metered")
    y = manifold + 128
    canvas.line([(MARGIN, y), (MARGIN + 24, y)], "true", 3)
    canvas.text(MARGIN + 32, y + 4, "liquid; dashed: back to the tank", 12.5)
    canvas.line([(MARGIN, y + 20), (MARGIN + 24, y + 20)], "metered", 2)
    canvas.text(MARGIN + 32, y + 24, "signals", 12.5)
    return canvas


def loop() -> Canvas:
    """Feed-forward through the curve, feedback on the difference from the model."""
    canvas = Canvas("The loop: target flow through trim and pump curve to the machine; the meter "
                    "is compared with a model of delay and lag")
    canvas.text(MARGIN, 24, "The loop with its predictor", bold=True)
    left, right, wide = MARGIN, 222, 156
    middle_left, middle_right = left + wide / 2, right + wide / 2
    canvas.box(left, 40, INNER, 32, "target flow = rate x speed x open width", edge="true")
    canvas.box(left, 104, wide, 44, "trim\n+ proportional part")
    canvas.box(left, 180, wide, 44, "pump curve:\nflow to duty")
    canvas.box(left, 256, wide, 44, "machine\nand flow meter", edge="metered")
    canvas.box(right, 180, wide, 44, "model:\ndelay, then lag")
    canvas.box(right, 256, wide, 44, "expected\nless measured")
    canvas.box(right, 104, wide, 44, "believed?\nelse coast", dashed=True)
    for top, bottom in ((72, 102), (148, 178), (224, 254)):
        canvas.line([(middle_left, top), (middle_left, bottom)], "true", 2.2, arrow=True)
    canvas.line([(WIDTH - 3, 56), (WIDTH - 3, 202), (right + wide + 2, 202)], "true", 2.2,
                arrow=True)
    canvas.line([(left + INNER, 56), (WIDTH - 3, 56)], "true", 2.2)
    canvas.line([(middle_right, 224), (middle_right, 254)], "ink", 2, arrow=True)
    canvas.line([(left + wide, 278), (right - 2, 278)], "metered", 2.2, arrow=True)
    canvas.line([(right, 290), (195, 290), (195, 126), (left + wide + 2, 126)], "ink", 2,
                arrow=True)
    canvas.line([(right, 126), (198, 126)], "muted", 1.6, dash="4 3")
    y = canvas.paragraph(MARGIN, 326, "Feed-forward (left, down): a new target has its duty in "
                         f"the same tick of {TICK_MS} ms.", INNER)
    canvas.paragraph(MARGIN, y + 6, "Feedback (right): only what differs from what the meter "
                     "should read by now becomes trim, and only while the meter can be believed.",
                     INNER)
    return canvas


def plot_catch() -> Canvas:
    """Why the catch of one outlet on 10 m2 is the rate."""
    course_m = AREA_M2 / SPACING_M
    time_s = course_m / (SPEED_KMH / 3.6)
    canvas = Canvas("A catch on a plot: the course of one outlet has 10 square metres, so its "
                    "millilitres are litres a hectare")
    canvas.text(MARGIN, 24, "Catch on a plot of 10 m2", bold=True)
    top, height = 62, 60
    canvas.box(66, top, 270, height, f"{AREA_M2:g} m2", fill="band", edge="true")
    canvas.line([(66, top - 14), (336, top - 14)], "ink", 1.6, arrow=True)
    canvas.text(201, top - 20, f"course: {AREA_M2:g} m2 / {SPACING_M:g} m = {course_m:g} m", 12.5,
                anchor="middle")
    for x in (66, 336):
        canvas.line([(x, top - 22), (x, top + height + 18)], "ink", 2.4)
    canvas.text(66, top + height + 34, "first stake", 12.5, "muted", "middle")
    canvas.text(336, top + height + 34, "far stake", 12.5, "muted", "middle")
    canvas.text(58, top + 35, f"{SPACING_M:g} m", 12.5, "ink", "end")
    steps = (
        f"1. Drive it as you work, nothing applied: {time_s:.0f} s at {SPEED_KMH:g} km/h.",
        f"2. Stand. Catch one outlet for these {time_s:.0f} s.",
        f"3. {AREA_M2:g} m2 are a thousandth of a hectare: {RATE_L_HA:g} mL in the jug are "
        f"{RATE_L_HA:g} L/ha.",
    )
    y = top + height + 62.0
    for words in steps:
        y = canvas.paragraph(MARGIN, y, words, INNER, 14, "ink") + 4
    return canvas
