"""The how-tos as a person follows them, one function a page, step by step.

All of them take a tests.support.person.Person, whose display is in metric or US customary
units, and know only the display, a tape, a stopwatch and jugs.
"""

import re
from dataclasses import dataclass

ML_FL_OZ = 29.5735295625
L_GAL = 3.785411784
M_FT = 0.3048


@dataclass(frozen=True)
class Units:
    """What a person types in one system of units."""

    us: bool
    speed_notches: int  # of the bench speed
    slow_notches: int  # the same, at the lowest flow
    speed_line: str  # what speed_notches make on the display
    speed_m_s: float  # and that speed in truth

    def distance(self, metres):
        """A tape's reading, to the shown tenth."""
        return f"{metres / M_FT if self.us else metres:.1f}"

    def jug(self, millilitres):
        """What the marks of a jug say: every 5 mL, or every 0.2 fl oz."""
        if self.us:
            return f"{round(millilitres / ML_FL_OZ / 0.2) * 0.2:.1f}"
        return f"{round(millilitres / 5) * 5}"

    @property
    def jug_step(self):
        return "0.2" if self.us else "5"

    def tank(self, litres):
        """What the scale of a tank says, to a tenth of a litre or gallon."""
        return f"{litres / L_GAL if self.us else litres:.1f}"

    def width(self, metres):
        return f"{metres / M_FT * 12:.1f}" if self.us else f"{metres:.3f}"


METRIC = Units(False, 16, 4, ">speed      8.0 km/h", 8 / 3.6)
CUSTOMARY = Units(True, 10, 3, ">speed       5.0 mph", 5 * 0.44704)


def keep(person):
    """The result is shown: leaf through, push to keep; undo it, and undo the undoing."""
    before = person.app.controller.settings.as_dict()
    shown = leaf_through(person)
    assert "push: keep  back: no" in shown
    person.push()
    kept = person.app.controller.settings.as_dict()
    for expected in (before, kept):
        person.menu("set up", "undo last change")
        assert person.app.controller.settings.as_dict() == expected, person.app.failure
    return kept


def leaf_through(person):
    """From "done" through every page of the result; returns all lines."""
    person.push()
    shown = []
    for _ in range(30):
        shown += person.lines()
        person.turn(1)
    return shown


def run_liquid(person, units, seconds, slow=False):
    """Bench on, wait, bench off, let it drip; returns what each jug got."""
    before_ml = person.machine.section_volume_ml
    person.arm()
    person.menu("bench")
    person.push()  # yes
    person.turn(units.slow_notches if slow else units.speed_notches)
    assert (units.speed_line in person.lines()) is not slow
    person.live(seconds)
    person.home()
    person.live(5.0)
    after_ml = person.machine.section_volume_ml
    return [after - before for before, after in zip(before_ml, after_ml, strict=True)]


def between_stakes(person, units, distance_m):
    """One run over a course, a mark at each stake."""
    person.drive(10.0, units.speed_m_s)
    person.point_at("mark")
    first_stake_m = person.machine.distance_m
    person.push()
    person.drive(first_stake_m + distance_m - person.machine.distance_m, units.speed_m_s)
    person.push()
    person.stop()


def calibrate_the_speed_sensor(person, units):
    """Returns the settings after it."""
    person.menu("calibrate", "course", "distance")  # step 2
    person.type_number(units.distance(100.0))
    person.point_at("precision")
    person.choose("start")
    for run in range(5):  # steps 3 to 5
        between_stakes(person, units, 100.0)
        if run == 0:  # a slip
            person.choose("take back")
        if run == 3:
            person.choose("complete")
            assert any("more runs" in line for line in person.lines())
            person.push()
    person.choose("complete")
    return keep(person)  # step 6


def calibrate_the_flow_meter(person, units):
    """Returns the settings after it, and the flow that was shown."""
    person.menu("calibrate", "meter catch", "jug step")  # step 2
    person.type_number(units.jug_step)
    for label in ("weighed", "density", "scale step"):
        person.point_at(label)
    person.choose("start")
    run_liquid(person, units, 10.0)  # step 3
    catch_run(person, units, "meter catch")  # steps 4 to 6
    person.choose("take back")  # a slip
    for _ in range(3):
        catch_run(person, units, "meter catch")
    flow = number_after(person, "flow")
    person.choose("complete")  # step 7
    return keep(person), flow


def catch_run(person, units, name, slow=False):
    """One run of a catch, between two marks, and the amount entered."""
    person.menu("calibrate", "go on: " + name, "mark")
    jugs_ml = run_liquid(person, units, 120.0 if slow else 60.0, slow)
    person.menu("calibrate", "go on: " + name, "mark")
    person.choose("enter")
    person.type_number(units.jug(sum(jugs_ml)))


def catch_at_low_flow(person, units, flow):
    """The section of the same page; flow is what was shown. Returns the settings after it."""
    person.menu("calibrate", "low flow catch", "flow")  # step 2
    person.type_number(f"{flow:.2f}")
    person.choose("jug step")
    person.type_number(units.jug_step)
    person.choose("start")
    for _ in range(3):  # step 3
        catch_run(person, units, "low flow", slow=True)
    person.choose("complete")
    return keep(person)


def catch_the_outlets(person, units):
    """Returns what the display said about each outlet, by number."""
    jugs_ml = run_liquid(person, units, 60.0)  # steps 1 and 2
    person.menu("calibrate", "outlet catch", "outlets")  # step 3
    person.type_number(str(len(jugs_ml)))
    person.choose("time")
    person.type_number("60.00")
    person.point_at("rated")
    person.choose("jug step")
    person.type_number(units.jug_step)
    person.choose("start")
    for index, caught_ml in enumerate(jugs_ml):  # step 4
        person.choose("enter")
        person.type_number(units.jug(caught_ml))
        if index == 0:  # a slip
            person.choose("take back")
            person.choose("enter")
            person.type_number(units.jug(caught_ml))
    person.choose("complete")  # step 5
    shown = leaf_through(person)
    person.push()
    found = (re.match(r"#(\d+) (good|worn|blocked)", line) for line in shown)
    return {int(match[1]): match[2] for match in found if match}


def catch_on_a_plot(person, units, width_m, times=3):
    """Returns the rate that the display shows, in its unit."""
    person.menu("calibrate", "plot catch", "width")  # step 1
    person.type_number(units.width(width_m))
    person.choose("customary")
    person.type_number("1" if units.us else "0")
    person.choose("times")
    person.type_number(str(times))
    person.choose("jug step")
    person.type_number(units.jug_step)
    person.point_at("distance")
    person.choose("start")
    course = number_after(person, "course")
    course_m = course * M_FT if units.us else course
    for _ in range(2):  # step 2
        between_stakes(person, units, course_m)
    seconds = number_after(person, "catch for")  # steps 3 and 4
    number_after(person, "speed")
    jugs_ml = catch_for(person, units, seconds)
    person.menu("calibrate", "go on: plot catch")  # step 5
    for caught_ml in jugs_ml:
        person.choose("enter")
        person.type_number(units.jug(caught_ml))
    person.choose("complete")
    shown = leaf_through(person)
    person.push()
    return float(shown[shown.index("rate") + 2].split()[0])


def catch_for(person, units, seconds):
    """Hold the jugs under running outlets for so long; returns what each got."""
    person.arm()
    person.menu("bench")
    person.push()
    person.turn(units.speed_notches)
    person.live(10.0)
    before_ml = person.machine.section_volume_ml
    person.live(seconds)
    after_ml = person.machine.section_volume_ml
    person.home()
    person.live(5.0)
    return [after - before for before, after in zip(before_ml, after_ml, strict=True)]


def number_after(person, label):
    """The number behind a label on the display; facts take turns, so wait for it."""
    for _ in range(100):
        for line in person.lines():
            if match := re.match(label + r" ([\d.]+) ", line):
                return float(match[1])
        person.live(1.0)
    raise AssertionError(f"{label} does not show: {person.lines()}")


def check_against_the_tank(person, units, work):
    """`work` drives the job. Returns the settings after it."""
    person.menu("totals")  # step 1
    person.push()
    person.push()
    filled_ml = sum(person.machine.section_volume_ml)
    work()  # step 2
    litres = (sum(person.machine.section_volume_ml) - filled_ml) / 1000  # step 3
    person.menu("calibrate", "tank check", "tank step")  # step 4
    person.type_number("0.1")
    person.point_at("meter")
    person.choose("start")
    person.choose("enter")  # step 5
    person.type_number(units.tank(litres))
    person.choose("complete")
    return keep(person)


def learn_the_pump(person):
    """Returns the settings after both parts."""
    person.arm()  # step 1
    person.menu("calibrate", "pump curve")  # step 2
    person.point_at("density")
    drive_itself(person)  # steps 3 and 4
    person.arm()  # step 5
    person.menu("calibrate", "step test")
    person.point_at("speed")
    person.point_at("settling tim")
    return drive_itself(person)  # step 6


def drive_itself(person):
    """Start what drives the pump, wait until it is done, keep it."""
    person.choose("start")
    person.push()  # yes
    for _ in range(400):
        person.live(1.0)
        if person.lines()[0] == "done":
            return keep(person)
    raise AssertionError(f"does not come to an end: {person.lines()}")
