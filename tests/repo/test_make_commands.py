"""The commands behind `make` answer like every other: --help, and one line for a wrong word."""

import io
import re
import runpy
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted(set(re.findall(r"python -m ((?:host_sim|tests)\.[\w.]+)",
                                (ROOT / "Makefile").read_text(encoding="utf-8")))
                 - {"tests.support.guided_fuzz"})  # needs atheris, which `make` fetches for it


def answer(module, *words):
    """Status and words of a module that is run as a command."""
    told = io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(told), redirect_stderr(told):
        patch.setattr(sys, "argv", [module, *words])
        with pytest.raises(SystemExit) as stopped:
            runpy.run_module(module, run_name="__main__", alter_sys=False)
    return stopped.value.code, told.getvalue()


@pytest.mark.filterwarnings("ignore:.*found in sys.modules")
@pytest.mark.parametrize("module", MODULES)
def test_a_command_behind_make_tells_its_use_and_refuses_a_wrong_word(module):
    status, told = answer(module, "--help")
    assert status in (0, None) and told.startswith("usage: "), told
    status, told = answer(module, "--no-such-word")
    assert status == 2 and told.splitlines()[-1].count(":") and "Traceback" not in told
