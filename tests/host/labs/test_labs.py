"""The labs run, their figures are those in the notes, and their changes of the core are noticed."""

import ast
import json
import re
import shutil
import subprocess
import sys

import pytest

from host_sim import REPO_ROOT
from host_sim.__main__ import main
from host_sim.labs.sheet import (
    FOLDER,
    as_notebook,
    as_script,
    notes_of,
    parts_of,
    run,
    sheets,
    with_figures,
)

SHEETS = sheets()
CHANGE = re.compile(r"`(tests/shared/\w+\.py)::(\w+)`:\n\n```diff\n(.*?)```", re.DOTALL)
FILE = re.compile(r"Firmware file `firmware/rate_control/(\w+\.py)`")
RUN_ONE = """
import importlib.util, sys
sys.path[:0] = [{core!r}, {firmware!r}, {top!r}]
spec = importlib.util.spec_from_file_location("noticing", {test!r})
module = importlib.util.module_from_spec(spec)
spec.loader.exec_module(module)
getattr(module, {function!r})()
"""


def changes():
    """(file, lines taken away, lines put in, test, function) of every change in the notes."""
    found = []
    for number, sheet in SHEETS.items():
        notes = notes_of(sheet).read_text(encoding="utf-8")
        (file,) = FILE.findall(notes)
        for test, function, diff in CHANGE.findall(notes):
            old, new = ("".join(line[1:] + "\n" for line in diff.splitlines() if line[0] == sign)
                        for sign in "-+")
            found.append(pytest.param(file, old, new, test, function, id=f"{number}-{function}"))
    return found


def runs_with(core, test, function):
    """Run one shared test with the core in a folder; returns what went wrong, or nothing."""
    code = RUN_ONE.format(core=str(core), firmware=str(REPO_ROOT / "firmware"),
                          top=str(REPO_ROOT), test=str(REPO_ROOT / test), function=function)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    return done.stderr if done.returncode else ""


@pytest.mark.parametrize("number", SHEETS)
def test_figures_of_the_notes_are_those_of_the_sheet(number):
    notes = notes_of(SHEETS[number]).read_text(encoding="utf-8")
    assert with_figures(notes, run(SHEETS[number])) == notes, "run make labs"


def test_every_sheet_has_what_a_lab_needs():
    assert list(SHEETS) == list(range(1, 9))
    index = (FOLDER / "README.md").read_text(encoding="utf-8")
    for number, sheet in SHEETS.items():
        text = sheet.read_text(encoding="utf-8")
        notes = notes_of(sheet).read_text(encoding="utf-8")
        assert re.match(rf"# Lab {number}: .+\n\n(60|75|90) minutes\. ", text)
        assert "\n## Open question" in text and "README.md#change-the-core" in text
        assert all(f"\n## {part}\n" in notes for part in (
            "Figures to expect", "Answers", "Open question", "Common mistakes", "Rubric"))
        assert sum(int(points) for points in re.findall(r"^\| (\d+) \|", notes, re.M)) == 10
        assert f"({sheet.name})" in index and f"({notes_of(sheet).name})" in index


@pytest.mark.parametrize(("file", "old", "new", "test", "function"), changes())
def test_a_change_of_the_core_is_noticed(file, old, new, test, function, tmp_path):
    shutil.copytree(REPO_ROOT / "firmware" / "rate_control", tmp_path / "rate_control",
                    ignore=shutil.ignore_patterns("__pycache__"))
    assert runs_with(tmp_path, test, function) == ""
    changed = tmp_path / "rate_control" / file
    text = changed.read_text(encoding="utf-8")
    assert text.count("\n" + old) == 1  # whole lines
    changed.write_text(text.replace("\n" + old, "\n" + new), encoding="utf-8")
    told = runs_with(tmp_path, test, function)
    assert "AssertionError" in told, told


def test_every_lab_has_a_change():
    assert {param.id.split("-")[0] for param in changes()} == {str(number) for number in SHEETS}


def test_script_and_notebook_hold_the_whole_sheet(tmp_path, capsys):
    script, notebook = tmp_path / "lab.py", tmp_path / "lab.ipynb"
    assert main(["lab", "2", "--script", str(script), "--notebook", str(notebook)]) == 0
    assert capsys.readouterr().out.split() == [str(script), str(notebook)]
    text = SHEETS[2].read_text(encoding="utf-8")
    parts = parts_of(text)
    ast.parse(script.read_text(encoding="utf-8"))
    assert script.read_text(encoding="utf-8") == as_script(text)
    held = json.loads(notebook.read_text(encoding="utf-8"))
    assert notebook.read_text(encoding="utf-8") == as_notebook(text)
    assert ["".join(cell["source"]) for cell in held["cells"]] == [p.text.strip() for p in parts]
    assert [cell["cell_type"] == "code" for cell in held["cells"]] == [p.is_code for p in parts]
    # nbformat 4.5: what every notebook and every code cell must have, and what an id may be
    assert (held["nbformat"], held["nbformat_minor"]) == (4, 5)
    ids = [cell["id"] for cell in held["cells"]]
    assert len(set(ids)) == len(ids) and all(re.fullmatch(r"[a-zA-Z0-9-_]{1,64}", i) for i in ids)
    assert all(set(cell) == {"id", "cell_type", "metadata", "source", "execution_count", "outputs"}
               for cell in held["cells"] if cell["cell_type"] == "code")


def test_the_verb_lists_and_refuses(capsys):
    assert main(["lab"]) == 0
    assert capsys.readouterr().out.startswith("1  Pulses and quantisation\n2  Calibration")
    for words in (["lab", "9"], ["lab", "--script", "mine.py"]):
        assert main(words) == 2
        assert capsys.readouterr().err.count("\n") == 1


def test_an_error_names_the_line_of_the_sheet(tmp_path):
    sheet = tmp_path / "1_a.md"
    sheet.write_text("# Lab 1: A\n\nWords.\n\n```{code-cell} python\nx = 1\nx / 0\n```\n")
    with pytest.raises(ZeroDivisionError) as error:
        run(sheet)
    assert error.traceback[-1].lineno + 1 == 7 and str(error.traceback[-1].path) == str(sheet)


def test_notes_without_marks_are_told():
    with pytest.raises(ValueError, match="cell 2"):
        with_figures("<!-- cell 1 -->\n<!-- end cell 1 -->\n", ["a\n", "b\n"])
