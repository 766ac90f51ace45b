"""The loaders of loader_fuzz.py under atheris, which keeps the inputs that reach new code.

    PYTHONPATH=build/atheris python -m tests.support.guided_fuzz LOADER [SECONDS]

For a person who looks for what chance does not find: it runs until it finds something, the time
is over or Ctrl-C. Atheris is a fuzzer for CPython on Linux and macOS; its pin stands apart in
requirements-guided.lock, because nothing else needs it and it does not install everywhere.
"""

from __future__ import annotations

import importlib
import sys
import tempfile
from pathlib import Path
from typing import Any

SECONDS = 600


def main(arguments: list[str]) -> None:
    """Fuzz one loader; atheris ends the process itself."""
    atheris: Any = importlib.import_module("atheris")
    with atheris.instrument_imports(include=["host_sim", "tests.support.loader_fuzz", "tomllib"]):
        fuzz = importlib.import_module("tests.support.loader_fuzz")
    name = arguments[0] if arguments else ""
    if name not in fuzz.LOADERS:
        sys.exit(f"a loader is one of {', '.join(fuzz.LOADERS)}")
    directory = Path(tempfile.mkdtemp(prefix="guided_fuzz_"))
    seeds = fuzz.LOADERS[name].seeds(directory)

    def one(data: bytes) -> None:
        chosen = atheris.FuzzedDataProvider(data)
        sound = seeds[chosen.ConsumeIntInRange(0, len(seeds) - 1)]
        changes = [
            (chosen.ConsumeIntInRange(0, 7), chosen.ConsumeIntInRange(0, 2**20),
             fuzz.HOSTILE[chosen.ConsumeIntInRange(0, len(fuzz.HOSTILE) - 1)])
            for _ in range(chosen.ConsumeIntInRange(0, 4))
        ]
        fuzz.attempt(name, directory, fuzz.changed(sound, changes))

    seconds = arguments[1] if len(arguments) > 1 else str(SECONDS)
    atheris.Setup([sys.argv[0], f"-max_total_time={seconds}", "-print_final_stats=1"], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv[1:])
