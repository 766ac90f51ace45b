"""A variant of the core: some files, laid over a copy of the tree."""

from __future__ import annotations

import difflib
import shutil
from dataclasses import dataclass
from pathlib import Path

from host_sim import CHECKED_OUT, FIRMWARE_DIR, REPO_ROOT
from host_sim.common.errors import InputError

CORE = "rate_control"
COPIED = ("firmware", "host_sim", "tests")
PLAIN_FILES = ("pyproject.toml", "Makefile", "DEVELOPERS.md")
LEFT_OUT = shutil.ignore_patterns("__pycache__", "*.pyc", "page", "vendor")
LARGEST_BYTES = 2**20


@dataclass(frozen=True)
class Variant:
    """The files that differ from ours, by their place in the core, and how many lines do."""

    folder: Path
    texts: dict[str, str]
    lines: dict[str, int]

    @property
    def summary(self) -> str:
        """What was changed, in words."""
        files = ", ".join(f"{name} ({count} line{'s' * (count != 1)})"
                          for name, count in sorted(self.lines.items()))
        return f"changed: {files}"


def load_variant(folder: Path) -> Variant:
    """The variant in a folder: a whole copy of the core, or some of its files.

    Raises InputError with a line for everything that is wrong, a file that is no Python first.
    """
    if not CHECKED_OUT:
        raise InputError("this needs a checkout of the project: an installed package has no tests")
    if not folder.is_dir():
        raise InputError(f"{folder}: is no folder")
    root = _core_in(folder)
    ours = FIRMWARE_DIR / CORE
    texts: dict[str, str] = {}
    lines: dict[str, int] = {}
    problems: list[str] = []
    for path in sorted(root.rglob("*.py")):
        name = path.relative_to(root).as_posix()
        try:
            text = _text_of(path)
        except InputError as error:
            problems += error.args
            continue
        own = ours / name
        before = own.read_text(encoding="utf-8") if own.is_file() else ""
        if text != before:
            texts[name] = text
            lines[name] = _changed(before, text)
    if problems:
        raise InputError(*problems)
    if not texts:
        known = any((ours / path.relative_to(root)).is_file() for path in root.rglob("*.py"))
        raise InputError(f"{folder}: " + ("is the same as ours" if known else
                                          f"has no file of the core; see firmware/{CORE}"))
    if not any((ours / name).is_file() for name in texts):
        raise InputError(f"{folder}: changes no file of the core: {', '.join(texts)} "
                         f"{'is' if len(texts) == 1 else 'are'} not in firmware/{CORE}")
    return Variant(folder, texts, lines)


def _core_in(folder: Path) -> Path:
    """Where in a folder the files of the core are: it may be a whole tree, or the core itself."""
    for place in (folder / "firmware" / CORE, folder / CORE):
        if place.is_dir():
            return place
    return folder


def _text_of(path: Path) -> str:
    """A file of Python. Raises InputError naming file and line where it is none."""
    if path.stat().st_size > LARGEST_BYTES:
        raise InputError(f"{path}: is too large for a file of the core")
    try:
        text = path.read_text(encoding="utf-8")
        compile(text, str(path), "exec", dont_inherit=True)
    except SyntaxError as error:
        raise InputError(f"{path}:{error.lineno}: {error.msg}") from error
    except (OSError, ValueError, RecursionError, MemoryError) as error:
        raise InputError(f"{path}: cannot be read: {error}") from error
    return text


def _changed(before: str, after: str) -> int:
    """How many lines were taken out or put in, the larger of both where one became another."""
    matcher = difflib.SequenceMatcher(None, before.splitlines(), after.splitlines(),
                                      autojunk=False)
    return sum(max(i2 - i1, j2 - j1) for tag, i1, i2, j1, j2 in matcher.get_opcodes()
               if tag != "equal")


def lay_over(variant: Variant | None, target: Path) -> Path:
    """A copy of the tree with the variant in it, or ours alone; returns where it is."""
    for name in COPIED:
        shutil.copytree(REPO_ROOT / name, target / name, ignore=LEFT_OUT)
    for name in PLAIN_FILES:
        shutil.copy(REPO_ROOT / name, target / name)
    for name, text in (variant.texts if variant else {}).items():
        path = target / "firmware" / CORE / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return target
