"""`make clean` leaves what version control holds, and nothing else."""

import shutil
import subprocess

from tests.repo.tree import ROOT

IGNORED = [line for line in (ROOT / ".gitignore").read_text().split() if not line.startswith("#")]


def test_clean_removes_whatever_is_ignored(tmp_path):
    subprocess.run(["git", "init", "--quiet"], cwd=tmp_path, check=True)
    for name in (".gitignore", "Makefile", "pyproject.toml"):
        shutil.copy(ROOT / name, tmp_path)
    for pattern in IGNORED:
        path = tmp_path / pattern.strip("/").replace("*", "some")
        if pattern.endswith("/"):
            path.mkdir()
            path /= "generated"
        path.write_text("made by a tool")
    deep = tmp_path / "host_sim" / "deep" / "__pycache__"
    deep.mkdir(parents=True)
    (deep / "module.pyc").write_text("made by a tool")
    (deep.parent / "module.py").write_text("written by a person")

    subprocess.run(["make", "--silent", "clean"], cwd=tmp_path, check=True)

    left = {path.name for path in tmp_path.iterdir()}
    assert left == {".git", ".gitignore", "Makefile", "pyproject.toml", "host_sim"}
    assert [path.name for path in deep.parent.iterdir()] == ["module.py"]
