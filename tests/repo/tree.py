"""The files of the repository, as the house rules see them."""

import ast
import re
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
FIRMWARE = ROOT / "firmware"
CORE = FIRMWARE / "rate_control"


# What a tool leaves behind, for a tree without version control, as .gitignore has it.
GENERATED = re.compile(
    r"(^|/)(\.venv|__pycache__|\.hypothesis|\.(mypy|pytest|ruff)_cache)/|^(out|build)/"
    r"|\.mpy$|(^|/)\.coverage|^\.setup\.lock$")


def repository_files():
    """All files that are, or could be, under version control.

    Also in a tree that was unpacked from an archive and has no history.
    """
    if not (ROOT / ".git").exists():
        every = (path for path in ROOT.rglob("*") if path.is_file())
        return sorted(path for path in every if not GENERATED.search(name_of(path)))
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
        text=True,
    ).stdout
    paths = (ROOT / name for name in listed.split("\0") if name)
    return sorted(path for path in set(paths) if path.is_file())


def name_of(path):
    """The path from the root of the repository."""
    return path.relative_to(ROOT).as_posix()


def python_files(*folders):
    """The Python files in these folders, as (name from the root, syntax tree) pairs."""
    return [
        (name_of(path), ast.parse(path.read_text(), str(path)))
        for folder in folders
        for path in sorted(folder.rglob("*.py"))
    ]


def imported_modules(tree):
    """The full names of all modules that a syntax tree imports, anywhere in it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield "." * node.level + (node.module or "")
