"""Python for the browser: the npm package `pyodide`, one version of it, byte for byte.

It is fetched by its name with npm, once, and kept below build/; it is never committed.
"""

from __future__ import annotations

import base64
import hashlib
import json
import shutil
import subprocess
import tarfile
import tempfile
from pathlib import Path

from host_sim.common.errors import InputError

PYODIDE = "314.0.7"  # with Python 3.14
DIGEST = "0YvXxEhfEdpLfb/XkM2BFAeMROq0iMUX2bzzH9pOttyMcWkwq+HbE5uyuGD82LN7y2q+SNvi/6V5JEsOlD2R1A=="
# What a page asks for. The lock file lists packages of other origins, of which none is used.
FILES = ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm", "python_stdlib.zip",
         "pyodide-lock.json")
WAIT_S = 300.0
NO_NPM = "there is no npm, with which Python for the browser is fetched; on Debian: " \
         "apt-get install npm"


def fetched(cache: Path) -> dict[str, bytes]:
    """The files by name, from the cache or else from npm. Raises InputError."""
    archive = cache / f"pyodide-{PYODIDE}.tgz"
    if not archive.is_file():
        _pack(archive)
    data = archive.read_bytes()
    if base64.b64encode(hashlib.sha512(data).digest()).decode() != DIGEST:
        raise InputError(f"{archive}: is not pyodide {PYODIDE} as it was published: remove it and "
                         "try again")
    with tarfile.open(archive) as packed:
        return {name: _member(packed, f"package/{name}") for name in FILES}


def _member(packed: tarfile.TarFile, name: str) -> bytes:
    file = packed.extractfile(name)
    assert file is not None, name
    return file.read()


def _pack(archive: Path) -> None:
    """Let npm fetch the package into the cache, whole or not at all."""
    if not shutil.which("npm"):
        raise InputError(NO_NPM)
    archive.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=archive.parent) as folder:
        try:
            told = subprocess.run(
                ["npm", "pack", "--json", "--pack-destination", folder, f"pyodide@{PYODIDE}"],
                capture_output=True, text=True, timeout=WAIT_S, check=False)
        except subprocess.TimeoutExpired:
            raise InputError(f"npm pack pyodide@{PYODIDE}: no answer within {WAIT_S:.0f} s"
                             ) from None
        found = list(Path(folder).glob("*.tgz"))
        if told.returncode or not found:
            raise InputError(f"npm pack pyodide@{PYODIDE}: {_reason(told)}")
        found[0].replace(archive)


def _reason(told: subprocess.CompletedProcess[str]) -> str:
    """What npm complained of, in a line."""
    try:
        return str(json.loads(told.stdout)["error"]["summary"]).splitlines()[0]
    except (ValueError, KeyError, TypeError, IndexError):
        lines = told.stderr.split("\n")
        return next((line for line in lines if "error" in line.lower()), "it failed").strip()
