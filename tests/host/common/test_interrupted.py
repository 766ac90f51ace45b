"""Ctrl-C in the middle of much work: it ends, no process is left, and nobody complains."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

HANGS_S = 60.0  # no measure of how soon it ends: only that it does


def children(pid):
    """The processes that one has started, as Linux lists them."""
    return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()


def lives(pid):
    """Whether a process is there, and no mere entry that nobody has asked for yet."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.skipif(not Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children").exists(),
                    reason="this system does not list the children of a process")
@pytest.mark.parametrize("working", [False, True], ids=["as_it_begins", "at_work"])
def test_all_processes_end_together(tmp_path, working):
    wanted = tmp_path / "found.json"
    running = subprocess.Popen(
        [sys.executable, "-m", "host_sim", "campaign", "--builds", "40", "--workers", "2",
         "--json", str(wanted)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True)
    while len(pids := children(running.pid)) < 3:  # two, and what keeps their count
        assert running.poll() is None
        time.sleep(0.05)
    if working:
        time.sleep(2.0)
    os.killpg(running.pid, signal.SIGINT)  # as a terminal does: all of them
    try:
        out, err = running.communicate(timeout=HANGS_S)
    except subprocess.TimeoutExpired:
        os.killpg(running.pid, signal.SIGKILL)
        raise
    assert (running.returncode, out, err) == (130, "", "")
    end_s = time.monotonic() + HANGS_S
    while left := [pid for pid in pids if lives(pid)]:
        assert time.monotonic() < end_s, left
        time.sleep(0.05)
    assert not wanted.exists()
