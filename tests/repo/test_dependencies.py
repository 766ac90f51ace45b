"""Everything that is imported is declared, and every declared package is pinned."""

import re
import sys
import tomllib
from importlib.metadata import distributions, packages_distributions, requires

from tests.repo.tree import ROOT, imported_modules, python_files

OWN = {"host_sim", "tests", *(path.stem for path in (ROOT / "firmware").iterdir())}
# Part of MicroPython, imported by scripts that only run there.
MICROPYTHON = {"micropython", "machine", "rp2", "esp32", "vfs", "mip"}


def normal(name):
    """The spelling of a package's name by which two spellings are compared."""
    return re.sub(r"[-_.]+", "-", name).lower()


def declared():
    """The packages that pyproject.toml asks for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    wanted = project["dependencies"] + sum(project["optional-dependencies"].values(), [])
    return {normal(re.match(r"[\w.-]+", entry)[0]) for entry in wanted}


def pinned():
    """The packages that requirements.lock pins."""
    return {normal(requirement.split("==")[0]) for requirement, _ in locked_packages()}


def test_every_import_is_declared():
    providers = packages_distributions()
    undeclared = {
        (name, module)
        for name, tree in python_files(ROOT / "host_sim", ROOT / "tests")
        for module in (full.split(".")[0] for full in imported_modules(tree))
        if module
        and module not in sys.stdlib_module_names | OWN | MICROPYTHON
        and not {normal(found) for found in providers.get(module, [])} & declared()
    }
    assert not undeclared


def test_every_declared_package_is_pinned():
    assert declared() <= pinned()


def locked_packages():
    """Each entry of requirements.lock as (requirement, its hashes)."""
    text = (ROOT / "requirements.lock").read_text().replace("\\\n", " ")
    entries = [line.split() for line in text.splitlines() if line and line[0] not in " #"]
    return [(" ".join(word for word in words if not word.startswith("--hash=")),
             [word for word in words if word.startswith("--hash=")]) for words in entries]


def test_every_locked_package_has_one_version_and_its_hashes():
    assert len(locked_packages()) >= len(declared())
    for requirement, hashes in locked_packages():
        assert re.match(r"[\w.-]+(\[[\w,]+\])?==[\w.!+]+( ; .+)?$", requirement), requirement
        assert hashes, requirement
        for digest in hashes:
            assert re.fullmatch(r"--hash=sha256:[0-9a-f]{64}", digest), (requirement, digest)


def test_what_a_locked_package_needs_is_locked_too():
    """`make setup` installs the lock alone, without looking for what is missing in it."""
    missing = {
        (name, need)
        for name in pinned() & installed()
        for need in needs(name)
        if need not in pinned()
    }
    assert not missing


def installed():
    """The packages of this environment."""
    return {normal(found.name) for found in distributions()}


def needs(name):
    """The packages that one needs in this environment, extras left out."""
    found = (re.match(r"([\w.-]+)[^;]*(;.*)?", entry) for entry in requires(name) or [])
    return {normal(match[1]) for match in found if not match[2]}


def test_setup_takes_nothing_but_what_the_locks_hold():
    text = (ROOT / "host_sim/build/set_up.py").read_text()
    installs = re.findall(r'"install",.*?\)\n', text, re.S)
    assert len(installs) >= 2
    for line in installs:
        assert "--no-deps" in line, line
        assert "--require-hashes" in line or "--no-index" in line, line
    assert "pip install" not in (ROOT / "Makefile").read_text()


def test_what_a_drive_needs_is_locked_as_in_the_whole_lock():
    whole = (ROOT / "requirements.lock").read_text()
    part = (ROOT / "requirements-run.lock").read_text()
    entries = re.findall(r"^[\w.-]+.*?(?=^\S|\Z)", part, re.M | re.S)
    assert len(entries) > 20
    for entry in entries:
        assert re.sub(r"\n    #.*", "", entry) in re.sub(r"\n    #.*", "", whole), entry
