"""`make lock` gives the same pins on whatever Python it runs; tried offline with made-up packages.

The line is that of the Makefile, run on a project of one package that needs another one on old
Pythons only, as three of the real pins are needed.
"""

import re
import shlex
import shutil
import subprocess
import tomllib
import zipfile

import pytest

from tests.repo.tree import ROOT

UV = ROOT / ".venv" / "bin" / "uv"
OLD_ONLY = "helper==1.0 ; python_full_version < '3.12'"


def lock_words(folder):
    """The first line that `make lock` would run, for a project in this folder."""
    shown = subprocess.run(["make", "--dry-run", "--always-make", "lock"], cwd=ROOT, check=True,
                           capture_output=True, text=True).stdout.replace("\\\n", " ")
    line = next(line for line in shown.splitlines() if "pip compile" in line)
    return [str(UV), *shlex.split(line)[1:], "--offline", "--no-index", "--find-links",
            str(folder)]


def wheel(folder, name, needs=()):
    """A package with nothing in it."""
    about = f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n"
    about += "".join(f"Requires-Dist: {need}\n" for need in needs)
    with zipfile.ZipFile(folder / f"{name}-1.0-py3-none-any.whl", "w") as file:
        file.writestr(f"{name}-1.0.dist-info/METADATA", about)
        file.writestr(f"{name}-1.0.dist-info/WHEEL",
                      "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n")
        file.writestr(f"{name}-1.0.dist-info/RECORD", "")


@pytest.fixture
def project(tmp_path):
    wheel(tmp_path, "helper")
    wheel(tmp_path, "needy", ['helper; python_version < "3.12"'])
    (tmp_path / "pyproject.toml").write_text(
        '[project]\nname = "mine"\nversion = "1"\nrequires-python = ">=3.11"\n'
        'dependencies = ["needy"]\n')
    return tmp_path


def locked(project, words):
    """The pins that a line leaves."""
    subprocess.run(words, cwd=project, check=True)
    text = (project / "requirements.lock").read_text()
    return re.findall(r"^[a-z].*?(?= \\)", text, re.MULTILINE)


@pytest.mark.skipif(not UV.exists() or not shutil.which("make"), reason="no make, or no .venv")
def test_a_pin_for_older_pythons_is_kept_whatever_python_locks(project):
    words = lock_words(project)
    assert locked(project, words) == [OLD_ONLY, "needy==1.0"]
    oldest = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["requires-python"]
    place = words.index("--python-version") + 1
    assert words[place] == oldest.removeprefix(">=")
    words[place] = "3.13"  # what uv takes by itself where that is the Python at work
    (project / "requirements.lock").unlink()
    assert locked(project, words) == ["needy==1.0"]
