"""Puts the static files of the twin in a page together."""

from __future__ import annotations

import shutil
from pathlib import Path

from host_sim.common.errors import InputError
from host_sim.common.output import check_directory
from host_sim.panel import server
from host_sim.site.archive import licences, twin_archive
from host_sim.site.pyodide import fetched

HERE = Path(__file__).parent
INDEX = "index.html"
# Whatever the web server says or leaves out, the page asks nobody else for anything. A report
# that opens from the page is bound by it too, and brings its own styles and pictures.
POLICY = ("default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; "
          "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; connect-src 'self'; "
          "worker-src 'self'; base-uri 'none'; form-action 'none'")
HEAD = b'<meta charset="utf-8">\n'
POLICY_TAG = f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'.encode()
NO_DOCUMENTS = b'<a id="documents" hidden>'
MARK = "twin.zip"  # a directory without it is not one of ours, and nothing in it is touched


def site_files(cache: Path, documents: str = "") -> dict[str, bytes]:
    """Every file by its path below the site. Raises InputError where npm is needed and missing.

    documents is where the documents lie, seen from the site; "" is nowhere.
    """
    files = {name: content for name, (content, _) in server.files().items()}
    files |= {path.name: path.read_bytes() for path in (HERE / "page").iterdir()}
    head, tag, rest = files[INDEX].partition(HEAD)
    assert tag, "the page has no place for its policy"
    if documents:
        before, link, after = rest.partition(NO_DOCUMENTS)
        assert link, "the page has no place for a link to the documents"
        rest = before + NO_DOCUMENTS.replace(b" hidden", f' href="{documents}"'.encode()) + after
    files[INDEX] = head + tag + POLICY_TAG + rest
    files["twin.zip"] = twin_archive()
    files["licences.txt"] = licences().encode()
    return files | {f"pyodide/{name}": content for name, content in fetched(cache).items()}


def build(out: Path, cache: Path, documents: str = "") -> dict[str, bytes]:
    """Write the site into a directory of its own, anew; returns its files. Raises InputError."""
    check_directory(out)
    if out.is_dir() and any(out.iterdir()) and not (out / MARK).is_file():
        raise InputError(f"{out}: is in the way: not empty, and no site that was made here")
    files = site_files(cache, documents)
    fresh = out.with_name(f"{out.name}.new")
    shutil.rmtree(fresh, ignore_errors=True)
    for name, content in files.items():
        path = fresh / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    shutil.rmtree(out, ignore_errors=True)
    fresh.replace(out)
    return files
