"""The twin in a page and the documents in one folder, each linking to the other: `make web`.

Made alone (`make site`, `make pages`) neither has such a link, for nobody knows then where the
other one lies. The folder may lie anywhere on a web server: all links are relative.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path

from host_sim.build import pages
from host_sim.common.errors import InputError, plain
from host_sim.common.output import check_directory
from host_sim.common.progress import progress
from host_sim.site import build as site
from host_sim.site.__main__ import CACHE

OUT = Path("out") / "web"
MARK = ".made-by-make-web"  # only a folder with it is replaced
SITE, PAGES = "site", "pages"
DOORSTEP = f"""\
<!doctype html>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Liquid application rate controller</title>
<h1>Liquid application rate controller</h1>
<p><a href="{SITE}/index.html">Drive the twin in this browser</a>, with nothing to install</p>
<p><a href="{PAGES}/index.html">Read the documents</a></p>
"""


def build(out: Path, cache: Path = CACHE) -> int:
    """Write both; returns how many documents there are. Raises InputError, and keeps the old."""
    out = out.resolve()
    check_directory(out.parent)
    if out.exists() and not (out / MARK).is_file() and any(out.iterdir()):
        raise InputError(f"{out}: is in the way: it holds nothing that was made here")
    part = out.with_name(out.name + ".part")
    shutil.rmtree(part, ignore_errors=True)
    try:
        site.build(part / SITE, cache, f"../{PAGES}/index.html")
        count = pages.build(part / PAGES, twin=f"../{SITE}/index.html")
        (part / "index.html").write_text(DOORSTEP, encoding="utf-8")
        (part / MARK).write_text("")
        shutil.rmtree(out, ignore_errors=True)
        part.rename(out)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return count


def main(arguments: list[str] | None = None) -> int:
    """Write both; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m host_sim.build.web",
        description="Write the twin in a page and the documents into one folder, linked.",
        epilog=f"example: make web; then python3 -m http.server --directory {OUT} 8000")
    parser.add_argument("--out", type=Path, default=OUT, metavar="DIR",
                        help=f"folder for both, made anew (default {OUT})")
    args = parser.parse_args(arguments)
    try:
        with progress("writing the twin and the pages"):
            count = build(args.out)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    print(f"{count} pages and the twin; serve {plain(args.out)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
