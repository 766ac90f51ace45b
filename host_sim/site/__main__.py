"""`python -m host_sim.site`: write the twin in a page as static files, and say how large it is."""

from __future__ import annotations

import argparse
import gzip
import sys
from pathlib import Path

from host_sim.common.errors import InputError, plain

OUT, CACHE = Path("out/site"), Path("build/npm")
MB = 1e6
EPILOG = """\
Any static web server serves them; none of them asks the net for anything:
  python3 -m http.server --directory out/site 8000
"""


def main(argv: list[str] | None = None) -> int:
    """Build the site; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m host_sim.site", description="Write the twin in a page as static files.",
        epilog=EPILOG, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=OUT, metavar="DIR",
                        help=f"directory for the files, made anew (default {OUT})")
    parser.add_argument("--measure", action="store_true",
                        help="then load it in chromium, drive it, and print how long that took")
    args = parser.parse_args(argv)
    from host_sim.site.build import build

    try:
        files = build(args.out, CACHE)
        print(_sizes(files))
        print(plain(args.out / "index.html"))
        if args.measure:
            from host_sim.site.measure import measured

            print(measured(args.out))
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


def _sizes(files: dict[str, bytes]) -> str:
    """What a visitor's browser fetches, in MB: as it lies there, and as most servers send it."""
    parts = {
        "Python for the browser": [name for name in files if name.startswith("pyodide/")],
        "firmware and twin": ["twin.zip"],
    }
    known = {name for names in parts.values() for name in names}
    parts["the page"] = [name for name in files if name not in known]
    lines = [f"{'':24} {'MB':>6} {'gzip':>6}"]
    for words, names in [*parts.items(), ("all", list(files))]:
        plain_mb = sum(len(files[name]) for name in names) / MB
        sent_mb = sum(len(gzip.compress(files[name])) for name in names) / MB
        lines.append(f"{words:24} {plain_mb:6.2f} {sent_mb:6.2f}")
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
