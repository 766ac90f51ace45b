"""What a result was made with."""

from __future__ import annotations

import functools
import hashlib
import platform
from contextlib import suppress
from importlib import metadata

from app.version import VERSION
from host_sim import FIRMWARE_DIR, PACKAGE_DIR

PROJECT = "liquid-application-rate-controller"
PACKAGES = ("numpy", "matplotlib")
FINGERPRINT_LENGTH = 12


def versions() -> dict[str, str]:
    """Version by name: this project, Python, and the packages that shape a result.

    A browser has none of these packages.
    """
    found = {PROJECT: project_version(), "python": platform.python_version()}
    for name in PACKAGES:
        with suppress(metadata.PackageNotFoundError):
            found[name] = metadata.version(name)
    return found


def project_version() -> str:
    """The version of this project, firmware and twin: of the tree that this is a part of."""
    return VERSION


@functools.cache
def fingerprint() -> str:
    """The version and a digest of every Python file of firmware and twin.

    Two places with the same fingerprint run the same program, whatever folder it lies in.
    """
    digest = hashlib.sha256()
    for top in (FIRMWARE_DIR, PACKAGE_DIR):
        paths = {path.relative_to(top).as_posix(): path for path in top.rglob("*.py")}
        for name in sorted(name for name in paths if not name.startswith("installed_tree")):
            digest.update(name.encode() + b"\0" + paths[name].read_bytes())
    return f"{project_version()}+{digest.hexdigest()[:FINGERPRINT_LENGTH]}"
