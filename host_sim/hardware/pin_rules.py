"""The rules that a pin table must keep; they are checked whenever the firmware is built.

A table is read as text, so that a finding names file and line and that a table which does not
even run is reported like any other.
"""

from __future__ import annotations

import ast
import warnings
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from host_sim import FIRMWARE_DIR, REPO_ROOT
from host_sim.common.errors import InputError
from host_sim.common.reading import parsed, read_text
from host_sim.hardware import boards
from host_sim.hardware.boards import BoardData
from host_sim.hardware.pio_rules import CONTROLLER, pio_findings
from host_sim.hardware.signals import BY_NAME, NOT_DRIVEN_AT_BOOT, OPTIONAL, SIGNALS

PINS_DIR = FIRMWARE_DIR / "boards"
SUFFIX = "_pins"
SAFE_LISTS = {"OUTPUTS_LOW": "down", "OUTPUTS_HIGH": "up"}

Finding = tuple[str, str]  # name in the table, what is wrong with it


@dataclass(frozen=True)
class PinTable:
    """A file of pins: each name's GPIO and line, and the two lists of outputs, by name."""

    path: Path
    gpio: Mapping[str, int]
    lines: Mapping[str, int]
    safe: Mapping[str, tuple[str, ...]]

    def shown(self, finding: Finding) -> str:
        """A finding with file and line."""
        name, what = finding
        return f"{shown(self.path)}:{self.lines.get(name, 1)}: {name}: {what}"


def shown(path: Path) -> Path:
    """A path as a person finds it: from the root of the project where it lies in there."""
    return path.relative_to(REPO_ROOT) if path.is_relative_to(REPO_ROOT) else path


def read_table(path: Path) -> PinTable:
    """Read a file of pins. Raises InputError where it holds anything but numbers and lists."""
    try:
        tree = parsed(syntax_of, read_text(path))
    except SyntaxError as error:
        raise InputError(f"{path}:{error.lineno or 1}: is no Python: {error.msg}") from error
    except ValueError as error:
        raise InputError(f"{path}: {error}") from error
    gpio: dict[str, int] = {}
    lines: dict[str, int] = {}
    safe: dict[str, tuple[str, ...]] = {}
    for node in tree.body:
        if isinstance(node, ast.Expr):  # the file's own words
            continue
        if not isinstance(node, ast.Assign) or not isinstance(node.targets[0], ast.Name):
            raise InputError(f"{path}:{node.lineno}: only NAME = number may stand in a pin table")
        name, value = node.targets[0].id, node.value
        if name in lines:
            raise InputError(f"{path}:{node.lineno}: {name}: stands there twice")
        lines[name] = node.lineno
        if name in SAFE_LISTS and isinstance(value, ast.Tuple):
            safe[name] = tuple(ast.unparse(element) for element in value.elts)
        elif isinstance(value, ast.Constant) and type(value.value) is int:
            gpio[name] = value.value
        else:
            raise InputError(f"{path}:{node.lineno}: {name}: must be the number of a GPIO")
    return PinTable(path, gpio, lines, safe)


def syntax_of(text: str) -> ast.Module:
    """The syntax of a text; what Python would only warn of does not matter here.

    A deep nest ends Python's parser in one of two ways; they are made one here.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return ast.parse(text)
        except MemoryError:
            raise RecursionError from None


def of_names(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """Every signal has a pin, and every pin is a signal."""
    for name in table.gpio:
        if name not in BY_NAME:
            yield name, "is no signal of host_sim/hardware/signals.py"
    for signal in SIGNALS:
        if signal.name not in table.gpio and signal.name not in OPTIONAL:
            yield signal.name, "has no pin"
    if "GNSS_RX" in table.gpio and "CARD_SELECT" not in table.gpio:
        yield "GNSS_RX", "its UART needs CARD_SELECT for the pin that it sends on"


def of_double_use(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """No GPIO has two users."""
    users: dict[int, str] = {}
    for name, gpio in table.gpio.items():
        if gpio in users:
            yield name, f"GPIO {gpio} is {users[gpio]} already"
        users.setdefault(gpio, name)


def of_presence(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """Every GPIO is brought out and left free by the module itself."""
    for name, gpio in table.gpio.items():
        if gpio in board.taken:
            yield name, f"GPIO {gpio} belongs to {board.taken[gpio]}"
        elif gpio not in board.holes:
            yield name, f"GPIO {gpio} is not brought out"


def of_direction(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """What only listens drives nothing."""
    for name, gpio in known(table):
        if BY_NAME[name].is_output and gpio in board.inputs_only:
            yield name, f"GPIO {gpio} is an input only"


def of_peripherals(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """Converter, SPI, I2C and UART sit where the chip's multiplexers reach."""
    for name, gpio in known(table):
        reach = board.reach.get(BY_NAME[name].peripheral)
        if reach is not None and gpio not in reach:
            among = ", ".join(map(str, sorted(reach & set(board.holes))))
            yield name, f"GPIO {gpio} has no {BY_NAME[name].peripheral}; these have: {among}"


def of_pwm(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """A PWM slice has one frequency, so one user."""
    for group in board.shared_pwm:
        users = [name for name, gpio in known(table)
                 if gpio in group and BY_NAME[name].peripheral == "pwm"]  # fmt: skip
        if len(users) > 1:
            yield users[1], f"shares a PWM slice with {users[0]}"


def of_reset(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """What the chip reads when it starts is held as it needs it, and by no sensor's cable."""
    for name, gpio in known(table):
        needed = board.reset_pull.get(gpio, "any")
        if needed == "left alone":
            yield name, f"GPIO {gpio} decides how the chip starts: leave it alone"
        elif needed != "any" and BY_NAME[name].pull != needed:
            yield name, f"GPIO {gpio} needs a pull-{needed} while the chip starts"
        if gpio in board.restless and BY_NAME[name].moves:
            yield name, f"GPIO {gpio} moves by itself at reset: something would move"


def of_safe_outputs(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """boot.py drives every output to the level at which the resistor outside holds it."""
    for list_name, pull in SAFE_LISTS.items():
        for name in table.safe.get(list_name, ()):
            if name not in table.gpio or name not in BY_NAME:
                yield list_name, f"{name} is no pin of this table"
            elif BY_NAME[name].pull != pull:
                yield list_name, f"{name} has no pull-{pull}"
    driven = {name for names in table.safe.values() for name in names}
    for name, _ in known(table):
        if BY_NAME[name].is_output and name not in driven | NOT_DRIVEN_AT_BOOT:
            yield name, "is an output and in neither OUTPUTS_LOW nor OUTPUTS_HIGH"


def of_currents(table: PinTable, board: BoardData) -> Iterator[Finding]:
    """Each pin, and all of them together, give no more than the data sheet allows."""
    loads = {name: BY_NAME[name].load_ma for name, _ in known(table)}
    for name, load_ma in loads.items():
        if load_ma > board.pin_ma:
            yield name, f"gives {load_ma:g} mA, a pin at most {board.pin_ma:g} mA"
    total_ma = sum(loads.values())
    if total_ma > board.total_ma:
        yield "the table", f"all pins give {total_ma:g} mA, at most {board.total_ma:g} mA"


RULES: tuple[Callable[[PinTable, BoardData], Iterator[Finding]], ...] = (
    of_names,
    of_double_use,
    of_presence,
    of_direction,
    of_peripherals,
    of_pwm,
    of_reset,
    of_safe_outputs,
    of_currents,
)


def known(table: PinTable) -> list[tuple[str, int]]:
    """Names that are signals, with their GPIOs."""
    return [(name, gpio) for name, gpio in table.gpio.items() if name in BY_NAME]


def findings(table: PinTable, board: BoardData) -> list[str]:
    """Everything that is wrong with a table, a line each."""
    return [table.shown(found) for rule in RULES for found in rule(table, board)]


def tables(directory: Path = PINS_DIR) -> dict[str, PinTable]:
    """Every pin table of a folder by the name of its board."""
    return {path.stem.removesuffix(SUFFIX): read_table(path)
            for path in sorted(directory.glob(f"*{SUFFIX}.py"))}  # fmt: skip


def check_pins(directory: Path = PINS_DIR) -> None:
    """Raise InputError with everything that is wrong with any pin table."""
    problems = []
    known_boards = boards.names()
    for name, table in tables(directory).items():
        if name not in known_boards:
            problems.append(f"{shown(table.path)}:1: no host_sim/hardware/boards/{name}.py to it")
        else:
            problems += findings(table, boards.board(name))
    if (directory / CONTROLLER.driver).exists():
        problems += pio_findings(directory, boards.board("rp2").state_machines)
    if problems:
        raise InputError(*problems)
