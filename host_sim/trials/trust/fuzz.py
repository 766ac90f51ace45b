"""The fuzzing of the loaders as a part of `make trust`: what `make fuzz` does, counted."""

from __future__ import annotations

import re
import subprocess
import sys

from host_sim import REPO_ROOT
from host_sim.trials.trust.session import TrustPart

EXAMPLES = 20_000  # for each loader, as `make fuzz`
EXAMPLES_MIN = 500
COUNTED = re.compile(r"^(\S+) +([\d,]+) executions", re.MULTILINE)
FOUND = re.compile(r"^(\S+): seed \d+: .*$", re.MULTILINE)
COMMAND = "python -m tests.support.loader_fuzz"


def trust_part(share: float) -> TrustPart:
    """Run a share of the fuzzing; it shows its own progress."""
    examples = max(round(share * EXAMPLES), EXAMPLES_MIN)
    done = subprocess.run([sys.executable, "-m", "tests.support.loader_fuzz", str(examples)],
                          cwd=REPO_ROOT, stdout=subprocess.PIPE, text=True, check=False)
    counts = {name: int(number.replace(",", "")) for name, number in COUNTED.findall(done.stdout)}
    failed = [(f"{COMMAND} {examples}", found.group(0)) for found in FOUND.finditer(done.stdout)]
    if not counts or done.returncode and not failed:
        failed.append((f"{COMMAND} {examples}", f"ended with status {done.returncode}"))
    figures = {"count": sum(counts.values()), "loaders": len(counts), "failed": len(failed)}
    line = (f"fuzz     {sum(counts.values()):,} executions of {len(counts)} loaders, "
            f"{len(failed)} failed")
    return TrustPart(figures, line, tuple(failed))
