"""The documents as pages with contents and search: `python -m host_sim.build.pages`.

Sphinx reads the Markdown files as they are (docs/conf.py). A warning ends it, and so does a link
that leads nowhere; the pages need no network, neither to be made nor to be read. What a browser
will do with them is checked once more on the finished pages, whoever wrote them.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import host_sim
from host_sim.common.errors import InputError
from host_sim.common.output import check_directory
from host_sim.common.progress import progress

OUT = Path("out") / "pages"
FIRST = "docs/README.html"
MARK = ".made-by-make-pages"  # only a folder with it is replaced
DOORSTEP = f"""\
<!doctype html>
<meta charset="utf-8">
<meta http-equiv="refresh" content="0; url={FIRST}">
<title>Documents</title>
<a href="{FIRST}">Documents</a>
"""
# Tags that load something as soon as the page opens, and the attribute that says what.
LOADS = {"script": "src", "img": "src", "link": "href", "iframe": "src", "source": "src"}


class PageLinks(HTMLParser):
    """The places that a page can be entered at, what it links to and what it loads."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.anchors: set[str] = set()
        self.links: list[str] = []
        self.loads: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Called by the parser."""
        given = {name: value or "" for name, value in attrs}
        if "id" in given:
            self.anchors.add(given["id"])
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        wanted = LOADS.get(tag)
        if wanted and wanted in given and given.get("rel") != "canonical":
            self.loads.append(given[wanted])


def faults_of(folder: Path) -> list[str]:
    """What is wrong with finished pages, a line each: dead links, and what needs the network."""
    pages = {path: PageLinks(path.read_text(encoding="utf-8")) for path in folder.rglob("*.html")}
    return [line for path, page in sorted(pages.items())
            for line in _faults_of_page(path, page, pages, folder)]


def _faults_of_page(path: Path, page: PageLinks, pages: dict[Path, PageLinks],
                    folder: Path) -> Iterator[str]:
    name = path.relative_to(folder).as_posix()
    for address in page.loads:
        if urlsplit(address).netloc:
            yield f"{name}: loads {address} from the network"
    for address in page.links + page.loads:
        parts = urlsplit(address)
        if parts.scheme or parts.netloc:
            continue
        target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
        if not target.is_file():
            yield f"{name}: {address} leads to no file"
        elif (parts.fragment and target in pages
              and unquote(parts.fragment) not in pages[target].anchors):
            yield f"{name}: {address} leads to no heading"


def build(out: Path, source: Path = host_sim.REPO_ROOT, twin: str = "") -> int:
    """Write the pages; returns how many. Raises InputError, one line a problem, and keeps the old.

    out is replaced as a whole once the new pages are sound, and only where it was made here. twin
    is where the twin in a page lies, seen from out; it has to lie there already.
    """
    out = out.resolve()
    check_directory(out.parent)
    if out.exists() and not (out / MARK).is_file() and any(out.iterdir()):
        raise InputError(f"{out}: is in the way: it does not hold pages that were made here")
    out.parent.mkdir(parents=True, exist_ok=True)
    part = out.with_name(out.name + ".part")
    shutil.rmtree(part, ignore_errors=True)
    try:
        _run_sphinx(source, part, twin)
        (part / "index.html").write_text(DOORSTEP, encoding="utf-8")
        (part / MARK).write_text("")
        faults = faults_of(part)
        if faults:
            raise InputError(*faults)
        count = sum(1 for _ in part.rglob("*.html"))
        shutil.rmtree(out, ignore_errors=True)
        part.rename(out)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return count


def _run_sphinx(source: Path, out: Path, twin: str) -> None:
    """Let Sphinx read everything anew; whatever it complains of is an error."""
    command = [sys.executable, "-m", "sphinx", "--quiet", "--no-color", "--fresh-env",
               "--write-all",
               "--nitpicky", "--fail-on-warning", "--keep-going", "--builder", "html",
               f"--html-define=twin={twin}", "--doctree-dir", str(out / ".read"),
               "--conf-dir", str(source / "docs"), str(source), str(out)]
    done = subprocess.run(command, check=False, capture_output=True, text=True,
                          cwd=source)
    shutil.rmtree(out / ".read", ignore_errors=True)
    if done.returncode:
        said = (done.stderr + done.stdout).replace(f"{source}/", "").splitlines()
        raise InputError(*([line for line in said if line.strip()] or ["Sphinx failed"]))


def main(arguments: list[str] | None = None) -> int:
    """Write the pages; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m host_sim.build.pages",
        description="Write the documents as pages with contents and offline search.",
        epilog="example: python -m host_sim.build.pages --out out/pages; then open "
               "out/pages/index.html")
    parser.add_argument("--out", type=Path, default=OUT, metavar="DIR",
                        help=f"folder for the pages (default {OUT})")
    args = parser.parse_args(arguments)
    try:
        with progress("writing the pages"):
            count = build(args.out)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    print(f"{count} pages; open {args.out / 'index.html'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
