"""Asks every address that the project names whether it still answers: `make links`.

It needs the network, so it is no part of `make test`; what can be told without one, whether an
address is whole and well formed, is a house test (tests/repo/test_external_links.py).
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from http.client import HTTPException
from pathlib import Path
from urllib.error import HTTPError, URLError
from urllib.parse import urlsplit
from urllib.request import Request, urlopen

from host_sim import REPO_ROOT
from host_sim.common.progress import progress

ADDRESS = re.compile(r"https?://[^\s\"'`<>\[\]\\|]+")
READ = (".md", ".py", ".toml", ".cff", ".yml")
# Addresses of nobody: this computer, names kept for examples (RFC 2606), templates, name spaces.
NOBODY = re.compile(r"https?://(localhost|127\.0\.0\.1|0\.0\.0\.0|[\w.]*example(\.\w+)?(?=[/:\W]|$)"
                    r"|www\.w3\.org/2000/svg|ADDRESS|.*[{}$*])")
HOST = re.compile(r"([a-z0-9]([a-z0-9-]*[a-z0-9])?\.)+[a-z]{2,}", re.IGNORECASE)
# The first word of a line that can only be the rest of an address which the line before began.
REST = re.compile(r"[\s#*-]*[\w.%~]+[-/][\w./%~-]*")
AGENT = {"User-Agent": "Mozilla/5.0 (link check of a documentation)"}
TIMEOUT_S = 30.0
AT_ONCE = 8
GONE = (404, 410)


@dataclass(frozen=True)
class Named:
    """An address and where it is named: file and line."""

    address: str
    place: str


def named_in(name: str, text: str) -> Iterator[Named]:
    """The addresses in the text of a file; a bracket or a stop behind one is not part of it."""
    for number, line in enumerate(text.splitlines(), start=1):
        for found in ADDRESS.findall(line):
            address = found.rstrip(".,;:!?")
            while address.endswith(")") and address.count(")") > address.count("("):
                address = address[:-1].rstrip(".,;:!?")
            if not NOBODY.match(address):
                yield Named(address, f"{name}:{number}")


def named(paths: Iterable[Path]) -> list[Named]:
    """The addresses in these files of the tree."""
    return [one for path in paths if path.suffix in READ and "vendor" not in path.parts
            for one in named_in(path.relative_to(REPO_ROOT).as_posix(),
                                path.read_text(encoding="utf-8"))]


def malformed(address: str) -> str:
    """What is wrong with the form of an address, "" for nothing."""
    parts = urlsplit(address)
    if not HOST.fullmatch(parts.hostname or ""):
        return "has no name of a host"
    if parts.username or parts.password:
        return "holds a name or a password"
    if not re.fullmatch(r"[\x21-\x7e]+", address) or re.search(r"%(?![0-9A-Fa-f]{2})", address):
        return "holds what an address has to encode"
    return "ends in the middle of a word" if address.endswith(("-", "_", "&", "?", "=")) else ""


def broken_over_lines(name: str, text: str) -> list[str]:
    """Places where an address goes on in the next line, so that nobody can follow it."""
    lines = text.splitlines()
    return [f"{name}:{number}" for number, (line, after) in
            enumerate(zip(lines, lines[1:], strict=False), start=1)
            if re.search(ADDRESS.pattern + "$", line) and line.endswith(("/", "-"))
            and REST.match(after)]


def answer(address: str) -> tuple[bool, str]:
    """Whether an address is gone, and in words what came. One that refuses programs is not."""
    try:
        with urlopen(Request(address, headers=AGENT), timeout=TIMEOUT_S) as page:
            return False, str(page.status)
    except HTTPError as error:
        return error.code in GONE, f"{error.code} {error.reason}"
    except (HTTPException, URLError, OSError, ValueError) as error:
        return True, str(getattr(error, "reason", error)) or type(error).__name__


def main(arguments: list[str] | None = None) -> int:
    """Ask all of them; returns 0, 1 where an address is gone, 2 where none could be asked."""
    argparse.ArgumentParser(
        prog="python -m host_sim.build.external_links",
        description="Ask every address that the project names whether it still answers.",
        epilog="example: make links (needs the network)").parse_args(arguments)
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=REPO_ROOT, capture_output=True,
                            check=True, text=True).stdout
    places: dict[str, list[str]] = {}
    for one in named(REPO_ROOT / name for name in listed.split("\0") if name):
        places.setdefault(one.address, []).append(one.place)
    answers: dict[str, tuple[bool, str]] = {}
    with progress("asking") as tell, ThreadPoolExecutor(AT_ONCE) as pool:
        for address, told in zip(places, pool.map(answer, places), strict=True):
            answers[address] = told
            tell(len(answers) / len(places))
    return _told(places, answers)


def _told(places: dict[str, list[str]], answers: dict[str, tuple[bool, str]]) -> int:
    """Print what is not well, and return the exit status."""
    gone = [address for address, (is_gone, _) in answers.items() if is_gone]
    if len(gone) == len(answers):
        print("no address answers: is there a network?", file=sys.stderr)
        return 2
    for address in gone:
        print(f"{address}: {answers[address][1]}: {', '.join(places[address])}")
    unsure = [f"{address}: {words}" for address, (is_gone, words) in answers.items()
              if not is_gone and not words.startswith("2")]
    for line in unsure:
        print(f"could not be told: {line}")
    print(f"{len(answers)} addresses: {len(gone)} gone, {len(unsure)} could not be told")
    return 1 if gone else 0


if __name__ == "__main__":
    sys.exit(main())
