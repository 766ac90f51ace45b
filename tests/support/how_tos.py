"""A how-to followed by its own words: each instruction of its steps is found and carried out.

`PHRASES` says which words of a page are an instruction. `Follower` carries them out in the order
in which they stand, with a tests.support.person.Person, a tape, a stopwatch and jugs, and does
nothing else: what a page forgets to say is not done. It begins as a machine stands in the yard,
with every switch off.
"""

import re
from dataclasses import dataclass

from host_sim import REPO_ROOT
from rate_control.units import SWITCH_IMPLEMENT, SWITCH_MASTER, SWITCH_SECTION_SHIFT

ML_FL_OZ = 29.5735295625
L_GAL = 3.785411784
M_FT = 0.3048
HOW_TO = REPO_ROOT / "docs" / "how_to"
STEP = re.compile(r"^(\d)\. ", re.MULTILINE)


@dataclass(frozen=True)
class Units:
    """What a person types in one system of units, and drives by the speedometer."""

    us: bool
    speed: float  # of work, as the display shows it
    slow: float  # at which the flow is low
    speed_m_s: float  # that of work, in truth

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


METRIC = Units(False, 8.0, 2.0, 8 / 3.6)
CUSTOMARY = Units(True, 5.0, 1.5, 5 * 0.44704)

# Words of a step, as a regular expression, and the method of Follower that carries them out; None
# where they are advice. The first row that fits at a place wins. Groups are passed on.
BOLD = r"\*\*([^*]+)\*\*"
PHRASES = (
    (r"press back to leave", None),
    (r"press back, or switch the master off, to end it", None),
    (r"master off, then on", "arm"),
    (r"(?:switch the )?master off", "master_off"),
    (r"implement up", "implement_up"),
    (r"all section switches on", "sections_on"),
    (r"section switches: on", "sections_on"),
    (r"menu: (\*\*[^*]+\*\*(?:, \*\*[^*]+\*\*)*)", "menu"),
    (r"push yes", "push_yes"),
    (r"push \*\*(start|mark)\*\*", "choose"),
    (r"turn to " + BOLD + " and push", "choose"),
    (r"turn to " + BOLD, "point_at"),
    (r"turn up the speed to what you work at", "work_speed"),
    (r"turn up the speed to your lowest", "low_speed"),
    (r"turn up the speed to the \*\*speed\*\* that you noted", "noted_speed"),
    (r"turn up the speed\b(?! to)", "work_speed"),
    (r"until all outlets run evenly", "let_run"),
    (r"when nothing but water comes", "let_run"),
    (r"when the jug is nearly full", "fill_the_jug"),
    (r"when it has stopped dripping", "let_drip"),
    (r"catch each outlet for the same time", "catch_a_minute"),
    (r"for exactly the time that you noted as \*\*catch for\*\*", "catch_as_noted"),
    (r"press back", "back"),
    (r"note (?:the )?" + BOLD + "(?: and " + BOLD + ")?", "note"),
    (r"empty jug in place", "empty_the_jug"),
    (r"passes the first stake, push", "first_stake"),
    (r"passes the far stake, push", "far_stake"),
    (r"\bstop\b", "stop"),
    (r"a slip: \*\*take back\*\*, and \*\*enter\*\* it again", "slip"),
    (r"\*\*enter\*\* each", "enter_each"),
    (r"\*\*enter\*\*", "enter"),
    (r"\*\*complete\*\*", "complete"),
    (r"push, and push yes", "push_and_yes"),
    (r"when it is done, push", "wait_and_push"),
    (r"push to keep", "keep"),
    (r"do step (\d)()() again", "again"),
    (r"do steps (\d) (?:to|and) (\d) (once|twice) more", "again"),
    (r"push, and turn to read", "leaf_through"),
    (r"push, and read what it found", "read_and_close"),
    (r"fill to a mark", "fill"),
    (r"^work\b", "work"),
    (r"measure what it takes", "measure"),
    (BOLD, "parameter"),
)
NEVER_FORGOTTEN = {
    "arm", "sections_on", "menu", "push_yes", "push_and_yes", "choose", "work_speed", "low_speed",
    "noted_speed", "fill_the_jug", "catch_a_minute", "catch_as_noted", "first_stake", "far_stake",
    "enter", "enter_each", "complete", "wait_and_push", "leaf_through", "read_and_close", "keep",
    "again", "fill", "work", "measure",
}  # fmt: skip
WORDS = re.compile("|".join(f"(?P<p{i}>{words})" for i, (words, _) in enumerate(PHRASES)),
                   re.IGNORECASE)  # fmt: skip
EVERY_SWITCH = SWITCH_MASTER | SWITCH_IMPLEMENT | 0xFF << SWITCH_SECTION_SHIFT
TIMES = {"": 1, "once": 1, "twice": 2}


def steps_of(page, heading="Do it"):
    """The numbered steps below a heading of a page, each on one line."""
    text = (HOW_TO / f"{page}.md").read_text(encoding="utf-8")
    return split_steps(text.split(f"## {heading}\n")[1].split("\n## ")[0])


def split_steps(text):
    """Steps by number. A paragraph that is not indented is no part of the step before it."""
    parts = STEP.split(text)[1:]
    numbers = [int(number) for number in parts[::2]]
    assert numbers == list(range(1, len(numbers) + 1)), numbers
    return [" ".join(re.split(r"\n\n(?! )", part)[0].split()) for part in parts[1::2]]


def instructions(step):
    """(method, arguments, span) of each instruction in the words of a step, in their order."""
    found = []
    for match in WORDS.finditer(step):
        words, method = PHRASES[int(match.lastgroup[1:])]
        if method is not None:
            groups = re.fullmatch(words, match[0], re.IGNORECASE).groups()
            found.append((method, groups, match.span()))
    return found


def forgetful(steps):
    """(what is missing, steps without it): each instruction that a page may not forget, in turn.

    Left out are the ones that a machine which stands with every switch off does not need, those
    that let time pass, and those that only look.
    """
    for number, step in enumerate(steps):
        for method, _, (start, end) in instructions(step):
            if method in NEVER_FORGOTTEN:
                without = [*steps]
                without[number] = step[:start] + step[end:]
                yield f"step {number + 1}: {step[start:end]}", without


class Follower:
    """Follows pages. `values` are what a person types where a page says set, by label.

    Where a label has no value the entry is only looked at. `work` drives a job.
    """

    def __init__(self, person, units, values=None, work=None):
        self.person = person
        self.units = units
        self.values = dict(values or {})
        self.noted = {}  # numbers that the display showed, by label
        self.read = []  # the lines of the result
        self._job = work
        self._fill_s = 60.0  # how long a jug takes
        self._steps = []
        self._stake_m = None
        self._before_ml = None  # what each outlet had given when the jugs were empty
        self._to_enter = []  # texts

    def follow(self, steps):
        """Carry out the steps, on a machine that stands with every switch off; return settings."""
        self.person.switch(EVERY_SWITCH, False)
        self.person.home()
        self._steps = steps
        for step in steps:
            self._do(step)
        return self.person.application.controller.settings.as_dict()

    def _do(self, step):
        for method, groups, _ in instructions(step):
            getattr(self, "_" + method)(*groups)

    def _again(self, first, last, times):
        for _ in range(TIMES[times or ""]):
            for number in range(int(first), int(last or first) + 1):
                self._do(self._steps[number - 1])

    # Switches and driving.

    def _arm(self):
        self.person.arm()

    def _master_off(self):
        self.person.switch(SWITCH_MASTER, False)

    def _implement_up(self):
        self.person.lower(False)

    def _sections_on(self):
        count = self.person.application.controller.settings.section_count
        self.person.switch(((1 << count) - 1) << SWITCH_SECTION_SHIFT, True)

    def _first_stake(self):
        self.person.drive(10.0, self.units.speed_m_s)
        self._stake_m = self.person.machine.distance_m
        self.person.push()

    def _far_stake(self):
        """As far away as the tape says: what was typed as distance, or the course to lay out."""
        course = self.noted.get("course") or float(self.values["distance"])
        end_m = self._stake_m + (course * M_FT if self.units.us else course)
        self.person.drive(end_m - self.person.machine.distance_m, self.units.speed_m_s)
        self.person.push()

    def _stop(self):
        self.person.stop()

    def _work(self):
        self._job()

    # The display and its keys.

    def _menu(self, labels):
        self.person.menu(*re.findall(BOLD, labels))

    def _choose(self, label):
        self.person.choose(label)

    def _point_at(self, label):
        self.person.point_at(label)

    def _parameter(self, label):
        if label in self.values:
            self.person.choose(label)
            self.person.type_number(self.values[label])
        else:
            self.person.point_at(label)

    def _push_yes(self):
        assert self.person.lines()[3] == "push: yes   back: no", self.person.lines()
        self.person.push()
        self.person.live(1.0)  # nobody reads the next screen sooner

    def _push_and_yes(self):
        self.person.push()
        self._push_yes()

    def _back(self):
        self.person.back()

    def _note(self, *labels):
        self.noted.update((label, self._shown(label)) for label in labels if label)

    def _shown(self, label):
        """The number behind a label on the display; facts take turns, so wait for it."""
        for _ in range(100):
            for line in self.person.lines():
                if match := re.match(label + r" ([\d.]+) ", line):
                    return float(match[1])
            self.person.live(1.0)
        raise AssertionError(f"{label} does not show: {self.person.lines()}")

    def _enter(self):
        self._type_amount(self._to_enter[0])

    def _enter_each(self):
        for amount in self._to_enter:
            self._type_amount(amount)

    def _slip(self):
        self.person.choose("take back")
        self._type_amount(self._to_enter[-1])

    def _type_amount(self, amount):
        self.person.choose("enter")
        self.person.type_number(amount)

    def _complete(self):
        self.person.choose("complete")

    def _wait_and_push(self):
        """Wait for what drives the pump by itself, and read what it found."""
        same_s, before = 0, []
        while same_s < 60:
            self.person.live(1.0)
            lines = self.person.lines()
            if lines[0] == "done":
                self._leaf_through()
                return
            same_s = same_s + 1 if lines == before else 0
            before = lines
        raise AssertionError(f"nothing goes on any more: {lines}")

    def _leaf_through(self):
        assert self.person.lines()[0] == "done", self.person.lines()
        self.person.push()
        self.read = []
        for _ in range(30):
            self.read += self.person.lines()
            self.person.turn(1)

    def _read_and_close(self):
        self._leaf_through()
        self.person.push()

    def _keep(self):
        """Push to keep; undo it, and undo the undoing."""
        person = self.person

        def settings():
            return person.application.controller.settings.as_dict()

        before = settings()
        assert "push: keep  back: no" in self.read
        person.push()
        kept = settings()
        told = {word: [line[4:] for line in self.read if line.startswith(word)]
                for word in ("now ", "new ")}
        if told["now "] and told["now "] == told["new "]:  # what was found is what is set
            assert kept == before
            return
        assert kept != before
        for expected in (before, kept):
            person.menu("set up", "undo last change")
            assert settings() == expected, person.application.failure

    # The bench, and what is caught.

    def _work_speed(self):
        self._turn_up_to(self.units.speed)

    def _low_speed(self):
        self._fill_s = 120.0
        self._turn_up_to(self.units.slow)

    def _noted_speed(self):
        self._turn_up_to(self.noted["speed"])

    def _turn_up_to(self, speed):
        """Notch by notch, until the display shows the speed as well as notches allow."""
        for _ in range(60):
            line = self.person.lines()[2]
            match = re.match(r">speed +([\d.]+) ", line)
            assert match, f"this is no bench: {self.person.lines()}"
            if float(match[1]) > speed - 0.26:
                return
            self.person.turn(1)
        raise AssertionError(f"the bench does not come to {speed}: {line}")

    def _let_run(self):
        given_ml = self._given_ml()
        self.person.live(10.0)
        assert min(self._since(given_ml)) > 0, "nothing comes out"

    def _let_drip(self):
        self.person.live(5.0)
        caught_ml = self._since(self._before_ml)
        self._to_enter = [self.units.jug(sum(caught_ml))]

    def _empty_the_jug(self):
        self._before_ml = self._given_ml()

    def _fill_the_jug(self):
        self.person.live(self._fill_s)

    def _catch_a_minute(self):
        self.values["time"] = "60.00"
        self._catch(60.0)

    def _catch_as_noted(self):
        self._catch(self.noted["catch for"])

    def _catch(self, seconds):
        """A jug under each outlet for so long."""
        given_ml = self._given_ml()
        self.person.live(seconds)
        self._to_enter = [self.units.jug(caught) for caught in self._since(given_ml)]

    def _fill(self):
        self._before_ml = self._given_ml()

    def _measure(self):
        self._to_enter = [self.units.tank(sum(self._since(self._before_ml)) / 1000)]

    def _given_ml(self):
        return list(self.person.machine.section_volume_ml)

    def _since(self, before_ml):
        return [now - before for before, now in zip(before_ml, self._given_ml(), strict=True)]
