"""Nothing in the tree points to the machine or the network that someone worked on."""

import re
from fnmatch import fnmatch
from pathlib import PurePath

from tests.repo.tree import name_of, repository_files

# Split so that this file does not contain what it looks for.
REGISTRY_HOSTS = [
    name + ending
    for name, ending in (
        ("pypi.", "org"),
        ("pythonhosted.", "org"),
        ("npmjs.", "org"),
        ("npmjs.", "com"),
        ("deb.debian.", "org"),
    )
]
FOREIGN_PATH = re.compile(r"(?<![\w.])/" + r"(work|home/\w+|root)\b(?![-\w])")


def test_nothing_names_a_registry_or_a_private_path():
    found = []
    for path in repository_files():
        text = path.read_bytes().decode("utf-8", "replace")
        found += [(name_of(path), host) for host in REGISTRY_HOSTS if host in text]
        found += [(name_of(path), match[0]) for match in FOREIGN_PATH.finditer(text)]
    assert not found


def test_no_test_stands_in_a_folder_that_is_not_entered(pytestconfig):
    """Of itself pytest passes by what is called build or dist, and says nothing."""
    passed_by = pytestconfig.getini("norecursedirs")
    tests = [PurePath(name_of(path)) for path in repository_files()
             if path.name.startswith("test_") and path.suffix == ".py"]
    assert len(tests) > 200
    assert not [path for path in tests for folder in path.parts[:-1] for pattern in passed_by
                if fnmatch(folder, pattern)]
