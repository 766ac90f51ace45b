"""How long a newcomer waits, and how many steps that takes: `make newcomer`.

By a link: the page of `make site` is opened in chromium and worked as a visitor would, until the
ribbon behind the machine moves. By a clone: the commands of the README are run in an empty folder,
without the person's settings and without what this tree has built, until there is a report. What is
printed depends on the computer, on what else it does, and on the network.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from host_sim import CHECKED_OUT, REPO_ROOT
from host_sim.common.arguments import takes_nothing
from host_sim.common.errors import InputError
from host_sim.common.progress import progress

COMMANDS = ("git clone {tree} controller", "make -C controller demo")
REPORT = "controller/out/demo/report.html"
# What a person's own set-up could hide; where packages come from is no part of it.
HIDDEN = ("HOME", "VIRTUAL_ENV", "PYTHONPATH", "PYTHONHOME")


def by_clone(commands: Sequence[str] = COMMANDS, report: str = REPORT) -> str:
    """Run the commands in a folder of their own; returns a row. Raises InputError."""
    with tempfile.TemporaryDirectory(prefix="new comer ") as folder:
        home = Path(folder, "home")
        home.mkdir()
        environment = {name: value for name, value in os.environ.items() if name not in HIDDEN}
        began_s = time.monotonic()
        for command in commands:
            words = shlex.split(command.format(tree=shlex.quote(str(REPO_ROOT))))
            done = subprocess.run(words, cwd=folder, env=environment | {"HOME": str(home)},
                                  capture_output=True, text=True, check=False)
            if done.returncode:
                last = (done.stderr.strip() or "it said nothing").splitlines()[-1]
                raise InputError(f"{command}: ended with {done.returncode}: {last}")
        took_s = time.monotonic() - began_s
        if not Path(folder, report).is_file():
            raise InputError(f"{report}: was not written")
    return row("from clone to report", len(commands), "commands", took_s)


def by_link() -> str:
    """Open the page and work it; returns a row. Raises InputError where npm is needed."""
    from host_sim.site.__main__ import CACHE
    from host_sim.site.build import build
    from host_sim.site.measure import ACTIONS, waits

    with tempfile.TemporaryDirectory() as folder:
        build(Path(folder, "site"), REPO_ROOT / CACHE)
        _, moves_s = waits(Path(folder, "site"))
    return row("from link to moving ribbon", len(ACTIONS), "actions", moves_s)


def row(what: str, count: int, of_what: str, seconds: float) -> str:
    """One line of the table."""
    return f"{what:28}{count:3} {of_what:9}{seconds:7.0f} s"


def main() -> int:
    """Measure both and print them; returns the exit status."""
    takes_nothing("host_sim.build.newcomer", __doc__)
    try:
        if not (CHECKED_OUT and (REPO_ROOT / ".git").exists()):
            raise InputError("this tree has no history to clone")
        with progress("as a visitor, then as a newcomer"):
            rows = [by_link(), by_clone()]
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    print("\n".join(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
