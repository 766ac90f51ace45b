"""Addresses outside the project are whole and well formed; `make links` asks whether they answer.

Whether a host answers is tried on web servers of this computer.
"""

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from host_sim.build import external_links
from host_sim.build.external_links import broken_over_lines, malformed, named, named_in
from tests.repo.tree import name_of, repository_files

H = "https://"  # apart, so that what is made up here is no address of the project
FILES = [path for path in repository_files()
         if path.suffix in external_links.READ and "vendor" not in path.parts]


def test_every_address_is_well_formed():
    found = named(FILES)
    assert len(found) > 100
    assert not [(one.place, one.address, fault) for one in found
                if (fault := malformed(one.address))]


def test_no_address_is_broken_over_lines():
    assert not [place for path in FILES
                for place in broken_over_lines(name_of(path), path.read_text())]


@pytest.mark.parametrize(("text", "found"), [
    (f"see {H}a.org/b_(c), and", [f"{H}a.org/b_(c)"]),
    (f"([x]({H}a.org/b).) <{H}c.de>.", [f"{H}a.org/b", f"{H}c.de"]),
    ("http://localhost:8000/ http://x.example/ https://example.org/y f'http://{host}'", [])])
def test_what_stands_around_an_address_is_no_part_of_it(text, found):
    assert [one.address for one in named_in("a.md", text)] == found


@pytest.mark.parametrize("address", [
    "nowhere/", "me:word@a.org/", "a.org/100%", "a.org/h\u00e4nde", "a.org/useful-", "-a.org/"])
def test_a_bad_form_is_told(address):
    assert malformed(H + address)
    assert not malformed(H + "a.org/%C3%A4?b=c")


def test_a_rest_in_the_next_line_is_told():
    assert broken_over_lines("a.py", f"# x {H}a.org/b/\n# two-words.html ; y") == ["a.py:1"]
    assert broken_over_lines("a.py", f"# x {H}a.org/b/\n# and more") == []


class _Host(BaseHTTPRequestHandler):
    def do_GET(self):
        self.send_response(int(self.path.strip("/")))
        self.end_headers()

    def log_message(self, *_):
        pass


@pytest.fixture(scope="module")
def host():
    with ThreadingHTTPServer(("127.0.0.1", 0), _Host) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


@pytest.mark.parametrize(("status", "gone"), [(200, False), (404, True), (410, True),
                                              (403, False), (503, False)])
def test_an_address_is_gone_only_where_its_host_says_so(host, status, gone):
    told, words = external_links.answer(f"{host}/{status}")
    assert told == gone and words.startswith(str(status))


def test_what_does_not_answer_is_gone():
    assert external_links.answer("http://127.0.0.1:9/")[0]


def test_what_is_gone_is_told_with_its_places_and_no_network_is_no_verdict(capsys):
    places = {"a": ["a.md:1", "b.py:2"], "b": ["c.md:3"]}
    assert external_links._told(places, {"a": (True, "404 Not Found"),
                                         "b": (False, "403 Forbidden")}) == 1
    assert capsys.readouterr().out.splitlines() == [
        "a: 404 Not Found: a.md:1, b.py:2", "could not be told: b: 403 Forbidden",
        "2 addresses: 1 gone, 1 could not be told"]
    assert external_links._told(places, dict.fromkeys(places, (True, "no name"))) == 2
    assert external_links._told(places, dict.fromkeys(places, (False, "200"))) == 0
