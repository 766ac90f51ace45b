"""The Python of the twin as one file that a page unpacks: the same sources as here."""

from __future__ import annotations

import io
import zipfile
from importlib import metadata
from pathlib import Path

from host_sim import FIRMWARE_DIR, PACKAGE_DIR
from host_sim.site import pyodide

# Folders of the tree, as they lie beside each other there.
FIRMWARE = ("app", "rate_control", "boards/__init__.py", "boards/board.py", "boot.py")
HOST_SIM = ("__init__.py", "board", "common", "data", "machine_file", "panel", "plant", "report",
            "runs", "scenarios", "site", "sizing", "trials", "twin")
SUFFIXES = (".py", ".toml", ".csv", ".j2", ".css", ".txt")
WITHOUT = ("panel/page/", "panel/vendor/", "trials/trust/", "trials/campaign/",
           "site/stand_in/", "site/page/")
STAND_IN = ("numpy",)  # folders of site/stand_in, on the path there under their own names
PACKAGES = ("jinja2", "markupsafe", "rich")  # plain Python, of the versions installed here
PYODIDE_TERMS = f"""pyodide {pyodide.PYODIDE}: Python compiled to WebAssembly, as npm has it.
Mozilla Public License 2.0, https://www.mozilla.org/MPL/2.0/; its source is at
https://github.com/pyodide/pyodide. It holds Python itself: Python Software Foundation License 2,
https://docs.python.org/3/license.html
"""
MOMENT = (1980, 1, 1, 0, 0, 0)  # of every file, so that the same sources are the same bytes


def twin_archive() -> bytes:
    """A zip of the sources, the same bytes for the same sources."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name, path in sorted(_files().items()):
            entry = zipfile.ZipInfo(name, MOMENT)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, path.read_bytes())
    return made.getvalue()


def _files() -> dict[str, Path]:
    """Every file by its name in the archive."""
    found = {}
    for prefix, top, parts in (("firmware", FIRMWARE_DIR, FIRMWARE),
                               ("host_sim", PACKAGE_DIR, HOST_SIM)):
        for part in parts:
            place = top / part
            for path in [place] if place.is_file() else place.rglob("*"):
                name = path.relative_to(top).as_posix()
                if path.suffix in SUFFIXES and not name.startswith(WITHOUT):
                    found[f"{prefix}/{name}"] = path
    stand_in = PACKAGE_DIR / "site/stand_in"
    for name in STAND_IN:
        found |= {path.relative_to(stand_in).as_posix(): path
                  for path in (stand_in / name).glob("*.py")}
    for name in PACKAGES:
        found |= {str(file): Path(str(file.locate()))
                  for file in metadata.files(name) or [] if file.suffix == ".py"}
    return found


def licences() -> str:
    """The terms of everything that is not the project's own."""
    parts = [PYODIDE_TERMS]
    for name in PACKAGES:
        texts = [file.read_text() for file in metadata.files(name) or []
                 if "licenses" in file.parts]
        parts.append("\n".join([f"{name} {metadata.version(name)}", *texts]))
    parts.append((PACKAGE_DIR / "panel/vendor/uPlot.LICENSE.txt").read_text(encoding="utf-8"))
    return f"\n{'-' * 72}\n\n".join(parts)
