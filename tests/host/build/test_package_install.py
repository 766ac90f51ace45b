"""The package installers, as the how-to uses them: MicroPython's own and that of mpremote.

MicroPython's, the one that a board has, runs on the 64-bit machine; both fetch over HTTP.
"""

import tempfile
import threading
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from mpremote import mip

from host_sim.build import firmware as firmware_build
from host_sim.build.interpreters import MICROPYTHON_64, ScriptFailedError, run_on

INSTALL = "tests/vm/package_install.py"
BROKEN_OFF_AT = "rate_control/interlock.mpy"


class Handler(SimpleHTTPRequestHandler):
    """Serves a folder, notes what was asked for, and loses what the server is told to lose."""

    def do_GET(self):
        """Answer one request."""
        self.server.asked.append(self.path.lstrip("/"))
        if self.server.asked[-1] == self.server.lost:
            self.send_error(503)
        else:
            super().do_GET()

    def log_message(self, *_):
        """Say nothing."""


@pytest.fixture(scope="module")
def built():
    """What `make firmware` writes, and an empty place for an installation beside it."""
    firmware_build.BUILD_DIR.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=firmware_build.BUILD_DIR.parent) as folder:
        files = firmware_build.build(Path(folder, "firmware"))
        package = firmware_build.package_json(files)
        Path(folder, "firmware", firmware_build.PACKAGE_JSON).write_text(package)
        yield Path(folder, "firmware")


@pytest.fixture
def server(built):
    """A web server as the how-to starts it."""
    with ThreadingHTTPServer(("127.0.0.1", 0), partial(Handler, directory=built)) as server:
        server.asked, server.lost = [], None
        server.package = f"http://127.0.0.1:{server.server_port}/package.json"
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield server
        server.shutdown()
        thread.join()


@pytest.fixture
def board(built):
    """The file system of a board, in the tree: the 32-bit machine sees nothing else."""
    with tempfile.TemporaryDirectory(dir=built.parent) as folder:
        yield Path(folder)


class Transport:
    """What mpremote's installer asks of a board, on a folder."""

    def __init__(self, folder):
        self._folder = folder

    def _path(self, path):
        return self._folder / path.lstrip("/")

    def fs_exists(self, path):
        """Whether something has this name."""
        return self._path(path).exists()

    def fs_mkdir(self, path):
        """Make one folder."""
        self._path(path).mkdir()

    def fs_writefile(self, path, data, progress_callback=None):
        """Write one file."""
        self._path(path).write_bytes(data)


def with_micropython(url, board):
    run_on(MICROPYTHON_64, INSTALL, url, str(board))


def with_mpremote(url, board):
    mip._install_package(Transport(board), url, mip._PACKAGE_INDEX, "/", None, True)


INSTALLERS = pytest.mark.parametrize("install", [with_micropython, with_mpremote])


def contents(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes()
            for path in folder.rglob("*") if path.is_file()}


@INSTALLERS
def test_installer_brings_every_file_and_main_last(install, server, built, board):
    install(server.package, board)
    wanted = contents(built)
    del wanted[firmware_build.PACKAGE_JSON]
    assert contents(board) == wanted
    assert server.asked[0] == firmware_build.PACKAGE_JSON
    assert server.asked[-1] == "main.py"
    assert len(server.asked) == 1 + len(wanted)


@INSTALLERS
def test_installation_that_breaks_off_starts_nothing(install, server, board):
    server.lost = BROKEN_OFF_AT
    with pytest.raises((ScriptFailedError, mip.CommandError)):
        install(server.package, board)
    found = contents(board)
    assert found
    assert "main.py" not in found


def test_what_was_installed_starts_in_the_heap_of_an_rp2040(server, board, record_property):
    """The application is built from it above a bare board, and its jobs run once.

    How much has to stay free is the matter of tests/host/firmware/test_memory_budget.py.
    """
    with_micropython(server.package, board)
    budget = firmware_build.memory_budget(folder=board)
    record_property("summary", f"installed as a package: {budget.heap - budget.booted:,} bytes "
                               f"of {budget.heap:,} used after the start")
    assert budget.lowest > 0
