"""What a result was made with."""

from __future__ import annotations

import platform
import tomllib
from importlib import metadata

from host_sim import REPO_ROOT

PACKAGES = ("numpy", "matplotlib")


def versions() -> dict[str, str]:
    """Version by name: this project, Python, and the packages that shape a result."""
    project = tomllib.loads((REPO_ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found = {project["name"]: project["version"], "python": platform.python_version()}
    return found | {name: metadata.version(name) for name in PACKAGES}
