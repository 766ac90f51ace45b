"""Everything that is imported is declared, and every declared package is pinned."""

import re
import sys
import tomllib
from importlib.metadata import packages_distributions

from tests.repo.tree import ROOT, imported_modules, python_files

OWN = {"host_sim", "tests", *(path.stem for path in (ROOT / "firmware").iterdir())}
# Part of MicroPython, imported by scripts that only run there.
MICROPYTHON = {"micropython", "machine", "rp2", "esp32", "vfs"}


def normal(name):
    """The spelling of a package's name by which two spellings are compared."""
    return re.sub(r"[-_.]+", "-", name).lower()


def declared():
    """The packages that pyproject.toml asks for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["dev"]
    return {normal(re.match(r"[\w.-]+", entry)[0]) for entry in wanted}


def pinned():
    """The packages that requirements.lock pins."""
    lines = (ROOT / "requirements.lock").read_text().splitlines()
    return {normal(line.split("==")[0]) for line in lines if "==" in line}


def test_every_import_is_declared():
    distributions = packages_distributions()
    undeclared = {
        (name, module)
        for name, tree in python_files(ROOT / "host_sim", ROOT / "tests")
        for module in (full.split(".")[0] for full in imported_modules(tree))
        if module
        and module not in sys.stdlib_module_names | OWN | MICROPYTHON
        and not {normal(found) for found in distributions.get(module, [])} & declared()
    }
    assert not undeclared


def test_every_declared_package_is_pinned():
    assert declared() <= pinned()
