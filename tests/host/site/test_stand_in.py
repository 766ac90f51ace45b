"""The stand-in for numpy against numpy itself: each function, and the figures of a whole drive."""

import importlib.util
import json
import math
import subprocess
import sys

import numpy
import pytest

from host_sim import PACKAGE_DIR, REPO_ROOT

STAND_IN = PACKAGE_DIR / "site" / "stand_in"
PLACE = STAND_IN / "numpy" / "__init__.py"


def load_stand_in():
    """Under another name, beside the real one."""
    spec = importlib.util.spec_from_file_location(
        "stand_in_numpy", PLACE, submodule_search_locations=[str(PLACE.parent)])
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


small = load_stand_in()
NAN = math.nan
FLOATS = [0.5, -2.0, NAN, 3.25, 0.0, -0.0, 7.5]
KNOWN = [3.0, 1.0, 2.0, 2.0, -5.0]
WHOLE = [5, 0, 12, 7, 7]
FLAGS = [True, False, True, True, False]
TABLE = [[1.0, 2.0, 3.0], [4.0, NAN, 6.0], [0.5, 0.25, 9.0], [7.0, 8.0, -1.0]]

CASES = {
    "sums": lambda np: [np.array(TABLE).sum(axis=0), np.array(KNOWN).sum(), np.array([]).sum(),
                        np.array(TABLE)[2:].sum(axis=1), np.array(WHOLE).sum(),
                        np.array(FLAGS).sum(), np.array(TABLE)[4:].sum(axis=0)],
    "shapes": lambda np: [np.array(TABLE).T, np.array(TABLE)[:, None, 1],
                          np.arange(6).reshape(-1, 2),
                          np.array(KNOWN)[:, None] * np.array([1.0, 10.0]),
                          np.repeat(np.array(KNOWN)[:, None], 3, axis=1),
                          np.column_stack([np.array(KNOWN), np.array(WHOLE)])],
    "places": lambda np: [np.array(TABLE)[1:3, 0], np.array(TABLE)[-1], np.array(TABLE)[:, 1:2],
                          np.array(KNOWN)[np.array(FLAGS)], np.array(TABLE)[np.array(FLAGS[:4])],
                          np.array(KNOWN)[[0, -1]], np.array(KNOWN)[::2], np.array(KNOWN)[9:],
                          np.array(TABLE)[np.array(TABLE) > 2.0],
                          np.array(WHOLE)[np.array([1, 3]), None]],
    "operators": lambda np: [np.array(KNOWN) ** 2, 1.0 - np.array(KNOWN), -np.array(FLOATS),
                             np.array(KNOWN) / 4.0, ~np.array(FLAGS), ~np.array(WHOLE),
                             np.array(FLAGS) & (np.array(KNOWN) >= 2), np.array(WHOLE) & 6 == 4,
                             np.array(WHOLE)[:, None] >> np.arange(3) & 1,
                             np.array(KNOWN) != np.array(WHOLE), 100 * np.array(WHOLE)],
    "kinds": lambda np: [np.array(KNOWN).astype(int), np.array(WHOLE).astype(bool),
                         np.array([True, False]).astype(int), np.array(WHOLE, dtype=np.float64),
                         np.array([1, 2.5]), np.asarray([1, 2], dtype=np.float64)],
    "each": lambda np: [np.abs(np.array(FLOATS)), np.sign(np.array(FLOATS)),
                        np.isnan(np.array(TABLE)),
                        np.isfinite(np.array([1.0, math.inf, NAN])), np.floor(np.array(KNOWN) / 2),
                        np.nan_to_num(np.array(FLOATS)), np.sqrt(2.25), np.ceil(2.1),
                        np.array(FLOATS[:2] + KNOWN).clip(0.0),
                        np.where(np.array(KNOWN) > 1.5, np.array(KNOWN), 0.0),
                        np.where(np.array(FLAGS)[:, None], np.array(TABLE + [[1.0] * 3]), NAN)],
    "runs": lambda np: [np.diff(np.array(KNOWN)), np.diff(np.array(TABLE), axis=0),
                        np.cumsum(np.array(KNOWN)), np.concatenate([[0.0], np.array(KNOWN)]),
                        np.append(np.array(KNOWN), 4.0), np.maximum.accumulate(np.array(WHOLE)),
                        np.maximum(np.array(WHOLE), 6), np.bitwise_or.reduce(np.array(WHOLE)),
                        *np.split(np.array(KNOWN), np.array([1, 3]))],
    "order": lambda np: [np.argmax(np.array(WHOLE)), np.argmin(np.array(KNOWN)),
                         np.nanargmax(np.array(FLOATS)), np.nanmin(np.array(FLOATS)),
                         np.nanmax(np.array(FLOATS)), np.flatnonzero(np.array(FLAGS)),
                         np.argsort(np.array([3.0, 1.0, 2.0])), np.count_nonzero(np.array(WHOLE)),
                         np.searchsorted(np.array([1.0, 2.0, 2.0, 3.0]), 2.0),
                         np.searchsorted(np.array([1.0, 2.0, 3.0]), np.array([0.0, 2.5, 9.0])),
                         np.median(np.array(KNOWN)), np.median(np.array(WHOLE[:4]))],
    "means": lambda np: [np.array(KNOWN).mean(), np.array(KNOWN).std(ddof=1),
                         np.array(FLAGS).mean(),
                         np.average(np.array(KNOWN), weights=np.array([1.0, 2.0, 3.0, 4.0, 0.5])),
                         np.array(TABLE)[2:].max(axis=1), np.array(FLAGS).any(),
                         np.array(FLAGS).all()],
    "made": lambda np: [np.arange(4), np.arange(1.0, 2.2, 0.25), np.arange(2.0 + 1.0) * 3,
                        np.linspace(1.0, 7.0, 4), np.full(3, NAN),
                        np.full_like(np.array(TABLE), 2.0),
                        np.arange(1, 4, dtype=np.float64)],
    "between": lambda np: [
        np.interp(np.array([-1.0, 0.0, 0.5, 2.0, 2.5, 9.0]), [0.0, 1.0, 2.0, 2.0, 4.0],
                  [1.0, 3.0, 2.0, 5.0, 9.0]),
        np.divide(np.array([1.0, 2.0, 0.0]), np.array([4.0, 0.0, 1.0]),
                  where=np.array([True, False, True]), out=np.full(3, NAN))],
    "groups": lambda np: [
        np.pad(np.array(TABLE), ((0, 2), (0, 0)), constant_values=NAN).reshape(-1, 3, 3),
        np.take_along_axis(np.arange(12.0).reshape(2, 2, 3),
                           np.array([[1, 0, 1], [0, 0, 1]])[:, None, :], axis=1),
        np.argmax(np.arange(12.0).reshape(2, 2, 3), axis=1)],
}


def plain(value):
    """Lists and Python numbers; what is no number becomes a text, so that it equals itself."""
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, list):
        return [plain(item) for item in value]
    return "nan" if isinstance(value, float) and math.isnan(value) else value


@pytest.mark.parametrize("name", CASES)
def test_it_does_what_numpy_does(name):
    ours, theirs = (plain([plain(item) for item in CASES[name](np)]) for np in (small, numpy))
    for index, (one, other) in enumerate(zip(ours, theirs, strict=True)):
        assert near(one, other, 1e-14), (index, one, other)


def near(ours, theirs, tolerance):
    """Equal in form and, number by number, to so many of the last digits."""
    if isinstance(theirs, dict):
        return ours.keys() == theirs.keys() and all(
            near(ours[key], theirs[key], tolerance) for key in theirs)
    if isinstance(theirs, list):
        return (isinstance(ours, list) and len(ours) == len(theirs)
                and all(near(*pair, tolerance) for pair in zip(ours, theirs, strict=True)))
    if isinstance(theirs, float):
        return math.isclose(ours, theirs, rel_tol=tolerance, abs_tol=tolerance)
    return ours == theirs and isinstance(ours, bool) == isinstance(theirs, bool)


def test_what_does_not_go_together_is_refused():
    with pytest.raises(ValueError, match="do not go together"):
        small.array(KNOWN) + small.array([1.0, 2.0])
    with pytest.raises(IndexError):
        small.array(KNOWN)[5]


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    """The files of one drive as a page saves them: with numpy, and with what stands in for it."""
    found = []
    for path in ([], [str(STAND_IN)]):
        out = tmp_path_factory.mktemp("drive")
        told = subprocess.run(
            [sys.executable, "-c", DRIVE, str(out), *path], cwd=REPO_ROOT, text=True,
            capture_output=True, timeout=120)
        assert told.returncode == 0, told.stderr
        assert told.stdout.strip() == (small.__version__ if path else numpy.__version__)
        found.append({file.name: file.read_text() for file in out.iterdir()})
    return found


DRIVE = """
import sys
from pathlib import Path
sys.path[:0] = sys.argv[2:]
import numpy
from tests.support.page_drive import save_a_drive
print(numpy.__version__)
for name, text in save_a_drive().items():
    (Path(sys.argv[1]) / name).write_text(text)
"""


def test_the_report_of_a_drive_is_the_same_to_the_letter(saved):
    theirs, ours = saved
    report = [files["report.html"].rpartition('<p class="muted">')[0] for files in saved]
    assert report[0] == report[1] and "flow missing" in report[0]
    for name in ("run.csv", "passes.csv", "pass_sections.csv"):
        assert theirs[name] == ours[name], name


def test_the_figures_of_a_drive_are_the_same(saved):
    theirs, ours = (json.loads(files["summary.json"]) for files in saved)
    for one in (theirs, ours):
        del one["about"]["versions"]
    assert near(ours, theirs, 1e-9)
