"""A shortened part of `make fuzz`: every loader on damaged files, and the harness itself."""

from __future__ import annotations

import pytest

from host_sim.common.errors import InputError
from tests.support import loader_fuzz

EXAMPLES = {"trace.bin": 60, "sizing": 60, "calibrate": 60, "job": 60, "scenario": 60}
USUAL = 120


@pytest.mark.parametrize("name", loader_fuzz.LOADERS)
def test_no_damaged_input_brings_a_loader_down(name):
    loader_fuzz.fuzz(name, EXAMPLES.get(name, USUAL))


@pytest.mark.parametrize("name", [name for name in loader_fuzz.LOADERS if name != "link"])
def test_sound_inputs_get_through(name, tmp_path):
    """Else the fuzzing would only look at the first line of each."""
    loader = loader_fuzz.LOADERS[name]
    taken = 0
    for data in loader.seeds(tmp_path):
        try:
            loader.load(tmp_path, data)
            taken += 1
        except InputError:
            continue
    # a recording without checksums is none; that is what "raw" is for
    assert taken or name == "recording, raw"


def test_what_comes_through_is_found(monkeypatch, tmp_path):
    def bad(directory, data):
        if b"nan" in data:
            raise ZeroDivisionError

    loader = loader_fuzz.Loader(lambda _: [b"a = 1\n"], bad)
    monkeypatch.setitem(loader_fuzz.LOADERS, "bad", loader)
    with pytest.raises(ZeroDivisionError):
        loader_fuzz.fuzz("bad", 2000)


@pytest.mark.parametrize("line", ["", "  ", "a\nb", "\x1b[2J", "no file is named"])
def test_a_message_must_name_the_file_in_plain_words(line):
    error = InputError("x")
    error.args = (line,)
    with pytest.raises(AssertionError):
        loader_fuzz.check_words(error, "the_directory")
