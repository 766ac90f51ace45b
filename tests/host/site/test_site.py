"""The files of the twin in a page: whole, the project's own alone, and running without packages."""

import io
import json
import re
import subprocess
import sys
import tarfile
import zipfile

import pytest

from host_sim.common.errors import InputError
from host_sim.site import __main__ as command
from host_sim.site import build as building
from host_sim.site import pyodide
from host_sim.site.archive import licences, twin_archive

PLACEHOLDER = dict.fromkeys(pyodide.FILES, b"placeholder")


@pytest.fixture
def no_net(monkeypatch):
    """The site with Python for the browser left out."""
    monkeypatch.setattr(building, "fetched", lambda cache: PLACEHOLDER)


@pytest.fixture(scope="module")
def tree(tmp_path_factory):
    """The archive, unpacked as a page unpacks it."""
    place = tmp_path_factory.mktemp("tree")
    zipfile.ZipFile(io.BytesIO(twin_archive())).extractall(place)
    return place


def bare_python(tree, program):
    """What a program prints in a Python that has its own library and the archive, nothing else."""
    whole = f"import sys; sys.path.insert(0, {str(tree)!r})\n{program}"
    told = subprocess.run([sys.executable, "-I", "-S", "-c", whole], capture_output=True,
                          text=True, timeout=120)
    assert told.returncode == 0, told.stderr
    return json.loads(told.stdout)


PLAY = """
import json, threading, time
from host_sim.site.page_session import PageSession
def no_thread(self):
    raise RuntimeError("a browser has no threads")
threading.Thread.start = no_thread
files = {}
session = PageSession(lambda name, kind, text: files.update({name.partition("/")[2]: kind}))
hello = json.loads(session.frame())[0]["hello"]
def until(seen):
    for _ in range(600):
        for frame in json.loads(session.frame()):
            if "refused" in frame:
                raise RuntimeError(frame["refused"])
            if seen(frame):
                return frame
        time.sleep(0.02)
foreign = sorted({"numpy", "scipy", "matplotlib", "jinja2"} & sys.modules.keys())
assert session.ask('["scene", "stalled_meter", 40]') == ""
refused = session.ask('["scene", "stalled_meter", 4000]')
until(lambda frame: "no flow at the meter" in str(frame.get("words")))
assert session.ask(json.dumps(["size", "rate = 80 L/ha\\nspeed = 6 to 12 km/h\\nwidth = 3 m\\n"
                                "sections = 2, 2\\n", False])) == ""
size = until(lambda frame: "size" in frame)["size"]
session.ask('["save", false]')
until(lambda frame: frame.get("drive", {}).get("saved"))
print(json.dumps({"hello": hello["kind"], "foreign": foreign, "refused": refused, "files": files,
                  "size": size}))
"""


def test_the_archive_alone_plays_a_drive_and_makes_its_report(tree):
    found = bare_python(tree, PLAY)
    assert found["hello"] == "twin"
    assert found["foreign"] == [], "the live path loads what a drive does not need"
    assert found["refused"] == "scene: must be a number, 0 to 600 s"
    assert found["size"]["answer"].startswith("FITS")
    assert found["files"]["report.html"] == "text/html" and found["files"]["run.csv"] == "text/csv"


def test_the_same_sources_are_the_same_bytes():
    assert twin_archive() == twin_archive()


def test_every_file_that_a_page_names_is_there(no_net, tmp_path):
    files = building.build(tmp_path / "site", tmp_path)
    on_disk = {path.relative_to(tmp_path / "site").as_posix()
               for path in (tmp_path / "site").rglob("*") if path.is_file()}
    assert on_disk == set(files) and "index.html" in files
    for name, content in files.items():
        if not name.endswith((".html", ".js")) or name.startswith("pyodide/"):
            continue
        text = content.decode()
        named = re.findall(r'(?:from|href=|src=|Worker\(|fetch\()\s*"(?:\./)?([\w./]+\.\w+)"', text)
        assert set(named) <= set(files), (name, named)
        if not name.startswith("uPlot"):
            assert not re.search(r"https?://(?!www\.w3\.org)", text), name


def test_the_page_itself_forbids_whatever_is_not_its_own(no_net, tmp_path):
    index = building.build(tmp_path / "site", tmp_path)["index.html"].decode()
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', index)[1]
    assert policy.startswith("default-src 'none'; script-src 'self' 'wasm-unsafe-eval';")
    assert "http" not in policy and "*" not in policy and "'unsafe-eval'" not in policy
    assert index.index("Content-Security-Policy") < index.index("<link")


def test_it_is_made_anew_and_nothing_else_is_touched(no_net, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    out = tmp_path / "site"
    building.build(out, tmp_path)
    (out / "left_over.js").write_text("old")
    building.build(out, tmp_path)
    assert not (out / "left_over.js").exists()
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "thesis.txt").write_text("years of work")
    assert command.main(["--out", "mine"]) == 2
    assert capsys.readouterr().err == (
        "mine: is in the way: not empty, and no site that was made here\n")
    assert [path.name for path in mine.iterdir()] == ["thesis.txt"]


def test_its_size_is_told(no_net, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert command.main([]) == 0
    assert re.search(r"\nall +\d+\.\d\d +\d+\.\d\d\nout/site/index.html\n$",
                     capsys.readouterr().out)


def test_other_bytes_of_the_same_name_are_refused(tmp_path):
    archive = tmp_path / f"pyodide-{pyodide.PYODIDE}.tgz"
    with tarfile.open(archive, "w:gz") as packed:
        packed.addfile(tarfile.TarInfo("package/pyodide.mjs"))
    with pytest.raises(InputError, match="is not pyodide .* as it was published: remove it"):
        pyodide.fetched(tmp_path)


def test_without_npm_it_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(InputError, match="there is no npm, .*apt-get install npm"):
        pyodide.fetched(tmp_path / "cache")
    assert not (tmp_path / "cache").exists()


@pytest.mark.parametrize("told", [
    "echo '{\"error\": {\"summary\": \"no such host\\\\nand more\"}}'; exit 1",
    "echo 'npm error network no such host' >&2; exit 1", "exit 0"])
def test_what_npm_complains_of_is_one_line(tmp_path, monkeypatch, told):
    npm = tmp_path / "bin" / "npm"
    npm.parent.mkdir()
    npm.write_text(f"#!/bin/sh\n{told}\n")
    npm.chmod(0o755)
    monkeypatch.setenv("PATH", f"{npm.parent}:/usr/bin:/bin")
    with pytest.raises(InputError, match=r"^npm pack pyodide@[\d.]+: [^\n]*(no such host|failed)"):
        pyodide.fetched(tmp_path / "cache")
    assert list((tmp_path / "cache").iterdir()) == []


def test_the_terms_of_what_is_not_ours_come_along():
    text = licences()
    for words in ("Mozilla Public License 2.0", "jinja2 3", "markupsafe", "Leon Sorokin"):
        assert words in text
