"""The decorator rp2.asm_pio for the host: turns a decorated function into PIO words.

Written from the instruction encodings in the RP2040 data sheet, table 370 (section 3.4.1). The
result has the shape that MicroPython's documentation leaves open and that its StateMachine
takes: here only item 0, the words, and item 1, a dict of the options, are used.
"""

import builtins
from array import array

SOURCES = {"pins": 0, "x": 1, "y": 2, "null": 3, "isr": 6, "osr": 7}
CONDITIONS = {"not_x": 1, "x_dec": 2, "not_y": 3, "y_dec": 4, "x_not_y": 5, "pin": 6,
              "not_osre": 7}
NOBLOCK = 1
OUT_LOW = 2


class Operand:
    """A name in a program; what it stands for depends on the instruction."""

    def __init__(self, name):
        self.name = name


class Assembler:
    """Collects words; the function is called twice, the second time with all labels known."""

    def __init__(self):
        self.labels = {}
        self.start()

    def start(self):
        self.words = []
        self.target = 0
        self.top = None

    def __getitem__(self, delay):
        if not 0 <= delay <= 31:
            raise ValueError("delay")
        self.words[-1] |= delay << 8
        return self

    def emit(self, word):
        self.words.append(word)
        return self

    def label(self, name):
        self.labels[name] = len(self.words)

    def wrap_target(self):
        self.target = len(self.words)

    def wrap(self):
        self.top = len(self.words) - 1

    def jmp(self, condition, label=None):
        if label is None:
            return self.emit(self.labels.get(condition, 0))
        return self.emit(CONDITIONS[condition.name] << 5 | self.labels.get(label, 0))

    def in_(self, source, bits):
        return self.emit(0x4000 | SOURCES[source.name] << 5 | bits & 31)

    def out(self, destination, bits):
        return self.emit(0x6000 | SOURCES[destination.name] << 5 | bits & 31)

    def push(self, option=0):
        return self.emit(0x8000 | (0 if option == NOBLOCK else 0x20))

    def pull(self, option=0):
        return self.emit(0x8080 | (0 if option == NOBLOCK else 0x20))

    def mov(self, destination, source):
        return self.emit(0xA000 | SOURCES[destination.name] << 5 | SOURCES[source.name])

    def nop(self):
        return self.emit(0xA042)

    def set(self, destination, value):
        codes = {"pins": 0, "x": 1, "y": 2, "pindirs": 4}
        return self.emit(0xE000 | codes[destination.name] << 5 | value)


INSTRUCTIONS = ("label", "wrap_target", "wrap", "jmp", "in_", "out", "push", "pull", "mov", "nop",
                "set")
NAMES = ("pins", "x", "y", "null", "isr", "osr", "pin", "pindirs", "not_x", "x_dec", "not_y",
         "y_dec", "x_not_y", "not_osre")


def names_of(assembler):
    """Everything that a program may name."""
    names = {name: getattr(assembler, name) for name in INSTRUCTIONS}
    names.update({name: Operand(name) for name in NAMES})
    names["noblock"] = NOBLOCK
    names["block"] = 0
    return names


def assemble(program, assembler):
    """Call the function with its names among the built-in ones, where both interpreters look."""
    hidden = {}
    for name, value in names_of(assembler).items():
        if hasattr(builtins, name):
            hidden[name] = getattr(builtins, name)
        setattr(builtins, name, value)
    try:
        for _ in range(2):
            assembler.start()
            program()
    finally:
        for name in names_of(assembler):
            if name in hidden:
                setattr(builtins, name, hidden[name])
            else:
                delattr(builtins, name)


def asm_pio(**options):
    """The decorator; returns [words, options] with wrap and wrap_target among the options."""

    def decorate(program):
        assembler = Assembler()
        assemble(program, assembler)
        options["wrap_target"] = assembler.target
        options["wrap"] = len(assembler.words) - 1 if assembler.top is None else assembler.top
        return [array("H", assembler.words), options]

    return decorate


def encode(text):
    """One instruction given as text, as StateMachine.exec takes it."""
    assembler = Assembler()
    eval(text, names_of(assembler))
    return assembler.words[0]
