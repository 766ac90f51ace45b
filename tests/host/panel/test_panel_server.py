"""Nobody in from outside: what the panel's server answers, and whom."""

import re
import socket
from contextlib import suppress

import pytest

from host_sim.__main__ import main
from host_sim.common.errors import InputError
from host_sim.panel.guard import Guard, is_loopback
from host_sim.panel.server import HERE, PAGES_AT_ONCE, files
from host_sim.panel.start import in_background, serve
from host_sim.panel.web_socket import LONGEST_MESSAGE
from rate_control.interlock import OUTPUTS_ON, STATE_NAMES
from tests.support.panel_client import Raw, StillSession, live

ELSEWHERE = "0.0.0.0"


@pytest.fixture
def session():
    return StillSession()


@pytest.fixture
def guard(session):
    with in_background(session) as up:
        yield up


@pytest.fixture
def public(session):
    """Bound to every address of this computer, so a token is needed."""
    with in_background(session, ELSEWHERE) as up:
        yield up


# The page itself.


def test_the_page_and_all_it_needs_are_served(guard):
    with Raw(guard) as page:
        text = page.body().decode()
    needed = re.findall(r'(?:href|src)="([\w.]+)"', text)
    assert {"main.js", "uPlot.iife.min.js", "layout.css"} <= set(needed)
    imported = [name for path in (HERE / "page").glob("*.js")
                for name in re.findall(r'from "\./([\w.]+)"', path.read_text())]
    for name in {*needed, *imported}:
        with Raw(guard, f"/{name}") as found:
            assert found.status == 200, name


def test_every_state_in_which_a_pump_may_run_has_the_colour_of_it():
    style = (HERE / "page" / "instruments.css").read_text()
    [selectors] = re.findall(r"^(.*)\{ background: var\(--controller\); color: var\(--on\)", style,
                             re.MULTILINE)
    shown = {name.strip() for name in selectors.split(",")}
    assert shown == {f".state.{name}" for state, name in enumerate(STATE_NAMES)
                     if OUTPUTS_ON >> state & 1}


def test_nothing_leads_out_of_this_computer():
    """The page, its styles and its scripts name no other place, and forbid it to the browser."""
    own = [content.decode() for name, (content, _) in files().items() if "uPlot" not in name]
    assert own
    for text in own:
        assert not [url for url in re.findall(r"(?:https?:)?//[\w.-]+\.\w+", text)
                    if "www.w3.org" not in url]  # the name space of SVG
        assert "innerHTML" not in text


def test_the_browser_is_told_to_keep_strangers_out(guard):
    for path in ("/", "/main.js", "/nothing"):
        with Raw(guard, path) as answer:
            assert "default-src 'none'" in answer.reply
            assert "frame-ancestors 'none'" in answer.reply
            assert "X-Content-Type-Options: nosniff" in answer.reply
            assert "Access-Control" not in answer.reply


@pytest.mark.parametrize("path", [
    "/../guard.py", "/%2e%2e/guard.py", "/page/main.js", "//etc/passwd", "/..%5cguard.py",
    "/vendor", "/README.md",
])
def test_nothing_but_the_fixed_files_is_served(guard, path):
    with Raw(guard, path) as answer:
        assert answer.status == 404


# Strangers.


@pytest.mark.parametrize("host", [
    "evil.example:{port}", "127.0.0.1.evil.example:{port}", "localhost.evil.example:{port}",
    "localhost", "127.0.0.1:1", "192.168.1.7:{port}", "", ":{port}",
])
def test_other_names_are_refused(guard, host):
    """A name that an attacker made to lead here (DNS rebinding) is not ours."""
    with Raw(guard, Host=host.format(port=guard.port)) as answer:
        assert answer.status == 403
    with live(guard, Host=host.format(port=guard.port)) as answer:
        assert answer.status == 403


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "LOCALHOST", "[::1]"])
def test_our_own_names_are_known(guard, host):
    with Raw(guard, Host=f"{host}:{guard.port}") as answer:
        assert answer.status == 200


@pytest.mark.parametrize("origin", [
    "", "null", "http://evil.example", "http://127.0.0.1", "http://localhost:{port}",
    "https://127.0.0.1:{port}", "http://127.0.0.1:{port}.evil.example",
])
def test_other_origins_get_no_socket(guard, session, origin):
    with live(guard, Origin=origin.format(port=guard.port)) as answer:
        assert answer.status == 403
    assert session.asked == []


def test_our_own_page_gets_frames_and_may_ask(guard, session):
    with live(guard) as page:
        assert page.status == 101
        assert page.frame()["hello"] == {"title": "still"}
        page.send('["master",true]')
        page.send("[]")
        assert page.frame() == {"refused": "refused by the test"}
        session.feed.publish({"rows": [[1]]})
        assert page.frame() == {"rows": [[1]]}
    assert session.asked == ['["master",true]', "[]"]


# Too much.


@pytest.mark.parametrize("size", [LONGEST_MESSAGE + 1, 70_000])
def test_a_large_message_ends_the_connection(guard, session, size):
    with live(guard) as page:
        page.frame()
        page.send("x" * size)
        assert page.frame() is None
    assert session.asked == []


def test_a_body_is_not_taken(guard):
    with Raw(guard, Content_Length="1") as answer:
        assert answer.status == 413


def test_pages_are_limited_and_make_room_when_they_close(guard):
    pages = [live(guard) for _ in range(PAGES_AT_ONCE)]
    assert {page.status for page in pages} == {101}
    with live(guard) as one_more:
        assert one_more.status == 503
    for page in pages:
        page.close()
    for _ in range(100):
        with live(guard) as page:
            if page.status == 101:
                return
    raise AssertionError("no page was let in again")


@pytest.mark.parametrize("data", [b"", b"\r\n\r\n", b"GET\r\n\r\n", b"\x16\x03\x01" * 50,
                                  b"GET / HTTP/1.1\r\n" + b"x" * 100_000, b"GET / HTTP/1.1\r\nA"])
def test_garbage_does_not_stop_the_server(guard, data):
    address = "127.0.0.1", guard.port
    with socket.create_connection(address) as stranger, suppress(OSError):  # may be cut off
        stranger.sendall(data)
        stranger.shutdown(socket.SHUT_WR)
        while stranger.recv(1024):
            pass
    with Raw(guard) as page:
        assert page.status == 200


# Elsewhere.


def test_loopback_needs_no_token():
    assert Guard("127.0.0.1").token == Guard("::1").token == Guard("localhost").token == ""
    assert not is_loopback("127.0.0.1.evil.example")


def test_a_token_is_long_and_new_each_time():
    tokens = {Guard(ELSEWHERE).token for _ in range(50)}
    assert len(tokens) == 50
    assert min(map(len, tokens)) >= 22  # 128 bits
    assert Guard(ELSEWHERE).url.startswith("http://0.0.0.0:0/?token=")


@pytest.mark.parametrize("path", ["/", "/main.js", "/?token=", "/?token=guess"])
def test_without_the_token_nothing_is_shown(public, path):
    with Raw(public, path) as answer:
        assert answer.status == 403
        assert "Set-Cookie" not in answer.reply
    with live(public) as answer:
        assert answer.status == 403


def test_the_printed_address_opens_the_page_and_its_socket(public):
    with Raw(public, f"/?token={public.token}") as page:
        assert page.status == 200
        cookie = re.search(r"Set-Cookie: (panel=[^;]+); Path=/; HttpOnly; SameSite=Strict",
                           page.reply)[1]
    with Raw(public, "/main.js", Cookie=cookie) as script:
        assert script.status == 200
    with live(public, Cookie=cookie) as socket_:
        assert socket_.status == 101
    with live(public, Cookie=cookie, Origin="http://evil.example") as socket_:
        assert socket_.status == 403
    with Raw(public, Cookie=cookie, Host=f"evil.example:{public.port}") as page:
        assert page.status == 403


def test_elsewhere_the_addresses_in_figures_are_known(public):
    with Raw(public, f"/?token={public.token}", Host=f"192.168.1.7:{public.port}") as page:
        assert page.status == 200


# The command line.


def test_an_address_that_cannot_be_had_is_one_clear_line(capsys):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match=f"127.0.0.1 port {port}: cannot be served: "):
            serve(StillSession(), "127.0.0.1", port)


@pytest.mark.parametrize(("arguments", "problem"), [
    (["--tcp-port", "65536"], "must be 0 to 65535"),
    (["--tcp-port", "http"], "--tcp-port"),
    (["no_such.toml"], "no_such.toml: cannot be read"),
    (["--port", "/dev/no-such-port"], "/dev/no-such-port: cannot be opened"),
    (["--port", "COM1", "scenario.toml"], "give a scenario or --machine, or --port, not both"),
    (["--port", "COM1", "--out", "drives"], "--out is for drives of the twin"),
    (["--out", "/dev/null/drives"], "/dev/null: is in the way"),
])
def test_bad_arguments_are_one_clear_line(capsys, arguments, problem):
    try:
        status = main(["panel", *arguments])
    except SystemExit as exit_:
        status = exit_.code
    assert status == 2
    error = capsys.readouterr().err
    assert problem in error and error.count("\n") == 1
